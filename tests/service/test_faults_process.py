#!/usr/bin/env python3
"""Faults of the process and the mistakes of people: signals, settings, descriptors, secrets."""
import base64
import os
import random
import re
import signal
import sqlite3
import socket
import struct
import subprocess
import sys
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (LOW_AT_ONCE, PATIENCE, Suite, check, contact, dies_with_us, equal,  # noqa: E402
                     events, now_ms, point, system, timed, wait_until, write_file)
from fault_series import AT_ONCE, MILL, QUIET, all_there, series  # noqa: E402

suite = Suite()

# ---- process ----


@suite.test
def sigterm_at_any_moment_under_load(place):
    ground = random.Random(suite.seed)
    broker, hook = place.broker(), place.endpoint({"*": {"status": 204, "delay": 0.1}})
    daemon = place.daemon(broker, [MILL, system("creek", [point("suction")])],
                          [contact("office", hook)], conditions=QUIET)
    daemon.start()
    count, start, sent = 20_000, now_ms() - 25_000_000, []

    def load():
        messages = series(count, start)
        for i in range(0, count, 250):
            sent.append(broker.publish(messages[i:i + 250] + [
                ("subslab/creek/suction", timed(50 if i % 500 else 300, start + i * 1000))]))
            time.sleep(0.05)
    sender = threading.Thread(target=load, daemon=True)
    sender.start()
    ends = 0
    while sender.is_alive() and ends < 40:
        time.sleep(ground.uniform(0.0, 1.2))  # the random moment is the point of the test
        began = time.monotonic()
        equal(daemon.stop(10), 0, f"exit status of end {ends}")
        check(time.monotonic() - began < 10 * PATIENCE, "slow to end")
        ends += 1
        daemon.start(wait_connected=False)
    sender.join(120)
    check(not sender.is_alive(), "the load was published")
    all_there(daemon, count, start)
    lows = len([a for a in daemon.alarms(all=1, system="creek")])
    wait_until(lambda: not [d for d in daemon.deliveries() if d["state"] == "waiting"], 60,
               "no message waits")
    print(f"        ended {ends} times, {lows} alarms")
    check(ends >= 3, "hardly tried")


@suite.test
def a_start_asks_for_time_and_is_ready_only_then(place):
    broker = place.broker()
    daemon = place.daemon(broker, [MILL])
    daemon.start()
    said = daemon.notified
    check(0 <= said.find("EXTEND_TIMEOUT_USEC=") < said.find("READY=1"), said)
    seconds = int(re.search(r"EXTEND_TIMEOUT_USEC=(\d+)", said).group(1)) / 1e6
    check(600 <= seconds <= 3600, f"{seconds} s")
    equal(daemon.stop(), 0, "exit status")
    check("STOPPING=1" in daemon.notifications(), daemon.notified)
    # Somebody holds the database: not ready before it can be read and written.
    holder = sqlite3.connect(daemon.store, isolation_level=None)
    holder.execute("PRAGMA locking_mode = EXCLUSIVE")
    holder.execute("BEGIN EXCLUSIVE")
    daemon.spawn()
    end = time.monotonic() + 3
    while time.monotonic() < end and daemon.process.poll() is None:
        check("READY=1" not in daemon.notifications(), "ready without its store")
        time.sleep(0.05)
    holder.execute("ROLLBACK")
    holder.close()
    if daemon.process.poll() is not None:  # it gave up, and said why
        check(daemon.process.returncode == 1 and "database" in daemon.log(), daemon.log()[-500:])
        daemon.spawn()
    wait_until(daemon.is_ready, 20, "READY")
    equal(daemon.request("GET", "/api/systems").status, 200, "at once")


STORM = """
import os, random, signal, sys, time
target, ground = int(sys.argv[1]), random.Random(int(sys.argv[2]))
while True:
    os.kill(target, signal.SIGSTOP)  # every call that sleeps is interrupted
    for number in (signal.SIGWINCH, signal.SIGURG, signal.SIGCHLD, signal.SIGPIPE):
        os.kill(target, number)
    os.kill(target, signal.SIGCONT)
    if ground.random() < 0.002:
        os.kill(target, signal.SIGHUP)
    time.sleep(ground.uniform(0.0005, 0.01))
"""


