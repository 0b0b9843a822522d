#!/usr/bin/env python3
"""From a message at the broker to a message at a person: the whole path, with nothing replaced."""
import base64
import json
import math
import os
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (LOW_AT_ONCE, PATIENCE, Publisher, Suite, check, contact, equal, events,  # noqa: E402
                     now_ms, plain_point, point, rfc3339, signature_is_good, stays, system,
                     time_ms_of, timed, wait_until)
from low_alarms import DAY, MINUTE, low_at_once  # noqa: E402

suite = Suite()
SECRET = "whsec_" + base64.b64encode(bytes(range(32))).decode()
PA_PER_INH2O = 249.08891


@suite.test
def where_the_broker_kept_nothing_no_alert_waits_for_a_backlog(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [system("mill", [point("suction")])], [contact("office", hook)],
                          conditions=LOW_AT_ONCE)
    daemon.start(wait_connected=False)

    def first_health_when_connected():
        health = daemon.health()[1]
        return health if health["broker"] == "connected" else None
    health = wait_until(first_health_when_connected, 20, "connected")
    equal(health["backlog"], False, "a backlog of a session that the broker did not have")
    broker.publish([("subslab/mill/suction", timed(50, now_ms()))])
    wait_until(lambda: events(hook, kind="alarm.raised"), 10, "the raise")
    # With a kept session there may be one: it is looked for, and found to be over.
    daemon.stop()
    daemon.start()
    wait_until(lambda: daemon.health()[1]["backlog"] is False, 10, "over")


@suite.test
def readings_that_come_one_by_one_share_a_commit(place):
    """As of a large fleet; the one that decides is told all the same."""
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [system("mill", [point("suction")])], [contact("office", hook)],
                          conditions=LOW_AT_ONCE)
    daemon.start()
    wait_until(lambda: daemon.health()[1]["backlog"] is False, 10, "no backlog")
    turns, start, began = daemon.metric("subslab_turns_total"), now_ms() - 100_000, time.monotonic()
    values = [300] * 599 + [50]
    with Publisher(broker.port, "fleet") as publisher:
        for i, value in enumerate(values):
            publisher.publish([("subslab/mill/suction", timed(value, start + i))])
    took_ms = (time.monotonic() - began) * 1000
    turns = daemon.metric("subslab_turns_total") - turns
    print(f"        {len(values)} readings in {took_ms:.0f} ms and {turns:.0f} turns", flush=True)
    check(turns < 2 * took_ms / 5 + 30, "readings of 5 ms share a turn, which may cause one more")
    wait_until(lambda: len(daemon.readings("mill", "suction")) == len(values), 20, "every reading")
    wait_until(lambda: events(hook, kind="alarm.raised", condition="suction-low"), 20, "the raise")


@suite.test
def a_deciding_reading_reaches_contacts_in_three_shapes(place):
    broker, hook = place.broker(), place.endpoint()
    contacts = [contact("office", hook, signing_secret_file="office-secret",
                        headers={"Authorization": "file:office-token"}),
                contact("plain", hook, body="text", role="technician", units="si"),
                contact("chat", hook, body="template",
                        template='{"text": {{text}}, "where": {{system}}, "at": {{since}}}')]
    daemon = place.daemon(broker, [system("mill", [point("suction", unit="inH2O")],
                                          name='Mill "3" <b>', contacts=["office", "plain", "chat"])],
                          contacts, **low_at_once())
    daemon.secret("office-secret", SECRET)
    daemon.secret("office-token", "Bearer loopback")
    daemon.start()
    at = now_ms() - 1000
    broker.publish([("subslab/mill/suction", timed(0.2, at))])
    hook.wait_for(3, 10 * PATIENCE)

    office = hook.wait_for(1, path="/office")[0]
    equal(office["headers"]["content-type"], "application/cloudevents+json", "content type")
    equal(office["headers"]["authorization"], "Bearer loopback", "header from a file")
    check(signature_is_good(office, SECRET), "the signature does not verify")
    event = json.loads(office["body"])
    # CloudEvents 1.0, section 3.1: the required attributes.
    equal((event["specversion"], event["type"], event["subject"]),
          ("1.0", "subslab.alarm.raised", "mill"), "attributes")
    equal(event["id"], office["headers"]["webhook-id"], "id of event and delivery")
    equal(event["source"], "/subslab/" + daemon.settings["broker"]["client_id"], "source")
    data = event["data"]
    equal((data["condition"], data["state"], data["point"], data["unit"]),
          ("suction-low", "unacknowledged", "suction", "Pa"), "alarm")
    check(math.isclose(data["value"], 0.2 * PA_PER_INH2O, rel_tol=1e-6), f"value {data['value']}")
    equal(time_ms_of(data["raised"]), at, "raised at the time of the reading")

    plain = hook.wait_for(1, path="/plain")[0]
    equal(plain["headers"]["content-type"], "text/plain; charset=utf-8", "content type of text")
    check("Suction low" in plain["body"] and "49.8 Pa" in plain["body"], plain["body"])
    check('Mill "3" <b>' in plain["body"], "the name of the system in the text")

    chat = hook.wait_for(1, path="/chat")[0]
    equal(chat["headers"]["content-type"], "application/json", "content type of a template")
    body = json.loads(chat["body"])
    check("Suction low" in body["text"] and body["where"] == "mill", chat["body"])

    stored = daemon.readings("mill", "suction")
    equal([t for t, _ in stored], [at], "stored times")
    check(math.isclose(stored[0][1], 0.2 * PA_PER_INH2O, rel_tol=1e-9), f"stored {stored}")
    equal({d["state"] for d in daemon.deliveries()}, {"sent"}, "deliveries")
    equal(daemon.health()[0], 200, "/health")

    broker.publish([("subslab/mill/suction", timed(1.0, now_ms()))])
    wait_until(lambda: events(hook, "/office", "alarm.returned"), 10, "the return")
    equal(len(events(hook, "/office")), 2, "messages in all: one raise, one return")


