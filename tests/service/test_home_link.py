"""What a homeowner's link takes, with the real daemon: a U-tube's reading, a radon test, "the fan sounds
different" or "is off": in two languages, bounded, kept, told, and never an alarm's only cause unless
the point is read by hand."""
import json
import os
import re
import sys
import threading

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from contract import tool_of  # noqa: E402
from harness import Suite, check, contact, equal, local_day, now_ms, plain_point, rfc3339, system, wait_until  # noqa: E402
from pages import HASH, Page, Session, fetch, origin, post_form, share  # noqa: E402

INCH_PA = 249.08891  # NIST SP 811 (2008), appendix B: the conventional inch of water
DAY = 86400_000
AT_ONCE = {"suction-low": {"setpoint": "70 %", "deadband": "5 %", "on_delay": "0 s", "off_delay": "0 s"},
           "suction-lost": {"enabled": "no"}}

suite = Suite()


def by_hand(ident="mill", **more):
    """A house with a U-tube and a telephone only."""
    return system(ident, [{"id": "tube", "quantity": "suction", "unit": "inH2O", "by": "hand", "every": "183 d"}],
                  conditions=AT_ONCE, **more)


def with_sensor(ident="mill", **more):
    return system(ident, [plain_point("suction"), plain_point("radon", "radon", "Bq/m3", every="1 h")],
                  conditions=AT_ONCE, **more)


class Home:
    """A daemon with one contractor who hears of everything, and the links of its houses."""

    def __init__(self, place, *houses, contacts=()):
        self.hook = place.endpoint({"*": {"status": 204}})
        self.broker = place.broker()
        self.daemon = place.daemon(self.broker, list(houses), page={"access_file": "accounts"},
                                   contacts=[contact("office", self.hook), *[one(self.hook) for one in contacts]])
        self.daemon.secret("accounts", f"installer:{HASH}")
        self.daemon.start()
        self.session = Session(self.daemon)
        self.links = {house["id"]: share(self.session, house["id"]) for house in houses}

    def send(self, form, fields, ident="mill", status=303, query="", **headers):
        """The answer; a form that is refused comes back as a page."""
        answer = post_form(self.daemon, f"{self.links[ident]}/{form}{query}", fields, **headers)
        page = Page(answer.body.decode()) if answer.body else None
        equal(answer.status, status, f"{form} {fields}: {page.text[-600:] if page else ''}")
        check(not page or not page.errors, f"markup: {page and page.errors}")
        return page or answer

    def show(self, ident="mill"):
        return self.daemon.get(f"/api/systems/{ident}")

    def point(self, name="tube", ident="mill"):
        return next(one for one in self.show(ident)["points"] if one["id"] == name)

    def told(self, event_type):
        """Events that the office got."""
        return [event for event in (json.loads(r["body"]) for r in list(self.hook.requests) if r["path"] == "/office")
                if event["type"] == event_type]

    def commission(self, ident="mill", point="tube", days_ago=30):
        self.daemon.commission(ident, f"date: {local_day(days_ago * DAY)}\nby: us\npoints: {{{point}: 1.10 inH2O}}\n")


def wrongs(page):
    """What stands beside which field."""
    return {a["id"].removeprefix("wrong-") for name, a in page.tags if name == "span" and a.get("class") == "wrong"}


def typed(page):
    return {a["name"]: a.get("value", "") for a in page.all("input")
            if a.get("type") not in ("radio", "checkbox") or "checked" in a}


# ---- the U-tube ----

@suite.test
def both_sides_or_the_distance_give_the_same_reading(place):
    house = Home(place, by_hand())
    house.commission()
    # The pull is the distance of the levels, whatever the scale: common practice of reading a manometer.
    readings = [({"left": "0.55", "right": "0.6", "zero": "middle", "day": local_day(4 * DAY)}, 1.15),
                ({"left": "+0.5", "right": "-0.7", "zero": "middle", "day": local_day(3 * DAY)}, 1.2),
                ({"left": "2.4", "right": "1.3", "zero": "bottom", "day": local_day(2 * DAY)}, 1.1),
                ({"difference": "1,05", "day": local_day(DAY)}, 1.05),
                ({"difference": "1.08", "left": "0.54", "right": "0.54", "zero": "middle", "day": ""}, 1.08)]
    for fields, inches in readings:
        house.send("u-tube", fields)
        point = house.point()
        check(abs(point["last"]["value"] - inches * INCH_PA) < 0.01, f"{fields}: {point['last']}")
        equal(point["by_hand"][0]["by"], "homeowner", "marked as theirs")
    reports = house.show()["home_reports"]
    equal([(r["kind"], round(r["value"] / INCH_PA, 3), r["unit"]) for r in reports],
          [("u-tube", inches, "Pa") for _, inches in reversed(readings)], "what was sent, newest first")
    equal(house.told("subslab.home.report"), [], "a point read by hand is judged, so nobody is told besides")
    page = fetch(house.daemon, house.links["mill"] + "?sent=yes")
    check("Thank you. It is noted." in page.text and "1.08 inH2O" in page.text and "98 %" in page.text, "it is shown")
    sheet = house.session.get("/systems/mill").text
    check("From the homeowner" in sheet and "1.15 inH2O" in sheet, "the contractor sees it")


