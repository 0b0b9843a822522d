#!/usr/bin/env python3
"""`fans` with the real daemon and tool: lives of fans out of system files, records and visits; shares
by hand; who is next; and the page."""
import math
import os
import re
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import DAY, files, keys_are, near, tool_of  # noqa: E402
from harness import Suite, check, equal, local_day, now_ms, plain_point, rfc3339, system, wait_until  # noqa: E402
from pages import fetch  # noqa: E402

suite = Suite()
YEAR = 365.2425 * DAY


def date(years_ago):
    return rfc3339(now_ms() - int(years_ago * YEAR))[:10]


def house(number, installed, model="radial-9", **more):
    fan = {"model": model, "serial": f"N {number}"}
    if installed is not None:
        fan["installed"] = date(installed)
    return system(f"house-{number}", [plain_point("suction"), plain_point("fan-power", "fan-power", "W")],
                  time_zone="UTC", fan=fan, **more)


def commission(daemon, tool, number, years_ago, equipment=""):
    files(daemon.folder, {f"r{number}-{years_ago}.yaml":
                          f"date: {date(years_ago)}\nby: the installer\npoints: {{suction: 250 Pa, fan-power: 20 W}}\n"
                          + (f"equipment: [{{{equipment}}}]\n" if equipment else "")})
    tool.run("commission", f"house-{number}", f"r{number}-{years_ago}.yaml")


def furnished(place):
    """Ten fans of one model, seen from their first day but for one; two fail, one is moved."""
    broker = place.broker()
    ages = [6, 6, 6, 6, 6, 6, 4, 4, 4, 12]
    houses = [house(n, age) for n, age in enumerate(ages)] + [house(10, None, "axial-2"), house(11, 2, "axial-2")]
    daemon = place.daemon(broker, houses)
    daemon.start()
    tool = tool_of(daemon)
    for n, age in enumerate(ages[:9]):
        commission(daemon, tool, n, age)
    commission(daemon, tool, 9, 3.5)  # watched since its tenth year
    commission(daemon, tool, 11, 2)
    # house-0: failed after 2 years; house-1: after 4.5, nobody said why; house-2: moved after 3.
    commission(daemon, tool, 0, 4, f"model: radial-9, serial: N 100, installed: {date(4)}, why: failed")
    tool.run("visit-done", "house-1", "--on", date(1.5), "--by", "the installer", "--found", "loud", "--did", "new fan",
             "--equipment", f"{{model: radial-9, serial: N 101, installed: {date(1.5)}, warranty_until: {date(-3.5)}}}")
    commission(daemon, tool, 2, 3, f"model: axial-2, serial: A 1, installed: {date(3)}, why: other")
    return broker, daemon, tool


def of_model(fleet, model):
    return [one for one in fleet if one["model"] == model][0]


@suite.test
def a_visit_says_what_it_replaced(place):
    _broker, daemon, tool = furnished(place)
    (visit,) = tool.json("show", "house-1")["past_visits"]
    (fan,) = visit["facts"]["equipment"]
    equal((fan["model"], fan["serial"], fan["replaced"]), ("radial-9", "N 101", {"model": "radial-9", "serial": "N 1"}),
          "the new one and the one before")
    text = " ".join(tool.table("show", "house-1", "--full").split())
    check("new fan (main) radial-9, serial N 101, in place of radial-9, serial N 1" in text, text[-900:])
    page = fetch(daemon, "/systems/house-1").text
    check("radial-9, serial N 101. In place of radial-9, serial N 1." in page, page[-900:])


@suite.test
def a_day_that_has_not_come_is_refused_and_changes_nothing(place):
    _broker, daemon, tool = furnished(place)
    before = [tool.json("show", "house-2")[key] for key in ("commissioning", "past_visits", "branches")]
    ahead = local_day(-2 * DAY)
    visit = ("visit-done", "house-2", "--on", date(0.1), "--by", "x", "--found", "x", "--did", "x", "--equipment")
    for fan, why in ((f"{{model: axial-2, installed: {ahead}}}", "installed: is ahead"),
                     (f"{{model: axial-2, installed: {date(1)}, warranty_until: {date(2)}}}", "warranty_until: is before")):
        check(why in tool.run(*visit, fan, status=1)[1], f"a visit with {fan}")
        files(daemon.folder, {"r.yaml": f"date: {date(1)}\nby: x\npoints: {{fan-power: 22 W}}\nequipment: [{fan}]\n"})
        check(why in tool.run("commission", "house-2", "r.yaml", status=1)[1], f"a record with {fan}")
    files(daemon.folder, {"r.yaml": f"date: {ahead}\nby: x\npoints: {{fan-power: 22 W}}\n"})
    check("r.yaml:1: date: is ahead" in tool.run("commission", "house-2", "r.yaml", status=1)[1], "a record")
    equal([tool.json("show", "house-2")[key] for key in ("commissioning", "past_visits", "branches")], before, "what is known")


