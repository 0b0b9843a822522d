#!/usr/bin/env python3
"""Further faults with real programs: bad lines, rivals for the client id, sleep, clocks that are not
set, floods, signals, broken settings. The table of all faults is tests/FAULTS.md."""
# Limit: 900 s
import glob
import os
import random
import shutil
import signal
import sys
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (PATIENCE, TURN_LIMIT_S, Publisher, Suite, check, contact, equal,  # noqa: E402
                     events, notices, now_ms, plain_point, point, rfc3339, stays, system,
                     timed, wait_until, write_file)
from contract import tool_of  # noqa: E402
from bad_link import BadLink  # noqa: E402
from faked_time import faked_time  # noqa: E402
from fault_series import AT_ONCE, MILL, QUIET, all_there, series  # noqa: E402

suite = Suite()


class Watcher(threading.Thread):
    """Asks the daemon again and again until stopped; the longest wait for an answer."""

    def __init__(self, daemon):
        super().__init__(daemon=True)
        self.daemon_asked, self.slowest_s, self.asked, self.done = daemon, 0.0, 0, False

    def run(self):
        while not self.done:
            began = time.monotonic()
            try:
                self.daemon_asked.request("GET", "/health")
            except OSError:
                continue
            self.slowest_s = max(self.slowest_s, time.monotonic() - began)
            self.asked += 1
            time.sleep(0.05)

    def stop(self):
        self.done = True
        self.join()
        return self.slowest_s

# ---- broker and network ----


@suite.test
def a_bad_line_changes_nothing_but_the_time(place):
    """Both lines are bad, that to the broker and that to the endpoint."""
    broker, hook = place.broker(), place.endpoint()
    link = BadLink(broker.port, (0.0, 0.05), [(300, 1500)] + [(3000, 40000)] * 3, suite.seed, 3.0)
    way_out = BadLink(hook.port, (0.05, 0.3), [(50, 900)] * 2, suite.seed)
    place.at_end(link.close)
    place.at_end(way_out.close)
    office = contact("office", hook)
    office["webhook"]["url"] = f"http://127.0.0.1:{way_out.port}/office"
    daemon = place.daemon(link, [MILL], [office], conditions=QUIET)
    daemon.start(wait_connected=False)
    daemon.wait_connected(60)
    watcher = Watcher(daemon)
    watcher.start()
    start = now_ms() - 4_000_000
    for part in range(0, 3000, 500):
        broker.publish(series(3000, start)[part:part + 500])
        time.sleep(0.3)
    broker.publish([("subslab/mill/suction", timed(50, start + 3000_000))])
    wait_until(lambda: len(daemon.readings("mill", "suction")) >= 3001, 120, "all readings")
    equal([t for t, _ in daemon.readings("mill", "suction")],
          [start + i * 1000 for i in range(3001)], "each reading once")
    wait_until(lambda: events(hook, condition="suction-low"), 60, "the alarm")
    equal(len(events(hook, condition="suction-low")), 1, "one message by its id")
    slowest = watcher.stop()
    check(link.broken >= 2 and link.pieces > 100, f"{link.broken} breaks, {link.pieces} pieces")
    check(slowest < TURN_LIMIT_S, f"an answer took {slowest:.2f} s")
    print(f"        {link.broken + way_out.broken} breaks, {link.pieces} pieces, slowest answer "
          f"{slowest:.3f} s")


@suite.test
def two_daemons_with_one_client_id_say_so(place):
    broker = place.broker()
    pair = [place.daemon(broker, [MILL], client_id="twin") for _ in range(2)]
    for daemon in pair:
        daemon.start(wait_connected=False)
    wait_until(lambda: any("another client uses the id \"twin\"" in d.log() for d in pair), 60,
               "told that the id is used twice")
    losses = broker.log().count("already connected")
    check(3 <= losses < 60, f"{losses} take-overs")
    pair[0].kill()
    pair[1].wait_connected(90)
    start = now_ms() - 100_000
    broker.publish(series(10, start))
    all_there(pair[1], 10, start)


