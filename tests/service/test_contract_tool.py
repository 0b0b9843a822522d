#!/usr/bin/env python3
"""Outside contract: every command of the operator's tool against the real daemon, with and without
--json; the page's arrays, health and metrics."""
import json
import os
import re
import sys
from datetime import datetime, timezone

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import DAY, HOUR, files, is_time, keys_are, near, number_or_why  # noqa: E402
from harness import Suite, check, equal, events, local_day, now_ms, rfc3339, wait_until  # noqa: E402
from furnished_house import POINTS, RECORD, furnished, raise_low  # noqa: E402

suite = Suite()
STATUS_WORDS = ["in spec", "drifting", "out of spec", "silent", "out of service"]
STATES = ["normal", "unacknowledged", "acknowledged", "returned unacknowledged", "shelved",
          "suppressed by design", "out of service"]


WINDOWS = ["24 h", "7 d", "30 d", "91 d", "365 d", "since commissioning"]


def is_alarm(alarm):
    keys_are(alarm, "id system point condition priority state raised returned value setpoint unit "
             "diagnosis check bring text", "an alarm")
    keys_are(alarm["diagnosis"], "cause confidence evidence", "its diagnosis")
    check(alarm["diagnosis"]["cause"] or alarm["diagnosis"]["why"], "a cause, or why there is none")
    check(alarm["state"] in STATES, f"state {alarm['state']!r}")
    check(alarm["priority"] in ("high", "medium", "low"), f"priority {alarm['priority']!r}")
    is_time(alarm["raised"], "raised", or_null=True)
    is_time(alarm["returned"], "returned", or_null=True)
    for key in ("check", "bring"):
        check(all(isinstance(one, str) for one in alarm[key]), f"{key}: {alarm[key]}")
    check(isinstance(alarm["diagnosis"]["evidence"], list), "evidence")
    check(isinstance(alarm["text"], str) and alarm["text"], "text")


@suite.test
def systems_worst_first_with_the_words_of_the_contract(place):
    broker, _, daemon, tool = furnished(place)
    daemon.alarm("sensor-silent", 20)
    raise_low(broker, daemon)
    rows = tool.json("systems")
    equal(len(rows), 3, "systems")
    for row in rows:
        keys_are(row, "id name status since open_alarms unacknowledged suction radon last_reading "
                 "next_visit", "a system")
        check(row["status"] in STATUS_WORDS, f"status {row['status']!r}")
        is_time(row["last_reading"], "last_reading", or_null=True)
        is_time(row["since"], "since", or_null=True)
        keys_are(row["suction"], "value unit time of_baseline", "suction")
        keys_are(row["radon"], "mean unit window coverage", "radon")
    by_id = {row["id"]: row for row in rows}
    birch = by_id["birch-lane-12"]
    equal((birch["status"], birch["name"], birch["open_alarms"], birch["unacknowledged"]),
          ("out of spec", "12 Birch Lane", 1, 1), "the house with an alarm")
    near(birch["suction"]["value"], 0.5 * 249.08891, "its suction, in Pa")
    equal(birch["suction"]["unit"], "Pa", "the unit of suction")
    near(birch["suction"]["of_baseline"], 0.5 / 1.1, "of_baseline")
    near(birch["radon"]["mean"], 1.3 * 37, "its radon, in Bq/m3", 0.01)
    equal(birch["radon"]["unit"], "Bq/m3", "the unit of radon")
    equal(by_id["elm-road-1"]["status"], "silent", "the silent one")
    check(by_id["oak-way-2"]["status"] != "in spec", "unknown is never healthy: " +
          by_id["oak-way-2"]["status"])
    equal(rows[0]["id"], "birch-lane-12", "worst first")
    text = tool.table("systems")
    check("birch-lane-12" in text and "out of spec" in text, text)
    equal([r["id"] for r in tool.json("systems", "--status", "out of spec")], ["birch-lane-12"],
          "by status")
    equal(tool.json("systems", "--status", "drifting"), [], "none drifts")
    tool.run("systems", "--status", "sad", status=2)
    def at_rest(rows):  # the mean moves with the clock
        return [{key: value for key, value in row.items() if key != "radon"} for row in rows]
    equal(at_rest(daemon.get("/api/systems")), at_rest(tool.json("systems")), "the API's array")


