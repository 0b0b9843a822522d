#!/usr/bin/env python3
"""A new house on the page: out of unclaimed topics, as somebody on site does it, without script; what
is refused stays in the form with its reason beside the field and changes nothing."""
import json
import os
import sqlite3
import sys
from urllib.parse import quote

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import Suite, check, contact, equal, plain_point, system, wait_until, write_file  # noqa: E402
from pages import HASH, Page, Session, check_spanish, fetch, fields_of, origin, picks, post_form  # noqa: E402

suite = Suite()

FAN = "id: radial-150\ncurve: [[0 cfm, 1.9 inH2O], [40 cfm, 1.4 inH2O], [90 cfm, 0.2 inH2O]]\npower: 22 W\n"
BOX = json.dumps({"ts": "2026-01-01T00:00:00Z", "radon_bq": 48.5})


def furnished(place, **settings):
    broker = place.broker()
    daemon = place.daemon(broker, [system("old-1", [plain_point("suction")], time_zone="America/Denver")],
                          [contact("office", place.endpoint())], page={"access_file": "accounts"},
                          enrolled_systems="enrolled/", fans="fans/", **settings)
    daemon.secret("accounts", f"installer:{HASH}\nworkshop:{HASH}")
    os.mkdir(os.path.join(daemon.folder, "fans"))
    write_file(os.path.join(daemon.folder, "fans", "radial-150.yaml"), FAN)
    daemon.start()
    broker.publish([("subslab/maple-4/suction", "0.4"), ("subslab/maple-4/hole-1", "6.1"),
                    ("subslab/maple-4/box", BOX), ("subslab/other/x<b>y", "1")])
    broker.publish([("subslab/maple-4/suction", "0.62")])
    wait_until(lambda: len(daemon.get("/api/unclaimed")) == 4 and
               any(t["count"] == 2 for t in daemon.get("/api/unclaimed")), 10, "unclaimed topics")
    return broker, daemon


def house_form(daemon, session, **more):
    """The second step: the form of the house, its sensors ticked."""
    ticked = picks(session.get("/enrol"), "subslab/maple-4/")
    equal(len(ticked), 3, "numbers of the house")
    body = [("token", session.token), *more.items()] + [("pick", pick) for pick in ticked]
    answer = post_form(daemon, "/enrol-house", body, session.cookie)
    equal(answer.status, 200, "the form")
    page = Page(answer.body.decode())
    equal(page.errors, [], "its markup")
    return fields_of(page)


def send(daemon, session, fields, status):
    answer = post_form(daemon, "/enrol", fields, session.cookie)
    page = Page(answer.body.decode())
    equal(answer.status, status, page.text[-600:])
    return answer, page


def enrolled(daemon):
    folder = os.path.join(daemon.folder, "enrolled")
    return sorted(os.listdir(folder)) if os.path.isdir(folder) else []


def ids(daemon):
    return sorted(row["id"] for row in daemon.get("/api/systems"))


def point_of(fields, topic):
    (name,) = [n for n, v in fields.items() if n.endswith("-topic") and v == topic]
    return name[:-len("topic")]


@suite.test
def how_often_a_topic_sends_is_proposed_from_what_came(place):
    """An hourly monitor that is enrolled as one of ten minutes would be called silent between two readings."""
    _broker, daemon = furnished(place)
    with sqlite3.connect(daemon.store) as store:  # two hours of it, as the test can't wait
        store.execute("UPDATE unclaimed SET count = 3, first_ms = last_ms - 7200000 WHERE topic = 'subslab/maple-4/box'")
    store.close()
    every = {t["topic"]: t["every"] for t in daemon.get("/api/unclaimed")}
    equal([every["subslab/maple-4/box"], every["subslab/maple-4/hole-1"]], ["1 h", "10 min"], "in the list")
    fields = house_form(daemon, Session(daemon))
    equal([fields[point_of(fields, f"subslab/maple-4/{topic}") + "every"] for topic in ("box", "hole-1")],
          ["1 h", "10 min"], "in the form")


