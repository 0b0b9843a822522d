#!/usr/bin/env python3
"""Starting, reading settings again, stopping; what the page answers to whom."""
import base64
import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (BUILD, LOW_AT_ONCE, SUPPORT, Suite, check, contact, equal,  # noqa: E402
                     events, now_ms, point, system, timed, wait_until, write_file)

suite = Suite()
SECRET = "whsec_" + base64.b64encode(bytes(range(32))).decode()
MILL = system("mill", [point("suction")])


def refuses(daemon, status, *words):
    found, said = daemon.run_to_end()
    equal(found, status, f"exit status ({said[-300:]})")
    for word in words:
        check(re.search(word, said), f"no \"{word}\" in: {said[-800:]}")
    daemon.process = None
    os.remove(daemon.log_file)


@suite.test
def bad_settings_end_with_status_2_and_name_file_line_and_key(place):
    daemon = place.daemon(None, [MILL])
    good = open(daemon.settings_file, encoding="utf-8").read().splitlines()
    line = next(i for i, text in enumerate(good) if '"port"' in text)
    file = re.escape(daemon.settings_file)
    table = [
        (line, good[line].replace('"port"', '"prot"'), line + 1, "prot.*port"),
        (line, re.sub(r"\d+", "70000", good[line]), line + 1, "port.*65535"),
        (line, re.sub(r"\d+", '"mqtt"', good[line]), line + 1, "port"),
    ]
    for at, text, expected_line, words in table:
        write_file(daemon.settings_file, "\n".join(good[:at] + [text] + good[at + 1:]))
        refuses(daemon, 2, f"{file}:{expected_line}: [^\n]*{words}")
    write_file(daemon.settings_file, "broker: [\n")
    refuses(daemon, 2, f"{file}:\\d+: ")
    os.remove(daemon.settings_file)
    refuses(daemon, 2, f"{file}:1: .*No such file")


@suite.test
def check_names_a_topic_that_a_broker_may_change(place):
    for ident, said in (("mill-2", False), ("mill.2", True)):
        daemon = place.daemon(None, [system(ident, [point("suction")])])
        out = subprocess.run([os.path.join(BUILD, "subslabctl"), "--settings", daemon.settings_file,
                              "check"], capture_output=True, text=True, check=True).stdout
        equal("subslab/mill.2/suction has a dot" in out, said, out)


@suite.test
def bad_system_files_end_with_status_2_and_name_file_line_and_key(place):
    table = [
        ([system("mill", [point("suction", unit="pCi/L")])], "unit"),
        ([system("mill", [point("suction", quantity="sucktion")])], "suction"),
        ([system("mill", [point("suction", colour="red")])], "colour"),
        ([system("mill", [point("suction"), point("suction")])], "suction"),
        ([system("mill", [point("suction")], time_zone="Moon/Base")], "Moon/Base"),
        ([system("mill", [point("suction")], contacts=["nobody"])], "nobody"),
        ([system("mill", [point("a", topic="subslab/x"), point("b", topic="subslab/x")])],
         "subslab/x"),
    ]
    for systems, word in table:
        daemon = place.daemon(None, systems)
        refuses(daemon, 2, re.escape(os.path.join("systems", "mill.yaml")) + r":\d+: [^\n]*" + word)


@suite.test
def wrong_use_ends_with_status_2(place):
    del place
    program = os.path.join(BUILD, "subslabd")
    for arguments, status in ((["--bogus"], 2), (["stray"], 2), (["--help"], 0), (["--version"], 0)):
        ended = subprocess.run([program] + arguments, capture_output=True, timeout=20, check=False)
        equal(ended.returncode, status, f"exit status of {arguments}")