@suite.test
def a_low_reading_raises_an_alarm_only_where_the_point_is_read_by_hand(place):
    house = Home(place, by_hand(), with_sensor("sensor"))
    house.commission()
    house.commission("sensor", "suction")
    house.broker.publish([("subslab/sensor/suction", str(1.1 * INCH_PA))])
    for ident in ("mill", "sensor"):
        page = house.send("u-tube", {"difference": "0.3"}, ident, 400)
        equal(wrongs(page), {"sure"}, "far from the day it was set up: asked once more")
        check("This gives 0.3 inH2O" in page.text and "it was 1.1 inH2O" in page.text, page.text[-900:])
        equal(typed(page)["difference"], "0.3", "what was typed stays")
        house.send("u-tube", {"difference": "0.3", "sure": "yes"}, ident)
    alarm = house.daemon.alarm("suction-low", system="mill")
    check(abs(alarm["value"] - 0.3 * INCH_PA) < 0.01, f"{alarm['value']}")
    (event,) = wait_until(lambda: house.told("subslab.home.report"), 10, "the contractor is told of the other")
    equal((event["subject"], event["data"]["kind"], round(event["data"]["value"], 2), event["data"]["unit"]),
          ("sensor", "u-tube", round(0.3 * INCH_PA, 2), "Pa"), "the message")
    check("0.3 inH2O" in event["data"]["text"] and "27 %" in event["data"]["text"], event["data"]["text"])
    equal([a["condition"] for a in house.daemon.alarms(system="sensor")], ["retest-due"], "no alarm from a note")
    check(abs(house.point("suction", "sensor")["last"]["value"] - 1.1 * INCH_PA) < 0.01, "the sensor's reading stays")