@suite.test
def show_has_everything_and_a_why_for_each_null(place):
    broker, _, daemon, tool = furnished(place)
    raise_low(broker, daemon)
    shown = tool.json("show", "birch-lane-12")
    keys_are(shown, "id name status points fan ground alarms visits", "show")
    points = {point["id"]: point for point in shown["points"]}
    equal(list(points), [p["id"] for p in POINTS], "every point of the system file")
    for point_id, one in points.items():
        keys_are(one, "id quantity unit last baseline averages trend trend_recent", point_id)
        for average in one["averages"] or []:
            keys_are(average, "window mean coverage standard_uncertainty probability_above_action",
                     f"an average of {point_id}")
            number_or_why(average, "mean", f"{point_id} {average['window']}")
        for name in ("trend", "trend_recent"):
            check(one[name] is not None, f"{point_id}: {name} is null itself")
            keys_are(one[name], "per_year lower upper p_value crosses", name)
            number_or_why(one[name], "per_year", f"{point_id} {name}")
    radon = {a["window"]: a for a in points["radon"]["averages"]}
    equal([w for w in WINDOWS if w in radon], WINDOWS, "the windows")
    near(radon["24 h"]["mean"], 1.3 * 37, "radon of 24 h", 0.02)
    near(radon["30 d"]["coverage"], 1.0, "its coverage", 0.01)
    check(radon["30 d"]["probability_above_action"] < 0.01, "1.3 pCi/L is far below 4")
    check(radon["365 d"]["coverage"] < 0.12 and radon["365 d"]["probability_above_action"] is None and
          radon["365 d"]["why"], f"40 of 365 days are too few: {radon['365 d']}")
    equal(points["suction"]["unit"], "Pa", "SI")
    near(points["suction"]["baseline"]["value"], 1.1 * 249.08891, "baseline")
    equal(points["suction"]["baseline"]["by"], "the installer", "by")
    is_time(points["suction"]["baseline"]["from"], "from")
    is_time(points["suction"]["last"]["time"], "last")
    equal(points["battery"]["last"]["value"] if points["battery"]["last"] else None, None, "nothing yet")
    check(abs(points["suction"]["trend"]["per_year"]) < 80, "a steady suction has hardly a slope")
    near(shown["fan"]["speed_ratio"], 1.0, "the fan is as at commissioning", 0.03)
    near(shown["ground"]["resistance_ratio"], 1.0, "and so is the ground", 0.05)
    for holder in (shown["fan"], shown["ground"]):
        check(holder["lower"] <= 1.0 <= holder["upper"], f"its interval: {holder}")
    equal([a["condition"] for a in shown["alarms"]], ["suction-low"], "open alarms")
    is_alarm(shown["alarms"][0])
    equal(shown["alarms"][0]["time_zone"], shown["time_zone"], "the zone of its times")
    text = tool.table("show", "birch-lane-12")
    check(len(text.splitlines()) <= 60 and "UTC" not in text, text)
    check(text.index("what is wrong") < text.index("COMMISSIONING"), "what is wrong comes first")
    text = tool.table("show", "birch-lane-12", "--full")
    for word in ("suction", "pCi/L", "inH2O", "out of spec"):
        check(word in text, f"no {word} in {text}")
    empty = tool.json("show", "oak-way-2")
    for holder, key in ((empty["fan"], "speed_ratio"), (empty["ground"], "resistance_ratio")):
        equal(holder[key], None, key)
        number_or_why(holder, key, "the empty house")
    tool.table("show", "oak-way-2")
    same = daemon.get("/api/systems/birch-lane-12")
    equal([sorted(same), [sorted(p) for p in same["points"]]],
          [sorted(shown), [sorted(p) for p in shown["points"]]], "the API gives the same object")
    check("no-such-house" in tool.run("show", "no-such-house", status=1)[1], "an unknown system")


