"""A language that nobody speaks (pseudo_language.py: one file more, and nothing else) through the real
daemon: each message, the contractor's and the homeowner's sheets and forms, their refusals, and the
calendar. Its texts stand in brackets, so a word outside of them was left in the code. Program:
tests/tool_pseudo_daemon."""
import os
import re
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import BUILD, Suite, check, contact, equal, events, local_day, plain_point, system, wait_until  # noqa: E402
from pseudo_language import left_in_code  # noqa: E402
from pages import HASH, Page, Session, fetch, post_form, share  # noqa: E402

suite = Suite()
# What is the same in every language: names given here, units, zones, words of two letters at most.
SAME = {"QQQ", "RRR", "UTC", "inH2O", "pCi", "hPa", "Pa", "min", "Bq", "degF", "cfm", "GMT", "MST", "MDT", "mill"}
AT_ONCE = {"suction-low": {"setpoint": "70 %", "deadband": "5 %", "on_delay": "0 s", "off_delay": "0 s"},
           "suction-lost": {"enabled": "no"}}


def is_pseudo(text, what):
    check("⟦" in text, f"{what}: not a word of the language: {text[:300]}")
    left = left_in_code(text, SAME)
    check(not left, f"{what}: {left[:12]} in no language's file: {text[:1500]}")


def attributes_of(page):
    for tag, attributes in page.tags:
        for name in ("title", "aria-label", "alt", "placeholder", "summary", "data-label", "data-how"):
            if attributes.get(name) and tag != "time":
                yield attributes[name]


class House:
    def __init__(self, place, accounts=False):
        self.hook, self.broker = place.endpoint(), place.broker()
        people = [contact(name, self.hook, role=role, language="xq")
                  for name, role in (("office", "contractor"), ("owner", "homeowner"), ("tech", "technician"))]
        points = [{**plain_point(name, quantity, unit), "name": "QQQ"} for name, quantity, unit in
                  (("suction", "suction", "inH2O"), ("power", "fan-power", "W"), ("radon", "radon", "Bq/m3"))]
        house = system("mill", points, name="QQQ", address="QQQ 1", conditions=AT_ONCE,
                       contacts=["office", "owner", "tech"])
        houses = [house] + accounts * [system("bare", [{**plain_point("suction", "suction", "inH2O"), "name": "QQQ"}],
                                              name="RRR", contacts=["office"])]
        self.daemon = place.daemon(self.broker, houses, people, page={"access_file": "accounts"},
                                   enrolled_systems="enrolled/",
                                   contractor={"name": "RRR", "telephone": "+1 555 0100"})
        self.daemon.program = os.path.join(BUILD, "tests", "tool_pseudo_daemon")
        self.daemon.secret("accounts", f"installer:{HASH}")
        self.daemon.start()
        self.daemon.commission("mill", f"date: {local_day(86400_000)}\nby: RRR\npoints: "
                                       "{suction: 1.10 inH2O, power: 20 W}\n")

    def publish(self, suction):
        self.broker.publish([("subslab/mill/power", "20"), ("subslab/mill/radon", "60"),
                             ("subslab/mill/suction", str(suction))])

    def told(self, name, count):
        wait_until(lambda: len(events(self.hook, f"/{name}")) >= count, 20, f"{count} messages to {name}")
        return [event["data"] for event in events(self.hook, f"/{name}")]


@suite.test
def the_check_finds_a_word_left_in_the_code(place):
    del place
    is_pseudo("⟦Whërë: ñ⟧ QQQ 7.2 inH2O", "a good one")
    try:
        is_pseudo("⟦Whërë: ñ⟧ Since 7", "a bad one")
    except AssertionError:
        return
    raise AssertionError("a word outside was not found")