@suite.test
def a_house_is_enrolled_from_its_topics(place):
    broker, daemon = furnished(place)
    session = Session(daemon)
    listed = session.get("/enrol")
    check("subslab/other/x<b>y" in listed.text and not listed.all("b"), "a topic is text")
    check("0.62, perhaps suction in inH2O" in listed.text, listed.text[-900:])
    check("48.5, perhaps radon in Bq/m3" in listed.text, "a number of a document")
    check("3 topics belong" in session.get("/").text or "4 topics belong" in session.get("/").text,
          "the list of systems leads here")
    equal(picks(session.get("/enrol?topic=OTHER"), ""), ["subslab/other/x<b>y\t\t"], "the search")
    fields = house_form(daemon, session)
    suction = point_of(fields, "subslab/maple-4/suction")
    equal((fields["id"], fields["time_zone"], fields[suction + "id"], fields[suction + "quantity"],
           fields[suction + "unit"]), ("maple-4", "America/Denver", "suction", "suction", "inH2O"), "proposed")
    fields |= {"name": "4 Maple Lane", "address": "4 Maple Lane: rear # door", "contacts": "office",
               "r-0-model": "radial-150", "r-0-serial": "0017", "r-0-installed": "2025-09-30", "r-0-pipe": "3.068 in",
               "r-0-discharge": "roof", suction + "every": "1 min"}
    answer, _ = send(daemon, session, fields, 303)
    equal(answer.headers["Location"], "/enrolled/maple-4", "where it leads")
    wait_until(lambda: ids(daemon) == ["maple-4", "old-1"], 10, "watched")
    answer = daemon.request("GET", "/enrolled/maple-4", page=True, headers={"Cookie": session.cookie})
    equal((answer.status, answer.headers["Location"]), (303, "/systems/maple-4/commission"), "then")
    with open(os.path.join(daemon.folder, "enrolled", "maple-4.yaml"), encoding="utf-8") as file:
        text = file.read()
    check(text.startswith("# Enrolled on the page by installer, 2"), text)
    check('address: "4 Maple Lane: rear # door"' in text and 'serial: "0017"' in text, text)
    check("installer enrolled maple-4, 3 points" in daemon.log(), "the log names who")
    broker.publish([("subslab/maple-4/suction", "0.62"), ("subslab/maple-4/box", BOX.replace("2026", "2025"))])
    wait_until(lambda: daemon.readings("maple-4", "suction"), 10, "its reading")
    shown = daemon.get("/api/systems/maple-4")
    equal(sorted((p["id"], p["quantity"]) for p in shown["points"]),
          [("hole-1", "field"), ("radon_bq", "radon"), ("suction", "suction")], "its points")
    check("radial-150, serial 0017" in session.get("/systems/maple-4").text, "its fan")
    equal([t["topic"] for t in daemon.get("/api/unclaimed")], ["subslab/other/x<b>y"], "what still waits")


@suite.test
def a_house_without_sensors_is_enrolled_with_its_u_tubes(place):
    _, daemon = furnished(place)
    session = Session(daemon)
    answer = post_form(daemon, "/enrol-house", {"token": session.token, "risers": "2", "tubes": "2"}, session.cookie)
    page = Page(answer.body.decode())
    equal((answer.status, page.errors), (200, []), "the form")
    check("U-tube, read by a person" in page.text and "Last value" not in page.text, page.text)
    fields = fields_of(page)
    equal([(fields[f"p-{i}-id"], fields[f"p-{i}-quantity"], fields[f"p-{i}-unit"], fields[f"p-{i}-every"]) for i in (0, 1)],
          [("tube-1", "suction", "inH2O", "183 d"), ("tube-2", "suction", "inH2O", "183 d")], "proposed")
    fields |= {"id": "moss-3", "name": "Moss 3", "p-0-riser": "1", "p-1-riser": "2"}
    _, page = send(daemon, session, fields | {"p-1-every": "seldom"}, 400)
    again = fields_of(page)
    check("is not an interval" in page.text and again["p-1-every"] == "seldom", page.text)
    equal((enrolled(daemon), ids(daemon)), ([], ["old-1"]), "nothing changed")
    send(daemon, session, again | {"p-1-every": "90 d"}, 303)
    wait_until(lambda: ids(daemon) == ["moss-3", "old-1"], 10, "watched")
    equal([(p["id"], p["branch"], p["read_by"]) for p in daemon.get("/api/systems/moss-3")["points"]],
          [("tube-1", "riser-1", "hand"), ("tube-2", "riser-2", "hand")], "read by a person")
    commission = session.get("/systems/moss-3/commission")
    sent = fields_of(commission) | {"value-tube-1": "1.1", "value-tube-2": "0.9"}
    equal(post_form(daemon, "/systems/moss-3/commission", sent, session.cookie).status, 303, "commissioned")
    tube = daemon.get("/api/systems/moss-3")["points"][1]
    check(abs(tube["baseline"]["value"] - 0.9 * 249.08891) < 1e-6, f"what it should read: {tube['baseline']}")


