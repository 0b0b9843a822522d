#!/usr/bin/env python3
"""Outside contract: messages out. Their form, their signature, retries, order, quiet hours, reminders."""
import email.utils
import base64
import json
import os
import re
import sys
import time
from datetime import datetime, timezone

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import HOUR, MINUTE, is_time, keys_are, tool_of  # noqa: E402
from harness import (PATIENCE, Suite, check, contact, equal, events, now_ms,  # noqa: E402
                     plain_point, point, signature_is_good, stays, system, time_ms_of,
                     timed, wait_until)

suite = Suite()

SECRET = "whsec_" + base64.b64encode(bytes(range(32))).decode()
AT_ONCE = {"suction-low": {"setpoint": "100 Pa", "deadband": "10 Pa", "on_delay": "0 s",
                           "off_delay": "0 s"},
           "suction-lost": {"enabled": "no"}, "suction-high": {"enabled": "no"}}
HIGH = {**AT_ONCE, "suction-low": {**AT_ONCE["suction-low"], "priority": "high"}}


def house(ident="house", **more):
    return system(ident, [plain_point("suction", unit="inH2O")], name="12 Birch Lane", **more)


def low(broker, ident="house", value="0.1"):
    broker.publish([(f"subslab/{ident}/suction", value)])


def good(broker, ident="house"):
    low(broker, ident, "1.1")


def at_path(hook, path):
    return [r for r in list(hook.requests) if r["path"] == path]


def arrives(hook, path, kind, seconds=10, count=1):
    return wait_until(lambda: (e := events(hook, path, kind)) and len(e) >= count and e, seconds,
                      f"{count} {kind} at {path}")


@suite.test
def a_message_is_a_signed_cloud_event(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [house()], [
        contact("office", hook, signing_secret_file="secret",
                headers={"Authorization": "file:token", "X-Kind": "plain"})], conditions=AT_ONCE)
    daemon.secret("secret", SECRET)
    daemon.secret("token", "Bearer of-a-token")
    daemon.start()
    low(broker)
    event = arrives(hook, "/office", "alarm.raised")[0]
    request = at_path(hook, "/office")[0]
    equal(request["method"], "POST", "method")
    headers = request["headers"]
    check(headers["content-type"].startswith("application/cloudevents+json"), headers["content-type"])
    equal((headers["authorization"], headers["x-kind"]), ("Bearer of-a-token", "plain"), "headers")
    check(signature_is_good(request, SECRET), "the signature")
    check(not signature_is_good(request, "whsec_" + base64.b64encode(b"x" * 32).decode()), "of this key")
    keys_are(event, "specversion id source type subject time datacontenttype data", "the event")
    equal((event["specversion"], event["type"], event["subject"], event["datacontenttype"]),
          ("1.0", "subslab.alarm.raised", "house", "application/json"), "its attributes")
    equal(event["source"], "/subslab/" + daemon.settings["broker"]["client_id"], "source")
    equal(event["id"], headers["webhook-id"], "id")
    is_time(event["time"], "time")
    keys_are(event["data"], "id system point condition priority state raised returned value setpoint unit "
             "diagnosis check bring text", "data")
    shown = daemon.alarms()[0]
    for key in ("id", "system", "point", "condition", "priority", "state", "raised", "value", "setpoint",
                "unit"):
        equal(event["data"][key], shown[key], f"data.{key} is that of the alarm object")
    keys_are(event["data"]["diagnosis"], "cause confidence evidence", "diagnosis")
    tool_of(daemon).run("acknowledge", shown["id"], "--by", "me")
    arrives(hook, "/office", "alarm.acknowledged")
    good(broker)
    back = arrives(hook, "/office", "alarm.returned")[0]
    equal((back["data"]["id"], back["subject"]), (shown["id"], "house"), "the return of the same alarm")
    is_time(back["data"]["returned"], "returned")
    check(len({e["id"] for e in events(hook, "/office")}) == 3, "each delivery has its own id")
    for path in (daemon.log_file, daemon.store):
        with open(path, "rb") as file:
            content = file.read()
        check(b"of-a-token" not in content and SECRET[6:].encode() not in content, f"a secret in {path}")


