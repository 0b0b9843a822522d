#!/usr/bin/env python3
"""Commissioning on the page: what the sensors read now beside what a hand-held instrument shows, test
holes at several fan settings, the back-draft test; what is refused stays in the form."""
import math
import os
import sqlite3
import statistics
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import near  # noqa: E402
from harness import Suite, check, equal, local_day, now_ms, point, system, timed, wait_until  # noqa: E402
from pages import HASH, Page, Session, check_spanish, post_form, share  # noqa: E402

suite = Suite()

PA_PER_INCH = 249.08891  # conventional inch of water
SUCTION = [0.60, 0.62, 0.64, 0.66, 0.63]
POINTS = [point("suction", unit="inH2O", name="suction in the riser"), point("hole-1", "field", "Pa"),
          point("fan-power", "fan-power", "W"), point("radon", "radon", "pCi/L", every="1 h")]


def furnished(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("mill", POINTS, name="Mill <b>House</b>")],
                          page={"access_file": "accounts"})
    daemon.secret("accounts", f"installer:{HASH}\nworkshop:{HASH}")
    daemon.start()
    now = now_ms()
    old = timed(5.0, now - 3_600_000)  # before the ten minutes
    broker.publish([("subslab/mill/suction", old)] +
                   [("subslab/mill/suction", timed(value, now - 60_000 * (i + 1)))
                    for i, value in enumerate(SUCTION)] +
                   [("subslab/mill/hole-1", timed(6.0, now - 60_000)),
                    ("subslab/mill/fan-power", timed(22, now - 1_200_000))])
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 6 and daemon.readings("mill", "fan-power"),
               10, "readings")
    return broker, daemon


def fields_of(page):
    """The fields of the form of the commissioning as a browser would send them."""
    fields, select, inside = {}, None, False
    for tag, a in page.tags:
        if tag == "form":
            inside = a.get("action", "").endswith("/commission")
        elif not inside:
            continue
        elif tag == "input" and a.get("type") in ("checkbox", "radio"):
            if "checked" in a:
                fields[a["name"]] = a["value"]
        elif tag == "input" and a.get("name"):
            fields[a["name"]] = a.get("value", "")
        elif tag == "textarea":
            fields[a["name"]] = ""
        elif tag == "select":
            select = a["name"]
            fields[select] = ""
        elif tag == "option" and "selected" in a:
            fields[select] = a["value"]
    return fields


def send(daemon, session, fields, status):
    answer = post_form(daemon, "/systems/mill/commission", fields, session.cookie)
    page = Page(answer.body.decode())
    equal(page.errors, [], "markup")
    equal(answer.status, status, page.text[-900:])
    return page


def records(daemon):
    with sqlite3.connect(f"file:{daemon.store}?mode=ro", uri=True) as store:
        return store.execute("SELECT count(*) FROM commissioning").fetchone()[0]


def baselines(daemon):
    return {p["id"]: p["baseline"]["value"] for p in daemon.get("/api/systems/mill")["points"]
            if p["baseline"] and p["baseline"]["value"] is not None}


@suite.test
def what_is_measured_becomes_the_normal(place):
    _, daemon = furnished(place)
    session = Session(daemon)
    page = session.get("/systems/mill/commission")
    fields = fields_of(page)
    equal((fields["value-suction"], fields["value-hole-1"], fields["value-fan-power"], fields["value-radon"]),
          ("0.63 inH2O", "6 Pa", "", ""), "the mean of ten minutes, where there is one")
    scatter = f"{statistics.stdev(SUCTION):.2g}"
    check("The sensor reads 0.63 inH2O: mean of the 5 readings of the last 10 min, scatter "
          f"{scatter} inH2O" in page.text, page.text[:3000])
    check("The sensor reads 6 Pa: one reading" in page.text, "a single reading")
    check("No reading in the last 10 min; the newest is 22 W" in page.text, "an older one")
    check("The sensor has sent nothing yet" in page.text, "none")
    check("Mill <b>House</b>" in page.text and not page.all("b"), "a name is text")
    equal(fields["hole-1"], "hole-1", "the hole that a sensor watches")
    check(not [f for f in fields if f.startswith("changed-")], "the first record changes nothing")
    fields |= {"value-suction": "0.65", "value-fan-power": "22.5 W", "radon_before": "9.1", "instruments": "meter 12",
               "back_draft": "passed", "notes": "Sump <lid> sealed.",
               "hole-2": "north wall", "setting-1": "full speed", "suction-1": "0.65", "flow-1": "40",
               "field-1-1": "6.1", "field-1-2": "2.5 Pa", "suction-3": "0.3", "flow-3": "22 cfm",
               "field-3-1": "3", "field-3-2": "0.8"}
    send(daemon, session, fields, 303)
    found = baselines(daemon)
    near(found["suction"], 0.65 * PA_PER_INCH, "a number alone is in the unit of its label")
    near(found["hole-1"], 6.0, "what the sensor read was confirmed")
    near(found["fan-power"], 22.5, "by hand")
    check("radon" not in found, "what was left empty")
    check("installer commissioned mill" in daemon.log(), "the log names who")
    exponent = math.log(0.65 / 0.3) / math.log(40 / 22)  # two points: the line through both
    for path in ("/systems/mill", "/systems/mill/record"):
        text = session.get(path).text
        for expected in ("Back-draft test: passed", "full speed, suction 0.65 inH2O, flow 40 cfm; hole-1 6.1 Pa; "
                         "north wall 2.5 Pa: 2 of 2 holes at 1 Pa or more",
                         "1 of 2 holes at 1 Pa or more", f"Exponent of the ground: {exponent:.2f}"):
            check(expected in text, f"{path}: {expected!r} in {text[-3000:]}")
    check("Sump <lid> sealed." in session.get("/systems/mill").text, "the notes")