@suite.test
def what_is_wrong_stays_with_its_reason_and_changes_nothing(place):
    _, daemon = furnished(place)
    session = Session(daemon)
    good = house_form(daemon, session)
    suction, hole = (point_of(good, f"subslab/maple-4/{name}") for name in ("suction", "hole-1"))
    cases = [
        ({"id": "old-1"}, "id", "is taken by"),
        ({"id": "a b"}, "id", "is not an id"),
        ({"id": ""}, "id", "is missing"),
        ({"time_zone": "Mars/Base"}, "time_zone", "is not a known time zone"),
        ({"contacts": "office nobody"}, "contacts", "nobody"),
        ({"r-0-pipe": "9 kg"}, "r-0-pipe", "allowed: 20 mm to 1 m"),
        ({"r-0-model": "no-such"}, "r-0-model", "is no fan model"),
        ({"r-0-installed": "yesterday"}, "r-0-installed", "is not a date"),
        ({"r-0-installed": "2999-01-01"}, "r-0-installed", "is ahead"),
        ({"name": "x" * 501}, "name", "is too long"),
        ({suction + "unit": "degF"}, suction + "unit", "a unit of another kind"),
        ({suction + "unit": "<i>"}, suction + "unit", "is not a unit"),
        ({suction + "quantity": ""}, suction + "quantity", "quantity"),
        ({suction + "every": "often"}, suction + "every", "is not an interval"),
        ({suction + "id": "hole-1"}, None, "is taken by the point"),
        ({suction + "id": "x y", hole + "id": ""}, hole + "id", "\"\" is not an id"),
        ({suction + "topic": "subslab/old-1/suction"}, suction + "id", "is taken by suction of old-1"),
    ]
    for changed, field, why in cases:
        _, page = send(daemon, session, good | changed, 400)
        equal(page.errors, [], f"markup after {changed}")
        check(why in page.text and "Nothing was changed" in page.text, f"{changed}: {page.text[-800:]}")
        sent, kept = good | changed, fields_of(page)
        equal({n: kept.get(n) for n in sent if n != "token" and n != suction + "quantity" and n != "r-0-model"},
              {n: v for n, v in sent.items() if n != "token" and n != suction + "quantity" and n != "r-0-model"},
              f"what was typed with {changed}")
        wrong = [a["name"] for tag in ("input", "select") for a in page.all(tag)
                 if a.get("aria-invalid") == "true"]
        if field:
            check(field in wrong, f"{changed}: marked are {wrong}")
            (marked,) = [a for tag in ("input", "select") for a in page.all(tag) if a.get("name") == field]
            by = marked["aria-describedby"].split()[0]
            check([a for _, a in page.tags if a.get("id") == by], f"{by} is there")
        equal((enrolled(daemon), ids(daemon)), ([], ["old-1"]), f"after {changed}")
        answer = post_form(daemon, "/enrol", good | changed, session.cookie, **{"Accept-Language": "es"})
        check_spanish(Page(answer.body.decode()), f"{changed} in Spanish")


@suite.test
def a_house_with_two_risers(place):
    _, daemon = furnished(place)
    session = Session(daemon)
    fields = house_form(daemon, session, risers=2)
    suction = point_of(fields, "subslab/maple-4/suction")
    equal((fields["risers"], fields["r-0-id"], fields["r-1-id"]), ("2", "riser-1", "riser-2"), "proposed")
    good = fields | {"r-0-id": "east", "r-0-pipe": "3.068 in", "r-1-id": "west", "r-1-model": "radial-150",
                     "r-1-serial": "0018", "r-1-discharge": "wall", suction + "riser": "2"}
    cases = [({suction + "riser": ""}, suction + "riser", "one of the branches east, west"),
             ({"r-1-id": "east"}, "r-1-id", "is taken by the branch"),
             ({"r-0-id": ""}, "r-0-id", "is not an id"),
             ({"r-0-pipe": "9 kg"}, "r-0-pipe", "20 mm to 1 m"),
             ({"r-1-installed": "soon"}, "r-1-installed", "is not a date")]
    for changed, field, why in cases:
        _, page = send(daemon, session, good | changed, 400)
        equal(page.errors, [], f"markup after {changed}")
        marked = [a["name"] for tag in ("input", "select") for a in page.all(tag) if a.get("aria-invalid") == "true"]
        check(field in marked and why in page.text, f"{changed}: {marked} {page.text[-900:]}")
        kept = fields_of(page)
        equal({n: kept[n] for n in ("r-0-id", "r-1-id", suction + "riser")},
              {n: (good | changed)[n] for n in ("r-0-id", "r-1-id", suction + "riser")}, "what was typed")
        equal((enrolled(daemon), ids(daemon)), ([], ["old-1"]), f"after {changed}")
    send(daemon, session, good, 303)
    wait_until(lambda: ids(daemon) == ["maple-4", "old-1"], 10, "watched")
    shown = daemon.get("/api/systems/maple-4")
    equal([b["id"] for b in shown["branches"]], ["east", "west"], "its risers")
    with open(os.path.join(daemon.folder, "enrolled", "maple-4.yaml"), encoding="utf-8") as file:
        text = file.read()
    check("branches:\n  - id: east\n    pipe: {inside_diameter: 3.068 in}\n  - id: west\n    fan: {model: radial-150, "
          'serial: "0018"}\n    discharge: wall\n' in text and "    branch: west\n" in text, text)
    check("radial-150, serial 0018" in session.get("/systems/maple-4").text, "the fan of the second")