@suite.test
def text_and_template_have_their_types_units_and_words(place):
    broker, hook = place.broker(), place.endpoint()
    template = '{"text": {{text}}, "who": {{contact}}}'
    place.daemon(broker, [house(contacts=["us", "si", "form", "es"])], [
        contact("us", hook, body="text", role="homeowner"),
        contact("si", hook, body="text", units="si"),
        contact("form", hook, body="template", template=template),
        contact("es", hook, body="text", language="es")], conditions=AT_ONCE).start()
    low(broker)
    for name in ("us", "si", "form", "es"):
        wait_until(lambda: at_path(hook, f"/{name}"), 10, name)  # pylint: disable=cell-var-from-loop
    bodies = {name: at_path(hook, f"/{name}")[0] for name in ("us", "si", "form", "es")}
    for name in ("us", "si", "es"):
        equal(bodies[name]["headers"]["content-type"], "text/plain; charset=utf-8", name)
    equal(bodies["form"]["headers"]["content-type"].split(";")[0], "application/json", "template")
    form = json.loads(bodies["form"]["body"])
    equal((sorted(form), form["who"]), (["text", "who"], "form"), "the template")
    check("\n" in form["text"] and "12 Birch Lane" in form["text"], "escaped text")
    check("0.1 inH2O" in form["text"], "the fleet's units are us")
    check("Pa" in bodies["si"]["body"] and "inH2O" not in bodies["si"]["body"], bodies["si"]["body"])
    check(bodies["es"]["body"] != bodies["si"]["body"], "Spanish is another text")
    for word in ("12 Birch Lane", "licensed electrician", "not an emergency"):
        check(word in bodies["us"]["body"], f"no {word} in: {bodies['us']['body']}")


def gaps(requests):
    at = [r["at"] for r in requests]
    return [later - sooner for sooner, later in zip(at, at[1:])]


@suite.test
def tries_come_after_5_s_then_30_s_with_the_same_id_and_a_new_signature(place):
    """± 25 %; the test allows a second of a loaded machine on top. No answer counts like 503."""
    broker, hook = place.broker(), place.endpoint({"/again": [{"status": 503}, {"status": 429},
                                                              {"status": 204}],
                                                   "/cut": [{"cut": "answer"}, {"status": 204}]})
    names = [str(code) for code in (408, 425, 500, 502)]
    for name in names:
        hook.set(f"/{name}", [{"status": int(name)}, {"status": 204}])
    daemon = place.daemon(broker, [house()], [
        contact("again", hook, signing_secret_file="secret"), contact("cut", hook)] +
        [contact(f"code-{name}", hook, path=f"/{name}") for name in names], conditions=AT_ONCE)
    daemon.secret("secret", SECRET)
    daemon.start()
    low(broker)
    for path in ["/cut"] + [f"/{name}" for name in names]:
        wait_until(lambda: len(at_path(hook, path)) == 2, 10, f"the second try at {path}")  # pylint: disable=cell-var-from-loop
        check(3.7 <= gaps(at_path(hook, path))[0] <= 7.3, f"{path}: {gaps(at_path(hook, path))}")
    wait_until(lambda: len(at_path(hook, "/again")) == 2, 10, "the second try")
    row = [d for d in daemon.deliveries() if d["contact"] == "again"][0]
    equal((row["state"], row["tries"]), ("waiting", 2), "it waits")
    is_time(row["next_try"], "next_try")
    wait_until(lambda: len(at_path(hook, "/again")) == 3, 40, "the third try")
    tries = at_path(hook, "/again")
    check(22.4 <= gaps(tries)[1] <= 38.6, f"the second gap {gaps(tries)}")
    equal(len({(t["headers"]["webhook-id"], t["body"]) for t in tries}), 1, "same id and body")
    check(len({t["headers"]["webhook-signature"] for t in tries}) == 3 and
          all(signature_is_good(t, SECRET) for t in tries), "signed anew")
    wait_until(lambda: all(d["state"] == "sent" for d in daemon.deliveries()), 10, "all sent")


@suite.test
def retry_after_is_honoured_in_seconds_and_as_a_date(place):
    broker, hook = place.broker(), place.endpoint()
    date = email.utils.formatdate(time.time() + 14, usegmt=True)
    hook.set("/seconds", [{"status": 503, "headers": {"Retry-After": "10"}}, {"status": 204}])
    hook.set("/date", [{"status": 429, "headers": {"Retry-After": date}}, {"status": 204}])
    hook.set("/odd", [{"status": 503, "headers": {"Retry-After": "-5"}}, {"status": 204}])
    daemon = place.daemon(broker, [house()], [contact(n, hook) for n in ("seconds", "date", "odd")],
                          conditions=AT_ONCE).start()
    low(broker)
    for path in ("/odd", "/seconds", "/date"):
        wait_until(lambda: len(at_path(hook, path)) == 2, 12, f"the second try at {path}")  # pylint: disable=cell-var-from-loop
    check(9.9 <= gaps(at_path(hook, "/seconds"))[0] <= 16, f"{gaps(at_path(hook, '/seconds'))}")
    due = email.utils.parsedate_to_datetime(date).timestamp()
    second = at_path(hook, "/date")[1]["at"] - at_path(hook, "/date")[0]["at"]
    arrived = at_path(hook, "/date")[0]["at"]
    check(second >= 5 and arrived > 0 and time.time() <= due + 40, "not before its date")
    check(3.7 <= gaps(at_path(hook, "/odd"))[0] <= 7.3, "a negative one is none")
    check(daemon.is_ready(), "still there")