@suite.test
def the_first_fan_setting_is_that_of_the_values_above(place):
    _, daemon = furnished(place)
    session = Session(daemon)
    fields = fields_of(session.get("/systems/mill/commission")) | {"value-suction": "0.65", "value-hole-1": "6.1"}
    send(daemon, session, fields, 303)
    check("Test holes:" not in session.get("/systems/mill").text, "without a table there is none")
    fields = fields_of(session.get("/systems/mill/commission")) | {"value-suction": "0.65", "value-hole-1": "6.1"}
    send(daemon, session, fields | {"hole-2": "den", "flow-1": "40", "field-1-2": "2.5", "suction-2": "0.3", "flow-2": "22",
                                    "field-2-1": "3", "field-2-2": "1.2", "changed-nothing": "yes"}, 303)
    text = session.get("/systems/mill").text
    for expected in ("suction 0.65 inH2O, flow 40 cfm; hole-1 6.1 Pa; den 2.5 Pa: 2 of 2 holes",
                     "suction 0.3 inH2O, flow 22 cfm; hole-1 3 Pa; den 1.2 Pa: 2 of 2 holes",
                     f"Exponent of the ground: {math.log(0.65 / 0.3) / math.log(40 / 22):.2f}"):
        check(expected in text, f"{expected!r} in {text[-2500:]}")


@suite.test
def the_pressure_of_the_air_is_in_the_unit_of_a_barometer(place):
    """1013.25 hPa are 29.92 inHg: standard atmosphere (ICAO)."""
    broker = place.broker()
    daemon = place.daemon(broker, [system("mill", [*POINTS, point("air", "barometric-pressure", "hPa")])],
                          page={"access_file": "accounts"})
    daemon.secret("accounts", f"installer:{HASH}")
    daemon.start()
    broker.publish([("subslab/mill/air", timed(1013.25, now_ms() - 60_000))])
    wait_until(lambda: daemon.readings("mill", "air"), 10, "a reading")
    session = Session(daemon)
    for path in ("/systems/mill/commission", "/systems/mill", "/systems/mill?points=air&range=24h"):
        text = session.get(path).text
        check("air, in" in text or "air, inHg" in text, f"{path}: {text[:2000]}")
        check("air, inHg" in text.replace("air, in inHg", "air, inHg"), f"{path}: in inches of mercury")
        check("air, in inH2O" not in text and "air, inH2O" not in text, f"{path}: not of water")
    fields = fields_of(session.get("/systems/mill/commission"))
    send(daemon, session, fields | {"value-air": "29.92"}, 303)
    near(baselines(daemon)["air"], 101325, "a number alone is in the unit of its label", 20)


@suite.test
def without_a_back_draft_test_the_papers_say_so(place):
    _, daemon = furnished(place)
    session = Session(daemon)
    send(daemon, session, fields_of(session.get("/systems/mill/commission")), 303)
    for path in ("/systems/mill", "/systems/mill/record"):
        check("Back-draft test: none on record" in session.get(path).text, path)
    papers = (f"/systems/mill/report?year={local_day()[:4]}", "/systems/mill/fan-sheet")
    for path in papers:
        check("No test is on record that flue gas leaves the house" in session.get(path).text, path)
    for word, said in (("failed", "flue gas can come into the house"), ("passed", "a test showed that flue gas leaves")):
        fields = fields_of(session.get("/systems/mill/commission"))
        send(daemon, session, fields | {"back_draft": word}, 303)
        for path in papers:
            check(said in (text := session.get(path).text) and "No test is on record" not in text, f"{path}: {word}: {text[-900:]}")
    fields = fields_of(session.get("/systems/mill/commission"))
    send(daemon, session, fields | {"back_draft": "no appliance", "changed-fan": "yes"}, 303)
    for path in papers:
        check("test showed" not in session.get(path).text and "No test is on record" not in session.get(path).text, path)
    check("no combustion appliance" in session.get("/systems/mill/record").text, "none to test")