@suite.test
def every_message_that_is_sent_is_in_it(place):
    house = House(place)
    house.publish(1.1)
    house.publish(0.5)
    house.daemon.alarm("suction-low")
    for name in ("office", "owner", "tech"):
        house.told(name, 1)
    alarm = house.daemon.alarms()[0]["id"]
    house.daemon.post(f"/api/alarms/{alarm}/acknowledge", {"by": "RRR", "note": "RRR"})
    house.told("office", 2)
    house.publish(1.1)
    for name, count in (("office", 3), ("owner", 2), ("tech", 2)):
        house.told(name, count)
        house.daemon.post(f"/api/contacts/{name}/test-alert", {})
        for data in house.told(name, count + 1):
            is_pseudo(data["text"], f"to {name}")
            for words in [*data.get("check", []), *data.get("bring", []),
                          *(data.get("diagnosis") or {}).get("evidence", [])]:
                is_pseudo(words, f"a line to {name}")
    raised = house.told("tech", 1)[0]
    check(raised["diagnosis"]["evidence"] and raised["check"] and raised["bring"], "evidence and lists are there")


@suite.test
def the_homeowners_sheets_and_forms_are_in_it(place):
    house = House(place)
    house.publish(0.5)
    house.daemon.alarm("suction-low")
    link = share(Session(house.daemon), "mill")
    house.daemon.post("/api/systems/mill/visit-done", {"on": local_day(), "by": "RRR", "found": "RRR", "did": "RRR"})
    equal(post_form(house.daemon, f"{link}/u-tube", {"difference": "1.05", "day": local_day()}).status, 303, "taken")
    house.publish(1.1)
    pages = {"the sheet": fetch(house.daemon, link), "the record": fetch(house.daemon, link + "/record"),
             "what is not there": fetch(house.daemon, link + "/no-such", status=404),
             "a link that was ended": fetch(house.daemon, link[:-2] + "?language=xq", status=404)}
    for form in ("u-tube", "radon-test", "fan"):
        pages[form] = fetch(house.daemon, f"{link}/{form}")
        answer = post_form(house.daemon, f"{link}/{form}", {"day": "1999-01-01", "left": "RRR", "value": "RRR"})
        pages[f"{form} refused"] = Page(answer.body.decode())
    for what, page in pages.items():
        own = [a for a in page.all("html") if a.get("lang") == "xq"]
        check(own, f"{what}: the language is named: {page.all('html')}")
        is_pseudo(re.sub(r"English|Español|subslabd|inH2O", " ", page.text), what)
        for words in attributes_of(page):
            is_pseudo(words, f"{what}, an attribute")


class Sheet(Page):
    """Texts of different elements do not run into one word."""
    def handle_data(self, data):
        super().handle_data(data + "\n")


def check_sheet(daemon, path, status, headers, fields=None):
    if fields is None:
        answer = daemon.request("GET", path, page=True, headers=headers)
    else:
        answer = post_form(daemon, path, fields, **headers)
    what = f"{path} with {fields}" if fields else path
    equal(answer.status, status, what)
    page = Sheet(answer.body.decode())
    (html,) = page.all("html")
    equal(html["lang"], "xq", f"{what}: the language is named")
    names = "|".join(["English", "Español", "subslabd", "subslabctl", "visits.ics", "installer", "office", "owner",
                      "tech", "mill", "bare", "subslab/elsewhere/RRR", "subslab/mill/suction", r"/share/\S*"])
    for text in [page.text, *attributes_of(page)]:
        words = re.sub(names, " ", text)
        if re.search(r"[^\W\d_]{3,}", re.sub("QQQ|RRR", " ", words)):  # else a name that was given here
            is_pseudo(words, what)


def sheets():
    """Every sheet of the contractor, each with what is on it when something is wrong and something was done."""
    yield from (("/", 200), ("/?need=today&find=Q", 200), ("/?find=nothing-like-it", 200), ("/alarms", 200), ("/alarms?all=1", 200),
                ("/alarms?before=999", 200), ("/visits", 200), ("/visits?count=5", 200), ("/fans", 200), ("/enrol", 200),
                ("/enrolled/nobody", 404), ("/sign-in", 200), ("/no-such", 404), ("/systems/nobody", 404), ("/assets/nothing", 404))
    for ident in ("mill", "bare"):
        yield from ((f"/systems/{ident}{behind}", 200) for behind in (
            "", "?range=24h&points=all&units=si", "?range=1y&to=2020-01-01T00:00:00Z", "/record", "/fan-sheet?language=xq", "/report?language=xq", "/commission"))
    yield f"/systems/mill/report?year={int(local_day()[:4]) - 9}", 404


