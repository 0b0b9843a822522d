#!/usr/bin/env python3
"""daemon/api/openapi.yaml: a good OpenAPI document in the eyes of an independent validator, with each
route of the API and no other; and what the real daemon answers is as it says, each key described.
Judged by check_openapi.mjs; needs VALIDATORS_FOLDER."""
import json
import os
import re
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import (LOW_AT_ONCE, SOURCE, Suite, check, contact, equal, events, now_ms,  # noqa: E402
                     point, rfc3339, system, timed, wait_until, write_file)

suite = Suite()
DOCUMENT = os.path.join(SOURCE, "daemon", "api", "openapi.yaml")
JUDGE = os.path.join(SOURCE, "tests", "neighbours", "check_openapi.mjs")
DAY = 86_400_000
RECORD = """date: {date}
by: the installer
instruments: micromanometer 12
next_calibration: 2030-01-01
radon_before: 9.1 pCi/L
radon_after: 1.2 pCi/L
changed: [fan, piping]
equipment: [{{branch: main, model: big, serial: A 17, installed: {date}, warranty_until: 2030-01-01}}]
points: {{suction: 250 Pa, flow: 41 cfm, hole: 6 Pa}}
notes: all well
"""


def route_table():
    """{(method, "/api/systems/{id}")} from the daemon's own table; names of parts are left out."""
    with open(os.path.join(SOURCE, "daemon/api/api.c"), encoding="utf-8") as file:
        return {f"{method} {path}" for method, path in re.findall(r'\{"(GET|POST)", "([^"]+)",', file.read())}


def house():
    points = [point("suction", every="1 h"), point("flow", "airflow", "m3/h", every="1 h"),
              point("hole", "field", every="1 h"), point("radon", "radon", "Bq/m3", every="1 h"),
              point("upstairs", "radon", "Bq/m3", every="1 h", place="bedroom"),
              point("outside", "outdoor-temperature", "degC", every="1 h"),
              {"id": "tube", "quantity": "suction", "unit": "inH2O", "by": "hand", "every": "183 d"}]
    return system("mill", points, name="Mill House", address="1 Mill Road", foundation="drain tile",
                  region="quillmere", retest_every="1 y", conditions={"suction-low": {"off_delay": "0 s"}},
                  pipe={"inside_diameter": "3.068 in"},
                  fan={"curve": [["0 cfm", "1.9 inH2O"], ["40 cfm", "1.4 inH2O"], ["90 cfm", "0.2 inH2O"]]})


def furnish(place):
    """A daemon of which every list has something in it."""
    broker, hook = place.broker(), place.endpoint({"/lost": [{"status": 500}], "/refuses": [{"status": 400}]})
    daemon = place.daemon(broker, [house(), system("creek", [point("suction")])],
                          [contact("office", hook), contact("lost", hook, "/lost"),
                           contact("refuses", hook, "/refuses")], conditions=LOW_AT_ONCE,
                          enrolled_systems="enrolled/")
    os.makedirs(os.path.join(daemon.folder, "enrolled"), exist_ok=True)
    daemon.start()
    begin = now_ms() // 3600_000 * 3600_000 - 40 * DAY
    rows = [(begin + h * 3600_000, h) for h in range(40 * 24)]
    messages = []
    for at, h in rows:
        for name, value in (("suction", 250 + h % 7), ("flow", 70 + h % 3), ("hole", 6 + h % 2), ("radon", 60 + h % 11),
                            ("upstairs", 40 + h % 5), ("outside", 3 + h % 9)):
            messages.append((f"subslab/mill/{name}", timed(value, at)))
    broker.publish(messages)
    wait_until(lambda: daemon.metric("subslab_readings_total") >= len(messages), 120, "readings")
    return broker, hook, daemon, begin


class Answers:
    """Asks, and keeps each answer beside the route that gave it."""

    def __init__(self, daemon):
        self.daemon, self.kept = daemon, []

    def ask(self, method, route, path, body=None, status=200, headers=None):
        answer = self.daemon.request(method, path, body, headers=headers or {})
        equal(answer.status, status, f"{method} {path}: {answer.body[:300]}")
        kind = answer.headers["Content-Type"].split(";")[0]
        text = answer.body.decode()
        self.kept.append({"route": f"{method} {route}", "status": status, "type": kind,
                          "body": json.loads(text) if kind == "application/json" else text})
        return self.kept[-1]["body"]

    def get(self, route, path=None, **more):
        return self.ask("GET", route, path or route, **more)

    def post(self, route, path, body=None, **more):
        return self.ask("POST", route, path, body if body is not None else {}, **more)


