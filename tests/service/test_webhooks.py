#!/usr/bin/env python3
"""Messages out: each is taken once, in order, whatever the endpoints do, and no secret leaks."""
import base64
import os
import signal
import sqlite3
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (LOW_AT_ONCE, PATIENCE, Suite, check, contact, equal, events,  # noqa: E402
                     now_ms, point, signature_is_good, stays, system, timed,
                     wait_until)

suite = Suite()
SECRET = "whsec_" + base64.b64encode(bytes(range(32))).decode()
LOW, GOOD = 50, 150


def low_at_once(**more):
    return {"conditions": {**LOW_AT_ONCE, **more}}


def house(ident, **more):
    return system(ident, [point("suction")], name=ident.capitalize(), **more)


def send(broker, ident, value):
    broker.publish([(f"subslab/{ident}/suction", timed(value, now_ms()))])


def delivery(daemon, **wanted):
    return [d for d in daemon.deliveries() if all(d[k] == v for k, v in wanted.items())]


@suite.test
def whom_to_call_is_named_by_the_fleet_or_the_house(place):
    hook, broker = place.endpoint(), place.broker()
    owner = contact("owner", hook, role="homeowner")
    daemon = place.daemon(broker, [house("mill", contacts=["owner"]),
                                   house("kiln", contacts=["owner"], contractor={"name": "Fernbeck Air",
                                                                                 "telephone": "+1 555 0199"})],
                          [owner], contractor={"name": "Quillmere Radon", "telephone": "+1 555 0100"},
                          **low_at_once()).start()
    for ident, whom in (("mill", "Quillmere Radon, +1 555 0100"), ("kiln", "Fernbeck Air, +1 555 0199")):
        send(broker, ident, LOW)
        wait_until(lambda name=ident: [e for e in events(hook, "/owner") if e["subject"] == name], 10, ident)
        text = next(e for e in events(hook, "/owner") if e["subject"] == ident)["data"]["text"]
        check(f"Call {whom}" in text and text.endswith(f"Whom to call: {whom}\n"), f"{ident}: {text}")
    daemon.stop()


@suite.test
def every_try_has_the_same_id_and_body_and_a_fresh_signature(place):
    hook = place.endpoint({"/office": [{"cut": "head"},
                                       {"status": 503, "headers": {"Retry-After": "1"}},
                                       {"status": 204}]})
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill")],
                          [contact("office", hook, signing_secret_file="office-secret")],
                          **low_at_once())
    daemon.secret("office-secret", SECRET)
    daemon.start()
    send(broker, "mill", LOW)
    # The first wait of the schedule (5 s, +- 25 %), then 1 s (to 6 s with its spread).
    requests = hook.wait_for(3, 20 * PATIENCE)
    equal(len({r["headers"]["webhook-id"] for r in requests}), 1, "ids")
    equal(len({r["body"] for r in requests}), 1, "bodies")
    check(all(signature_is_good(r, SECRET) for r in requests), "a signature does not verify")
    check(requests[0]["headers"]["webhook-timestamp"] != requests[2]["headers"]["webhook-timestamp"],
          "a retry is signed anew")
    gap = requests[2]["at"] - requests[1]["at"]
    check(1 <= gap < 6 + PATIENCE, f"Retry-After: 1, next try after {gap:.1f} s")
    wait_until(lambda: delivery(daemon, state="sent", tries=3), 5, "the row is done")


@suite.test
def a_kill_between_answer_and_mark_sends_the_same_again(place):
    hook = place.endpoint({"/office": [{"status": 204, "delay": 2}, {"status": 204}]})
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill")], [contact("office", hook)], **low_at_once())
    daemon.start()
    send(broker, "mill", LOW)
    first = hook.wait_for(1, 10 * PATIENCE)[0]
    daemon.kill()
    daemon.start()
    second = hook.wait_for(2, 10 * PATIENCE)[1]
    equal(second["headers"]["webhook-id"], first["headers"]["webhook-id"], "id")
    equal(second["body"], first["body"], "body")
    wait_until(lambda: delivery(daemon, state="sent"), 10, "done")
    stays(lambda: len(hook.requests) == 2, 2, "sent once more than needed")


@suite.test
def what_a_try_has_begun_is_never_changed(place):
    """A return that comes while the raise is on its way is a message of its own, behind it."""
    hook = place.endpoint({"/office": [{"status": 204, "delay": 2}, {"status": 204}]})
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill")], [contact("office", hook)], **low_at_once())
    daemon.start()
    send(broker, "mill", LOW)
    hook.wait_for(1, 10 * PATIENCE)
    send(broker, "mill", GOOD)
    wait_until(lambda: len(events(hook, "/office")) == 2, 10, "raise and return")
    equal([e["type"] for e in events(hook, "/office")],
          ["subslab.alarm.raised", "subslab.alarm.returned"], "order")