def refused_for_fields(alarm):
    """Forms with something wrong in a field: the reason comes from the settings or the API."""
    house = {"p-0-topic": "QQQ", "p-0-id": "Q0", "p-0-unit": "7", "p-0-quantity": "suction", "p-0-every": "7", "id": "Q 0", "name": "Q" * 501,
             "time_zone": "7", "contacts": "Q1 Q1", "r-0-pipe": "7", "r-0-installed": "7"}
    commission = {"value-suction": "7 Q", "value-power": "-1", "value-radon": "7 h", "next_calibration": "7", "radon_before": "7 Q",
                  "instruments": "7\n7", "suction-1": "7 h", "flow-1": "7 h", "field-1-1": "7 h", "back_draft": "7"}
    visit = {"on": local_day(), "found": "7", "did": "7"}
    yield from ((f"/alarms/{alarm}/shelve", ({"until": until, "why": why}, 400)) for until, why in (("7", "7"), ("400 d", "7"), ("7 d", "")))
    yield f"/alarms/{alarm}/unshelve", ({}, 409)
    yield "/alarms/999/acknowledge", ({"note": "7"}, 404)
    yield "/systems/mill/out-of-service", ({"until": "7", "why": "7"}, 400)
    yield "/systems/mill/out-of-service", ({"until": "2001-01-01", "why": "7"}, 400)
    yield "/systems/mill/return-to-service", ({}, 409)
    yield "/systems/mill/commission", (commission, 400)
    yield from (("/systems/mill/visit-done", (visit | fields, 400)) for fields in (
        {"on": "7"}, {"on": local_day(-3 * 86400_000)}, {"value-suction": "7 h"}, {"value-suction": "99999 inH2O"}, {"next_calibration": "7"},
        {"new_baseline": "yes"}, {"changed-fan": "yes", "changed-nothing": "yes"}, {"fan-serial": "7"}, {"fan-model": "7", "fan-warranty_until": "7"}))
    yield "/enrol", (house, 400)
    good = house | {"id": "mill", "name": "Q", "p-0-topic": "subslab/mill/suction", "p-0-unit": "Pa", "p-0-every": "7 min",
                    "contacts": "Q1", "r-0-pipe": "70 mm", "r-0-installed": ""}
    yield "/enrol", (good | {"r-0-pipe": "7 h"}, 400)
    yield "/enrol", (good | {"time_zone": "QQQ"}, 400)


@suite.test
def the_contractors_sheets_and_forms_are_in_it(place):
    house = House(place, accounts=True)
    daemon = house.daemon
    house.publish(1.1)
    house.publish(0.5)
    house.broker.publish([("subslab/mill/far", "QQQ"), ("subslab/elsewhere/RRR", "5.5")])
    daemon.alarm("suction-low")
    link = share(Session(daemon), "mill")
    equal(post_form(daemon, f"{link}/u-tube", {"difference": "1.05", "day": local_day()}).status, 303, "taken")
    daemon.post("/api/systems/mill/visit-done", {
        "on": local_day(), "by": "RRR", "found": "RRR", "did": "RRR", "values": {"suction": "1.05 inH2O"},
        "equipment": [{"model": "QQQ", "serial": "Q1", "installed": local_day()}]})
    daemon.post("/api/systems/mill/radon-test", {
        "from": local_day(5 * 86400_000), "to": local_day(2 * 86400_000), "value": "60 Bq/m3", "uncertainty": "10 %",
        "place": "QQQ", "device": "QQQ", "by": "RRR", "closed_house": True})
    session = Session(daemon)
    reader = {"Cookie": session.cookie, "Accept-Language": "xq"}
    for path, status in sheets():
        check_sheet(daemon, path, status, reader)
    refused = {"/systems/mill/radon-test": ({"value": "RRR"}, 400), "/enrol-house": ({}, 400), "/enrol": ({}, 400),
               "/systems/nobody/radon-test": ({}, 404), "/systems/mill/commission": ({"known-record": "-1"}, 409),
               "/systems/mill/visit-done": ({"known-visit": "-1"}, 409), "/systems/bare/visit-done": ({"fan-serial": "QQQ"}, 400)}
    for path, (fields, status) in [*refused.items(), *refused_for_fields(daemon.alarms()[0]["id"])]:
        check_sheet(daemon, path, status, reader, {"token": session.token, **fields})
    pick = "subslab/elsewhere/RRR\t\t"
    check_sheet(daemon, "/enrol-house", 200, reader, {"token": session.token, "pick": pick, "risers": "2"})
    check_sheet(daemon, "/systems/mill/share", 403, reader, {"token": "no"})
    check_sheet(daemon, "/systems/mill/share", 403, {"Accept-Language": "xq"}, {"token": "no"})
    daemon.post(f"/api/alarms/{daemon.alarms()[0]['id']}/shelve", {"by": "RRR", "until": "2 h", "why": "RRR"})
    daemon.post("/api/systems/bare/out-of-service", {"by": "RRR", "until": "2 d", "why": "RRR"})
    for path in ("/systems/mill", "/systems/bare", "/"):
        check_sheet(daemon, path, 200, reader)


