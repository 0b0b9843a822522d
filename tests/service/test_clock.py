#!/usr/bin/env python3
"""A wrong clock on the wall: nothing is lost, moved, refused or deleted for it."""
import os
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import (LOW_AT_ONCE, Suite, check, contact, equal, now_ms, plain_point,  # noqa: E402
                     point, stays, system, timed, wait_until, write_file)
from faked_time import faked_time  # noqa: E402

suite = Suite()
AT_ONCE = {**LOW_AT_ONCE, "broker-lost": {"on_delay": "1 s"}, "delivery-failing": {"on_delay": "1 s"}}
QUIET = {**AT_ONCE, "sensor-silent": {"enabled": "no"}, "system-silent": {"enabled": "no"}}
HOUSE = system("mill", [point("suction", every="10 s"), point("field", every="10 s"),
                        plain_point("plain", every="10 s")])
OWN, HOUR_S = ("suction", "field"), 3600


def watched(place, broker, hook, clock="+0\n", before=10):
    """A daemon that has taken some readings and ended, and the file of its clock on the wall."""
    environment, file = faked_time(place, "+0\n")
    daemon = place.daemon(broker, [HOUSE], [contact("office", hook)], conditions=QUIET,
                          environment=environment)
    daemon.start()
    start = now_ms() - 600_000
    broker.publish([(f"subslab/mill/{n}", timed(300 + i % 7, start + i * 10_000))
                    for i in range(before) for n in OWN])
    wait_until(lambda: all(len(daemon.readings("mill", n)) == before for n in OWN), 20, "readings")
    equal(daemon.stop(), 0, "exit status")
    write_file(file, clock)
    return daemon, file, start


def queue(broker, start, first, last):
    """Readings with times of their own, and three without."""
    broker.publish([(f"subslab/mill/{n}", timed(300 + i % 7, start + i * 10_000))
                    for i in range(first, last) for n in OWN]
                   + [("subslab/mill/plain", str(280 + i)) for i in range(3)])


def nothing_is_taken(daemon, held_readings, *words):
    status, health = wait_until(lambda: (lambda h: h if h[1].get("clock") == "doubted" else None)(
        daemon.health()), 20, "/health says clock")
    equal(status, 503, "/health")
    for word in words:
        check(word in health["clock_why"], f"{health}")
    stays(lambda: sum(len(daemon.readings("mill", n)) for n in (*OWN, "plain")) == held_readings
          and daemon.metric("subslab_messages_total") == 0, 3, "nothing is taken")
    check("clock of this machine" in daemon.request("GET", "/", page=True).body.decode(), "the page")


def all_is_taken(daemon, start, count):
    wait_until(lambda: daemon.health()[1].get("clock") == "works", 60, "the clock is trusted")
    for name in OWN:
        wait_until(lambda n=name: len(daemon.readings("mill", n)) == count, 60, f"all of {name}")
        equal([r[0] for r in daemon.readings("mill", name)],
              [start + i * 10_000 for i in range(count)], f"times of {name}")
    wait_until(lambda: len(daemon.readings("mill", "plain")) == 3, 20, "those without a time")
    for time_ms, _ in daemon.readings("mill", "plain"):
        check(abs(time_ms - now_ms()) < 120_000, f"moved by {time_ms - now_ms()} ms")
    equal(daemon.refused(), {}, "refused")


@suite.test
def a_clock_two_days_back_loses_and_moves_nothing(place):
    broker, hook = place.broker(), place.endpoint()
    daemon, clock, start = watched(place, broker, hook, "-2d\n")
    queue(broker, start, 10, 20)
    daemon.start(wait_connected=False)
    nothing_is_taken(daemon, 20, "before the newest reading")
    both = ("before the newest reading", "and the times of 2 points are ahead")
    wait_until(lambda: all(w in daemon.health()[1]["clock_why"] for w in both), 20,
               "what the store and what the sensors say")
    for step in range(2 * 24 * HOUR_S, 0, -6 * HOUR_S):  # set by steps
        write_file(clock, f"-{step}\n")
        time.sleep(0.2)
    write_file(clock, "+0\n")
    all_is_taken(daemon, start, 20)


@suite.test
def a_clock_a_year_ahead_takes_moves_and_deletes_nothing(place):
    broker, hook = place.broker(), place.endpoint()
    daemon, clock, start = watched(place, broker, hook, "+400d\n")
    queue(broker, start, 10, 20)
    daemon.start(wait_connected=False)
    nothing_is_taken(daemon, 20, "long after the last sign of life")
    write_file(clock, "+0\n")
    all_is_taken(daemon, start, 20)


@suite.test
def a_clock_that_boots_late_is_seen_by_the_sensors(place):
    """It stands where we last were, and time went on: only the sensors can tell."""
    broker, hook = place.broker(), place.endpoint()
    daemon, clock, start = watched(place, broker, hook, "-1h\n", before=0)
    queue(broker, start, 0, 10)
    daemon.start(wait_connected=False)
    nothing_is_taken(daemon, 0, "2 points are ahead")
    write_file(clock, "+0\n")
    all_is_taken(daemon, start, 10)


@suite.test
def a_clock_set_wrong_while_we_run_takes_nothing(place):
    broker, hook = place.broker(), place.endpoint()
    daemon, clock, start = watched(place, broker, hook)
    daemon.start()
    for text, word in (("+400d\n", "long after"), ("-2d\n", "before")):
        write_file(clock, text)
        nothing_is_taken(daemon, 20, word)
        write_file(clock, "+0\n")
        wait_until(lambda: daemon.health()[1].get("clock") == "works", 20, "trusted")
    queue(broker, start, 10, 20)
    all_is_taken(daemon, start, 20)


if __name__ == "__main__":
    suite.run()