NASTY = [
    # payload, reason (by the table of refusals)
    (b"", "empty"),
    (b"{", "malformed"),
    (b"{\"v\": 1, }", "malformed"),
    (b"{\"v\": 012}", "malformed"),
    (b"{\"v\": 0x10}", "malformed"),
    (b"{\"v\": \"NaN\"}", "not-finite"),
    (b"{\"v\": NaN}", "malformed"),
    (b"{\"v\": 1e999}", "not-finite"),
    (b"{\"v\": " + b"9" * 400 + b"}", "not-finite"),
    (b"{\"v\": \"on\"}", "not-a-number"),
    (b"{\"v\": true}", "not-a-number"),
    (b"{\"v\": null}", "not-a-number"),
    (b"{\"w\": 1}", "value-missing"),
    (b"{\"v\": 1}", "time-malformed"),
    (b"{\"v\": 1, \"t\": \"yesterday\"}", "time-malformed"),
    (b"{\"v\": 1, \"t\": \"2026-01-01T00:00:00\"}", "time-malformed"),
    (b"{\"v\": 1e7, \"t\": %d}", "out-of-range"),
    (b"{\"v\": -99999, \"t\": %d}", "out-of-range"),
    (b"{\"v\": \"\xff\xfe\"}", "invalid-utf8"),
    (b"[" * 10000 + b"]" * 10000, "too-deep"),
    (b"{\"v\": 1, \"x\": \"" + b"a" * 70000 + b"\"}", "too-large"),
    (b"{\"v\": 1, \"t\": 9007199254740993}", "time-malformed"),
]


@suite.test
def each_nasty_message_is_refused_with_its_reason_and_the_next_good_one_taken(place):
    broker = place.broker()
    points = [point(f"p{i}") for i in range(len(NASTY))]
    daemon = place.daemon(broker, [system("mill", points)], **low_at_once())
    daemon.start()
    messages, at = [], now_ms() - 10_000
    for i, (payload, _) in enumerate(NASTY):
        payload = payload.replace(b"%d", str(at).encode()) if b"%d" in payload else payload
        messages += [(f"subslab/mill/p{i}", payload),
                     (f"subslab/mill/p{i}", timed(200 + i, at))]
    broker.publish(messages)
    found = wait_until(lambda: len(r := daemon.readings("mill")) == len(NASTY) and r, 20,
                       "one good reading of each point")
    for i in range(len(NASTY)):
        equal(found[f"p{i}"], [(at, 200.0 + i)], f"readings behind {NASTY[i][0][:40]!r}")
    refused, wrong = daemon.refused(), []
    for i, (payload, reason) in enumerate(NASTY):
        mine = {r: n for (topic, r), n in refused.items() if topic == f"subslab/mill/p{i}"}
        if mine != {reason: 1}:
            wrong.append(f"{payload[:40]!r}: {mine}, expected {reason}")
    check(not wrong, "; ".join(wrong))
    first = daemon.get("/api/refused")[0]
    equal(set(first) >= {"topic", "reason", "count", "first", "last", "example"}, True, "fields")