TOOL_COMMANDS = (["show", "mill"], ["show", "bare"], ["show", "mill", "--full"], ["show", "bare", "--full"], ["systems"], ["alarms"],
                 ["alarms", "--all"], ["visits"], ["visits", "--parts"], ["radon-tests"], ["fans"], ["deliveries"], ["unclaimed"],
                 ["refused"], ["record", "mill", "suction", "0.5 inH2O", "--by", "RRR"], ["check"], ["verify"],
                 ["return-to-service", "bare"])


@suite.test
def what_the_tool_prints_is_in_it(place):
    """With a daemon and what it says; each word that a list can have: test_ctl_languages.py."""
    house = House(place, accounts=True)
    daemon = house.daemon
    house.publish(1.1)
    house.publish(0.5)
    house.broker.publish([("subslab/mill/suction", "{"), ("subslab/bare/suction", "QQQ"), ("subslab/elsewhere/RRR", "5.5")])
    alarm = daemon.alarm("suction-low")
    daemon.post("/api/systems/mill/visit-done", {
        "on": local_day(), "by": "RRR", "found": "RRR", "did": "RRR", "equipment": [{"model": "QQQ", "installed": local_day()}]})
    daemon.post("/api/systems/mill/radon-test", {
        "from": local_day(5 * 86400_000), "to": local_day(2 * 86400_000), "value": "60 Bq/m3", "place": "QQQ", "device": "QQQ",
        "by": "RRR"})
    for asked, environment in ((["--language", "xq"], {}), ([], {"LC_ALL": "xq_QQ.UTF-8"})):
        daemon.post("/api/systems/bare/out-of-service", {"by": "RRR", "until": "2 d", "why": "RRR"})
        for words in TOOL_COMMANDS:
            done = subprocess.run(
                [os.path.join(BUILD, "tests", "tool_pseudo_ctl"), "--settings", daemon.settings_file, *words, *asked],
                env={**os.environ, "COLUMNS": "160", **environment}, capture_output=True, text=True, timeout=60, check=False)
            equal([done.returncode, done.stderr], [0, ""], f"{words}: it answers")
            kept = "|".join(["subslabctl show", "subslabctl alarms", "--full", r"subslab/\S+", re.escape(daemon.settings_file), "mill",
                             "bare", "main", "suction", "power", "radon", "office", "owner", "tech", *[row["id"] for row in daemon.deliveries()]])
            is_pseudo(re.sub(kept, " ", done.stdout), f"{words} {asked}")
    check("⟦" not in str(daemon.get("/api/systems/mill")), f"in English for a program: {alarm}")


@suite.test
def the_calendar_is_in_it(place):
    house = House(place)
    house.publish(0.5)
    house.daemon.alarm("suction-low")
    answer = house.daemon.request("GET", "/visits.ics?language=xq")
    text = answer.body.decode().replace("\r\n ", "").replace("\\n", "\n")
    for name in ("SUMMARY:", "DESCRIPTION:", "CATEGORIES:", "NAME:"):
        value = text.split(name, 1)[1].split("\r\n", 1)[0]
        is_pseudo(value, f"calendar, {name}")
    equal(house.daemon.request("GET", "/visits.ics?language=none").status, 400, "a language that nobody has")


suite.run()