def put_on_record(answers, begin):
    text, csv = {"Content-Type": "text/plain"}, "time,system,point,value,unit\n"
    answers.post("/api/systems/*/commission", "/api/systems/mill/commission?file=x.yaml",
                 RECORD.format(date=rfc3339(begin)[:10]), headers=text)
    answers.post("/api/systems/*/commission", "/api/systems/mill/commission?file=x.yaml", "date: never\n",
                 status=400, headers=text)
    answers.post("/api/systems/*/learn", "/api/systems/mill/learn",
                 {"by": "x", "from": rfc3339(begin + DAY), "to": rfc3339(begin + 9 * DAY)})
    answers.post("/api/systems/*/points/*/record", "/api/systems/mill/points/tube/record",
                 {"by": "the owner", "value": "1.0 inH2O"})
    answers.post("/api/systems/*/visit-done", "/api/systems/mill/visit-done",
                 {"by": "x", "on": rfc3339(begin + 20 * DAY)[:10], "found": "dust", "did": "cleaned",
                  "changed": ["nothing"], "values": {"suction": "251 Pa"}})
    answers.post("/api/systems/*/radon-test", "/api/systems/mill/radon-test",
                 {"by": "x", "from": rfc3339(begin + 5 * DAY)[:10], "to": rfc3339(begin + 9 * DAY)[:10],
                  "value": "1.5 pCi/L", "place": "basement", "device": "canister", "closed_house": True})
    wrong = answers.daemon.post("/api/systems/mill/radon-test", {
        "by": "x", "from": rfc3339(begin + 5 * DAY)[:10], "to": rfc3339(begin + 9 * DAY)[:10], "value": "15 pCi/L",
        "place": "basement", "device": "canister"})
    answers.post("/api/radon-tests/*/take-back", f"/api/radon-tests/{wrong['id']}/take-back", {"by": "x", "why": "a slip"})
    answers.post("/api/import", "/api/import?file=x.csv", csv + f"{rfc3339(begin - DAY)},mill,suction,249,Pa\nbad\n",
                 headers={"Content-Type": "text/csv"})
    answers.get("/api/fans")
    year = rfc3339(now_ms())[:4]
    answers.get("/api/systems/*/report", f"/api/systems/mill/report?year={year}")
    answers.get("/api/systems/*/report", "/api/systems/mill/report", status=400)
    answers.post("/api/enrol", "/api/enrol", {"by": "x", "systems": [{"text": "id: new\n"}]}, status=400)
    answers.post("/api/enrol", "/api/enrol", {"by": "x", "systems": [
        {"file": "new.yaml", "text": "id: new\npoints:\n  - {id: suction, quantity: suction}\n"}]})
    answers.post("/api/systems/*/out-of-service", "/api/systems/creek/out-of-service",
                 {"by": "x", "until": "2 d", "why": "roof"})
    answers.get("/api/systems/*", "/api/systems/creek")
    answers.post("/api/systems/*/return-to-service", "/api/systems/creek/return-to-service")


def change_alarms(answers, broker, hook):
    daemon = answers.daemon
    broker.publish([("subslab/mill/suction", timed(50, now_ms() - 2000)), ("subslab/creek/suction", timed(50, now_ms())),
                    ("subslab/nobody/suction", "251 Pa"), ("subslab/mill/suction", "many")])
    alarm = daemon.alarm("suction-low", system="mill")["id"]
    other = daemon.alarm("suction-low", system="creek")["id"]
    answers.get("/api/alarms")
    answers.post("/api/alarms/*/acknowledge", f"/api/alarms/{alarm}/acknowledge", {"by": "x", "note": "seen"})
    answers.post("/api/alarms/*/shelve", f"/api/alarms/{other}/shelve", {"by": "x", "until": "2 d", "why": "part"})
    answers.get("/api/alarms")
    answers.get("/api/systems/*", "/api/systems/mill")
    answers.post("/api/alarms/*/unshelve", f"/api/alarms/{other}/unshelve")
    answers.post("/api/alarms/*/unshelve", f"/api/alarms/{other}/unshelve", status=409)
    answers.post("/api/alarms/*/acknowledge", "/api/alarms/99999/acknowledge", {"by": "x"}, status=404)
    answers.post("/api/alarms/*/acknowledge", f"/api/alarms/{alarm}/acknowledge", status=400)
    broker.publish([("subslab/mill/suction", timed(250, now_ms()))])
    wait_until(lambda: events(hook, kind="alarm.returned"), 20, "the return")
    answers.get("/api/alarms", "/api/alarms?all=1")
    answers.get("/api/alarms", f"/api/alarms?all=1&limit=1&before={other}&system=mill")
    answers.get("/api/alarms", "/api/alarms?limit=none", status=400)