@suite.test
def a_return_never_overtakes_its_raise_and_both_waiting_are_one(place):
    hook = place.endpoint({"/office": [{"status": 503, "headers": {"Retry-After": "4"}},
                                       {"status": 204}]})
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill"), house("barn")], [contact("office", hook)],
                          **low_at_once())
    daemon.start()
    send(broker, "mill", LOW)
    hook.wait_for(1, 10 * PATIENCE)       # tried: it stays as it is
    send(broker, "mill", GOOD)
    send(broker, "barn", LOW)             # the endpoint asked for a pause: not tried
    wait_until(lambda: daemon.alarms(system="barn"), 10, "the alarm of the other house")
    send(broker, "barn", GOOD)
    wait_until(lambda: len(hook.requests) >= 4, 15, "all messages")
    pause = hook.requests[1]["at"] - hook.requests[0]["at"]
    check(pause >= 4, f"the pause counts for the endpoint as a whole, next request after {pause} s")
    stays(lambda: len(hook.requests) == 4, 2, "four requests for three messages")
    mill = [e for e in events(hook, "/office") if e["subject"] == "mill"]
    equal([e["type"] for e in mill], ["subslab.alarm.raised", "subslab.alarm.returned"], "mill")
    barn = [e for e in events(hook, "/office") if e["subject"] == "barn"]
    equal([e["type"] for e in barn], ["subslab.alarm.returned"], "barn: one message for both")
    check("Came and went" in barn[0]["data"]["text"], barn[0]["data"]["text"])


@suite.test
def ten_thousand_rows_for_a_dead_contact_delay_nobody(place):
    dead, hook = place.endpoint({"*": {"delay": 30}}), place.endpoint()
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill")],
                          [contact("office", dead), contact("van", hook, role="technician")],
                          **low_at_once())
    daemon.systems[0]["contacts"] = ["van"]
    daemon.write_settings()
    daemon.start()
    equal(daemon.stop(), 0, "exit status")
    store = sqlite3.connect(daemon.store)
    now = now_ms()
    with store:
        store.executemany(
            "INSERT INTO outbox (id, contact, system, type, content_type, body, alarm, priority, "
            "created_ms, not_before_ms, state, head, tries, done_ms) VALUES (?, 'office', ?, "
            "'subslab.alarm.raised', 'text/plain', 'x', 0, 2, ?, ?, 0, 1, 0, 0)",
            [(f"msg_{i}", f"s{i}", now, now) for i in range(10000)])
    store.close()
    daemon.start()
    dead.wait_for(1, 10 * PATIENCE)
    began = time.monotonic()
    send(broker, "mill", LOW)
    hook.wait_for(1, 5)
    took = time.monotonic() - began
    check(took < 5, f"the living contact heard after {took:.1f} s")
    equal(len(dead.requests), 1, "one POST at a time")
    print(f"heard past 10000 waiting rows after {took:.2f} s")


@suite.test
def refusals_fail_at_once_and_can_be_sent_again(place):
    answers = {"400": {"status": 400}, "413": {"status": 413},
               "422": {"status": 422}, "302": {"redirect": "http://127.0.0.1:9/stolen"},
               "307": {"status": 307, "redirect": "http://127.0.0.1:9/stolen"},
               "308": {"status": 308, "redirect": "/office-308"}}
    hook = place.endpoint({f"/c{name}": step for name, step in answers.items()})
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill", contacts=[f"c{n}" for n in answers])],
                          [contact(f"c{n}", hook) for n in answers], **low_at_once())
    daemon.start()
    send(broker, "mill", LOW)
    failed = wait_until(lambda: len(f := daemon.get("/api/deliveries", failed=1)) == len(answers)
                        and f, 10, "all failed")
    for one in failed:
        equal(one["tries"], 1, f"tries of {one['contact']}")
        check("stolen" not in one["last_answer"], f"a path in {one['last_answer']}")
    equal(len(hook.requests), len(answers), "no redirect is followed, nothing is tried twice")
    for name in answers:
        hook.set(f"/c{name}", {"status": 204})
    for one in failed:
        daemon.post(f"/api/deliveries/{one['id']}/again")
    wait_until(lambda: len(delivery(daemon, state="sent")) == len(answers), 10, "sent again")
    for name in answers:
        both = [r for r in hook.requests if r["path"] == f"/c{name}"]
        equal(len({r["headers"]["webhook-id"] for r in both}), 1, "the same id")


