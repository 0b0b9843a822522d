#!/usr/bin/env python3
"""From the broker to a webhook: backlogs, restarts, silence."""
import json
import os
import random
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (LOW_AT_ONCE, PATIENCE, SANITIZED, Suite, check, contact, equal,  # noqa: E402
                     events, export_csv, notices, now_ms, point, stays, system,
                     time_ms_of, timed, wait_until)
from low_alarms import HOUR, MINUTE, low_at_once  # noqa: E402

suite = Suite()


@suite.test
def a_restart_keeps_states_and_repeats_no_message(place):
    broker, hook = place.broker(), place.endpoint()
    names = [f"s{i}" for i in range(6)]
    slow = {"suction-low": {**LOW_AT_ONCE["suction-low"], "on_delay": "6 s", "off_delay": "0 s"}}
    # A contact for each, because one contact would be told of all in one message.
    daemon = place.daemon(broker, [system(n, [point("suction")], contacts=[n]) for n in names] +
                          [system("slow", [point("suction")], conditions=slow, contacts=["s0"])],
                          [contact(n, hook) for n in names], **low_at_once())
    daemon.start()
    now = now_ms()
    broker.publish([(f"subslab/{n}/suction", timed(50, now)) for n in names])
    wait_until(lambda: len(notices(hook)) == 6, 10, "six raises")
    ids = {a["system"]: a["id"] for a in daemon.alarms()}
    daemon.post(f"/api/alarms/{ids['s0']}/acknowledge", {"by": "x", "note": "seen"})
    daemon.post(f"/api/alarms/{ids['s1']}/shelve", {"until": "9 d", "by": "x", "why": "y"})
    daemon.post("/api/systems/s2/out-of-service", {"until": "9 d", "by": "x", "why": "y"})
    wait_until(lambda: events(hook, kind="alarm.acknowledged"), 10, "the acknowledgement told")
    broker.publish([("subslab/slow/suction", timed(50, now_ms()))])
    began = now_ms()
    wait_until(lambda: daemon.readings("slow"), 5, "the slow reading")

    before = sorted((a["system"], a["id"], a["state"], a["raised"]) for a in daemon.alarms())
    told = len(events(hook))
    for round_number in range(3):
        if round_number == 1:
            equal(daemon.stop(), 0, "exit status")
        else:
            daemon.kill()
        daemon.start()
        after = sorted((a["system"], a["id"], a["state"], a["raised"]) for a in daemon.alarms()
                       if a["system"] != "slow")
        equal(after, before, f"states after restart {round_number}")
    slow_alarm = daemon.alarm("suction-low", 15, system="slow")
    raised = time_ms_of(slow_alarm["raised"])
    check(abs(raised - began - 6000) < 1500, f"on-delay over the restarts: {raised - began} ms")
    wait_until(lambda: len(events(hook)) > told, 10, "the slow alarm")
    time.sleep(1.5)  # long enough for what would be told again
    more = [(e["type"], e.get("subject"), e["data"].get("condition")) for e in events(hook)][told:]
    equal(more, [("subslab.alarm.raised", "slow", "suction-low")], "told after the restarts")
    per_id = [r["headers"]["webhook-id"] for r in hook.requests]
    equal(len(per_id), len(set(per_id)), "each message posted once")
    broker.publish([("subslab/s0/suction", timed(300, now_ms())),
                    ("subslab/s3/suction", timed(300, now_ms()))])
    wait_until(lambda: sorted(n[0] for n in notices(hook) if n[1] == "returned") == ["s0", "s3"],
               10, "returns afterwards")


