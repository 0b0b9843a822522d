#!/usr/bin/env python3
"""A message that ends the daemon whenever it is taken: it is set aside, and the readings of the
other systems are stored. Killed, standing still until the service manager ends it, and short of
memory; while the message is taken, and in the work that follows for all messages of its turn.
"""
import contextlib
import json
import os
import signal
import sqlite3
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (BUILD, PATIENCE, Suite, check, equal, now_ms, point, rfc3339,  # noqa: E402
                     system, timed, wait_until)

suite = Suite()
SYSTEMS = [system(name, [point("suction")]) for name in ("mill", "creek", "hill")]
POISON = {"v": 251, "note": "poison"}


class Sender:
    """Readings of all three, each round with one more of everybody."""

    def __init__(self, broker):
        self.broker, self.made, self.at = broker, {s["id"]: [] for s in SYSTEMS}, now_ms() - 60_000

    def send(self, rounds, poison_in=None):
        messages = []
        for number in range(rounds):
            for one, mine in self.made.items():
                self.at += 1
                mine.append((self.at, 300 + number))
                messages.append((f"subslab/{one}/suction", timed(300 + number, self.at)))
            if number == poison_in:
                self.at += 1
                messages.append(("subslab/mill/suction",
                                 json.dumps({**POISON, "t": rfc3339(self.at)})))
        self.broker.publish(messages)


def stands_still(daemon, said):
    """It has come to a standstill, and the watchdog goes unfed for so long that it would end it."""
    if "FAULT: it stands still" not in daemon.log()[said:]:
        return False
    beats = daemon.notifications().count("WATCHDOG=1")
    time.sleep(2)
    equal(daemon.notifications().count("WATCHDOG=1"), beats, "beats of a loop that stands still")
    return True


def one_life(daemon, done):
    """As the service manager sees it: starts it, and ends it when it stands still. True when it
    died."""
    began, said = time.monotonic(), len(daemon.log())
    daemon.spawn()
    while not done():
        daemon.notifications()  # a service manager always reads them
        if daemon.process.poll() is not None:
            return True
        if stands_still(daemon, said):
            daemon.process.send_signal(signal.SIGABRT)
            daemon.process.wait(10)
            return True
        check(time.monotonic() - began < 30 * PATIENCE, "neither dead nor done")
        time.sleep(0.02)
    return False


def stored(daemon, made):
    """Looked up in the file itself: a daemon that stands still answers nobody."""
    found = {one: [] for one in made}
    try:
        with contextlib.closing(sqlite3.connect(f"file:{daemon.store}?mode=ro", uri=True)) as shell:
            for one, at, value in shell.execute(
                    "SELECT points.system, time_ms, value FROM (SELECT point, time_ms, value FROM "
                    "readings UNION SELECT point, time_ms, value FROM arrivals) AS taken JOIN points ON "
                    "taken.point = points.key ORDER BY time_ms"):
                found[one].append((at, value))
    except sqlite3.Error:
        return False
    return found == made


def survives(place, fault, kind, most_deaths):
    broker = place.broker()
    daemon = place.daemon(broker, SYSTEMS, environment={"WATCHDOG_USEC": "2000000"})
    daemon.start()
    daemon.kill()
    sender = Sender(broker)
    sender.send(6, poison_in=3)
    daemon.program = os.path.join(BUILD, "tests", "tool_faulty_daemon")
    daemon.environment.update(FAULT=f"{fault}:99", FAULT_PAYLOAD="poison", FAULT_KIND=kind)
    deaths = 0
    while one_life(daemon, lambda: stored(daemon, sender.made)):
        deaths += 1
        check(deaths <= most_deaths, f"{deaths} deaths, and still not set aside")
    equal(daemon.refused(), {("subslab/mill/suction", "set aside"): 1}, "refused")
    listed = subprocess.run([os.path.join(BUILD, "subslabctl"), "--settings", daemon.settings_file,
                             "refused"], capture_output=True, text=True, check=True).stdout
    check("set aside" in listed and "subslab/mill/suction" in listed, listed)
    check("poison" in daemon.get("/api/refused")[0]["example"], "its example")
    check("messages: one of subslab/mill/suction is set aside" in daemon.log(), "a line in the log")
    # Acknowledged with the commit: it never comes again, and what follows is taken as always.
    sender.send(1)
    wait_until(lambda: stored(daemon, sender.made), 10, "what follows")
    daemon.kill()
    daemon.start()
    sender.send(1)
    wait_until(lambda: stored(daemon, sender.made), 10, "what follows a start")
    equal(daemon.refused(), {("subslab/mill/suction", "set aside"): 1}, "refused in the end")
    return deaths, daemon


@suite.test
def killed_while_it_is_taken_it_is_set_aside_after_two_deaths(place):
    equal(survives(place, "taking", "death", 2)[0], 2, "deaths")


@suite.test
def killed_in_what_follows_for_all_it_is_found_and_set_aside(place):
    equal(survives(place, "settling", "death", 3)[0], 3, "deaths: one of all, two of it alone")


@suite.test
def standing_still_it_is_set_aside_after_the_watchdog_came_twice(place):
    equal(survives(place, "taking", "standstill", 2)[0], 2, "deaths")


@suite.test
def standing_still_in_what_follows_it_is_found_and_set_aside(place):
    equal(survives(place, "settling", "standstill", 3)[0], 3, "deaths")


@suite.test
def short_of_memory_it_is_set_aside_without_a_death(place):
    for fault in ("taking", "settling"):
        deaths, daemon = survives(place, fault, "memory", 0)
        equal(deaths, 0, "deaths")
        check("store: out of memory; give the service more" in daemon.log(), "the reason")
        daemon.kill()


if __name__ == "__main__":
    suite.run()
