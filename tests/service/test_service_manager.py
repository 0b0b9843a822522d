#!/usr/bin/env python3
"""What the service manager and the journal are told by the real daemon, and what a reload takes over
of certificates. With a real systemd: tests/package/booted.py."""
import os
import re
import shutil
import signal
import subprocess
import sqlite3
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import (LOW_AT_ONCE, SOURCE, Suite, check, contact, equal, events, now_ms,  # noqa: E402
                     point, system, timed, wait_until, write_file)
from faked_time import faked_time  # noqa: E402

suite = Suite()
MILL, CREEK = (system(name, [point("suction")]) for name in ("mill", "creek"))


def shown(daemon):
    """The newest STATUS."""
    found = re.findall(r"STATUS=(.*)", daemon.notifications())
    return found[-1] if found else ""


def shows(daemon, line):
    wait_until(lambda: shown(daemon) == line, 15, f"STATUS {line!r}; it is {shown(daemon)!r}")


# ---- the status ----

@suite.test
def the_status_says_what_matters(place):
    broker = place.broker()
    daemon = place.daemon(broker, [MILL, CREEK], conditions=LOW_AT_ONCE)
    daemon.start()
    shows(daemon, "0 in spec, 2 silent, broker connected, store works")
    broker.publish([("subslab/mill/suction", timed(300, now_ms())),
                    ("subslab/creek/suction", timed(50, now_ms()))])
    shows(daemon, "1 in spec, 1 out of spec, broker connected, store works")
    broker.stop()
    wait_until(lambda: re.search(r"broker (lost|connecting)", shown(daemon)), 15, "the broker is lost")
    broker.start()
    shows(daemon, "1 in spec, 1 out of spec, broker connected, store works")
    shell = sqlite3.connect(daemon.store, isolation_level=None)
    shell.execute("BEGIN EXCLUSIVE")
    broker.publish([("subslab/mill/suction", timed(301, now_ms()))])
    wait_until(lambda: "store failing" in shown(daemon), 20, "the store fails")
    shell.execute("ROLLBACK")
    shell.close()
    shows(daemon, "1 in spec, 1 out of spec, broker connected, store works")
    write_file(daemon.settings_file, "{nonsense: 1}", 0o640)
    daemon.process.send_signal(signal.SIGHUP)
    shows(daemon, "1 in spec, 1 out of spec, broker connected, store works, settings on disk refused")


@suite.test
def a_doubted_clock_is_what_it_waits_for(place):
    broker = place.broker()
    environment, clock = faked_time(place, "+0\n")
    daemon = place.daemon(broker, [MILL], environment=environment)
    daemon.start()
    broker.publish([("subslab/mill/suction", timed(300, now_ms()))])
    shows(daemon, "1 in spec, broker connected, store works")
    equal(daemon.stop(), 0, "exit status")
    write_file(clock, "-2d\n")
    daemon.start(wait_connected=False)
    wait_until(lambda: shown(daemon).startswith("waiting: clock; "), 20, "waiting: clock")
    write_file(clock, "+0\n")
    wait_until(lambda: shown(daemon).startswith("1 in spec"), 60, "it waits no more")


# ---- the journal's priorities ----

def stream_of(path):
    """What systemd would say of a stream that ends there."""
    about = os.stat(write_file(path, ""))
    return f"{about.st_dev}:{about.st_ino}"


@suite.test
def a_start_that_fails_has_a_priority(place):
    daemon = place.daemon(None, [MILL])
    stream = stream_of(daemon.log_file)
    write_file(daemon.settings_file, "{nonsense: 1}", 0o640)
    status, plain = daemon.run_to_end()
    equal(status, 2, "exit status")
    check(plain.startswith(daemon.settings_file + ":1: nonsense"), f"without a journal: {plain}")
    write_file(daemon.log_file, "")
    daemon.environment = {"JOURNAL_STREAM": stream}
    status, said = daemon.run_to_end()
    equal((status, said), (2, "".join(f"<3>{line}\n" for line in plain.splitlines())), "with one")
    write_file(daemon.log_file, "")
    daemon.environment = {"JOURNAL_STREAM": "8:12345678"}  # as inherited through `2>file`
    equal(daemon.run_to_end(), (2, plain), "with one that standard error does not lead to")
    daemon.process = None


# ---- renewed under the same name ----

def certificates(folder):
    subprocess.run(["sh", os.path.join(SOURCE, "tests/support/make_certificates.sh"), folder], check=True)


def reload(daemon):
    before = daemon.log().count("read again:")
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: daemon.log().count("read again:") > before, 20, "the reload")


@suite.test
def a_renewed_authority_of_a_webhook_is_taken(place):
    broker, old, new = place.broker(), place.new_folder("old"), place.new_folder("new")
    certificates(old)
    certificates(new)
    hook = place.endpoint(certificate=f"{new}/good.pem", key=f"{new}/good.key")
    trusted = shutil.copy(f"{old}/ca.pem", place.new_folder("trusted"))
    office = contact("office", hook)
    office["webhook"]["tls_ca_file"] = trusted
    daemon = place.daemon(broker, [MILL], [office], conditions=LOW_AT_ONCE)
    daemon.start()
    broker.publish([("subslab/mill/suction", timed(50, now_ms()))])
    wait_until(lambda: daemon.metric("subslab_deliveries_retried_total") > 0, 20, "a refused certificate")
    shutil.copy(f"{new}/ca.pem", trusted)
    reload(daemon)
    wait_until(lambda: events(hook), 30, "the message, once the new authority is known")


@suite.test
def renewed_certificates_of_the_broker_are_taken(place):
    old, new = place.new_folder("old"), place.new_folder("new")
    certificates(old)
    certificates(new)
    broker = place.broker(start=False, more=f"cafile {old}/ca.pem\ncertfile {old}/good.pem\nkeyfile {old}/good.key\n")
    trusted = shutil.copy(f"{old}/ca.pem", place.new_folder("trusted"))
    broker.start()
    daemon = place.daemon(broker, [MILL])
    daemon.settings["broker"]["tls"] = {"ca_file": trusted}
    daemon.write_settings()
    daemon.start()
    reload(daemon)
    equal(daemon.log().count("connected to"), 1, "the same files: not connected anew")
    broker.stop()
    for name in ("ca.pem", "good.pem", "good.key"):
        shutil.copy(f"{new}/{name}", f"{old}/{name}")
    broker.start()
    wait_until(lambda: re.search(r"certificate", daemon.log()), 20, "the new certificate is refused")
    shutil.copy(f"{new}/ca.pem", trusted)
    reload(daemon)
    wait_until(lambda: daemon.log().count("connected to") == 2, 20, "connected by the new authority")


if __name__ == "__main__":
    suite.run()