@suite.test
def what_came_and_went_in_a_backlog_is_history_and_what_stands_is_told(place):
    broker, hook = place.broker(), place.endpoint()
    names = ["gone", "stands", "fine"]
    six_hours = {"suction-low": {"setpoint": "100 Pa", "deadband": "10 Pa", "on_delay": "30 min"},
                 "suction-lost": {"enabled": "no"}, "suction-high": {"enabled": "no"}}
    daemon = place.daemon(broker, [system(n, [point("suction", every="10 min")]) for n in names],
                          [contact("office", hook)], conditions=six_hours)
    daemon.start()
    start = now_ms() - 12 * HOUR
    broker.publish([(f"subslab/{n}/suction", timed(300, start)) for n in names])
    wait_until(lambda: all(daemon.readings(n) for n in names), 10, "first readings")
    equal(daemon.stop(), 0, "exit status")

    backlog = []
    for step in range(1, 72):
        at = start + step * 10 * MINUTE
        backlog += [("subslab/gone/suction", timed(50 if 20 <= step < 40 else 300, at)),
                    ("subslab/stands/suction", timed(50 if step >= 60 else 300 + step % 3, at)),
                    ("subslab/fine/suction", timed(300 + step % 5, at))]
    broker.publish(backlog)
    daemon.start()
    ready = time.time()
    wait_until(lambda: events(hook), 10, "what still stands")
    check(hook.requests[0]["at"] - ready < 5 * (PATIENCE if SANITIZED else 1),
          f"told {hook.requests[0]['at'] - ready:.1f} s after the start, allowed are 5 s")
    wait_until(lambda: sum(len(v) for n in names for v in daemon.readings(n).values()) == 3 * 72,
               10, "all readings")
    stays(lambda: len(events(hook)) == 1, 2, "more than one message")
    event = events(hook)[0]
    equal((event["subject"], event["data"]["condition"]), ("stands", "suction-low"), "told of")
    equal(time_ms_of(event["data"]["raised"]), start + 63 * 10 * MINUTE, "raised at its event time")
    equal(time_ms_of(event["data"]["since"]), start + 60 * 10 * MINUTE, "true since")
    gone = [a for a in daemon.alarms(all=1) if a["system"] == "gone"]
    equal([(a["condition"], a["state"]) for a in gone], [("suction-low", "normal")], "history")
    equal(time_ms_of(gone[0]["raised"]), start + 23 * 10 * MINUTE, "history: raised")
    equal([a["system"] for a in daemon.alarms()], ["stands"], "open alarms")


@suite.test
def a_shuffled_day_ends_like_the_sorted_one(place):
    broker, ground = place.broker(), random.Random(suite.seed)
    conditions = {"suction-low": {"setpoint": "100 Pa", "deadband": "10 Pa", "on_delay": "30 min"},
                  "suction-lost": {"setpoint": "20 Pa", "on_delay": "20 min"},
                  "suction-high": {"setpoint": "400 Pa", "on_delay": "40 min"},
                  # Judged by the order in which messages come, which is not that of their times.
                  "sensor-implausible": {"enabled": "no"}}
    names = ["a", "b", "c"]
    # All of it recent enough that only events decide, not silence at the wall clock.
    start = now_ms() - 24 * HOUR
    day = []
    for name in names:
        level = 300.0
        for step in range(144):
            if ground.random() < 0.08:
                level = ground.choice([300.0, 50.0, 5.0, 450.0])
            if step >= 130:  # something stands in the end
                level = {"a": 50.0, "b": 450.0}.get(name, level)
            day.append((f"subslab/{name}/suction",
                        timed(round(level + ground.uniform(-5, 5), 3), start + step * 10 * MINUTE)))
    shuffled = day[:]
    ground.shuffle(shuffled)
    outcomes = []
    for order in (sorted(day, key=lambda m: json.loads(m[1])["t"]), shuffled):
        daemon = place.daemon(broker, [system(n, [point("suction", every="10 min")])
                                       for n in names], conditions=conditions)
        daemon.start()
        # In parts, so that late readings come in many turns.
        for i in range(0, len(order), 60):
            broker.publish(order[i:i + 60])
        wait_until(lambda d=daemon: d.metric("subslab_readings_total") == len(day), 20, "the day")
        alarms = sorted((a["system"], a["condition"], a["state"], a["since"], a["raised"])
                        for a in daemon.alarms())
        history = sorted((a["system"], a["condition"], a["since"], a["raised"], a["returned"])
                         for a in daemon.alarms(all=1) if a["returned"])
        outcomes.append((alarms, history, [export_csv(daemon.readings(n)) for n in names]))
        equal(daemon.stop(), 0, "exit status")
    equal(outcomes[1][2], outcomes[0][2], "the same export")
    equal(outcomes[1][0], outcomes[0][0], "the same open alarms")
    check(outcomes[0][0] and outcomes[0][1], "the day holds open alarms and history")
    for one in outcomes[0][1]:
        check(any(o[:2] == one[:2] and o[3] <= one[4] and one[3] <= o[4] for o in outcomes[1][1]),
              f"not in the history of the shuffled run: {one}")