@suite.test
def what_is_wrong_stands_beside_its_field_and_nothing_is_noted(place):
    house = Home(place, by_hand())
    house.commission()
    today, tomorrow = local_day(), local_day(-DAY)
    cases = [("u-tube", {}, {"difference"}), ("u-tube", {"left": "1"}, {"right"}),
             ("u-tube", {"left": "1", "right": "0.1"}, {"zero"}), ("u-tube", {"left": "1", "right": "0.1", "zero": "top"}, {"zero"}),
             ("u-tube", {"difference": "a lot"}, {"difference"}), ("u-tube", {"difference": "1.1 psi"}, {"difference"}),
             ("u-tube", {"difference": "-1.1"}, {"difference"}), ("u-tube", {"difference": "5000"}, {"difference"}),
             ("u-tube", {"difference": "1e400"}, {"difference"}), ("u-tube", {"difference": "nan"}, {"difference"}),
             ("u-tube", {"difference": "1.1", "left": "0.2", "right": "0.2", "zero": "middle"}, {"difference"}),
             ("u-tube", {"difference": "1.1", "day": tomorrow}, {"day"}), ("u-tube", {"difference": "1.1", "day": "yesterday"}, {"day"}),
             ("u-tube", {"difference": "1.1", "day": "1999-01-01"}, {"day"}),
             ("radon-test", {}, {"from", "to", "value", "place", "device"}),
             ("radon-test", {"from": today, "to": "2026-02-30", "value": "1.2", "place": "den", "device": "x", "uncertainty": "0 %",
                             "kind": "odd", "closed_house": "perhaps"}, {"to", "value", "uncertainty", "kind", "closed_house"}),
             ("radon-test", {"from": local_day(DAY), "to": tomorrow, "value": "-1 pCi/L", "place": "den", "device": "x"}, {"to", "value"}),
             ("radon-test", {"from": local_day(2 * DAY), "to": local_day(3 * DAY), "value": "1 pCi/L", "place": "den", "device": "x"}, {"from"}),
             ("radon-test", {"from": local_day(3 * DAY), "to": local_day(2 * DAY), "value": "1 pCi/L", "place": "den", "device": "x"}, {"from"}),
             ("radon-test", {"from": local_day(7 * DAY), "to": local_day(3 * DAY), "value": "1 pCi/L", "place": "den", "device": "x",
                             "kind": "long"}, {"kind"}),
             ("radon-test", {"from": local_day(99 * DAY), "to": local_day(3 * DAY), "value": "1 pCi/L", "place": "den", "device": "x",
                             "kind": "short"}, {"kind"}),
             ("radon-test", {"from": local_day(500 * DAY), "to": local_day(3 * DAY), "value": "1 inH2O", "place": "den",
                             "device": "x" * 300}, {"from", "value", "device"}),
             ("fan", {}, {"what"}), ("fan", {"what": "u-tube"}, {"what"}), ("fan", {"what": "off", "note": "x" * 3000}, {"note"})]
    for language, word in (("en", "Nothing was noted yet"), ("es", "Todavía no se anotó nada")):
        for form, fields, wanted in cases:
            page = house.send(form, fields, status=400, query=f"?language={language}")
            equal(wrongs(page), wanted, f"{form} {fields}")
            check(word in page.text, f"in {language}: {page.text[:200]}")
            shown = typed(page)
            for name, value in fields.items():
                check(shown.get(name, value) == value or name in ("kind", "closed_house", "zero", "what"), f"{name} stays as typed")
            for name in wanted & set(shown):
                (field,) = [a for a in page.all("input") + page.all("fieldset") if f"wrong-{name}" in a.get("aria-describedby", "")]
                check(field.get("aria-invalid") == "true" or field.get("class") == "choices", "told to those who hear it")
    equal((house.show()["home_reports"], house.show()["radon_tests"], house.point()["last"]["value"]), ([], [], None), "nothing is noted")
    equal(house.told("subslab.home.report"), [], "nobody is told")
    house.send("u-tube", {"difference": "1.1", "day": local_day(DAY)})
    page = house.send("u-tube", {"difference": "1.2", "day": local_day(DAY)}, status=400)
    equal(wrongs(page), {"day"}, "another reading of that day")


@suite.test
def each_pipe_has_its_u_tube(place):
    tubes = [{"id": f"tube-{name}", "quantity": "suction", "unit": "Pa", "by": "hand", "branch": name} for name in ("east", "west")]
    house = Home(place, system("mill", tubes, branches=[{"id": "east"}, {"id": "west"}], conditions=AT_ONCE))
    page = house.send("u-tube", {"difference": "250"}, status=400)
    equal(wrongs(page), {"pipe"}, "which one?")
    check("east" not in page.text and "Pipe 1" in page.text and "unit: Pa" in page.text, "numbered, in the unit of its scale")
    house.send("u-tube", {"difference": "250", "pipe": "1"})
    house.send("u-tube", {"difference": "240", "pipe": "2"})
    equal((house.point("tube-east")["last"]["value"], house.point("tube-west")["last"]["value"]), (250, 240), "each its own")
    equal([r["branch"] for r in house.show()["home_reports"]], ["west", "east"], "what was sent")
    house.send("u-tube", {"difference": "250", "pipe": "3"}, status=400)


@suite.test
def two_people_in_a_home_do_not_write_over_each_other(place):
    house = Home(place, by_hand())
    yesterday = local_day(DAY)
    house.send("u-tube", {"difference": "1.05", "day": yesterday})
    page = house.send("u-tube", {"difference": "1.20", "day": yesterday}, status=400)
    equal((wrongs(page), typed(page)["difference"]), ({"day"}, "1.20"), "another reading of that day: what was typed stays")
    equal([round(r["value"] / 249.08891, 2) for r in house.show()["home_reports"]], [1.05], "the first one's stays")
    sent = [threading.Thread(target=house.send, args=("u-tube", {"difference": value})) for value in ("1.06", "1.07", "1.08", "1.09")]
    sent += [threading.Thread(target=house.daemon.post, args=("/api/systems/mill/points/tube/record",
                                                              {"value": f"{value} inH2O", "by": "Ann"}))
             for value in ("1.10", "1.11", "1.12", "1.13", "1.14", "1.15")]
    sent += [threading.Thread(target=house.send, args=("fan", {"what": "off", "note": note})) for note in ("one", "two")]
    for thread in sent:
        thread.start()
    for thread in sent:
        thread.join()
    reports = house.show()["home_reports"]
    equal((sorted(round(r["value"] / 249.08891, 2) for r in reports if r["kind"] == "u-tube"),
           sorted(r["note"] for r in reports if r["kind"] == "off")), ([1.05, 1.06, 1.07, 1.08, 1.09], ["one", "two"]), "each is kept")
    equal(sorted(round(value / 249.08891, 2) for _, value in house.daemon.readings("mill", "tube")),
          [1.05, 1.06, 1.07, 1.08, 1.09, 1.1, 1.11, 1.12, 1.13, 1.14, 1.15], "and what the office records beside them")