@suite.test
def sighup_takes_over_good_settings_and_keeps_the_old_ones_for_bad(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    at = now_ms() - 60_000
    broker.publish([("subslab/mill/suction", timed(50, at))])
    wait_until(lambda: len(events(hook)) == 1, 10, "the alarm")
    before = [(a["id"], a["state"]) for a in daemon.alarms()]

    daemon.systems.append(system("creek", [point("suction")]))
    daemon.write_settings()
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: len(daemon.get("/api/systems")) == 2, 10, "the new system")
    equal([(a["id"], a["state"]) for a in daemon.alarms()], before, "alarms after the reload")
    # Type=notify-reload: RELOADING with a time, then READY (sd_notify, systemd 253).
    wait_until(lambda: daemon.notifications().count("READY=1") == 2, 5, "READY after the reload")
    check(re.search(r"RELOADING=1\n?[\s\S]*MONOTONIC_USEC=\d+", daemon.notified), daemon.notified)
    broker.publish([("subslab/creek/suction", timed(50, at))])
    wait_until(lambda: daemon.readings("creek"), 10, "a reading of the new system")
    wait_until(lambda: len(events(hook)) == 2, 10, "its alarm")

    text = open(daemon.settings_file, encoding="utf-8").read()
    write_file(daemon.settings_file, text.replace('"keepalive"', '"keepaliv"'))
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: "the old ones stay in force" in daemon.log(), 10, "the refusal in the log")
    check(re.search(re.escape(daemon.settings_file) + r":\d+: [^\n]*keepaliv", daemon.log()), "line")
    equal(daemon.health()[1]["settings_refused"], True, "/health says so")
    equal(len(daemon.get("/api/systems")), 2, "systems after bad settings")
    broker.publish([("subslab/mill/suction", timed(300, now_ms()))])
    wait_until(lambda: events(hook, kind="alarm.returned"), 10, "the work goes on")
    write_file(daemon.settings_file, text)
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: not daemon.health()[1]["settings_refused"], 10, "good settings again")


@suite.test
def sigterm_under_load_ends_cleanly_and_loses_nothing(place):
    broker = place.broker()
    points = [point(f"p{i}") for i in range(20)]
    daemon = place.daemon(broker, [system("mill", points)])
    daemon.start()
    start, count = now_ms() - 2_000_000, 20_000
    load = subprocess.Popen([sys.executable, "-c", f"""
import sys; sys.path.insert(0, {SUPPORT!r})
from mqtt_publisher import Publisher
from datetime import datetime, timezone
def messages():
    for i in range({count}):
        t = {start} + 100 * i
        yield f"subslab/mill/p{{i % 20}}", '{{"v": %d, "t": %d}}' % (i % 500, t)
print(Publisher({broker.port}).publish(messages()))
"""], stdout=subprocess.PIPE)
    place.at_end(lambda: (load.kill(), load.wait()))
    wait_until(lambda: daemon.metric("subslab_readings_total") > 500, 10, "under load")
    began = time.monotonic()
    equal(daemon.stop(10), 0, "exit status")
    check(time.monotonic() - began < 10, "slower than 10 s")
    equal(int(load.communicate(timeout=120)[0]), count, "published")
    daemon.start()
    wait_until(lambda: sum(len(v) for v in daemon.readings("mill").values()) == count, 30,
               "every reading")
    found = sorted(t for series in daemon.readings("mill").values() for t, _ in series)
    equal(found, [start + 100 * i for i in range(count)], "times stored")
    equal(daemon.refused(), {}, "refused")


@suite.test
def a_second_daemon_on_one_store_is_refused(place):
    broker = place.broker()
    first = place.daemon(broker, [MILL])
    first.start()
    second = place.daemon(broker, [MILL], store=first.store)
    refuses(second, 1, re.escape(first.store), str(first.process.pid))
    equal(first.health()[0], 200, "the first one goes on")
    first.kill()
    second.start()
    equal(second.health()[0], 200, "after kill -9 of the first no lock remains")


@suite.test
def secrets_must_not_be_readable_by_everybody(place):
    hook = place.endpoint()
    table = [dict(signing_secret_file="secret"), dict(headers={"Authorization": "file:secret"})]
    for more in table:
        daemon = place.daemon(None, [MILL], [contact("office", hook, **more)])
        daemon.secret("secret", SECRET, 0o644)
        refuses(daemon, 2, r"subslabd\.yaml:\d+: .*secret: everybody on this machine may read")
        os.chmod(os.path.join(daemon.folder, "secret"), 0o600)
        daemon.start(wait_connected=False)
        check(SECRET not in daemon.log(), "the secret in the log")
        mode = os.stat(daemon.store).st_mode & 0o777
        equal(mode & 0o007, 0, f"store readable by others: {mode:o}")
    password = place.daemon(None, [MILL], broker={"username": "x", "password_file": "pw"})
    password.secret("pw", "marker-password", 0o604)
    refuses(password, 2, r"broker\.password_file: .*pw: everybody on this machine may read")
    daemon = place.daemon(None, [MILL], [contact("office", hook, signing_secret_file="secret")])
    daemon.secret("secret", "whsec_short")
    refuses(daemon, 2, "is no signing secret")


def sql(path, *statements):
    with sqlite3.connect(path) as store:
        for statement in statements:
            store.execute(statement)
    store.close()