SHORT_SILENCE = {**LOW_AT_ONCE, "sensor-silent": {"setpoint": "1 min"},
                 "system-silent": {"on_delay": "0 s"}}


ALMOST_SILENT_MS = 55_000  # a reading this old is silent 5 s from now


def send_to(broker, topics, age_ms=0):
    at = now_ms() - age_ms
    broker.publish([(f"subslab/{t}", timed(300 + at % 7, at)) for t in topics])


def nothing_stands(daemon):
    return not [a for a in daemon.alarms() if a["returned"] is None]


@suite.test
def one_silent_sensor_and_a_silent_system(place):
    broker, hook = place.broker(), place.endpoint()
    pair = [point("a", every="1 s"), point("b", every="1 s")]
    # So many live ones that two quiet ones are no sign of a greater trouble.
    others = ["live"] + [f"live{i}" for i in range(12)]
    daemon = place.daemon(broker, [system("one", pair), system("all", pair)] +
                          [system(n, pair[:1]) for n in others],
                          [contact("office", hook)], conditions=SHORT_SILENCE)
    daemon.start()
    live = ["one/a"] + [f"{n}/a" for n in others]
    every = live + ["one/b", "all/a", "all/b"]
    send_to(broker, every, ALMOST_SILENT_MS)

    def silent_found():
        send_to(broker, live)
        time.sleep(0.4)
        states = {(a["system"], a["condition"], a["state"]) for a in daemon.alarms()}
        return {("one", "sensor-silent", "unacknowledged"),
                ("all", "system-silent", "unacknowledged")} <= states and states

    states = wait_until(silent_found, 20, "sensor-silent and system-silent")
    words = {s["id"]: s["status"] for s in daemon.get("/api/systems")}
    equal((words["all"], words["live"]), ("silent", "in spec"), "status words")
    check(not any(s == "all" and c == "sensor-silent" and state != "suppressed by design"
                  for s, c, state in states), f"the system's silence speaks for its sensors: {states}")
    wait_until(lambda: len(notices(hook)) == 2, 5, "both told")
    send_to(broker, every)
    wait_until(lambda: nothing_stands(daemon), 10, "heard again")
    wait_until(lambda: len(notices(hook)) == 4, 10, "both returns told")
    equal(sorted(notices(hook)),
          [("all", "raised", "system-silent"), ("all", "returned", "system-silent"),
           ("one", "raised", "sensor-silent"), ("one", "returned", "sensor-silent")], "told")


@suite.test
def a_silent_fleet_is_one_message(place):
    broker, hook = place.broker(), place.endpoint()
    names = [f"s{i}" for i in range(8)]
    pair = [point("a", every="1 s"), point("b", every="1 s")]
    daemon = place.daemon(broker, [system(n, pair) for n in names], [contact("office", hook)],
                          conditions=SHORT_SILENCE)
    daemon.start()
    every = [f"{n}/{p}" for n in names for p in "ab"]
    send_to(broker, every, ALMOST_SILENT_MS)

    def fleet_silent():
        send_to(broker, every[:4])
        time.sleep(0.4)
        return [a for a in daemon.alarms() if a["condition"] == "fleet-silent"]

    wait_until(fleet_silent, 20, "fleet-silent")
    for _ in range(8):
        send_to(broker, every[:4])
        time.sleep(0.4)
    equal([(e["type"], e["data"]["condition"]) for e in events(hook)],
          [("subslab.alarm.raised", "fleet-silent")], "one message for six silent systems")

    send_to(broker, every)
    wait_until(lambda: nothing_stands(daemon), 10, "the fleet is back")
    wait_until(lambda: len(events(hook)) >= 2, 10, "one message that it is back")
    check(len(events(hook)) <= 3, f"messages in all: {[e['type'] for e in events(hook)]}")


if __name__ == "__main__":
    suite.run()
