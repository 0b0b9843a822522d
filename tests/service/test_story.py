#!/usr/bin/env python3
"""The whole story of a house on real parts, twice side by side: one house through the page alone, one
through the tool alone. A topic that nobody claims, enrolled, commissioned, an alarm, a visit with a new
fan, a radon test, the year's letter. It takes ten days, of the daemon's own clock. In the end both must
be told alike, by page and by tool."""
import os
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import DAY, files, tool_of  # noqa: E402
from faked_time import faked_time  # noqa: E402
from harness import (Suite, check, contact, equal, events, local_day, now_ms, plain_point, rfc3339,  # noqa: E402
                     system, wait_until, write_file)
from pages import HASH, Page, Session, fields_of, picks, post_form, share  # noqa: E402

suite = Suite()

FAN = "id: {}\ncurve: [[0 cfm, 1.9 inH2O], [40 cfm, 1.4 inH2O], [90 cfm, 0.2 inH2O]]\npower: 22 W\n"
SENT = {"suction": "250 Pa", "hole-1": "6 Pa", "radon": "48 Bq/m3"}
PLAIN = {"suction": "250", "hole-1": "6", "radon": "48"}
WHAT = {"suction": ("suction", "Pa"), "hole-1": ("field", "Pa"), "radon": ("radon", "Bq/m3")}
HOUSE = """\
id: {0}
name: {1}
address: 7 Fern Way, Quillmere
time_zone: America/Denver
pipe: {{inside_diameter: 3.068 in}}
fan: {{model: radial-150, serial: "0017", installed: 2021-09-30}}
points:
  - {{id: suction, quantity: suction, unit: Pa, every: 10 min}}
  - {{id: hole-1, quantity: field, unit: Pa, every: 10 min}}
  - {{id: radon, quantity: radon, unit: Bq/m3, every: 10 min, place: cellar}}
"""
# Days ago; all of one year, for it is one letter.
OVER = 15 if local_day()[5:] < "01-13" else 0
COMMISSIONED, FAILED, VISITED, TESTED = OVER + 10, OVER + 9, OVER + 8, OVER + 2
VISIT = {"on": local_day(VISITED * DAY), "found": "the fan hums & stalls", "did": "a new fan, back-draft test passed"}
NEW_FAN = {"model": "axial-9", "serial": "A 1", "why": "failed"}
TEST = {"from": local_day((OVER + 6) * DAY), "to": local_day((OVER + 3) * DAY), "value": "50 Bq/m3", "uncertainty": "10 %",
        "place": "cellar", "device": "canister 4", "kind": "short", "closed_house": "yes"}


class Scene:
    """A daemon with a fleet of one, a folder for others, fan models and an office that hears."""

    def __init__(self, place):
        self.hook, self.broker = place.endpoint(), place.broker()
        environment, self.clock = faked_time(place, f"-{COMMISSIONED}d\n")
        self.daemon = place.daemon(
            self.broker, [system("old-1", [plain_point("suction")], time_zone="America/Denver")],
            [contact("office", self.hook)], page={"access_file": "accounts"}, enrolled_systems="enrolled/", fans="fans/",
            environment=environment, contractor={"name": "Quillmere Radon", "telephone": "+1 555 0100"},
            conditions={"suction-low": {"on_delay": "0 s", "off_delay": "0 s"}, "suction-lost": {"enabled": "no"}})
        self.daemon.secret("accounts", f"installer:{HASH}")
        os.mkdir(os.path.join(self.daemon.folder, "fans"))
        for model in ("radial-150", "axial-9"):
            write_file(os.path.join(self.daemon.folder, "fans", f"{model}.yaml"), FAN.format(model))
        self.daemon.start()
        self.tool, self.session = tool_of(self.daemon), Session(self.daemon)

    def pass_time(self, days_ago):
        write_file(self.clock, f"-{days_ago}d\n" if days_ago else "+0\n")

    def send(self, house, values):
        self.broker.publish([(f"subslab/{house}/{point}", value) for point, value in values.items()])

    def show(self, house):
        return self.daemon.get(f"/api/systems/{house}")

    def is_watched(self, house):
        return any(row["id"] == house for row in self.daemon.get("/api/systems"))

    def alarm(self, house):
        return wait_until(lambda: [a for a in self.daemon.alarms() if a["system"] == house and
                                   a["condition"] == "suction-low"], 20, f"the alarm of {house}")[0]

    def told(self, house, kind):
        wait_until(lambda: [e for e in events(self.hook) if e.get("subject") == house and e["type"] == kind and
                            e["data"].get("condition") == "suction-low"], 20, f"{kind} of {house} to the office")


# ---- by the page ----