@suite.test
def a_foreign_newer_or_damaged_store(place):
    broker, hook = place.broker(), place.endpoint()
    foreign = place.daemon(broker, [MILL])
    sql(foreign.store, "CREATE TABLE guests (name TEXT)")
    before = open(foreign.store, "rb").read()
    refuses(foreign, 1, re.escape(foreign.store))
    equal(open(foreign.store, "rb").read(), before, "the foreign file")

    newer = place.daemon(broker, [MILL])
    newer.start()
    equal(newer.stop(), 0, "exit status")
    sql(newer.store, "PRAGMA user_version = 9999")
    before = open(newer.store, "rb").read()
    os.remove(newer.log_file)
    refuses(newer, 1, "newer")
    equal(open(newer.store, "rb").read(), before, "the newer file")

    damaged = place.daemon(broker, [MILL], [contact("office", hook)])
    damaged.start()
    broker.publish([("subslab/mill/suction", timed(200 + i % 9, now_ms() - i * 1000))
                    for i in range(3000)])
    wait_until(lambda: damaged.metric("subslab_readings_total") == 3000, 20, "readings")
    equal(damaged.stop(), 0, "exit status")
    with open(damaged.store, "r+b") as file:
        file.seek(4096 * 3)
        file.write(b"\xff" * 4096 * 4)
    damaged.start()
    wait_until(lambda: events(hook, condition="store-damaged"), 10, "store-damaged told")
    aside = [f for f in os.listdir(damaged.folder)
             if f.startswith("store.db") and re.search(r"\d{4}-?\d\d-?\d\d", f)]
    check(aside, f"the damaged file is kept aside: {os.listdir(damaged.folder)}")
    broker.publish([("subslab/mill/suction", timed(250, now_ms()))])
    wait_until(lambda: damaged.readings("mill"), 10, "the new store takes readings")


@suite.test
def the_page_answers_only_its_own_names_and_changes_nothing(place):
    broker = place.broker()
    daemon = place.daemon(broker, [MILL])
    daemon.start()
    port = daemon.page_port
    for host in (f"127.0.0.1:{port}", "localhost", f"localhost:{port}"):
        equal(daemon.request("GET", "/health", page=True, headers={"Host": host}).status, 200, host)
    # RFC 9110 section 15.5.20: 421 Misdirected Request.
    for host in ("evil.example", f"evil.example:{port}", "127.0.0.1.evil.example", "10.0.0.1"):
        for path in ("/health", "/api/systems", "/"):
            equal(daemon.request("GET", path, page=True, headers={"Host": host}).status, 421,
                  f"{host}{path}")
    for path, body in (("/api/systems/mill/out-of-service",
                        {"until": "1 d", "by": "x", "why": "y"}),
                       ("/api/alarms/1/acknowledge", {"by": "x"}),
                       ("/api/systems/mill/commission", "date: 2025-01-01"),
                       ("/api/contacts/office/test-alert", {})):
        equal(daemon.request("POST", path, body, page=True).status, 403, f"POST {path}")
    equal(daemon.get("/api/systems")[0]["status"] == "out of service", False, "nothing changed")
    equal(daemon.request("DELETE", "/api/systems", page=True).status, 405, "another method")
    equal(daemon.request("GET", "/api/nothing", page=True).status, 404, "unknown")
    for path in ("/%00", "/..%2f..%2fetc/passwd", "/api/systems/%zz", "/" + "a" * 5000):
        status = daemon.request("GET", path, page=True).status
        check(400 <= status < 500, f"GET {path[:30]}: {status}")
    text = daemon.metrics()
    check(text.endswith("# EOF\n"), "OpenMetrics 1.0: the exposition ends with # EOF")
    mode = os.stat(daemon.socket).st_mode & 0o777
    equal(mode & 0o007, 0, f"operator socket open to everybody: {mode:o}")


@suite.test
def a_test_alert_reaches_its_contact(place):
    broker, hook = place.broker(), place.endpoint({"/office": {"status": 204},
                                                   "/dead": {"status": 410}})
    daemon = place.daemon(broker, [MILL], [contact("office", hook), contact("dead", hook)])
    daemon.start()
    for name, state in (("office", "sent"), ("dead", "failed")):
        ident = daemon.post(f"/api/contacts/{name}/test-alert")["id"]
        wait_until(lambda i=ident, s=state: daemon.get(f"/api/deliveries/{i}")["state"] == s, 10,
                   f"test alert to {name} {state}")
        event = json.loads(hook.wait_for(1, path=f"/{name}")[0]["body"])
        equal((event["type"], event["id"]), ("subslab.test", ident), "event")
    equal(daemon.request("POST", "/api/contacts/none/test-alert", {}).status, 404, "unknown contact")


if __name__ == "__main__":
    suite.run()