@suite.test
def time_decides_what_is_taken(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("mill", [point("suction"), plain_point("bare")])],
                          **low_at_once())
    daemon.start()
    now, topic = now_ms(), "subslab/mill/suction"
    broker.publish([(topic, timed(201, now + 4 * MINUTE)),       # within 5 min: taken
                    (topic, timed(202, now + 6 * MINUTE)),       # beyond
                    (topic, timed(203, now - 11 * 366 * DAY)),   # older than keep_readings, 10 y
                    (topic, timed(204, now - 9 * 365 * DAY)),
                    (topic, timed(205, now)), (topic, timed(205, now)),   # the same twice
                    (topic, timed(206, now)),                             # another value
                    ("subslab/mill/nobody", "1"), ("subslab/mill/nobody", "2")])
    wait_until(lambda: daemon.get("/api/unclaimed"), 10, "the unclaimed topic")
    equal([v for _, v in daemon.readings("mill", "suction")], [204.0, 205.0, 201.0], "stored")
    equal(daemon.refused(), {(topic, "time-in-future"): 1, (topic, "too-old"): 1,
                             (topic, "conflict"): 1}, "refused")
    unclaimed = daemon.get("/api/unclaimed")
    equal([(u["topic"], u["count"]) for u in unclaimed], [("subslab/mill/nobody", 2)], "unclaimed")


@suite.test
def a_retained_message_is_no_new_reading_and_qos_does_not_matter(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("mill", [plain_point("bare"), point("own")])],
                          **low_at_once())
    at = now_ms() - 20_000
    broker.publish_odd("subslab/mill/bare", "210", retain=True)
    broker.publish_odd("subslab/mill/own", timed(211, at), retain=True)
    daemon.start()
    wait_until(lambda: daemon.readings("mill", "own"), 10, "a retained one with its own time")
    equal(daemon.readings("mill", "own"), [(at, 211.0)], "with its own time")
    for qos in (0, 1, 2):
        broker.publish_odd("subslab/mill/own", timed(220 + qos, at + 1000 * (qos + 1)), qos=qos)
    wait_until(lambda: len(daemon.readings("mill", "own")) == 4, 10, "QoS 0, 1 and 2")
    # Live, with the retain flag set by the sender: a reading (MQTT clears the flag on the way).
    broker.publish_odd("subslab/mill/bare", "212", qos=1, retain=True)
    wait_until(lambda: daemon.readings("mill", "bare"), 10, "a live one")
    for _ in range(2):
        equal(daemon.stop(), 0, "exit status")
        daemon.start()
        wait_until(lambda: daemon.metric("subslab_messages_total") >= 2, 10, "retained again")
    equal([v for _, v in daemon.readings("mill", "bare")], [212.0], "bare: retained is no reading")
    equal(len(daemon.readings("mill", "own")), 4, "own: no second row")
    equal(daemon.refused(), {}, "a repeated retained message is no conflict")


@suite.test
def senml_pointers_and_shared_topics(place):
    broker = place.broker()
    points = [{"id": "radon", "quantity": "radon", "unit": "pCi/L", "every": "1 h",
               "topic": "subslab/mill/room", "senml_name": "radon"},
              {"id": "room", "quantity": "indoor-temperature", "unit": "degC", "every": "1 h",
               "topic": "subslab/mill/room", "senml_name": "temp"},
              {"id": "suction", "quantity": "suction", "unit": "inH2O", "every": "1 min",
               "topic": "subslab/mill/io", "value": "/in/0/pressure", "time": "/ts",
               "time_unit": "s", "scale": 2, "offset": 0.1},
              {"id": "power", "quantity": "fan-power", "unit": "W", "every": "1 min",
               "topic": "subslab/mill/io", "value": "/in/1/a~1b", "time": "/ts", "time_unit": "s"}]
    daemon = place.daemon(broker, [system("mill", points)], **low_at_once())
    daemon.start()
    at_s = now_ms() // 1000 - 7200
    pack = [{"bn": "urn:dev:mill:", "bt": at_s, "n": "radon", "u": "Bq/m3", "v": 74},
            {"n": "temp", "u": "Cel", "v": 21.5}, {"n": "temp", "u": "K", "v": 294.15, "t": 60},
            {"n": "temp", "u": "Bq", "v": 1, "t": 120}]
    document = {"ts": at_s, "in": [{"pressure": 0.5}, {"a/b": 21.0}]}
    broker.publish([("subslab/mill/room", json.dumps(pack)),
                    ("subslab/mill/io", json.dumps(document))])
    found = wait_until(lambda: len(r := daemon.readings("mill")) == 4 and r, 10, "four points")
    at = at_s * 1000
    equal(found["radon"], [(at, 74.0)], "radon, stated in another unit")
    equal([t for t, _ in found["room"]], [at, at + 60_000], "SenML base time and record time")
    check(all(math.isclose(v, e, abs_tol=1e-9) for (_, v), e in zip(found["room"], (21.5, 21.0))),
          f"temperatures {found['room']}")
    check(math.isclose(found["suction"][0][1], (0.5 * 2 + 0.1) * PA_PER_INH2O, rel_tol=1e-9),
          f"scale before offset: {found['suction']}")
    equal(found["power"], [(at, 21.0)], "JSON Pointer with ~1 (RFC 6901)")
    check(("subslab/mill/room", "unknown-unit") in daemon.refused() or
          ("subslab/mill/room", "wrong-unit") in daemon.refused(), f"{daemon.refused()}")