def ask_the_rest(answers):
    sent = answers.get("/api/deliveries")
    check({one["state"] for one in sent} >= {"sent", "waiting", "failed"}, "deliveries of each state")
    failed = answers.get("/api/deliveries", "/api/deliveries?failed=1")
    answers.post("/api/deliveries/*/again", f"/api/deliveries/{failed[0]['id']}/again")
    answers.get("/api/deliveries/*", f"/api/deliveries/{sent[0]['id']}")
    answers.get("/api/deliveries/*", "/api/deliveries/none", status=404)
    answers.post("/api/contacts/*/test-alert", "/api/contacts/office/test-alert")
    answers.post("/api/contacts/*/test-alert", "/api/contacts/nobody/test-alert", status=404)
    answers.post("/api/deliveries/*/again", "/api/deliveries/none/again", status=404)
    check(answers.get("/api/unclaimed") and answers.get("/api/refused"), "both have something")
    for route, path in (("/health", None), ("/metrics", None), ("/metrics/systems", None), ("/visits.ics", None),
                        ("/api/systems", None), ("/api/systems", "/api/systems?status=in+spec"),
                        ("/api/systems/*", "/api/systems/mill"), ("/api/visits", None), ("/api/radon-tests", None),
                        ("/api/systems/*/radon-tests", "/api/systems/mill/radon-tests"),
                        ("/api/readings", "/api/readings?system=mill&limit=3"),
                        ("/api/readings", "/api/readings?system=mill&point=suction&limit=3")):
        answers.get(route, path)
    answers.get("/api/systems/*", "/api/systems/nowhere", status=404)
    answers.get("/api/readings", "/api/readings", status=400)


def judge(place, *words):
    done = subprocess.run(["node", JUDGE, *words], capture_output=True, text=True, timeout=120, check=False)
    return done.returncode, done.stdout + done.stderr


def move_a_house(answers):
    """Away and, when it was forgotten, back again."""
    out = answers.daemon.request("POST", "/api/systems/new/move-out", {})
    equal((out.status, out.headers["Content-Type"].split(";")[0]), (200, "application/octet-stream"), "move-out")
    answers.kept.append({"route": "POST /api/systems/*/move-out", "status": 200,
                         "type": "application/octet-stream", "body": "bytes"})
    answers.ask("POST", "/api/systems/*/move-in", "/api/systems/new/move-in?by=x", out.body, status=409,
                headers={"Content-Type": "application/octet-stream"})
    return out.body


def forget_a_house(answers):
    answers.post("/api/backup", "/api/backup", {"done": "subslab-2026.db"})
    answers.post("/api/systems/*/forget", "/api/systems/new/forget", {"by": "x"}, status=202)
    answers.post("/api/reload", "/api/reload", status=202)
    wait_until(lambda: len(answers.daemon.get("/api/systems")) == 2, 20, "one system less")
    answers.post("/api/systems/*/forget", "/api/systems/new/forget", {"by": "x", "words": ["9 Fern Way"]})


@suite.test
def the_document_is_good_and_the_daemon_answers_as_it_says(place):
    broker, hook, daemon, begin = furnish(place)
    answers = Answers(daemon)
    put_on_record(answers, begin)
    change_alarms(answers, broker, hook)
    ask_the_rest(answers)
    bytes_of_new = move_a_house(answers)
    forget_a_house(answers)
    for more in ("&check=1", ""):
        answers.ask("POST", "/api/systems/*/move-in", f"/api/systems/new/move-in?by=x{more}", bytes_of_new,
                    headers={"Content-Type": "application/octet-stream"})
    kept = write_file(os.path.join(place.folder, "answers.json"), json.dumps(
        {"routes": sorted(route_table()), "answers": answers.kept}))
    if os.environ.get("KEEP_ANSWERS"):
        write_file(os.environ["KEEP_ANSWERS"], open(kept, encoding="utf-8").read())
    status, said = judge(place, DOCUMENT, kept)
    check(status == 0, f"openapi.yaml:\n{said}")


if __name__ == "__main__":
    suite.run()
