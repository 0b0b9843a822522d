#!/usr/bin/env python3
"""Killed at random moments while readings pour in and alarms come and go: nothing is lost, nothing
is stored twice, and everybody who was to be told is told. What is judged: tests/support/oracle.py.

Environment: KILLS (200): how many SIGKILLs the daemon gets in the first test.
"""
# Limit: 900 s
import os
import random
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (BROKER_SAVES_EACH_CHANGE, Suite, contact, equal, now_ms, point,  # noqa: E402
                     system, timed, wait_until)
from oracle import Traffic, unsteady_steps  # noqa: E402

suite = Suite()
KILLS = int(os.environ.get("KILLS", "200"))
KILLS_A_CYCLE, ALERTS_A_CYCLE = 20, 3


class Killer:
    """Starts and kills one daemon; most lives are shorter than its start takes, or not by much."""

    def __init__(self, daemon, seed):
        self.daemon, self.ground, self.kills = daemon, random.Random(seed), 0
        self.unready = 0
        began = time.monotonic()
        daemon.start()
        self.start_s = time.monotonic() - began

    def kill(self):
        self.unready += "READY=1" not in self.daemon.notifications()
        self.daemon.kill()
        self.kills += 1

    def short_life(self):
        self.kill()
        self.daemon.spawn()
        late = self.ground.random() < 0.5
        # The random moment is the point of the test.
        time.sleep(self.start_s + self.ground.uniform(0, 1) if late
                   else self.ground.uniform(0, 1.2 * self.start_s))

    def life_until(self, condition):
        """Dies close to the moment at which something has come true."""
        self.kill()
        self.daemon.start()
        condition()
        time.sleep(self.ground.uniform(0, 0.15))


def kill_cycles(place, kills, broker_restarts=0):
    broker, cycles = place.broker(), max(1, kills // KILLS_A_CYCLE)
    hook = place.endpoint({"*": unsteady_steps(suite.seed)})
    traffic = Traffic(broker, suite.seed, alerts=cycles * ALERTS_A_CYCLE)
    daemon = place.daemon(broker, traffic.systems, [contact("office", hook)], **traffic.settings)
    killer = Killer(daemon, suite.seed)
    traffic.start()
    for cycle in range(cycles):
        idents = [f"a{cycle * ALERTS_A_CYCLE + i}" for i in range(ALERTS_A_CYCLE)]
        for change, kind in ((traffic.lower, "raised"), (traffic.restore, "returned")):
            change(idents)
            while killer.kills % (KILLS_A_CYCLE // 2) < KILLS_A_CYCLE // 2 - 1:
                if broker_restarts and killer.ground.random() < broker_restarts:
                    broker.stop()
                    broker.start()
                killer.short_life()
            killer.life_until(lambda k=kind, i=idents: traffic.told(daemon, k, i))
    killer.kill()
    daemon.start()
    traffic.finish()
    print(f"        {killer.kills} kills, {killer.unready} of them before READY", flush=True)
    traffic.judge(daemon, hook, killer.kills)


@suite.test
def killed_daemon_loses_nothing_and_stores_nothing_twice(place):
    kill_cycles(place, KILLS)


@suite.test
def killed_daemon_and_restarted_broker_lose_nothing(place):
    kill_cycles(place, KILLS_A_CYCLE, broker_restarts=0.3)


@suite.test
def a_killed_broker_that_saves_each_change_keeps_what_it_confirmed(place):
    broker = place.broker(BROKER_SAVES_EACH_CHANGE)
    daemon = place.daemon(broker, [system("mill", [point("suction", every="1 s")])])
    daemon.start()
    start = now_ms() - 1_000_000
    made = [(start + i * 1000, 300 + i % 100) for i in range(600)]
    for part in range(3):
        mine = [("subslab/mill/suction", timed(v, t)) for t, v in made[part * 200:part * 200 + 200]]
        broker.publish(mine[:100])
        daemon.kill()
        broker.publish(mine[100:])
        # The broker confirms before it saves: only what is saved can be asked back.
        wait_until(lambda: broker.database_age_s() > 0.5, 20, "the broker has saved")
        broker.kill()
        broker.start()
        daemon.start()
    wait_until(lambda: len(daemon.readings("mill", "suction")) >= len(made), 60, "every reading")
    equal(daemon.readings("mill", "suction"), made, "readings")
    equal(daemon.refused(), {}, "refused: a redelivery is no conflict")


if __name__ == "__main__":
    suite.run()