@suite.test
def a_house_that_only_people_read_is_not_heard_when_nobody_reads_it(place):
    house = Home(place, by_hand(contacts=["office", "owner"]), contacts=[lambda hook: contact("owner", hook, body="text", role="homeowner")])
    equal(house.show()["status"], "silent", "nothing was ever read")
    check("not heard so far" in house.session.get("/systems/mill").text, "and the sheet says so")
    last = now_ms() - 200 * DAY
    for days in range(7, 1, -1):  # six values, falling, so long ago that the next one is overdue
        at = rfc3339(last - (days - 2) * 120 * DAY)
        house.daemon.post("/api/systems/mill/points/tube/record", {"value": f"{0.8 + 0.1 * days:.2f} inH2O", "at": at, "by": "Ann"})
    house.daemon.alarm("reading-due")
    shown, (line,) = house.show(), house.daemon.get("/api/systems")
    equal((shown["status"], line["status"], line["since"][:10]), ("silent", "silent", rfc3339(last)[:10]), "since the last reading")
    trend = house.point()["trend"]
    check(trend["per_year"] is not None and trend["per_year"] < 0, f"a trend of six values: {trend}")
    for path in ("/", "/systems/mill"):
        check(f"not heard since {local_day(now_ms() - last)}" in house.session.get(path).text, path)
    for command in (("systems",), ("show", "mill")):
        words = " ".join(tool_of(house.daemon).run(*command)[0].split())
        check(f"not heard since {local_day(now_ms() - last)}" in words, words)
    page = fetch(house.daemon, house.links["mill"])
    check("We have heard nothing from your home since" in page.text and "It is time to read it." in page.text, page.text)
    mail = wait_until(lambda: [r["body"] for r in house.hook.requests if r["path"] == "/owner"], 10, "a reminder")[0]
    check("U-tube" in mail and "both sides" in mail and "link" in mail, f"it says how to read it and where to: {mail}")
    house.send("u-tube", {"difference": "1.02"})
    equal(house.show()["status"], "in spec", "heard again")
    wait_until(lambda: not [a for a in house.daemon.alarms() if a["condition"] == "reading-due" and a["returned"] is None], 5, "read")


@suite.test
def the_papers_of_a_house_that_only_people_read_say_what_they_read(place):
    house = Home(place, by_hand(fan={"model": "radial-150", "serial": "0017", "installed": "2025-09-30"}))
    tool, days = tool_of(house.daemon), (30, 20, 5)
    year = local_day(5 * DAY)[:4]

    def letter(*more):
        return {s["heading"]: " ".join(s["paragraphs"]) for s in
                tool.json("report", "mill", "--year", year, *more)["sections"]}
    house.commission(days_ago=200 if local_day(200 * DAY)[:4] == year else 4)
    check("Nobody read the U-tube in this time." in letter()["The pull in the pipe"], letter())
    for value, ago in zip((1.1, 1.05, 0.98), days):
        house.daemon.post("/api/systems/mill/points/tube/record",
                          {"value": f"{value} inH2O", "at": rfc3339(now_ms() - ago * DAY), "by": "Ann"})
    house.daemon.post("/api/systems/mill/points/tube/record", {"value": "0.9 inH2O", "by": "Ann"})
    said = letter()
    read = sum(1 for ago in (*days, 0) if local_day(ago * DAY)[:4] == local_day()[:4]) if year == local_day()[:4] else None
    check(read is None or f"by people: {read}. The last one, of {local_day()}: 0.9 inH2O. On the day the system was set up it was 1.1 inH2O."
          in said["The pull in the pipe"], said)
    check("nobody knows how it was" in said["How much of the time it was as it should be"], said)
    check("0.9 inH2O" in letter("--language", "es")["La aspiración en el tubo"], "in Spanish")
    record = house.session.get("/systems/mill/record").text
    check("nobody knows what was between two readings by hand" in record and "0.98 inH2O, by Ann" in record, record)
    row = house.show()["in_spec"][0]
    equal((row["share"], row["why"]), (None, "read by hand: nobody knows what was between two readings"), "in show")
    sheet = house.session.get("/systems/mill/fan-sheet?language=es").text
    check("número de serie 0017" in sheet and "serial" not in sheet and "installed" not in sheet, sheet)
    check("muestran cuánto radón hay" in sheet, f"what it does not prove: {sheet}")