@suite.test
def what_is_measured_on_the_day_of_a_record_comes_after_it(place):
    _broker, daemon, tool = furnished(place)
    today = rfc3339(now_ms())[:10]  # where these houses are

    def normal():
        (point,) = [p for p in tool.json("show", "house-2")["points"] if p["id"] == "fan-power"]
        return point["baseline"]["value"]
    files(daemon.folder, {"now.yaml": f"date: {rfc3339(now_ms())}\nby: x\npoints: {{fan-power: 22 W}}\n",
                          "day.yaml": f"date: {today}\nby: x\npoints: {{fan-power: 19 W}}\n"})
    tool.run("commission", "house-2", "now.yaml")
    tool.run("visit-done", "house-2", "fan-power=30 W", "--on", today, "--by", "x", "--found", "x", "--did", "x",
             "--new-baseline")
    equal(normal(), 30, "after the visit of the day")
    tool.run("commission", "house-2", "day.yaml")
    equal(normal(), 19, "after a record of the day")


@suite.test
def what_the_next_visits_need_is_one_list(place):
    _broker, _daemon, tool = furnished(place)
    rows = wait_until(lambda: len(found := tool.json("visits")) > 5 and found, 30, "tests that are due")
    parts = tool.json("visits", "--parts")
    needed = {part: [row["system"] for row in rows if part in row["bring"]] for row in rows for part in row["bring"]}
    equal({part["text"]: part["systems"] for part in parts}, needed, "each part with who needs it")
    check(needed and all(part["visits"] == len(part["systems"]) for part in parts), "how many need it")
    said = tool.table("visits", "--parts")
    check(said.startswith("bring, for all of them\n") and "due" not in said.split("\n")[0] and
          f"{parts[0]['visits']} of {len(rows)} visits" in said, said)
    check(tool.table("visits").endswith(said), "the list of visits ends with it")
    first = tool.json("visits", "--parts", "--limit", "1")
    equal([part["text"] for part in first], rows[0]["bring"], "of the next visit alone")


@suite.test
def shares_years_and_failures_are_those_of_the_records(place):
    _broker, _daemon, tool = furnished(place)
    fleet = tool.json("fans")
    equal([one["model"] for one in fleet], ["axial-2", "radial-9"], "models")
    radial, axial = of_model(fleet, "radial-9"), of_model(fleet, "axial-2")
    keys_are(radial, "model count failures years_in_service survival next", "a model")
    # Running: six of six years less house-2's, three of four, the one of twelve; and two new ones.
    equal([radial["count"], radial["replaced"], radial["failures"], radial["failures_without_reason"],
           radial["undated"]], [9 + 0, 3, 2, 1, 0], "counts")
    near(radial["years_in_service"], 2 + 4.5 + 3 + 3 * 6 + 3 * 4 + 12 + 4 + 1.5, "years", 0.01)
    near(radial["years_watched"], radial["years_in_service"] - 8.5, "of these watched", 0.01)
    # At risk at 2 years: 6 + 3 + house-0's second fan (4 years); house-1's second is 1.5 years old.
    # At 4.5: houses 1, 3, 4, 5. The one of house 9 is seen from 8.5 years on.
    two, after = 1 - 1 / 10, (1 - 1 / 10) * (1 - 1 / 4)
    shares = {s["years"]: s for s in radial["survival"]}
    equal(sorted(shares), [1, 3, 5, 10], "ages")
    near(shares[1]["share"], 1.0, "after a year")
    equal(shares[1]["at_risk"], 11, "seen at a year")
    near(shares[3]["share"], two, "after three")
    near(shares[5]["share"], after, "after five")
    check(shares[3]["lower"] < two < shares[3]["upper"] < 1, f"an interval: {shares[3]}")
    curve = {at["years"]: at["share"] for at in radial["curve"]}
    equal([curve[age] for age in (0, 1, 3, 5)], [1.0] + [shares[age]["share"] for age in (1, 3, 5)], "the same as a curve")
    equal([sorted(curve), max(curve) < 6.5], [[n / 4 for n in range(len(curve))], True], "each quarter, as far as it is known")
    equal(sum(a.get("role") == "img" for a in fetch(_daemon, "/fans").all("svg")), 2, "drawn, of each model")
    equal(shares[10]["share"], None, "nobody was watched from six to eight and a half")
    check(shares[10]["why"], "why")
    equal([axial["count"], axial["undated"], axial["failures"]], [3, 1, 0], "the other model")
    axial_at = {s["years"]: s for s in axial["survival"]}
    equal([axial_at[1]["share"], axial_at[5]["share"]], [1.0, None], "its shares")
    check(0.1 < axial_at[1]["lower"] < 0.2, f"two that run say little: 0.025 ** (1/2) = 0.158, {axial_at[1]}")