class ByPage:
    house, name = "fern-7", "Fern House"

    def __init__(self, scene):
        self.scene, self.session = scene, scene.session

    def form(self, path, fields, status=303):
        answer = post_form(self.scene.daemon, path, fields, self.session.cookie)
        page = Page(answer.body.decode())
        equal((answer.status, page.errors), (status, []), f"{path}: {page.text[-700:]}")
        return page

    def enrol(self):
        listed = self.session.get("/enrol")
        check(all(f"subslab/{self.house}/{point}" in listed.text for point in SENT), "its topics wait")
        ticked = picks(listed, f"subslab/{self.house}/")
        equal(len(ticked), len(SENT), "numbers of the house")
        page = self.form("/enrol-house", [("token", self.session.token)] + [("pick", pick) for pick in ticked], 200)
        fields = fields_of(page)
        for name in [name for name in fields if name.endswith("-topic")]:
            point = fields[name].rsplit("/", 1)[1]
            stem = name[:-len("topic")]
            fields |= {stem + "id": point, stem + "quantity": WHAT[point][0], stem + "unit": WHAT[point][1],
                       stem + "place": "cellar" if point == "radon" else ""}
        self.form("/enrol", fields | {
            "id": self.house, "name": self.name, "address": "7 Fern Way, Quillmere", "time_zone": "America/Denver",
            "r-0-pipe": "3.068 in", "r-0-model": "radial-150", "r-0-serial": "0017", "r-0-installed": "2021-09-30"})

    def commission(self):
        page = self.session.get(f"/systems/{self.house}/commission?units=si")
        fields = fields_of(page)
        equal(fields["value-suction"], "250 Pa", "what the sensor reads stands in the field")
        self.form(f"/systems/{self.house}/commission", fields | {
            "back_draft": "passed", "radon_before": "400 Bq/m3", "instruments": "micromanometer 12",
            "suction-1": "250", "flow-1": "19", "field-1-1": "6", "suction-2": "120", "flow-2": "11"})

    def acknowledge(self, alarm):
        self.form(f"/alarms/{alarm}/acknowledge", {"token": self.session.token, "note": "on my way"})

    def visit(self):
        fields = {name: value for name, value in fields_of_form(self.session.get(f"/systems/{self.house}"), "known-visit").items()}
        self.form(f"/systems/{self.house}/visit-done", fields | VISIT | {f"fan-{key}": value for key, value in NEW_FAN.items()}
                  | {"value-suction": "250 Pa", "changed-fan": "yes"})

    def test(self):
        fields = fields_of_form(self.session.get(f"/systems/{self.house}"), "known-test")
        self.form(f"/systems/{self.house}/radon-test", fields | TEST)


def fields_of_form(page, name):
    """Of the form that has a field of this name, what it sends as it is."""
    fields, found = {}, {}
    for tag, a in page.tags + [("form", {})]:
        if tag == "form":
            found = fields if name in fields else found
            fields = {}
        elif tag == "input" and a.get("name") and (a.get("type") not in ("checkbox", "radio") or "checked" in a):
            fields[a["name"]] = a.get("value", "")
    check(found, f"a form with {name}")
    return found


# ---- by the tool ----

class ByTool:
    house, name = "moss-8", "Moss House"

    def __init__(self, scene):
        self.scene, self.tool = scene, scene.tool

    def enrol(self):
        topics = {row["topic"] for row in self.tool.json("unclaimed")}
        check(all(f"subslab/{self.house}/{point}" in topics for point in SENT), "its topics wait")
        files(self.scene.daemon.folder, {"house.yaml": HOUSE.format(self.house, self.name)})
        self.tool.run("enrol", "--file", "house.yaml", "--by", "installer")

    def commission(self):
        files(self.scene.daemon.folder, {"record.yaml": f"date: {rfc3339(now_ms() - COMMISSIONED * DAY)}\nby: installer\n"
                                         "instruments: micromanometer 12\nradon_before: 400 Bq/m3\nback_draft: passed\n"
                                         "points: {suction: 250 Pa, hole-1: 6 Pa}\ntest_holes:\n"
                                         "  - {suction: 250 Pa, flow: 19 L/s, holes: {hole-1: 6 Pa}}\n"
                                         "  - {suction: 120 Pa, flow: 11 L/s}\n"})
        self.tool.run("commission", self.house, "record.yaml")

    def acknowledge(self, alarm):
        self.tool.run("acknowledge", alarm, "--by", "installer", "--note", "on my way")

    def visit(self):
        fan = ", ".join(f"{key}: {value}" for key, value in NEW_FAN.items())
        self.tool.run("visit-done", self.house, "suction=250 Pa", "--on", VISIT["on"], "--by", "installer", "--found",
                      VISIT["found"], "--did", VISIT["did"], "--changed", "fan", "--equipment",
                      f"{{{fan}, installed: {VISIT['on']}}}")

    def test(self):
        self.tool.run("radon-test", self.house, TEST["value"], "--from", TEST["from"], "--to", TEST["to"], "--place",
                      TEST["place"], "--device", TEST["device"], "--uncertainty", TEST["uncertainty"], "--kind", TEST["kind"],
                      "--closed-house", "--by", "installer")


# ---- what both come to ----

