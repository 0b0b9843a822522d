"""oracle: live traffic while the daemon is made to fail, and what must be true in the end.

    traffic = Traffic(broker, seed, alerts=30)
    daemon = place.daemon(broker, traffic.systems, [contact("office", hook)], **traffic.settings)
    daemon.start()
    traffic.start()
    traffic.lower(["a0", "a1"])       # they go out of spec and stay so
    ... kill it, start it ...
    traffic.told(daemon, "raised", ["a0", "a1"])
    traffic.restore(["a0", "a1"])
    ...
    traffic.finish()
    traffic.judge(daemon, hook)

Every published reading is in the store exactly once, or is counted as refused with a reason; every
alarm that was due exists once, with the times of the readings that caused it, and its messages
reached the endpoint at least once, always with the same id and the same bytes.
"""
import random
import sqlite3
import threading
import time

from harness import (LOW_AT_ONCE, Publisher, check, equal, events, now_ms, point,
                     system, timed, wait_until)

STEADY_SYSTEMS, STEADY_POINTS = 10, 10
BROKEN_TOPIC = "subslab/broken/suction"
TICK_S = 0.1
TICKS = 10  # every point reports once in so many
RECEIVE_MAXIMUM = 200


class Traffic(threading.Thread):
    """Publishes at QoS 1; what the broker did not confirm is published again as it was."""

    def __init__(self, broker, seed, alerts):
        super().__init__(daemon=True)
        self.broker, self.ground = broker, random.Random(seed)
        self.alerts = [f"a{i}" for i in range(alerts)]
        self.places = [(f"s{s}", f"p{p}") for s in range(STEADY_SYSTEMS)
                       for p in range(STEADY_POINTS)] + [(a, "suction") for a in self.alerts]
        self.made = {}  # (system, point): [(time, value)], what the broker has confirmed
        self.broken = 0
        self.low, self.low_from, self.good_from = set(), {}, {}
        self.ends = threading.Event()
        self.lock = threading.Lock()

    @property
    def systems(self):
        named = {}
        for ident, name in self.places + [("broken", "suction")]:
            named.setdefault(ident, []).append(point(name, every="1 s"))
        return [system(ident, points) for ident, points in named.items()]

    @property
    def settings(self):
        silent = {name: {"enabled": "no"} for name in
                  ("sensor-silent", "system-silent", "fleet-silent", "sensor-stuck")}
        return {"client_id": "survivor", "conditions": {**LOW_AT_ONCE, **silent},
                "broker": {"receive_maximum": RECEIVE_MAXIMUM}}

    def lower(self, idents):
        with self.lock:
            self.low.update(idents)

    def restore(self, idents):
        with self.lock:
            self.low.difference_update(idents)

    def finish(self):
        self.ends.set()
        self.join(60)
        check(not self.is_alive(), "the traffic does not end")

    # -- publishing --

    def _readings(self, turn):
        with self.lock:
            low = set(self.low)
        for number, where in enumerate(self.places):
            if number % TICKS != turn % TICKS:
                continue
            value = (50 if where[0] in low else 300 if where[0][0] == "a"
                     else round(self.ground.uniform(200, 900), 3))
            yield where, now_ms(), value

    def _confirmed(self, readings):
        for where, moment, value in readings:
            self.made.setdefault(where, []).append((moment, value))
            if value == 50:
                self.low_from.setdefault(where[0], moment)
            elif where[0] in self.low_from:
                self.good_from.setdefault(where[0], moment)

    def run(self):
        turn, waiting, broken = 0, [], 0
        while not self.ends.is_set() or waiting:
            try:
                with Publisher(self.broker.port, f"load-{random.getrandbits(40):x}") as publisher:
                    while not self.ends.is_set() or waiting:
                        if not waiting:
                            waiting, turn = list(self._readings(turn)), turn + 1
                            broken = int(self.ground.random() < 0.1)
                        publisher.publish([(f"subslab/{w[0]}/{w[1]}", timed(v, m))
                                           for w, m, v in waiting]
                                          + [(BROKEN_TOPIC, "{broken")] * broken)
                        self._confirmed(waiting)
                        self.broken += broken
                        waiting, broken = [], 0
                        time.sleep(TICK_S)
            except OSError:
                time.sleep(0.1)  # the broker is being started again

    # -- waiting --

    @staticmethod
    def told(daemon, kind, idents, seconds=60):
        """Until the messages about these systems are rows of the outbox."""
        wanted = set(idents)

        def rows():
            time.sleep(0.1)
            found = {d["system"] for d in daemon.deliveries() if d["type"].endswith("." + kind)}
            return wanted <= found
        wait_until(rows, seconds, f"{kind} told of {idents}")

    # -- judging --

    def judge(self, daemon, endpoint, deaths):
        """Call after finish(), with the daemon running; stops it."""
        published = sum(len(v) for v in self.made.values())
        wait_until(lambda: self._stored(daemon) >= published, 90, "every published reading stored")
        wait_until(lambda: not self._waiting(daemon), 120, "every message delivered")
        refused = self._judge_readings(daemon, deaths)
        alarms = [a for a in daemon.alarms(all=1) if a["condition"] == "suction-low"]
        equal(daemon.stop(), 0, "exit status")
        self._judge_alarms(daemon.store, alarms)
        requests, repeats = self._judge_messages(daemon.store, endpoint)
        print(f"        {deaths} deaths; {published} readings published and stored once, "
              f"{self.broken} broken ones counted as {refused} refused; {len(self.low_from)} alarms "
              f"raised and {len(self.good_from)} returned; {requests} requests, {repeats} of them "
              "repeats under the same id", flush=True)

    @staticmethod
    def _stored(daemon):
        time.sleep(0.2)
        with sqlite3.connect(f"file:{daemon.store}?mode=ro", uri=True) as db:
            return db.execute("SELECT value FROM totals WHERE name = 'readings'").fetchone()[0]

    @staticmethod
    def _waiting(daemon):
        time.sleep(0.2)
        return [d for d in daemon.deliveries() if d["state"] == "waiting"]

    def _judge_readings(self, daemon, deaths):
        lost = twice = wrong = 0
        for ident in {where[0] for where in self.made}:
            found = daemon.readings(ident)
            for where, made in self.made.items():
                if where[0] != ident:
                    continue
                mine, wanted = found.get(where[1], []), dict(made)
                twice += len(mine) - len(dict(mine))
                lost += len(wanted.keys() - dict(mine).keys())
                wrong += sum(1 for t, v in mine if wanted.get(t) != v)
        equal((lost, twice, wrong), (0, 0, 0), "readings (lost, twice, wrong)")
        refused = daemon.refused()
        equal({key[0] for key in refused}, {BROKEN_TOPIC} if self.broken else set(),
              "refused: a reading that comes again is no conflict")
        counted = sum(refused.values())
        # Counted again when a death fell between commit and acknowledgement.
        check(self.broken <= counted <= self.broken + deaths * RECEIVE_MAXIMUM,
              f"{self.broken} broken messages, {counted} counted")
        return counted

    def _judge_alarms(self, store, alarms):
        with sqlite3.connect(f"file:{store}?mode=ro", uri=True) as db:
            rows = db.execute("SELECT system, since_ms, returned_ms, told FROM alarms "
                              "WHERE condition = 'suction-low'").fetchall()
        equal(sorted((r[0], r[1], r[2]) for r in rows),
              sorted((a, self.low_from[a], self.good_from.get(a)) for a in self.low_from),
              "alarms (system, since, returned)")
        equal([r for r in rows if not r[3]], [], "alarms that nobody was told of")
        equal(len(alarms), len(rows), "alarms of the list")

    def _judge_messages(self, store, endpoint):
        with sqlite3.connect(f"file:{store}?mode=ro", uri=True) as db:
            rows = dict(db.execute("SELECT id, state FROM outbox").fetchall())
        seen, repeats = {}, 0
        from_memory = {e["id"] for e in events(endpoint, condition="store-failing")} - rows.keys()
        for request in list(endpoint.requests):
            ident = request["headers"]["webhook-id"]
            if ident in from_memory:
                continue
            repeats += ident in seen
            equal(seen.setdefault(ident, request["body"]), request["body"], f"the bytes of {ident}")
        equal(seen.keys() - rows.keys(), set(), "messages that the store does not know")
        equal(sorted(ident for ident in rows if ident not in seen), [], "messages that never came")
        equal({i: s for i, s in rows.items() if s != 1}, {}, "rows that are not marked as sent")
        ids = {}
        for event in events(endpoint):
            kind = event["type"].split(".")[-1]
            for one in event["data"].get("alarms", [event["data"]]):
                if one.get("condition") == "suction-low":
                    ids.setdefault((one["system"], kind), []).append(event["id"])
                    # Both waited for a life that was long enough: one message tells both.
                    if event["data"].get("text", "").startswith("Came and went"):
                        ids.setdefault((one["system"], "raised"), []).insert(0, event["id"])
        wanted = {(a, "raised") for a in self.low_from} | {(a, "returned") for a in self.good_from}
        equal(sorted(wanted - ids.keys()), [], "due alerts that did not reach the endpoint")
        equal(sorted(key for key in ids if len(ids[key]) > 1), [], "told under more than one id")
        order = list(ids)  # by first arrival
        equal([a for a in self.good_from if ids[(a, "raised")] != ids[(a, "returned")] and
               order.index((a, "raised")) > order.index((a, "returned"))], [],
              "returns that came before their raise")
        return len(endpoint.requests), repeats


def unsteady_steps(seed, count=5000):
    """What an endpoint on a bad line does: slow, busy, or gone after it took the message."""
    ground, steps = random.Random(seed), []
    for _ in range(count):
        fate = ground.random()
        step = {"status": 204, "delay": round(ground.uniform(0, 0.3) * ground.random(), 3)}
        if fate < 0.03:
            step = {"status": 503}
        elif fate < 0.06:
            step = {"cut": "answer"}
        steps.append(step)
    return steps + [{"status": 204}]