@suite.test
def one_bad_deployment_loses_no_alarm(place):
    denials = (401, 403, 404)
    hook = place.endpoint({f"/c{code}": [{"status": code}, {"status": 204}] for code in denials})
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill", contacts=[f"c{code}" for code in denials])],
                          [contact(f"c{code}", hook) for code in denials], **low_at_once())
    daemon.start()
    send(broker, "mill", LOW)
    # The first wait of the schedule: 5 s, +- 25 %.
    wait_until(lambda: len(delivery(daemon, state="sent", tries=2)) == len(denials), 20, "again")
    for code in denials:
        both = [r for r in hook.requests if r["path"] == f"/c{code}"]
        equal(len({r["headers"]["webhook-id"] for r in both}), 1, "the same id")


@suite.test
def gone_stops_a_contact_until_somebody_asks(place):
    hook = place.endpoint({"/office": {"status": 410}})
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill"), house("barn")], [contact("office", hook)],
                          **low_at_once())
    daemon.start()
    send(broker, "mill", LOW)
    failed = wait_until(lambda: delivery(daemon, state="failed"), 10, "failed")[0]
    send(broker, "barn", LOW)
    wait_until(lambda: delivery(daemon, system="barn", state="waiting"), 10, "the other waits")
    stays(lambda: len(hook.requests) == 1, 3, "nothing more is sent to it")
    health = daemon.health()[1]
    equal(health["contacts_failing"], ["office"], "failing contacts of /health")
    check("no contact can be reached" in health["warning"], str(health))
    check("no message reaches anybody" in daemon.log(), "loud in the log")
    hook.set("/office", {"status": 204})
    daemon.post(f"/api/deliveries/{failed['id']}/again")
    wait_until(lambda: len(delivery(daemon, state="sent")) == 2, 10, "both are sent")
    equal(daemon.health()[1]["contacts_failing"], [], "works again")
    hook.set("/office", {"status": 410})
    send(broker, "barn", GOOD)
    wait_until(lambda: delivery(daemon, state="failed"), 10, "failed again")
    send(broker, "mill", GOOD)
    wait_until(lambda: delivery(daemon, system="mill", state="waiting"), 10, "waits")
    hook.set("/office", {"status": 204})
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: delivery(daemon, system="mill", type="subslab.alarm.returned",
                                state="sent"), 10, "settings read again: tried again")


@suite.test
def a_rate_limit_holds_back_all_but_high_priority(place):
    hook = place.endpoint()
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill"), house("barn"), house("tower")],
                          [contact("office", hook, at_most_every="6 s")],
                          **low_at_once())
    daemon.systems[2]["conditions"] = {"suction-low": {"priority": "high"}}
    daemon.write_settings()
    daemon.start()
    send(broker, "mill", LOW)
    hook.wait_for(1, 10 * PATIENCE)
    send(broker, "barn", LOW)
    wait_until(lambda: delivery(daemon, system="barn", state="waiting"), 10, "the second waits")
    send(broker, "tower", LOW)
    hook.wait_for(3, 20 * PATIENCE)
    subjects = [e["subject"] for e in events(hook, "/office")]
    equal(subjects, ["mill", "tower", "barn"], "order")
    at = [r["at"] for r in hook.requests]
    check(at[2] - at[0] >= 5.9, f"the second came after {at[2] - at[0]:.1f} s")


@suite.test
def that_a_contact_fails_is_told_by_another(place):
    hook = place.endpoint({"/office": {"status": 400}})
    broker = place.broker()
    daemon = place.daemon(broker, [house("mill", contacts=["office"])],
                          [contact("office", hook), contact("boss", hook)],
                          **low_at_once(**{"delivery-failing": {"on_delay": "0 s"}}))
    daemon.start()
    send(broker, "mill", LOW)
    told = wait_until(lambda: events(hook, "/boss"), 15, "the other contact hears")[0]
    equal(told["data"]["condition"], "delivery-failing", "condition")
    equal(told["data"]["point"], "office", "which contact")
    equal([d["contact"] for d in daemon.deliveries() if d["type"] == "subslab.digest"], ["boss"],
          "and what it did not get")
    stays(lambda: len(events(hook, "/office")) == 1, 2, "the failing one is not told of it")