# ---- tests, the fan ----

@suite.test
def a_test_of_the_household_stands_beside_the_monitors(place):
    house = Home(place, with_sensor(), contacts=[])
    house.commission(point="suction", days_ago=40)
    begin = now_ms() - 40 * DAY
    lines = "".join(f"{rfc3339(begin + hour * 3600_000)},mill,radon,{44.4 + hour % 2},Bq/m3\n" for hour in range(40 * 24) if hour != 20 * 24)
    answer = house.daemon.request("POST", "/api/import?file=x.csv&line=2", "time,system,point,value,unit\n" + lines,
                                  headers={"Content-Type": "text/csv"})
    equal(answer.status, 200, "history")
    wait_until(lambda: house.daemon.alarms() and house.daemon.alarm("retest-due"), 10, "a test is due")
    sent = {"from": local_day(8 * DAY), "to": local_day(3 * DAY), "value": "1,3 pCi/L", "place": "Wohnküche",
            "device": "charcoal <kit> 4711", "uncertainty": "15 %", "closed_house": "yes"}
    for _ in range(2):  # a second tap
        house.send("radon-test", sent)
    (test,) = house.show()["radon_tests"]
    equal((test["by"], test["place"], test["kind"], test["closed_house"], test["uncertainty"], round(test["value"], 2)),
          ("homeowner", "Wohnküche", "short", True, 0.15, 48.1), "the test")
    equal(test["monitors"][0]["agrees"], True, "beside the monitor")
    wait_until(lambda: not [a for a in house.daemon.alarms() if a["condition"] == "retest-due" and a["returned"] is None], 10,
               "the next test is in two years")
    (event,) = wait_until(lambda: house.told("subslab.home.report"), 10, "the contractor is told")
    equal((event["data"]["kind"], round(event["data"]["value"], 1)), ("radon-test", 48.1), "the message")
    for query, words in (("", ("the two agree", "sent by you", "Wohnküche, charcoal <kit> 4711")),
                         ("?language=es", ("los dos coinciden", "enviada por usted", "ventanas y puertas cerradas"))):
        page = fetch(house.daemon, house.links["mill"] + query)
        for word in words:
            check(word in page.text, f"{word}: {page.text}")
    english = re.findall(r"\b(?:over|under|known|since|ago|the|and|of|test|reading)\b", page.text.replace("charcoal <kit> 4711", ""))
    equal(english, [], f"nothing is left in English: {page.text}")
    equal([len(house.show()["home_reports"]), len(house.told("subslab.home.report"))], [1, 1], "noted and told once")
    wrong = {"test": "", "why": ""}
    answer = post_form(house.daemon, "/systems/mill/take-back", {"token": house.session.token, **wrong}, house.session.cookie)
    equal(answer.status, 400, "which, and why?")
    equal({a["id"] for a in Page(answer.body.decode()).all("span") if a.get("class") == "wrong"},
          {"wrong-test-take-back", "wrong-why-take-back"}, "beside the fields")
    check("4711" in house.session.get("/systems/mill").text, "nothing was taken back")
    house.session.post("/systems/mill/take-back", test=str(test["id"]), why="another house's kit")
    equal([house.show()["radon_tests"], house.show()["home_reports"]], [[], []], "taken back")
    for path in (house.links["mill"], "/systems/mill", "/systems/mill/record"):
        check("4711" not in house.session.get(path).text, f"nothing is left of it on {path}")
    wait_until(lambda: [a for a in house.daemon.alarms() if a["condition"] == "retest-due" and a["returned"] is None], 10,
               "a test is due again")
    check(re.search(r"installer took back radon test .*charcoal <kit> 4711, by homeowner: another house's kit", house.daemon.log()),
          "the log keeps it with the name")
    house.send("radon-test", sent)
    equal(len(house.show()["radon_tests"]), 1, "and it can be sent anew")