@suite.test
def alarm_states_follow_isa_18_2(place):
    """ANSI/ISA-18.2-2016, clause 5.2.4, figure 4 (from memory): the states of an alarm."""
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [system("mill", [point("suction")])], [contact("office", hook)],
                          **low_at_once())
    daemon.start()

    def send(value):
        broker.publish([("subslab/mill/suction", timed(value, now_ms()))])

    def state(alarm_id, **query):
        found = [a["state"] for a in daemon.alarms(**query) if a["id"] == alarm_id]
        return found[0] if found else None

    def status():
        return daemon.get("/api/systems")[0]["status"]

    send(50)
    first = daemon.alarm("suction-low")["id"]
    equal(state(first), "unacknowledged", "raised")
    wait_until(lambda: status() == "out of spec", 5, "status of the system")
    wait_until(lambda: events(hook, kind="alarm.raised"), 5, "the first raise")
    daemon.post(f"/api/alarms/{first}/acknowledge", {"by": "the installer", "note": "on my way"})
    equal(state(first), "acknowledged", "acknowledged")
    acknowledged = daemon.alarms()[0]["acknowledged"]
    equal((acknowledged["by"], acknowledged["note"]), ("the installer", "on my way"), "by whom")
    send(300)
    wait_until(lambda: state(first) is None, 5, "gone from the list")
    equal(state(first, all=1), "normal", "returned and acknowledged")
    wait_until(lambda: status() == "in spec", 5, "status of the system")

    send(50)
    second = daemon.alarm("suction-low")["id"]
    check(second != first, "a new occurrence has a new id")
    # An alarm that nobody was told of asks for no acknowledgement: let it be told first.
    wait_until(lambda: len(events(hook, kind="alarm.raised")) == 2, 10, "the second raise")
    send(300)
    wait_until(lambda: state(second) == "returned unacknowledged", 5, "returned unacknowledged")
    daemon.post(f"/api/alarms/{second}/acknowledge", {"by": "the installer", "note": ""})
    equal(state(second), None, "acknowledged after the return")
    equal(state(second, all=1), "normal", "acknowledged after the return")

    send(50)
    third = daemon.alarm("suction-low")["id"]
    answer = daemon.request("POST", f"/api/alarms/{third}/shelve", {"by": "x", "why": "y"})
    equal(answer.status, 400, "shelving without an end")
    answer = daemon.request("POST", f"/api/alarms/{third}/shelve",
                            {"until": "31 d", "by": "x", "why": "y"})
    equal(answer.status, 400, "shelving for more than 30 days")
    daemon.post(f"/api/alarms/{third}/shelve", {"until": "2 h", "by": "x", "why": "new gauge"})
    equal(state(third), "shelved", "shelved")
    daemon.post(f"/api/alarms/{third}/unshelve")
    equal(state(third), "unacknowledged", "unshelved")
    daemon.post(f"/api/alarms/{third}/shelve", {"until": rfc3339(now_ms() + 1500), "by": "x",
                                                "why": "short"})
    wait_until(lambda: state(third) == "unacknowledged", 10, "the shelving ends by itself")

    daemon.post("/api/systems/mill/out-of-service", {"until": "3 d", "by": "x", "why": "repair"})
    equal((state(third), status()), ("out of service", "out of service"), "out of service")
    daemon.post("/api/systems/mill/return-to-service", {"by": "x"})
    equal((state(third), status()), ("unacknowledged", "out of spec"), "in service again")
    equal(daemon.request("POST", "/api/alarms/999/acknowledge", {"by": "x"}).status, 404, "unknown")
    equal(daemon.request("POST", "/api/systems/none/out-of-service",
                         {"by": "x", "why": "y", "until": "1 d"}).status, 404, "unknown system")


@suite.test
def nothing_new_is_told_of_a_system_out_of_service(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [system("mill", [point("suction")]),
                                   system("creek", [point("suction")])],
                          [contact("office", hook)], **low_at_once())
    daemon.start()
    daemon.post("/api/systems/mill/out-of-service", {"until": "3 d", "by": "x", "why": "repair"})
    now = now_ms()
    broker.publish([("subslab/mill/suction", timed(50, now)),
                    ("subslab/creek/suction", timed(50, now))])
    wait_until(lambda: events(hook), 10, "the other system's alarm")
    stays(lambda: {e["subject"] for e in events(hook)} == {"creek"}, 2, "told of the system that "
          "is out of service")
    equal(daemon.alarm("suction-low", system="mill")["state"], "out of service", "state")


if __name__ == "__main__":
    suite.run()
