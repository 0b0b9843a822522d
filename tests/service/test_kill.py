#!/usr/bin/env python3
"""Killed at random moments while readings pour in: each published reading is stored exactly once.

Environment: KILLS (6): how many SIGKILLs; READINGS (30000): how many readings are published.
"""
import os
import random
import sys
import threading

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position,wildcard-import,unused-wildcard-import
from harness import *  # noqa: E402,F403

suite = Suite()
KILLS = int(os.environ.get("KILLS", "6"))
READINGS = int(os.environ.get("READINGS", "30000"))
POINTS, SYSTEMS = 40, 10


def series(ground):
    """[(topic, payload, (system, point), time, value)]: known, in order of time for each point."""
    start, made = now_ms() - READINGS // POINTS * 1000 - 60_000, []
    for i in range(READINGS):
        number = i % POINTS
        where = f"s{number % SYSTEMS}", f"p{number // SYSTEMS}"
        moment, value = start + i // POINTS * 1000 + number, round(ground.uniform(1, 900), 3)
        made.append((f"subslab/{where[0]}/{where[1]}", timed(value, moment), where, moment, value))
    return made


class Load(threading.Thread):
    """Publishes all; what the broker has not acknowledged when it goes away is published again."""

    def __init__(self, broker, made, rate):
        super().__init__(daemon=True)
        self.broker, self.made, self.rate, self.error = broker, made, rate, None
        self.published = 0

    def run(self):
        position, step, began = 0, 200, time.monotonic()
        while position < len(self.made):
            part = [m[:2] for m in self.made[position:position + step]]
            try:
                with Publisher(self.broker.port, f"load-{random.getrandbits(40):x}") as publisher:
                    while part:
                        publisher.publish(part)
                        position += len(part)
                        self.published = position
                        part = [m[:2] for m in self.made[position:position + step]]
                        ahead = position / self.rate - (time.monotonic() - began)
                        if ahead > 0:
                            time.sleep(ahead)
            except OSError:
                time.sleep(0.1)  # the broker is being restarted


def compare(daemon, made):
    expected = {}
    for _, _, where, moment, value in made:
        expected.setdefault(where, []).append((moment, value))

    def stored():
        return sum(len(v) for s in range(SYSTEMS) for v in daemon.readings(f"s{s}").values())

    wait_until(lambda: stored() >= len(made), 60, "every published reading stored")
    lost = twice = wrong = 0
    for s in range(SYSTEMS):
        found = daemon.readings(f"s{s}")
        for p in range(POINTS // SYSTEMS):
            mine = found.get(f"p{p}", [])
            wanted = dict(expected[(f"s{s}", f"p{p}")])
            twice += len(mine) - len(dict(mine))
            lost += len(wanted.keys() - dict(mine).keys())
            wrong += sum(1 for t, v in mine if wanted.get(t) != v)
    equal((lost, twice, wrong), (0, 0, 0), "readings (lost, twice, wrong)")
    equal(daemon.refused(), {}, "refused: a redelivery is no conflict")


def kill_at_random(place, with_broker):
    ground = random.Random(suite.seed)
    broker, made = place.broker(), series(ground)
    systems = [system(f"s{s}", [point(f"p{p}", every="1 s") for p in range(POINTS // SYSTEMS)])
               for s in range(SYSTEMS)]
    daemon = place.daemon(broker, systems, client_id="survivor",
                          conditions={"sensor-silent": {"enabled": "no"},
                                      "system-silent": {"enabled": "no"},
                                      "fleet-silent": {"enabled": "no"}})
    daemon.start()
    load = Load(broker, made, rate=READINGS / max(6.0, KILLS * 1.2))
    load.start()
    waited, restarts = [], 0
    for number in range(KILLS):
        pause = ground.uniform(0.05, 0.9) * (2 if SANITIZED else 1)
        waited.append(round(pause, 3))
        time.sleep(pause)  # the random moment is the point of the test
        daemon.kill()
        if with_broker and number % 2:
            broker.stop()
            broker.start()
            restarts += 1
        daemon.start(wait_connected=False)
    print(f"        killed after {waited} s, broker restarted {restarts} times", flush=True)
    wait_until(lambda: not load.is_alive(), 90, "the load is published")
    compare(daemon, made)


@suite.test
def killed_daemon_loses_nothing_and_stores_nothing_twice(place):
    kill_at_random(place, with_broker=False)


@suite.test
def killed_daemon_and_restarted_broker_lose_nothing(place):
    kill_at_random(place, with_broker=True)


@suite.test
def a_killed_broker_that_saves_each_change_keeps_what_it_confirmed(place):
    broker = place.broker(BROKER_SAVES_EACH_CHANGE)
    made = series(random.Random(suite.seed))[:1200]
    systems = [system(f"s{s}", [point(f"p{p}", every="1 s") for p in range(POINTS // SYSTEMS)])
               for s in range(SYSTEMS)]
    daemon = place.daemon(broker, systems, client_id="survivor")
    daemon.start()
    for part in range(3):
        broker.publish([m[:2] for m in made[part * 400:part * 400 + 200]])
        daemon.kill()
        broker.publish([m[:2] for m in made[part * 400 + 200:part * 400 + 400]])
        # The broker confirms before it saves: only what is saved can be asked back.
        wait_until(lambda: broker.database_age_s() > 0.5, 20, "the broker has saved")
        broker.kill()
        broker.start()
        daemon.start()
    compare(daemon, made)


if __name__ == "__main__":
    suite.run()