@suite.test
def only_somebody_signed_in_enrols(place):
    _, daemon = furnished(place)
    session = Session(daemon)
    good = house_form(daemon, session)
    answer = daemon.request("GET", "/enrol", page=True)
    equal((answer.status, answer.headers["Location"]), (303, "/sign-in?next=%2Fenrol"), "signed out")
    check("New house" not in fetch(daemon, "/").text, "nor is it in the menu")
    equal(post_form(daemon, "/enrol", good).status, 403, "without a session")
    equal(post_form(daemon, "/enrol", good | {"token": "x"}, session.cookie).status, 403, "without its token")
    equal(post_form(daemon, "/enrol", good, session.cookie, Origin="http://evil.example").status, 403,
          "from elsewhere")
    equal(daemon.request("POST", "/enrol", json.dumps(good), page=True, headers={
        "Content-Type": "application/json", "Origin": origin(daemon), "Cookie": session.cookie}).status,
        415, "as JSON")
    body = json.dumps({"by": "x", "systems": [{"file": "f", "text": "id: a\npoints: [{id: s, quantity: suction}]"}]})
    equal(daemon.request("POST", "/api/enrol", body, page=True,
                         headers={"Content-Type": "application/json", "Origin": origin(daemon)}).status,
          403, "through the API")
    equal((enrolled(daemon), ids(daemon)), ([], ["old-1"]), "nothing changed")


@suite.test
def two_people_at_once_do_not_write_over_each_other(place):
    _, daemon = furnished(place)
    one, other = Session(daemon), Session(daemon, "workshop")
    mine, theirs = house_form(daemon, one), house_form(daemon, other)
    send(daemon, one, mine | {"name": "mine"}, 303)
    status = post_form(daemon, "/enrol", theirs | {"name": "theirs"}, other.cookie).status
    check(status in (400, 409, 503), f"status {status}")
    wait_until(lambda: ids(daemon) == ["maple-4", "old-1"], 10, "watched")
    _, page = send(daemon, other, theirs | {"name": "theirs", "id": "maple-5"}, 400)
    check("is taken by" in page.text, page.text[-800:])
    equal(fields_of(page)["name"], "theirs", "what was typed")
    equal(daemon.get("/api/systems/maple-4")["name"], "mine", "who was first")
    stale = [("token", other.token), ("pick", "subslab/maple-4/suction\t\t")]
    answer = post_form(daemon, "/enrol-house", stale, other.cookie)
    equal(answer.status, 400, "what was enrolled meanwhile")
    check("wait no longer" in Page(answer.body.decode()).text, "and says so")


@suite.test
def odd_requests_are_answered(place):
    _, daemon = furnished(place)
    session = Session(daemon)
    for path, fields, expected in (
            ("/enrol-house", {}, 400), ("/enrol", {}, 400), ("/enrol", {"p-0-topic": "a/b"}, 400),
            ("/enrol-house", {"pick": "\t\t\t"}, 400),
            ("/enrol", {"p-0-topic": "x" * 3000, "id": "a"}, 400),
            ("/enrol", {f"p-{i}-topic": "a" for i in range(200)}, 400)):
        answer = post_form(daemon, path, {"token": session.token, **fields}, session.cookie)
        equal(answer.status, expected, f"{path} {str(fields)[:60]}")
        equal(Page(answer.body.decode()).errors, [], "markup")
    session.get("/enrolled/none", 404)
    session.get(f"/enrolled/{quote('<x>')}", 404)
    equal(daemon.request("GET", "/enrol-house", page=True).status, 405, "GET of a step")
    equal((enrolled(daemon), ids(daemon)), ([], ["old-1"]), "nothing changed")


if __name__ == "__main__":
    suite.run()