@suite.test
def alarms_are_acknowledged_shelved_and_kept(place):
    broker, hook, daemon, tool = furnished(place, days=3)
    alarm = raise_low(broker, daemon)
    ident = alarm["id"]
    rows = [a for a in tool.json("alarms") if a["condition"] == "suction-low"]
    is_alarm(rows[0])
    equal((rows[0]["system"], rows[0]["point"], rows[0]["priority"], rows[0]["state"], rows[0]["unit"],
           rows[0]["returned"]), ("birch-lane-12", "suction", "medium", "unacknowledged", "Pa", None),
          "the alarm")
    near(rows[0]["value"], 0.5 * 249.08891, "value in SI")
    near(rows[0]["setpoint"], 0.7 * 1.1 * 249.08891, "setpoint in SI")
    tool.table("alarms")
    tool.table("alarms", "--all")
    equal(tool.json("alarms", "--system", "oak-way-2"), [], "of another system")
    tool.run("alarms", "--system", "no-such-house", status=1)
    tool.run("alarms", "--since", "soon", status=2)
    equal(tool.json("alarms", "--since", rfc3339(now_ms() + HOUR)), [], "none since later")
    tool.run("acknowledge", ident, status=2)  # by whom?
    tool.run("acknowledge", 99999999, "--by", "me", status=1)
    tool.run("acknowledge", ident, "--by", "a technician", "--note", "on my way")

    def state():
        return next((a["state"] for a in tool.json("alarms") if a["id"] == ident), "normal")
    equal(state(), "acknowledged", "after acknowledge")
    tool.run("shelve", ident, "--until", "2 h", "--by", "a technician", status=2)  # why?
    tool.run("shelve", ident, "--until", rfc3339(now_ms() - HOUR), "--by", "a", "--why", "b", status=1)
    tool.run("shelve", ident, "--until", rfc3339(now_ms() + 365 * DAY), "--by", "a", "--why", "b",
             status=1)
    tool.run("shelve", ident, "--until", rfc3339(now_ms() + HOUR), "--by", "a", "--why", "painting")
    equal(state(), "shelved", "after shelve")
    tool.run("unshelve", ident)
    equal(state(), "unacknowledged", "after unshelve it asks for attention again")
    tool.run("acknowledge", ident, "--by", "me")
    tool.run("unshelve", 99999999, status=1)
    tool.run("out-of-service", "birch-lane-12", "--until", rfc3339(now_ms() + DAY), "--by", "a",
             "--why", "a new roof")
    equal([s["status"] for s in tool.json("systems") if s["id"] == "birch-lane-12"], ["out of service"],
          "status")
    equal(state(), "out of service", "the alarm of a system out of service")
    tool.run("return-to-service", "birch-lane-12")
    equal(state(), "acknowledged", "after return to service")
    broker.publish([("subslab/birch-lane-12/suction", "1.1 inH2O")])
    wait_until(lambda: state() == "normal", 10, "returned and acknowledged: it leaves alarms")
    kept = [a for a in tool.json("alarms", "--all") if a["id"] == ident][0]
    equal(kept["state"], "normal", "it stays in the history")
    is_time(kept["returned"], "returned")
    again = raise_low(broker, daemon)["id"]
    # What nobody was told of asks nobody for an acknowledgement.
    wait_until(lambda: [e for e in events(hook, "/office") if e["data"]["id"] == again], 10, "told")
    broker.publish([("subslab/birch-lane-12/suction", "1.1 inH2O")])
    late = wait_until(lambda: [a for a in tool.json("alarms") if a["state"] ==
                               "returned unacknowledged"], 10, "returned unacknowledged")[0]
    tool.run("acknowledge", late["id"], "--by", "me")
    check(late["id"] not in [a["id"] for a in tool.json("alarms")], "after both it is normal")
    equal([a["id"] for a in daemon.get("/api/alarms", all="1")],
          [a["id"] for a in tool.json("alarms", "--all")], "the API gives the same array")


@suite.test
def commissioning_learning_and_readings_by_hand(place):
    _, _, daemon, tool = furnished(place, days=20)
    bad = RECORD.format(date="2026-13-45").replace("hole-1: 6.0 Pa", "hole-9: 6.0 Pa")
    files(daemon.folder, {"bad.yaml": bad})
    err = tool.run("commission", "birch-lane-12", "bad.yaml", status=1)[1]
    for line, key in ((1, "date"), (8, "hole-9")):
        check(re.search(rf"(?m)^\S*bad\.yaml:{line}: .*{key}", err), f"{key}: {err}")
    tool.run("commission", "birch-lane-12", "no-such.yaml", status=1)
    tool.run("commission", "no-such-house", "record.yaml", status=1)
    at = rfc3339(now_ms() - 90_000)
    tool.run("record", "birch-lane-12", "suction", "1.02 inH2O", "--at", at, "--by", "Ann Reader")
    (read,) = [value for time, value in daemon.readings("birch-lane-12", "suction") if rfc3339(time) == at]
    near(read, 1.02 * 249.08891, "by hand, also where the sensor has said something since")
    by_hand = {p["id"]: p.get("by_hand") for p in tool.json("show", "birch-lane-12")["points"]}
    equal([r["by"] for r in by_hand["suction"]], ["Ann Reader"], "who took it")
    near(by_hand["suction"][0]["value"], 1.02 * 249.08891, "what was read")
    equal(by_hand["radon"], None, "nobody took one of this")
    check(re.search(r"by hand +1\.02 inH2O at .* by Ann Reader",
                    " ".join(tool.table("show", "birch-lane-12", "--full").split())), "show names who took it")
    sheet = daemon.request("GET", "/systems/birch-lane-12/record", page=True).body.decode()
    check("Readings by hand" in sheet and "by Ann Reader" in sheet, "the record names who took it")
    for at, word in (("1900-01-01", "keep_readings"), (rfc3339(now_ms() + 90_000), "future")):
        err = tool.run("record", "birch-lane-12", "suction", "1.02 inH2O", "--at", at, "--by", "me",
                       status=1)[1]
        check(word in err, f"a time that is not kept: {err}")
    err = tool.run("record", "birch-lane-12", "suction", "1.02 pCi/L", "--by", "me", status=1)[1]
    check("1.02 pCi/L has a unit of another kind; allowed for suction: Pa, inH2O, mmH2O" in err, f"which units fit: {err}")
    err = tool.run("record", "birch-lane-12", "suction", "1.02", "--by", "me", status=1)[1]
    check("1.02 is not a value with a unit; allowed for suction: Pa, inH2O, mmH2O" in err, f"and without one: {err}")
    tool.run("record", "birch-lane-12", "nowhere", "1.02", "--by", "me", status=1)
    tool.run("record", "birch-lane-12", "suction", "1.02 inH2O", status=2)
    today = datetime.now(timezone.utc).date()
    first, last = today.fromordinal(today.toordinal() - 15), today.fromordinal(today.toordinal() - 3)
    # The battery has sent nothing: the answer for it is no, and the others are learned.
    said = tool.run("commission", "birch-lane-12", "--learn", first, last, "--by", "me", status=1)
    check("battery" in said[1] and "suction" in said[0] and "–" not in said[0], f"{said}")
    shown = {p["id"]: p for p in tool.json("show", "birch-lane-12")["points"]}
    near(shown["suction"]["baseline"]["value"], 1.1 * 249.08891, "the learned baseline", 0.02)
    near(shown["radon"]["baseline"]["value"], 1.3 * 37, "learned although no record named it", 0.02)
    tool.run("commission", "birch-lane-12", "--learn", "2001-01-01", "2001-02-01", "--by", "me", status=1)