@suite.test
def nobody_to_tell_is_said_at_the_start_and_on_health(place):
    daemon = place.daemon(place.broker(), [house("mill")], **low_at_once())
    daemon.start()
    check("nobody will be told" in daemon.log(), daemon.log())
    status, health = daemon.health()
    equal(status, 200, "the daemon itself works")
    check("nobody will be told" in health["warning"], str(health))


@suite.test
def a_wrong_secret_ends_the_start_with_a_sentence_and_without_the_secret(place):
    hook = place.endpoint()
    for number, (text, mode, said) in enumerate([
            ("hunter2-marker", 0o600, "signing secret"),
            ("whsec_bWFya2Vy", 0o600, "signing secret"),   # 6 bytes: too short
            (SECRET, 0o644, "office-secret"),
            (None, 0o600, "office-secret")]):
        daemon = place.daemon(None, [house("mill")],
                              [contact("office", hook, signing_secret_file="office-secret")],
                              client_id=f"wrong-{number}")
        if text:
            daemon.secret("office-secret", text, mode)
        status, log = daemon.run_to_end()
        check(status in (1, 2), f"exit status {status}")
        check(said in log, f"{said!r} is not in {log!r}")
        check(not text or text not in log, "the secret is in the log")


MARKERS = ["marker-path-7f3a", "marker-query-19bc", "marker-literal-55d0", "marker-token-c8e1",
           base64.b64encode(b"marker-signing-key-0123456789abcd").decode().rstrip("="),
           "marker-password-e2f4", "marker-echo-b17a"]


@suite.test
def no_secret_is_in_any_output(place):
    """Header values, signing secret, the URL's path and query, the broker's password; an endpoint
    that repeats them in its answers."""
    echo = {"status": 400, "body": " ".join(MARKERS), "headers": {"X-Echo": MARKERS[3]}}
    moved = {"redirect": f"http://127.0.0.1:9/{MARKERS[0]}"}
    hook = place.endpoint({"*": echo, f"/{MARKERS[0]}/moved": moved})
    broker = place.broker()

    def secret_contact(name, path, **more):
        one = contact(name, hook, path=path, signing_secret_file="office-secret",
                      headers={"X-Literal": MARKERS[2], "Authorization": "file:office-token"},
                      **more)
        one["webhook"]["url"] += f"?key={MARKERS[1]}"
        return one

    contacts = [secret_contact("office", f"/{MARKERS[0]}"),
                secret_contact("moved", f"/{MARKERS[0]}/moved"),
                secret_contact("dead", f"/{MARKERS[0]}")]
    contacts[2]["webhook"]["url"] = f"http://127.0.0.1:9/{MARKERS[0]}?key={MARKERS[1]}"
    daemon = place.daemon(broker, [house("mill")], contacts,
                          broker={"username": "daemon", "password_file": "broker-password"},
                          **low_at_once())
    daemon.secret("office-secret", "whsec_" + base64.b64encode(
        b"marker-signing-key-0123456789abcd").decode())
    daemon.secret("office-token", "Bearer " + MARKERS[3])
    daemon.secret("broker-password", MARKERS[5])
    daemon.start()
    send(broker, "mill", LOW)
    hook.wait_for(2, 10 * PATIENCE)
    wait_until(lambda: len([d for d in daemon.deliveries() if d["last_answer"]
                            and d["last_answer"] != "no answer yet"]) == 3, 10, "three answers")
    answer = daemon.request("POST", "/api/contacts/office/test-alert", {})
    equal(answer.status, 200, "test alert")
    wait_until(lambda: len(hook.requests) >= 3, 10, "the test")
    outputs = {"log": daemon.log()}
    for path in ("/health", "/metrics", "/api/systems", "/api/systems/mill", "/api/alarms?all=1",
                 "/api/deliveries", "/api/refused", "/api/unclaimed", "/", "/alarms", "/visits",
                 "/systems/mill"):
        outputs[path] = daemon.request("GET", path).body.decode("utf-8", "replace")
    with open(f"/proc/{daemon.process.pid}/cmdline", "rb") as file:
        outputs["command line"] = file.read().decode()
    equal(daemon.stop(), 0, "exit status")
    outputs["log at the end"] = daemon.log()
    for name in os.listdir(daemon.folder):
        if name.startswith("store"):
            with open(os.path.join(daemon.folder, name), "rb") as file:
                outputs[name] = file.read().decode("latin-1")
    check("store.db" in outputs, "the store was read")
    for where, text in outputs.items():
        for marker in MARKERS:
            check(marker not in text, f"{marker} is in {where}")
    check(any(MARKERS[3] in r["headers"].get("authorization", "") for r in hook.requests),
          "the endpoint itself got the token")


suite.run()