@suite.test
def an_outage_longer_than_the_brokers_queue_is_a_gap(place):
    broker = place.broker(more="max_queued_messages 100\n")
    hook = place.endpoint()
    names = ("mill", "creek", "barn")
    daemon = place.daemon(broker, [system(n, [point("suction", every="10 s")]) for n in names],
                          [contact("office", hook)], conditions=QUIET)
    daemon.start()
    start, steps = now_ms() - 5_000_000, 500

    def messages(first, last):
        return [(f"subslab/{n}/suction", timed(300 + i % 9, start + i * 10_000))
                for i in range(first, last) for n in names]
    broker.publish(messages(0, 10))
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 10, 10, "ten readings")
    equal(daemon.stop(), 0, "exit status")
    broker.publish(messages(10, steps))
    daemon.start()
    broker.publish(messages(steps, steps + 1))  # the next ones after the hole
    event = wait_until(lambda: events(hook, condition="readings-gap"), 30, "readings-gap told")[0]
    stored = [(t - start) // 10_000 for t, _ in daemon.readings("mill", "suction")]
    check(20 < len(stored) < 200 and stored[-1] == steps, f"the broker kept {len(stored)}")
    kept = [min((t - start) // 10_000 for t, _ in daemon.readings(n, "suction")[-2:]) for n in names]
    hole = [rfc3339(start + step * 10_000)[:19] for step in (min(kept), steps)]
    text = event["data"]["text"]
    check(all(end in text for end in hole), f"the hole from {hole[0]} to {hole[1]}: {text}")
    check("%" not in text, text)


@suite.test
def an_old_copy_of_the_store_is_put_back(place):
    broker = place.broker()
    hook = place.endpoint({"/office": [{"status": 503, "headers": {"Retry-After": "6"}},
                                       {"status": 204}]})
    names, start = ("mill", "creek", "barn"), now_ms() - 5_000_000
    daemon = place.daemon(broker, [system(n, [point("suction", every="10 s")]) for n in names],
                          [contact("office", hook)], conditions=QUIET)

    def publish(first, last):
        broker.publish([(f"subslab/{n}/suction", timed(50 if n == "mill" else 300,
                                                       start + i * 10_000))
                        for i in range(first, last) for n in names])
    daemon.start()
    publish(0, 10)
    first = hook.wait_for(1, 10 * PATIENCE)[0]["headers"]["webhook-id"]
    wait_until(lambda: daemon.deliveries()[0]["tries"] == 1, 10, "tried once")
    equal(daemon.stop(), 0, "exit status")
    shutil.copy(daemon.store, daemon.store + "-copy")
    daemon.start()
    publish(10, 400)
    wait_until(lambda: len(daemon.readings("barn", "suction")) == 400, 20, "readings")
    wait_until(lambda: daemon.deliveries()[0]["state"] == "sent", 30, "sent")
    equal(daemon.stop(), 0, "exit status")
    for name in glob.glob(daemon.store + "-[ws]*"):
        os.remove(name)
    shutil.copy(daemon.store + "-copy", daemon.store)
    daemon.start()
    publish(400, 401)
    wait_until(lambda: [r["headers"]["webhook-id"] for r in hook.requests].count(first) >= 3, 30,
               "what was waiting then is sent again with its id")
    event = wait_until(lambda: events(hook, condition="readings-gap"), 30, "the hole is told")[0]
    check(rfc3339(start + 9 * 10_000)[:19] in event["data"]["text"], event["data"]["text"])
    equal(len(daemon.readings("barn", "suction")), 11, "readings")
    equal(daemon.refused(), {}, "refused")

# ---- clock ----


@suite.test
def before_the_clock_is_set_readings_stay_with_the_broker(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=QUIET)
    daemon.start()  # the broker shall know us
    start = now_ms() - 1_000_000
    broker.publish(series(5, start))
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 5, 10, "five readings")
    equal(daemon.stop(), 0, "exit status")
    broker.publish(series(200, start)[5:] + [("subslab/mill/suction", timed(50, now_ms()))])
    daemon.environment, clock = faked_time(place, "@1970-01-01 00:03:00\n")
    daemon.start(wait_connected=False)
    stays(lambda: daemon.metric("subslab_messages_total") == 0, 3, "nothing is read yet")
    status, health = daemon.health()
    equal(status, 503, "/health")
    check("clock" in health["broker_why"] and "not set" in health["broker_why"], f"{health}")
    check("clock of this machine is not set" in daemon.request("GET", "/", page=True).body.decode(),
          "the page says so")
    equal(len(daemon.readings("mill", "suction")), 5, "what is stored is shown")
    write_file(clock, "+0\n")
    daemon.wait_connected(30)
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 201, 20, "all readings")
    equal(daemon.refused(), {}, "refused")
    event = wait_until(lambda: events(hook, condition="suction-low"), 10, "the alarm")[0]
    check(event["time"].startswith(rfc3339(now_ms())[:4]), event["time"])
    equal([e for e in events(hook) if e["time"] < "2026"], [], "messages of 1970")


@suite.test
def a_machine_that_slept_finds_nobody_silent(place):
    """The broker stops too: the connection still looks alive when we wake, and nothing comes."""
    broker, hook = place.broker(), place.endpoint()
    silent = {"setpoint": "20 s", "on_delay": "0 s"}
    daemon = place.daemon(broker, [system("mill", [point("suction", every="2 s")]),
                                   system("creek", [point("suction", every="2 s")])],
                          [contact("office", hook)],
                          conditions={**AT_ONCE, "sensor-silent": silent, "system-silent": silent,
                                      "fleet-silent": {"enabled": "no"}})
    daemon.start()
    last = [now_ms() - 10_000]

    def send():
        """Everything since the last call, a reading a second, as a gateway that keeps its own."""
        while last[0] + 1000 <= now_ms():
            last[0] += 1000
            broker.publish([(f"subslab/{s}/suction", timed(300, last[0])) for s in ("mill", "creek")])
    send()
    wait_until(lambda: len(daemon.readings("mill", "suction")) >= 10, 20, "readings")
    daemon.turn_limit_s = 60  # to the loop a turn in which it is stopped is a long one
    broker.send_signal(signal.SIGSTOP)
    daemon.process.send_signal(signal.SIGSTOP)
    time.sleep(33)
    daemon.process.send_signal(signal.SIGCONT)
    time.sleep(3)  # awake, and nothing comes yet
    broker.send_signal(signal.SIGCONT)
    send()
    daemon.wait_connected(60)
    for _ in range(4):
        time.sleep(1)
        send()
    equal([n for n in notices(hook) if "silent" in n[2]], [], "nobody was silent")
    equal([a for a in daemon.alarms(all=1) if "silent" in a["condition"]], [], "nor in history")
    wait_until(lambda: any("silent" in n[2] for n in notices(hook)), 40,
               "who is silent afterwards is told")


@suite.test
def a_message_due_in_sleep_goes_out_once(place):
    broker = place.broker()
    hook = place.endpoint({"/office": [{"status": 503, "headers": {"Retry-After": "3"}},
                                       {"status": 204}]})
    daemon = place.daemon(broker, [MILL], [contact("office", hook)],
                          conditions={**QUIET, "broker-lost": {"on_delay": "1 h"}})
    daemon.start()
    broker.publish([("subslab/mill/suction", timed(50, now_ms()))])
    hook.wait_for(1, 10 * PATIENCE)
    wait_until(lambda: daemon.deliveries()[0]["tries"] == 1, 10, "the first try")
    daemon.turn_limit_s = 60
    daemon.process.send_signal(signal.SIGSTOP)
    time.sleep(12)
    equal(len(hook.requests), 1, "asleep")
    daemon.process.send_signal(signal.SIGCONT)
    hook.wait_for(2, 20 * PATIENCE)
    stays(lambda: len(hook.requests) == 2, 3, "once")
    wait_until(lambda: daemon.deliveries()[0]["state"] == "sent", 5, "done")

# ---- flood ----


@suite.test
def a_point_that_floods_is_named_and_costs_the_others_nothing(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [
        system("mill", [plain_point("suction", every="10 min"),
                        plain_point("power", "fan-power", "W", every="10 min")]),
        system("barn", [point("suction")])], [contact("office", hook)], conditions=QUIET)
    daemon.start()
    equal(daemon.health()[1]["busy_points"], [], "nobody yet")
    daemon.commission("barn", "date: 2020-01-01\nby: the installer\npoints: {suction: 300 Pa}\n")
    over, sent = threading.Event(), [0]

    def flood():
        with Publisher(broker.port, f"flood-{random.getrandbits(40):x}") as publisher:
            while not over.is_set() and sent[0] < 200_000:
                publisher.publish([("subslab/mill/suction", str(300 + k % 7)) for k in range(500)])
                sent[0] += 500
                time.sleep(0.02)
    thread = threading.Thread(target=flood, daemon=True)
    thread.start()
    place.at_end(over.set)
    wait_until(lambda: daemon.health()[1]["busy_points"], 20, "/health names it")
    for i in range(10):
        moment, before = now_ms(), sent[0]
        broker.publish([("subslab/barn/suction", timed(50 if i >= 5 else 300, moment))])
        wait_until(lambda m=moment: m in [t for t, _ in daemon.readings("barn", "suction")], 20,
                   "a reading beside the flood")
        wait_until(lambda b=before: sent[0] > b or sent[0] >= 200_000, 20, "the flood goes on")
    wait_until(lambda: events(hook, condition="suction-low"), 20, "an alarm beside the flood")
    check(sent[0] < 200_000 and not over.is_set(), "the others waited for the end of the flood")
    over.set()
    thread.join(30)
    wait_until(lambda: daemon.metric("subslab_readings_total") == sent[0] + 10, 60, "all is stored")
    equal(daemon.refused(), {}, "refused")
    busy = daemon.health()[1]["busy_points"]
    equal([(b["system"], b["point"], b["expected"]) for b in busy], [("mill", "suction", 6.0)],
          "named")
    check(300 <= busy[0]["readings"] <= sent[0], f"{busy}")
    shown = {p["id"]: p.get("sends_too_often") for p in daemon.get("/api/systems/mill")["points"]}
    equal(shown["power"], None, "the other point")
    check("about 6 are expected (one every 10 min)" in shown["suction"]["text"], f"{shown}")
    text = tool_of(daemon).table("show", "mill")
    check("sends too often" in text and "`every`" in " ".join(text.split()), text)
    page = daemon.request("GET", "/systems/mill", page=True).body.decode()
    check("sends too often" in page, "the page")


@suite.test
def a_flood_on_one_topic_leaves_the_others_alone(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [system("mill", [point("suction")]),
                                   system("creek", [point("suction")]),
                                   system("barn", [point("suction")])],
                          [contact("office", hook)], conditions=QUIET)
    daemon.start()
    over, sent = threading.Event(), [0]

    def flood(topic, good):
        with Publisher(broker.port, f"flood-{random.getrandbits(40):x}") as publisher:
            base, i = now_ms() - 86_400_000, 0
            while not over.is_set():
                publisher.publish([(topic, timed(300, base + i + k) if good else "nonsense")
                                   for k in range(500)])
                i += 500
                sent[0] += 500
                over.wait(0.5)  # 3 000 a second of all three: without end a busy machine falls behind
    threads = [threading.Thread(target=flood, args=a, daemon=True)
               for a in (("subslab/mill/suction", True), ("subslab/creek/suction", False),
                         ("subslab/nobody", False))]
    for thread in threads:
        thread.start()
    place.at_end(over.set)
    watcher, waits = Watcher(daemon), []
    watcher.start()
    began = time.monotonic()
    for i in range(10):
        moment = now_ms()
        broker.publish([("subslab/barn/suction", timed(50 if i % 2 else 300, moment))])
        asked = time.monotonic()
        wait_until(lambda m=moment: m in [t for t, _ in daemon.readings("barn", "suction")], 20,
                   "a reading beside the flood")
        waits.append(time.monotonic() - asked)
        over.wait(0.3)  # the flood goes on
    wait_until(lambda: events(hook, condition="suction-low"), 20, "an alarm beside the flood")
    seconds = time.monotonic() - began
    over.set()
    slowest = watcher.stop()
    for thread in threads:
        thread.join(30)
    check(slowest < TURN_LIMIT_S, f"an answer took {slowest:.2f} s")
    refused = daemon.refused()
    check(refused.get(("subslab/creek/suction", "not-a-number"), 0) > 100, f"counted: {refused}")
    check([u for u in daemon.get("/api/unclaimed") if u["topic"] == "subslab/nobody"], "listed")
    print(f"        {sent[0] / seconds:.0f} messages/s beside; a reading was stored within "
          f"{max(waits):.2f} s, slowest answer {slowest:.3f} s")


if __name__ == "__main__":
    suite.run()