@suite.test
def the_fan_sounds_different_or_is_off(place):
    house = Home(place, with_sensor(), by_hand("hut", contacts=["owner"]),
                 contacts=[lambda hook: contact("owner", hook, role="homeowner"),
                           lambda hook: contact("taller", hook, body="text", language="es")])
    house.send("fan", {"what": "sounds-different", "note": "since the storm\n<b>rattles</b> ñ"})
    house.send("fan", {"what": "off", "note": ""}, "hut")
    first, second = wait_until(lambda: sorted(house.told("subslab.home.report"), key=lambda event: event["subject"] != "mill")
                               if len(house.told("subslab.home.report")) == 2 else None, 10, "both are told")
    equal((first["subject"], first["data"]["kind"], first["data"]["value"], first["data"]["note"]),
          ("mill", "sounds-different", None, "since the storm\n<b>rattles</b> ñ"), "the first")
    equal((second["subject"], second["data"]["kind"], second["data"]["note"]), ("hut", "off", None), "the second")
    check("From the household: mill" in first["data"]["text"] and "the fan sounds different" in first["data"]["text"]
          and "rattles" in first["data"]["text"], first["data"]["text"])
    spanish = wait_until(lambda: [r["body"] for r in house.hook.requests if r["path"] == "/taller"], 10, "in Spanish")
    check("De la casa: mill" in spanish[0] and "suena distinto" in spanish[0], spanish[0])
    equal([r["path"] for r in house.hook.requests if r["path"] == "/owner"], [], "not the household itself")
    equal(house.daemon.alarms(), [], "no alarm")
    sheet = house.session.get("/systems/mill")
    check("the fan sounds different" in sheet.text and "<b>rattles</b>" in sheet.text and not sheet.all("b"), "on the contractor's sheet")
    equal([(r["kind"], r["note"]) for r in house.show("hut")["home_reports"]], [("off", None)], "in show")
    for how, said in (((), "homeowner sounds-different, "), (("--full",), "<b>rattles</b>")):
        shown = " ".join(tool_of(house.daemon).run("show", "mill", *how)[0].split())
        check(said in shown, f"{how}: {shown}")


# ---- bounded, and only from here ----

@suite.test
def a_link_takes_ten_a_day(place):
    house = Home(place, by_hand(), by_hand("other"))
    for i in range(10):
        house.send("fan", {"what": "off", "note": f"number {i}"})
    for restarted in (False, True):
        page = house.send("fan", {"what": "off", "note": "once more"}, status=429)
        check("Come back tomorrow" in page.text and "once more" in page.text, "says so, and what was typed stays")
        house.send("u-tube", {"difference": "1.1"}, status=429)
        equal(len(house.show()["home_reports"]), 10, "nothing more is noted")
        if not restarted:
            house.daemon.stop()
            house.daemon.start()
    house.send("fan", {"what": "off"}, "other")


@suite.test
def a_form_from_elsewhere_or_for_no_link_changes_nothing(place):
    house = Home(place, by_hand())
    good, link = {"what": "off"}, house.links["mill"]
    for headers in ({"Origin": None}, {"Origin": "null"}, {"Origin": "http://evil.example"},
                    {"Origin": origin(house.daemon) + "0"}):
        page = house.send("fan", good, status=403, **headers)
        check("not sent from the page of your home" in page.text, page.text)
    check("No viene de aquí" in house.send("fan", good, status=403, Origin="null", **{"Accept-Language": "es"}).text, "in Spanish")
    house.send("fan", good, status=415, **{"Content-Type": "text/plain"})
    answer = house.daemon.request("POST", f"{link}/fan", b"what=off&note=%C0%AF", page=True, headers={
        "Content-Type": "application/x-www-form-urlencoded", "Origin": origin(house.daemon)})
    equal(answer.status, 400, "what is not UTF-8")
    for path, status in ((link + "A/fan", 404), ("/share/mill/fan", 404), (link + "/record", 405), (link + "/nothing", 404),
                         (link + "/fan/x", 404)):
        equal(post_form(house.daemon, path, good).status, status, path)
    house.session.post("/systems/mill/withdraw-share")
    house.send("fan", good, status=404)
    equal(house.show()["home_reports"], [], "nothing was noted")
    form = fetch(house.daemon, share(house.session, "mill") + "/fan")
    check([a for a in form.all("meta") if a.get("name") == "referrer" and a["content"] == "same-origin"],
          "or browsers would hide where the form comes from")
    check(not form.all("script"), "no script")


suite.run()