@suite.test
def a_storm_of_signals_does_no_harm(place):
    broker, hook = place.broker(), place.endpoint({"/office": [{"reset": True}, {"cut": "head"},
                                                               {"status": 204}]})
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=QUIET)
    daemon.start()
    # A program of its own, that nothing here holds up between stop and go on.
    storm = subprocess.Popen([sys.executable, "-c", STORM, str(daemon.process.pid),
                              str(suite.seed)], preexec_fn=dies_with_us)
    place.at_end(storm.wait)
    place.at_end(storm.kill)
    daemon.turn_limit_s = 60
    start = now_ms() - 10_000_000
    for i in range(0, 5000, 500):
        broker.publish(series(5000, start)[i:i + 500])
        for _ in range(3):  # clients that leave in the middle of an answer
            with socket.create_connection(("127.0.0.1", daemon.page_port)) as client:
                client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                client.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
    all_there(daemon, 5000, start)
    broker.publish([("subslab/mill/suction", timed(50, now_ms()))])
    wait_until(lambda: [d for d in daemon.deliveries() if d["state"] == "sent"], 60, "the alarm")
    storm.kill()
    storm.wait()
    daemon.process.send_signal(signal.SIGCONT)
    check("read again" in daemon.log(), "no SIGHUP was among them")
    equal(daemon.stop(), 0, "exit status")