@suite.test
def redirects_and_other_4xx_fail_at_once_and_are_shown(place):
    broker, hook = place.broker(), place.endpoint({"*": {"status": 204}})
    names = {f"c{code}": code for code in (301, 302, 307, 308, 400, 410, 422)}

    def about_alarms():  # and not what each is told of the others
        return [d for d in daemon.deliveries() if d["type"] != "subslab.digest"]
    for name, code in names.items():
        hook.set(f"/{name}", {"status": code, **({"redirect": hook.url("/elsewhere")}
                                                 if code < 400 else {})})
    daemon = place.daemon(broker, [house()], [contact(n, hook) for n in names],
                          conditions=AT_ONCE).start()
    low(broker)
    wait_until(lambda: len([d for d in about_alarms() if d["state"] == "failed"]) >= len(names), 10,
               "all failed")
    for row in about_alarms():
        equal((row["tries"], row["next_try"]), (1, None), f"{row['contact']}")
        said = "redirect" if names[row["contact"]] < 400 else str(names[row["contact"]])
        check(said in str(row["last_answer"]), f"{row['last_answer']!r}")
    stays(lambda: not at_path(hook, "/elsewhere"), 1, "a redirect was followed")
    failed = tool_of(daemon).json("deliveries", "--failed")
    check(len(failed) >= len(names), "shown")
    check(re.search(r"(?m)^subslab_\w*failed\w*(\{[^}]*\})? (\d+)", daemon.metrics()), "counted")


@suite.test
def one_that_hangs_delays_no_other_and_order_is_kept(place):
    """No answer within 15 s counts as none; what follows for the same contact and system waits."""
    broker, hook = place.broker(), place.endpoint({"/slow": [{"delay": 40}, {"status": 204}],
                                                   "*": {"status": 204}})
    daemon = place.daemon(broker, [house()], [contact("slow", hook), contact("quick", hook)],
                          conditions=AT_ONCE).start()
    began = time.time()
    low(broker)
    arrives(hook, "/quick", "alarm.raised")
    check(time.time() - began < 3 * PATIENCE, "the other had it at once")
    wait_until(lambda: at_path(hook, "/slow"), 5, "the first try at slow")
    good(broker)
    arrives(hook, "/quick", "alarm.returned")
    wait_until(lambda: len(at_path(hook, "/slow")) >= 2, 30, "the second try at slow")
    waited = gaps(at_path(hook, "/slow"))[0]
    check(15 + 3.7 <= waited <= 15 + 7.8, f"15 s without an answer and about 5 s more: {waited}")
    wait_until(lambda: all(d["state"] == "sent" for d in daemon.deliveries()), 15, "all sent")
    kinds = [json.loads(r["body"])["type"] for r in at_path(hook, "/slow")]
    check(kinds[-1] in ("subslab.alarm.returned", "subslab.alarm.raised") and
          kinds[0] == "subslab.alarm.raised", f"a return never overtakes: {kinds}")


def quiet_now(minutes_from, minutes_to):
    def clock(minutes):
        return datetime.fromtimestamp(time.time() + 60 * minutes, timezone.utc).strftime("%H:%M")
    return f"{clock(minutes_from)}-{clock(minutes_to)}"


@suite.test
def quiet_hours_hold_back_all_but_high_priority(place):
    """In the time zone of the system, unless the contact has one."""
    broker, hook = place.broker(), place.endpoint()
    quiet = quiet_now(-60, 60)
    place.daemon(broker, [
        system("here", [plain_point("suction", unit="inH2O")], time_zone="UTC"),
        system("there", [plain_point("suction", unit="inH2O")], time_zone="Asia/Tokyo"),
        system("grave", [plain_point("suction", unit="inH2O")], time_zone="UTC",
               conditions={"suction-low": {"priority": "high"}})],
        [contact("sleeper", hook, quiet_hours=quiet),
         contact("in-tokyo", hook, quiet_hours=quiet, time_zone="Asia/Tokyo"),
         contact("awake", hook)], conditions=AT_ONCE).start()
    for name in ("here", "there", "grave"):
        low(broker, name)
    arrives(hook, "/awake", "alarm.raised", count=3)
    told = lambda path: {e["subject"] for e in events(hook, path)}  # noqa: E731
    wait_until(lambda: told("/sleeper") == {"there", "grave"}, 10, "what is not held back")
    wait_until(lambda: told("/in-tokyo") == {"here", "there", "grave"}, 10, "not quiet in Tokyo")
    stays(lambda: told("/sleeper") == {"there", "grave"}, 1, "held back")