@suite.test
def what_an_alarm_says_is_next_then_the_old_ones(place):
    broker, daemon, tool = furnished(place)
    first = of_model(tool.json("fans"), "radial-9")["next"]
    check(len(first) == 9 and first[0]["condition"] is None, f"{first[:2]}")
    chances = [n["chance_next_year"] for n in first if n["chance_next_year"] is not None]
    equal(chances, sorted(chances, reverse=True), "the likelier first")
    check(chances and chances[0] > 0.2, f"at four years one of four failed within the next: {chances}")
    daemon.settings["conditions"] = {"fan-stopped": {"on_delay": "0 s"}}
    daemon.write_settings()
    daemon.post("/api/reload", {}, status=202)

    def stopped():
        broker.publish([("subslab/house-7/fan-power", "0")])
        return [a for a in daemon.alarms() if a["condition"] == "fan-stopped"]
    wait_until(stopped, 20, "the fan stands still")
    following = of_model(tool.json("fans"), "radial-9")["next"]
    equal([following[0]["system"], following[0]["condition"]], ["house-7", "fan-stopped"], "next")
    text = tool.table("fans")
    check(re.search(r"^axial-2 +3 +\d+ +0 ", text, re.M) and re.search(r"^radial-9 +9 +\d+ +2 ", text, re.M), f"how many: {text}")
    for said in ("radial-9", "house-7 main", "fan-stopped", "90 % (", "1 replacements without a reason", "Kaplan-Meier"):
        check(said in text, f"{said} in {text}")
    html = daemon.request("GET", "/fans", page=True).body.decode()
    check(re.search(r"<th scope=\"row\">radial-9</th>", html) and "90 %" in html, html)
    for language, said in (("en", "Fan stopped"), ("es", "Ventilador parado")):
        shown = fetch(daemon, f"/fans?language={language}").text
        check(said in shown and "fan-stopped" not in shown, f"the condition in words: {shown}")
    shown = fetch(daemon, "/fans").text
    check("An alarm speaks of 1 of the 12 fans that run." in shown, f"the first line: {shown}")
    check(shown.index("An alarm speaks") < shown.index("Chance within a year") < shown.index("Running at 5 years"),
          "which are next stands before what is known of models")


@suite.test
def a_chance_has_its_interval(place):
    """By hand, of the lives in furnished(): between 4 and 5 years one of four fails, at 4.5. Greenwood 1926:
    variance of log S is 1 / (4 * 3), of log(-log S) that over log(3/4) squared."""
    _broker, daemon, tool = furnished(place)
    following = [n for model in tool.json("fans") for n in model["next"]]
    four = [n for n in following if n["system"] in ("house-6", "house-7", "house-8")][0]
    wide = 1.959964 * math.sqrt(1 / 12) / math.log(3 / 4)
    near(four["chance_next_year"], 0.25, "one of four")
    near(four["chance_lower"], 1 - 0.75 ** math.exp(wide), "the lower end")
    near(four["chance_upper"], 1 - 0.75 ** math.exp(-wide), "the upper end")
    (new,) = [n for n in following if n["system"] == "house-1"]  # 1.5 years old: the first fails at 2
    equal(new["chance_next_year"] > 0, True, "one failed at two")
    percent = [f"{100 * four[end]:.0f} %" for end in ("chance_next_year", "chance_lower", "chance_upper")]
    pages = {language: fetch(daemon, f"/fans?language={language}").text for language in ("en", "es")}
    for said, shown in (("{} ({} to {})".format(*percent), pages["en"]), ("{} ({} a {})".format(*percent), pages["es"])):
        check(said in shown, f"{said} in {shown}")


@suite.test
def where_none_failed_the_chance_is_said_to_be_unknown_not_nothing(place):
    """Of four that were watched to two years none failed: the exact upper end is 1 - 0.025^(1/4) (Clopper, Pearson
    1934). That 0 of n is no chance of 0: Hanley, Lippman-Hand, JAMA 249 (1983) 1743."""
    daemon = place.daemon(place.broker(), [house(n, 3 - 2 * (n == 0)) for n in range(5)])
    daemon.start()
    tool = tool_of(daemon)
    for n in range(5):
        commission(daemon, tool, n, 3 - 2 * (n == 0))
    following = {n["system"]: n for n in of_model(tool.json("fans"), "radial-9")["next"]}
    old, calm = following["house-1"], following["house-0"]
    equal([old["chance_next_year"], old["chance_upper"], old["at_risk"]], [None, None, 0], "none was watched to four")
    equal([calm["chance_next_year"], calm["chance_lower"], calm["at_risk"]], [0.0, 0.0, 4], "none failed")
    near(calm["chance_upper"], 1 - 0.025 ** 0.25, "of four little is known")
    english, spanish = (fetch(daemon, f"/fans?language={language}").text.split(head)[1].split(end)[0]
                        for language, head, end in (("en", "Chance within a year", "Of each model the ten"),
                                                    ("es", "Probabilidad en un año", "De cada modelo")))
    for said, shown in (("none of 4 failed; up to 60 %", english), ("ninguno de 4 falló; hasta 60 %", spanish),
                        ("none of 4 failed; up to", tool.table("fans"))):
        check(said in shown and not re.search(r"(?<!\d)0 %", shown), f"{said}, and no bare 0 %, in {shown}")


@suite.test
def nobody_names_a_fan(place):
    daemon = place.daemon(place.broker(), [system("mill", [plain_point("suction")])])
    daemon.start()
    tool = tool_of(daemon)
    equal(tool.json("fans"), [], "no model")
    check("no fan is named" in tool.table("fans"), "and what to do")
    equal(daemon.request("GET", "/fans", page=True).status, 200, "the page")


suite.run()