@suite.test
def what_is_wrong_stays_with_its_reason_and_changes_nothing(place):
    _, daemon = furnished(place)
    session = Session(daemon)
    good = fields_of(session.get("/systems/mill/commission"))
    cases = [
        ({"value-suction": "1 W"}, "value-suction", "a unit of another kind"),
        ({"value-suction": "-1"}, "value-suction", "can be no baseline"),
        ({"value-suction": "9999"}, "value-suction", "is impossible"),
        ({"value-suction": "<i>"}, "value-suction", "is not a value with a unit"),
        ({"radon_before": "-1 pCi/L"}, "radon_before", "is not a radon concentration"),
        ({"next_calibration": "2001-01-01"}, "next_calibration", "is not after date"),
        ({"next_calibration": "soon"}, "next_calibration", "is not a date"),
        ({"back_draft": "perhaps"}, "back_draft", "allowed: passed, failed or no appliance"),
        ({"hole-2": "hole-1"}, "hole-2", "is the name of another hole"),
        ({"suction-2": "1 W"}, "suction-2", "is not a suction"),
        ({"flow-3": "9999 cfm"}, "flow-3", "is not an air flow"),
        ({"field-2-3": "7 W", "hole-3": "attic: #1"}, "field-2-3", "is no pressure at a test hole"),
        ({"suction-1": "1", "flow-1": "40", "suction-2": "0.9", "flow-2": "20"}, "suction-1",
         "an exponent that is not between 1"),
    ]
    for changed, field, why in cases:
        page = send(daemon, session, good | changed, 400)
        check(why in page.text and "Nothing was changed" in page.text, f"{changed}: {page.text[:3000]}")
        wrong = [a["id"][len("wrong-"):] for a in page.all("span") if a.get("class") == "wrong"]
        equal(wrong, [field], f"marked after {changed}")
        kept = fields_of(page)
        equal({name: kept[name] for name in good if name not in ("token", "back_draft")},
              {name: value for name, value in (good | changed).items() if name not in ("token", "back_draft")},
              f"what was typed with {changed}")
        equal((records(daemon), baselines(daemon)), (0, {}), f"after {changed}")
        answer = post_form(daemon, "/systems/mill/commission", good | changed, session.cookie, **{"Accept-Language": "es"})
        check_spanish(Page(answer.body.decode()), f"{changed} in Spanish")


@suite.test
def two_people_at_once_do_not_write_over_each_other(place):
    _, daemon = furnished(place)
    one, other = Session(daemon), Session(daemon, "workshop")
    mine, theirs = (fields_of(s.get("/systems/mill/commission")) for s in (one, other))
    send(daemon, one, mine | {"value-suction": "0.7"}, 303)
    page = send(daemon, other, theirs | {"value-suction": "0.8"}, 409)
    check("installer has written a record of this system meanwhile" in page.text, page.text[:2000])
    again = fields_of(page)
    equal(again["value-suction"], "0.8", "what was typed")
    equal(records(daemon), 1, "records")
    near(baselines(daemon)["suction"], 0.7 * PA_PER_INCH, "who was first")
    send(daemon, other, again, 303)
    equal(records(daemon), 2, "records after looking")


@suite.test
def only_somebody_signed_in_commissions(place):
    _, daemon = furnished(place)
    session = Session(daemon)
    good = fields_of(session.get("/systems/mill/commission"))
    equal(daemon.request("GET", "/systems/mill/commission", page=True).status, 403, "signed out")
    equal(post_form(daemon, "/systems/mill/commission", good).status, 403, "without a session")
    equal(post_form(daemon, "/systems/mill/commission", good | {"token": "x"}, session.cookie).status, 403,
          "without its token")
    equal(post_form(daemon, "/systems/none/commission", good, session.cookie).status, 404, "no such system")
    link = share(session, "mill")
    equal(daemon.request("GET", link + "/commission", page=True).status, 404, "by the homeowner's link")
    equal(records(daemon), 0, "nothing changed")


if __name__ == "__main__":
    suite.run()