@suite.test
def visits_by_urgency_and_as_a_calendar(place):
    broker, _, daemon, tool = furnished(place, days=3)
    raise_low(broker, daemon)
    rows = tool.json("visits")
    for row in rows:
        keys_are(row, "id system name address reasons due earliest latest priority check bring baseline "
                 "last_visit", "a visit")
        keys_are(row["reasons"][0], "condition text", "its reason")
        check(row["check"] and row["bring"] and isinstance(row["baseline"], dict), "what to do")
    mine = [row for row in rows if row["system"] == "birch-lane-12"][0]
    check("suction-low" in [r["condition"] for r in mine["reasons"]], f"{mine['reasons']}")
    check(mine["earliest"] <= mine["due"] <= mine["latest"], "due between earliest and latest")
    tool.table("visits")
    tool.run("visits", "--ics", "visits.ics")
    with open(os.path.join(daemon.folder, "visits.ics"), "rb") as file:
        text = file.read()
    check(text.startswith(b"BEGIN:VCALENDAR\r\n") and text.endswith(b"END:VCALENDAR\r\n"), "RFC 5545")
    equal(text.count(b"BEGIN:VEVENT"), len(rows), "one event a visit")
    check(all(len(line) <= 75 for line in text.split(b"\r\n")), "folded at 75 bytes (RFC 5545, 3.1)")
    answer = daemon.request("GET", "/visits.ics", page=True)
    equal((answer.status, answer.headers["Content-Type"]), (200, "text/calendar; charset=utf-8"), "page")
    equal(daemon.get("/api/visits"), tool.json("visits"), "the API gives the same array")
    next_visit = {row["id"]: row["next_visit"] for row in tool.json("systems")}["birch-lane-12"]
    equal(next_visit, mine["due"], "systems names the same day")
    tool.run("visit-done", "birch-lane-12", "--on", "2026-01-02", "--by", "me", "--found", "water",
             status=2)
    today = local_day()
    tool.run("visit-done", "birch-lane-12", "--on", today, "--by", "me", "--found", "water in the pipe",
             "--did", "new slope")
    visit = tool.json("show", "birch-lane-12")["visits"][0]
    check("water in the pipe" in json.dumps(visit) and "new slope" in json.dumps(visit), f"{visit}")
    tool.run("visit-done", "birch-lane-12", "--on", today, "--by", "me", "--found", "x", "--did", "y",
             "--new-baseline", status=1)  # nothing was measured
    tool.run("visit-done", "birch-lane-12", "suction=-3 Pa", "--on", today, "--by", "me", "--found", "x",
             "--did", "y", "--new-baseline", status=1)  # what a commissioning record would not take
    out, _ = tool.run("visit-done", "birch-lane-12", "suction=0.9 inH2O", "--on", today, "--by", "me",
                      "--found", "a worn fan", "--did", "a new fan", "--new-baseline")
    check("the baseline from that day on" in out and "not measured" in out, out)
    points = {one["id"]: one for one in tool.json("show", "birch-lane-12")["points"]}
    check(abs(points["suction"]["baseline"]["value"] - 0.9 * 249.08891) < 1e-6, "the new baseline, SI")
    equal(points["suction"]["baseline"]["by"], "me", "by whom")
    tool.run("visit-done", "no-such-house", "--on", today, "--by", "a", "--found", "b", "--did", "c",
             status=1)


if __name__ == "__main__":
    suite.run()