def become_a_house(scene, actor):
    house = actor.house
    scene.send(house, PLAIN)
    wait_until(lambda: sum(house in row["topic"] for row in scene.daemon.get("/api/unclaimed")) == len(SENT), 10, "its topics")
    actor.enrol()
    wait_until(lambda: scene.is_watched(house), 20, f"{house} is watched")
    scene.send(house, PLAIN)
    wait_until(lambda: all(scene.daemon.readings(house, point) for point in SENT), 10, "its readings")
    actor.commission()
    check(actor.name in scene.session.get(f"/systems/{house}").text, "its first page is there")
    check(scene.daemon.request("GET", share(scene.session, house), page=True).status == 200, "and can be shared")


def fall_ill(scene, actor):
    scene.send(actor.house, {"suction": "100"})
    alarm = scene.alarm(actor.house)
    scene.told(actor.house, "subslab.alarm.raised")
    actor.acknowledge(alarm["id"])


def get_a_fan(scene, actor):
    actor.visit()
    scene.send(actor.house, PLAIN)
    scene.told(actor.house, "subslab.alarm.returned")
    wait_until(lambda: not [a for a in scene.daemon.alarms() if a["system"] == actor.house and
                            a["condition"] == "suction-low"], 20, "over and acknowledged")


def be_tested(scene, actor):
    scene.send(actor.house, PLAIN)
    actor.test()


STEPS = ((COMMISSIONED, become_a_house), (FAILED, fall_ill), (VISITED, get_a_fan), (TESTED, be_tested))


def facts(scene, actor):
    """What is known of a house, without its names, times of day and numbers of rows."""
    show = scene.show(actor.house)
    record, visit, test = show["commissioning"][0], show["past_visits"][0], show["radon_tests"][0]
    return {
        "points": [(p["id"], p["quantity"], (p["baseline"] or {}).get("value")) for p in sorted(show["points"], key=lambda p: p["id"])],
        "equipment": [(fan["model"], fan["serial"], fan["installed"]) for fan in show["branches"][0]["equipment"]],
        "record": {key: record.get(key) for key in ("by", "instruments", "radon_before", "back_draft", "test_holes")},
        "visit": (visit["on"], visit["by"], visit["found"], visit["did"], visit["facts"]),
        "test": {key: test[key] for key in ("from", "to", "value", "uncertainty", "place", "device", "kind", "closed_house", "by")},
        "alarms": [(a["condition"], a["state"], a.get("acknowledged_by"), a.get("note"))
                   for a in scene.daemon.get("/api/alarms?all=true&system=" + actor.house) if a["condition"] == "suction-low"]}


def papers(scene, actor):
    """Letter and record as page and tool give them, the house's name taken out."""
    year = VISIT["on"][:4]
    letter = scene.tool.table("report", actor.house, "--year", year)
    page = scene.session.get(f"/systems/{actor.house}/report?year={year}").text
    record = scene.session.get(f"/systems/{actor.house}/record").text
    for text, what in ((" ".join(letter.split()), "the letter as text"), (page, "the letter as a page")):
        for words in ("a new fan was put in", f"from {TEST['from']} to {TEST['to']}", "pulls too little",
                      "no substitute for a radon test", "Quillmere Radon, +1 555 0100"):
            check(words in text, f"{what} of {actor.house}: {words}: {text[:3000]}")
    for words in ("axial-9, serial A 1. In place of radial-150, serial 0017.", "Back-draft test: passed", "1 of 1 holes at 1 Pa or more",
                  "Exponent of the ground", "micromanometer 12", "canister 4", "Share of the time in spec"):
        check(words in record, f"the record of {actor.house}: {words}: {record[:4000]}")
    return letter.replace(actor.name, "NAME")


@suite.test
def one_house_by_the_page_and_one_by_the_tool_come_to_the_same(place):
    scene = Scene(place)
    actors = [ByPage(scene), ByTool(scene)]
    for days_ago, step in STEPS:
        scene.pass_time(days_ago)
        for actor in actors:
            step(scene, actor)
    scene.pass_time(OVER)
    by_page, by_tool = (facts(scene, actor) for actor in actors)
    for what, value in by_page.items():
        equal(value, by_tool[what], f"{what} by the page, and by the tool")
    equal(by_page["equipment"], [("radial-150", "0017", "2021-09-30"), ("axial-9", "A 1", VISIT["on"])], "its fans")
    equal([fan["replaced"] for fan in by_page["visit"][4]["equipment"]], [{"model": "radial-150", "serial": "0017"}], "replaced")
    equal(len(by_page["alarms"]), 1, f"one alarm, once: {by_page['alarms']}")
    first, second = (papers(scene, actor) for actor in actors)
    equal(first, second, "the letters")
    fleet = {one["model"]: one for one in scene.tool.json("fans")}
    equal((fleet["radial-150"]["failures"], fleet["axial-9"]["count"]), (2, 2), "lives of fans out of both")


if __name__ == "__main__":
    suite.run()