@suite.test
def roles_hear_what_concerns_them(place):
    broker, hook = place.broker(), place.endpoint()
    people = ["office", "owner", "tech"]
    daemon = place.daemon(broker, [house(contacts=people)], [
        contact("office", hook), contact("owner", hook, role="homeowner"),
        contact("tech", hook, role="technician")], conditions=HIGH).start()
    low(broker)
    for name in people:
        arrives(hook, f"/{name}", "alarm.raised")
    text = events(hook, "/owner")[0]["data"]["text"]
    check(re.search("electrician|combustion|back-?draft|long-term", text, re.I), f"cautions: {text}")
    tool_of(daemon).run("acknowledge", daemon.alarms()[0]["id"], "--by", "me")
    arrives(hook, "/office", "alarm.acknowledged")
    good(broker)
    for name in people:
        arrives(hook, f"/{name}", "alarm.returned")
    equal([e["type"] for e in events(hook, "/owner")],
          ["subslab.alarm.raised", "subslab.alarm.returned"], "one message at raise, one at return")


@suite.test
def reminders_and_escalation_while_unacknowledged(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [house(contacts=["office"])], [
        contact("office", hook, remind_every="2 s", escalate_to={"contact": "boss", "after": "3 s"}),
        contact("boss", hook)], conditions=AT_ONCE).start()
    low(broker)
    arrives(hook, "/office", "alarm.raised")
    equal(arrives(hook, "/office", "alarm.reminder")[0]["data"]["condition"], "suction-low", "reminder")
    event = arrives(hook, "/boss", "alarm.escalated")[0]
    equal((event["subject"], event["data"]["condition"]), ("house", "suction-low"), "escalated")
    tool_of(daemon).run("acknowledge", daemon.alarms()[0]["id"], "--by", "me")
    time.sleep(0.5)
    before = len(events(hook, "/office", "alarm.reminder"))
    time.sleep(3)
    equal(len(events(hook, "/office", "alarm.reminder")), before, "none after acknowledge")
    equal(len(events(hook, "/boss", "alarm.escalated")), 1, "escalated once")


@suite.test
def a_backlog_that_is_over_is_history_and_one_that_stands_is_told_at_once(place):
    broker, hook = place.broker(), place.endpoint()
    points = [point("suction", unit="Pa")]
    daemon = place.daemon(broker, [system("over", points), system("stands", points)],
                          [contact("office", hook)], conditions={**AT_ONCE, "suction-low": {
                              "setpoint": "100 Pa", "deadband": "10 Pa", "on_delay": "10 min"}}).start()
    now = now_ms()
    broker.publish([(f"subslab/{s}/suction", timed(200, now - 2 * HOUR - MINUTE)) for s in ("over", "stands")])
    wait_until(lambda: daemon.readings("stands"), 10, "live")
    equal(daemon.stop(), 0, "exit status")
    messages = []
    for at in range(now - 2 * HOUR, now, MINUTE):
        bad = at < now - HOUR
        messages.append(("subslab/over/suction", timed(50 if bad else 200, at)))
        messages.append(("subslab/stands/suction", timed(200 if bad else 50, at)))
    broker.publish(messages)
    daemon.start()
    began = time.time()
    event = arrives(hook, "/office", "alarm.raised")[0]
    check(time.time() - began <= 5 * PATIENCE, "within 5 s of the end of the backlog")
    equal((event["subject"], time_ms_of(event["data"]["since"]), time_ms_of(event["data"]["raised"])),
          ("stands", now - HOUR, now - HOUR + 10 * MINUTE), "with its true since, raised at event time")
    stays(lambda: {e["subject"] for e in events(hook)} == {"stands"}, 2, "nothing of what is over")
    old = [a for a in daemon.alarms(all="1") if a["system"] == "over"]
    equal([(a["condition"], a["state"]) for a in old], [("suction-low", "normal")], "one line of history")


if __name__ == "__main__":
    suite.run()
