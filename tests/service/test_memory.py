#!/usr/bin/env python3
"""One allocation fails, each life a later one: the daemon gives up cleanly. It goes on, drops what
is not committed and takes it anew, or ends with a status other than 0 and a reason; it never
crashes, leaks, or acknowledges what is not stored. See tests/support/tool_faulty_daemon.c.

Environment: LIVES (40): how many allocations fail in each test.
"""
import http.client
import os
import random
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import BUILD, PATIENCE, Suite, check, contact  # noqa: E402
from oracle import Traffic  # noqa: E402

suite = Suite()
LIVES = int(os.environ.get("LIVES", "40"))
LIVES_AN_ALERT = 6
NOTE = "FAULT: an allocation fails"


def ask_everything(daemon):
    """What people ask for; any answer or none will do, but it must not hang."""
    page = ("/", "/systems/s0", "/systems/a0", "/systems/s0/points/p0", "/alarms", "/visits")
    api = ("/health", "/metrics", "/visits.ics", "/api/systems", "/api/systems/s0", "/api/visits",
           "/api/alarms?all=1", "/api/deliveries", "/api/refused", "/api/unclaimed",
           "/api/readings?system=s0&limit=100")
    changes = (("/api/systems/s1/out-of-service", {"until": "1 d", "by": "x", "why": "y"}),
               ("/api/systems/s1/return-to-service", {"by": "x"}),
               ("/api/systems/s2/visit-done", {"by": "x", "found": "y", "did": "z"}))
    for path in page + api:
        try:
            daemon.request("GET", path, page=path in page)
        except (OSError, http.client.HTTPException):
            pass
    for path, body in changes:
        try:
            daemon.request("POST", path, body)
        except (OSError, http.client.HTTPException):
            pass


def one_life(daemon, place, number):
    """How it went: "ended" with a reason, "went on", or "untouched" when no allocation failed."""
    said = len(daemon.log())
    daemon.environment["FAULT"] = f"{place}:{number}"
    daemon.spawn()
    end = time.monotonic() + 20 * PATIENCE
    while daemon.process.poll() is None and time.monotonic() < end:
        if "READY=1" in daemon.notifications():
            time.sleep(0.4)
            ask_everything(daemon)
            time.sleep(0.2)
            break
        time.sleep(0.01)
    check(time.monotonic() < end, f"allocation {number}: neither ready nor at its end")
    status = daemon.process.poll()
    went_on = status is None
    if went_on:
        status = daemon.stop()  # by SIGTERM, so that what leaked is told
    del daemon.environment["FAULT"]
    mine = daemon.log()[said:]
    check(status in ((0, 1, 2) if went_on else (1, 2)), f"allocation {number}: status {status}")
    check(went_on or mine.replace(NOTE, "").strip(), f"allocation {number}: ended without a word")
    return "untouched" if NOTE not in mine else "went on" if went_on else "ended"


def lives(place, fault):
    ground = random.Random(suite.seed)
    broker, hook = place.broker(), place.endpoint()
    traffic = Traffic(broker, suite.seed, LIVES // LIVES_AN_ALERT + 1)
    daemon = place.daemon(broker, traffic.systems, [contact("office", hook)], **traffic.settings)
    daemon.program = os.path.join(BUILD, "tests", "tool_faulty_daemon")
    daemon.start()
    traffic.start()
    daemon.stop()
    outcomes, most, number = {}, 0, 0
    for life in range(LIVES):
        ident = f"a{life // LIVES_AN_ALERT}"
        traffic.lower([ident])
        # First ever later ones, until a life has no more of them; then at random.
        number = int(most * ground.random()) + 1 if most else int(number * 1.5) + 1
        outcome = one_life(daemon, fault, number)
        most = most or (number if outcome == "untouched" else 0)
        outcomes[outcome] = outcomes.get(outcome, 0) + 1
        # Told while it stands: what came and went within a backlog is history and told to nobody.
        if life % LIVES_AN_ALERT == LIVES_AN_ALERT - 1 or life == LIVES - 1:
            daemon.start()
            traffic.told(daemon, "raised", [ident])
            traffic.restore([ident])
            traffic.told(daemon, "returned", [ident])
            daemon.stop()
    daemon.start()
    traffic.finish()
    print(f"        {fault}, 1 to {most or number}: {outcomes}", flush=True)
    traffic.judge(daemon, hook, LIVES)
    return outcomes


@suite.test
def an_allocation_that_fails_at_the_start_ends_it_with_a_reason(place):
    check(lives(place, "memory").get("ended", 0) > LIVES / 4, "lives that ended")


@suite.test
def an_allocation_that_fails_at_work_loses_nothing(place):
    check(lives(place, "memory-at-work").get("went on", 0) > LIVES / 4, "lives that went on")


if __name__ == "__main__":
    suite.run()