BROKEN_SETTINGS = [
    ("empty", lambda text: ""),
    ("cut in the middle", lambda text: text[:len(text) // 2]),
    ("all but the end", lambda text: text[:-3]),
    ("no YAML", lambda text: "}{"),
    ("not UTF-8", lambda text: text.replace("subslab/#", "subslab/\udcff#")),
    ("an unknown key", lambda text: text.replace('"keepalive"', '"keepaliv"')),
    ("a number out of range", lambda text: text.replace('"5 s"', '"5 y"')),
    ("a contact without webhook", lambda text: text.replace('"webhook"', '"webhok"')),
    ("systems that are not there", lambda text: text.replace('"systems/"', '"sistems/"')),
    ("a secret that is not there",
     lambda text: text.replace('"keepalive"', '"password_file": "none", "keepalive"')),
]


@suite.test
def broken_settings_are_refused_whole(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    good = open(daemon.settings_file, encoding="utf-8").read()
    systems = daemon.get("/api/systems")
    page = lambda: daemon.request("GET", "/", page=True).body.decode()  # noqa: E731
    check("settings on disk" not in page(), "nothing to say yet")
    for number, (what, change) in enumerate(BROKEN_SETTINGS):
        broken = change(good)
        check(broken != good, f"{what}: nothing was changed")
        with open(daemon.settings_file, "w", encoding="utf-8", errors="surrogateescape") as file:
            file.write(broken)
        before = daemon.notifications().count("READY=1")
        daemon.process.send_signal(signal.SIGHUP)
        wait_until(lambda b=before: daemon.notifications().count("READY=1") > b, 10, what)
        equal(daemon.health()[1]["settings_refused"], True, what)
        check("settings on disk were refused" in page(), f"{what}: the page says so")
        equal([s["id"] for s in daemon.get("/api/systems")], [s["id"] for s in systems], what)
        broker.publish([("subslab/mill/suction", timed(300 + number, now_ms()))])
        wait_until(lambda n=number: len(daemon.readings("mill", "suction")) == n + 1, 10,
                   f"{what}: readings come in")
    write_file(daemon.settings_file, good)
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: not daemon.health()[1]["settings_refused"], 10, "good ones again")


@suite.test
def settings_written_slowly_are_taken_whole_or_not_at_all(place):
    """An editor that writes in place, byte by byte, while SIGHUP comes again and again."""
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    old = open(daemon.settings_file, encoding="utf-8").read()
    new = old.replace('"subslab/#"', '"subslab/#", "more/#"')
    check(new != old, "nothing was changed")
    with open(daemon.settings_file, "w", encoding="utf-8") as file:
        for i in range(0, len(new), 60):
            file.write(new[i:i + 60])
            file.flush()
            before = daemon.notifications().count("READY=1")
            daemon.process.send_signal(signal.SIGHUP)
            wait_until(lambda b=before: daemon.notifications().count("READY=1") > b, 10, "read")
            if i + 60 < len(new):
                equal(daemon.health()[1]["settings_refused"], True, f"after {i + 60} bytes")
                equal(len(daemon.get("/api/systems")), 1, "the old ones")
    equal(daemon.health()[1]["settings_refused"], False, "whole at last")
    broker.publish([("subslab/mill/suction", timed(300, now_ms()))])
    wait_until(lambda: daemon.readings("mill"), 10, "a reading")


@suite.test
def few_descriptors_and_a_hundred_page_clients(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=AT_ONCE,
                          prefix=["prlimit", "--nofile=20:20"])
    status = None
    daemon.spawn()
    wait_until(lambda: daemon.process.poll() is not None or daemon.is_ready(), 20, "start")
    status = daemon.process.poll()
    check(status is None, f"ended with {status}: {daemon.log()[-500:]}")
    crowd = []
    place.at_end(lambda: [c.close() for c in crowd])
    for _ in range(100):
        client = socket.socket()
        client.settimeout(0.2)
        try:
            client.connect(("127.0.0.1", daemon.page_port))
            client.sendall(b"GET / HTTP/1.1\r\n")  # and never the rest
        except OSError:
            pass
        crowd.append(client)
    start = now_ms() - 1_000_000
    broker.publish(series(500, start) + [("subslab/mill/suction", timed(50, now_ms()))])
    wait_until(lambda: events(hook, condition="suction-low"), 60,
               "the alarm in spite of the crowd")
    for client in crowd:
        client.close()
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 501, 30, "all readings")
    gone = time.monotonic()
    equal(daemon.request("GET", "/health", page=True).status, 200, "the page afterwards")
    print(f"        the page answered {time.monotonic() - gone:.1f} s after the crowd had gone")
    check(len(daemon.log().splitlines()) < 30, f"said again and again: {daemon.log()}")

# ---- mistakes ----


@suite.test
def what_never_came_and_what_nobody_declared_are_listed(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("mill", [point("suction"), point("spare")])],
                          conditions=AT_ONCE)
    daemon.start()
    broker.publish([("subslab/mill/suction", timed(300, now_ms())), ("subslab/other", "1")])
    wait_until(lambda: daemon.get("/api/unclaimed"), 10, "the topic nobody declared")
    shown = daemon.get("/api/systems/mill")
    points = {p["id"]: p for p in shown["points"]}
    check(points["spare"]["last"]["value"] is None, f"never heard of: {points['spare']}")
    check(points["suction"]["last"]["value"] == 300, f"heard of: {points['suction']}")
    page = daemon.request("GET", "/systems/mill", page=True).body.decode()
    check("spare" in page and "never" in page, "the page")


@suite.test
def secrets_by_link_or_of_a_stranger_are_refused(place):
    hook = place.endpoint()
    daemon = place.daemon(None, [MILL], [contact("office", hook, signing_secret_file="secret")])
    good = daemon.secret("kept", "whsec_" + base64.b64encode(bytes(32)).decode())
    link = os.path.join(daemon.folder, "secret")
    # A link to a file that only we may read is as good as the file; to an open one it is not.
    os.symlink(good, link)
    daemon.start(wait_connected=False)
    equal(daemon.stop(), 0, "exit status")
    os.chmod(good, 0o644)
    status, said = daemon.run_to_end()
    check(status == 2 and "everybody on this machine may read" in said, said[-400:])
    os.remove(link)
    os.mkdir(link)
    status, said = daemon.run_to_end()
    check(status == 2 and "secret" in said, said[-400:])


if __name__ == "__main__":
    suite.run()
