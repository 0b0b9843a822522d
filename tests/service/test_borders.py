#!/usr/bin/env python3
"""Death at each border of the work, by name and not by chance: between reading and judging, before
and after a commit, an acknowledgement, a POST, a mark; in packing, retention and the making of the
store. The places are those of tests/support/tool_faulty_daemon.c; what is judged: oracle.py.
"""
import os
import signal
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (BUILD, Suite, check, contact, equal, now_ms, point, system,  # noqa: E402
                     timed, wait_until)
from oracle import Traffic  # noqa: E402

suite = Suite()
FAULTY = os.path.join(BUILD, "tests", "tool_faulty_daemon")
DAY = 86_400_000
BORDERS = ["before-judgement:1", "before-judgement:60", "before-commit:2", "before-commit:9",
           "after-commit:2", "after-commit:9", "after-release:1", "after-release:5", "after-post:1",
           "before-mark:1", "after-mark:1"]
PACKING = ["in-packing:1", "in-packing:3"]
RETENTION = ["in-retention:1", "in-retention:2"]


def dies_at(daemon, border):
    """One life that ends at the border; nothing else may end it."""
    daemon.environment["FAULT"] = border
    daemon.spawn()
    wait_until(lambda: daemon.process.poll() is not None, 15, f"the daemon dies at {border}")
    equal(daemon.process.returncode, -signal.SIGKILL, f"how the daemon ended at {border}")
    del daemon.environment["FAULT"]


def faulty(place, via, systems, contacts=(), **more):
    daemon = place.daemon(via, systems, contacts, **more)
    daemon.program = FAULTY
    return daemon


def is_sound(daemon):
    daemon.kill()
    found = subprocess.run([os.path.join(BUILD, "subslabctl"), "--settings", daemon.settings_file,
                            "verify"], capture_output=True, check=False, timeout=60)
    equal(found.returncode, 0, f"verify: {found.stdout.decode()} {found.stderr.decode()}")


@suite.test
def a_death_at_any_border_loses_nothing_and_tells_everything(place):
    broker, hook = place.broker(), place.endpoint({"*": {"status": 204, "delay": 0.05}})
    traffic = Traffic(broker, suite.seed, alerts=len(BORDERS))
    daemon = faulty(place, broker, traffic.systems, [contact("office", hook)], **traffic.settings)
    dies_at(daemon, "in-creation:1")
    check(not os.path.exists(daemon.store), "a store that was never finished has its name")
    daemon.start()
    traffic.start()
    for number, border in enumerate(BORDERS):
        daemon.kill()
        traffic.lower([f"a{number}"])
        if number:
            traffic.restore([f"a{number - 1}"])
        dies_at(daemon, border)
        daemon.start()
        traffic.told(daemon, "raised", [f"a{number}"])
        if number:
            traffic.told(daemon, "returned", [f"a{number - 1}"])
    traffic.restore([f"a{len(BORDERS) - 1}"])
    traffic.told(daemon, "returned", [f"a{len(BORDERS) - 1}"])
    traffic.finish()
    traffic.judge(daemon, hook, len(BORDERS))


def keeps(daemon, span):
    daemon.settings["store"]["keep_readings"] = span
    daemon.write_settings()


@suite.test
def a_death_while_days_are_packed_loses_nothing(place):
    broker, made = place.broker(), {}
    points = [point(f"p{i}", every="5 min") for i in range(3)]
    daemon = faulty(place, broker, [system("old", points)])
    daemon.start()
    for number, border in enumerate(PACKING):
        at = now_ms() - 5 * DAY + number * 10_000_000
        daemon.kill()
        for name in (p["id"] for p in points):
            mine = [(at + k * 60_000, 300 + k % 50) for k in range(100)]
            made.setdefault(name, []).extend(mine)
            broker.publish([(f"subslab/old/{name}", timed(v, t)) for t, v in mine])
        dies_at(daemon, border)
        daemon.start()
    wait_until(lambda: daemon.readings("old") == made, 30, "each old reading once")
    is_sound(daemon)


@suite.test
def a_death_in_retention_leaves_whole_steps(place):
    broker = place.broker()
    daemon = faulty(place, broker, [system("old", [point("suction")])])
    newest = now_ms()  # age goes by the newest reading
    # A packed day goes when it is over, and in one step: two of them are two steps at least.
    kept, gone = newest - 3 * DAY, [newest - 7 * DAY, newest - 6 * DAY]
    daemon.start()
    broker.publish([("subslab/old/suction", timed(300 + k % 9, at + k * 1000))
                    for at in (*gone, kept) for k in range(4000)] +
                   [("subslab/old/suction", timed(300, newest))])
    wait_until(lambda: daemon.metric("subslab_readings_total") == 12001, 60, "12001 readings")
    daemon.kill()
    keeps(daemon, "4 d")
    for border in RETENTION:
        dies_at(daemon, border)
    daemon.start()
    expected = [(kept + k * 1000, 300 + k % 9) for k in range(4000)] + [(newest, 300)]
    wait_until(lambda: daemon.readings("old", "suction") == expected, 30, "only the old ones gone")
    is_sound(daemon)


if __name__ == "__main__":
    suite.run()
