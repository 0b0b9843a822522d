"""The page with the real daemon: who may look and change, text from outside, hostile requests, and
what a busy page costs the readings. How it looks is judged by tests/browser."""
import json
import os
import re
import socket
import sys
import time
from urllib.parse import quote

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import (PATIENCE, SANITIZED, Suite, check, equal, local_day, now_ms, point,  # noqa: E402
                     system, timed, wait_until)
from pages import HASH, OTHER_PASSWORD, Page, Session, fetch, origin, post_form, share  # noqa: E402
from page_houses import daemon_with_accounts, house, newest, with_alarm  # noqa: E402

HOSTILE = ["Kiln <script>alert(1)</script>", "\" onmouseover=\"alert(1)", "' onx='1", "a&amp;b & c",
           "</title></svg><b>x</b>", "javascript:alert(1)", "{{7*7}} ${1}"]


suite = Suite()

# ---- text from outside ----


@suite.test
def text_from_outside_is_never_markup(place):
    systems = [house(f"house-{i}", name=text, address=text, foundation=text)
               for i, text in enumerate(HOSTILE)]
    for one, text in zip(systems, HOSTILE):
        one["points"][0]["name"] = text
    daemon = daemon_with_accounts(place, systems)
    session = Session(daemon)
    free_text = "line one\nline <two> \"three\" 'four' \x1b[31m\x07 </textarea><script>alert(2)</script>"
    session.post("/systems/house-0/visit-done", on=local_day(), found=free_text,
                 did=free_text, **{"value-suction": "1 inH2O"})
    expected_scripts = [{"src": "/assets/keys.js", "defer": ""}]
    paths = ["/", "/alarms", "/alarms?all=1", "/visits", "/sign-in"]
    for i in range(len(HOSTILE)):
        paths += [f"/systems/house-{i}", f"/systems/house-{i}/record"]
    paths += [f"/?find={quote(text)}" for text in HOSTILE]
    paths += [f"/systems/house-0?range={quote(text)}&to={quote(text)}&units={quote(text)}" for text in HOSTILE]
    for path in paths:
        page = session.get(path)
        equal(page.all("script"), expected_scripts, f"scripts of {path}")
        check(not page.all("b"), f"no markup from names in {path}")
        for tag, attributes in page.tags:
            check(not any(name.startswith("on") for name in attributes), f"{tag} of {path}: {attributes}")
            check("style" not in attributes, f"{tag} of {path}: a style that the policy forbids")
            check(not attributes.get("href", "").startswith("javascript"), f"{path}: {attributes}")
    for i, text in enumerate(HOSTILE):
        check(text in session.get(f"/systems/house-{i}").text, f"{text!r} reads as it was written")
        found = [a["value"] for a in session.get(f"/?find={quote(text)}").all("input") if a.get("name") == "find"]
        equal(found, [text], "the search shows what was asked")
    shown = session.get("/systems/house-0").text
    check("line <two> \"three\" 'four'" in shown and "\x1b" not in shown and "\x07" not in shown,
          "control characters are left out")
    log = daemon.log()
    check("\x1b" not in log and "\nline <two>" not in log, "nor do they reach the log")


@suite.test
def text_that_is_not_utf8_is_refused_or_repaired(place):
    daemon, alarm = with_alarm(place)
    session = Session(daemon)
    body = f"token={session.token}&note=caf%E9+%C0%AF".encode()
    answer = daemon.request("POST", f"/alarms/{alarm}/acknowledge", body, page=True, headers={
        "Content-Type": "application/x-www-form-urlencoded", "Origin": origin(daemon), "Cookie": session.cookie})
    check(answer.status in (303, 400), f"status {answer.status}")
    daemon.request("GET", "/alarms", page=True).body.decode("utf-8")
    json.loads(daemon.request("GET", "/api/alarms", page=True).body)

# ---- who may look and change ----


@suite.test
def get_changes_nothing(place):
    daemon, alarm = with_alarm(place)
    session = Session(daemon)
    # An alarm is explained when it is about to be told, a moment after it is listed.
    wait_until(lambda: all(one["diagnosis"]["cause"] for one in daemon.get("/api/alarms")), 20, "the cause")
    before = daemon.get("/api/alarms")
    for path in (f"/alarms/{alarm}/acknowledge", "/systems/mill/out-of-service", "/systems/mill/visit-done",
                 "/systems/mill/share", "/sign-out"):
        for query in ("", f"?token={session.token}&note=x&until=1+d&why=x&on=2026-01-01&found=x&did=x"):
            answer = daemon.request("GET", path + query, page=True, headers={"Cookie": session.cookie, "Origin": origin(daemon)})
            equal(answer.status, 405, path)
            equal(answer.headers["Allow"], "POST", path)
    equal(daemon.get("/api/alarms"), before, "alarms")
    check("installer" in session.get("/").text, "still signed in")


@suite.test
def a_change_needs_session_token_origin_and_form(place):
    daemon, alarm = with_alarm(place)
    session, other = Session(daemon), Session(daemon, "workshop", OTHER_PASSWORD)
    path, good = f"/alarms/{alarm}/acknowledge", {"token": session.token}
    port = daemon.page_port
    refused = [
        ("no session", {"cookie": None}, good),
        ("an unknown session", {"cookie": "subslab_session=" + "A" * 43}, good),
        ("no token", {}, {}),
        ("an empty token", {}, {"token": ""}),
        ("another's token", {}, {"token": other.token}),
        ("the cookie as token", {}, {"token": session.cookie.split("=", 1)[1]}),
        ("no Origin", {"Origin": None}, good),
        ("Origin null", {"Origin": "null"}, good),
        ("another host", {"Origin": f"http://evil.example:{port}"}, good),
        ("another port", {"Origin": f"http://127.0.0.1:{port + 1}"}, good),
        ("a longer host", {"Origin": f"http://127.0.0.1:{port}.evil.example"}, good),
        ("another scheme", {"Origin": f"file://127.0.0.1:{port}"}, good),
        ("plain text", {"Content-Type": "text/plain"}, good),
        ("multipart", {"Content-Type": "multipart/form-data; boundary=x"}, good),
        ("no type", {"Content-Type": ""}, good),
    ]
    for what, headers, fields in refused:
        cookie = headers.pop("cookie", session.cookie)
        answer = post_form(daemon, path, fields, cookie, **headers)
        check(answer.status in (403, 415), f"{what}: {answer.status}")
        equal(daemon.alarms()[0]["state"], "unacknowledged", what)
    session.post(path, note="seen")
    acknowledged = daemon.alarms()[0]
    equal(acknowledged["state"], "acknowledged", "with all of them")
    equal(acknowledged["acknowledged"]["by"], "installer", "by whom: who is signed in, not what is claimed")


@suite.test
def the_api_of_the_page_asks_the_same(place):
    daemon, alarm = with_alarm(place)
    session = Session(daemon)
    path, body = f"/api/alarms/{alarm}/acknowledge", {"by": "installer"}
    good = {"Cookie": session.cookie, "X-Same-Site-Token": session.token, "Origin": origin(daemon)}
    for left_out in good:
        headers = {name: value for name, value in good.items() if name != left_out}
        equal(daemon.request("POST", path, body, page=True, headers=headers).status, 403, f"without {left_out}")
    answer = daemon.request("POST", path, json.dumps(body), page=True, headers={**good, "Content-Type": "text/plain"})
    equal(answer.status, 403, "not JSON")
    equal(daemon.alarms()[0]["state"], "unacknowledged", "so far")
    equal(daemon.request("POST", path, body, page=True, headers=good).status, 200, "with all of them")
    equal(daemon.alarms()[0]["state"], "acknowledged", "then")


@suite.test
def forms_do_what_the_tool_does(place):
    daemon, alarm = with_alarm(place)
    session = Session(daemon)
    session.post(f"/alarms/{alarm}/shelve", until="3 d", why="part <ordered>")
    equal(daemon.alarms()[0]["shelved"]["why"], "part <ordered>", "shelved")
    session.post(f"/alarms/{alarm}/unshelve")
    check("shelved" not in daemon.alarms()[0], "unshelved")
    session.post(f"/alarms/{alarm}/shelve", status=400, until="400 d", why="x")
    session.post(f"/alarms/{alarm}/shelve", status=400, until="1 d")
    session.post("/alarms/999/acknowledge", status=404)
    session.post("/systems/mill/out-of-service", until="7 d", why="roof work")
    equal(daemon.get("/api/systems/mill")["status"], "out of service", "status")
    session.post("/systems/mill/return-to-service")
    check(daemon.get("/api/systems/mill")["status"] != "out of service", "back")
    session.post("/systems/mill/return-to-service", status=409)
    session.post("/systems/nowhere/return-to-service", status=404)
    session.post("/systems/mill/visit-done", on=local_day(), found="dust", did="cleaned",
                 next_calibration="2030-01-01", **{"value-suction": "0.5 inH2O"})
    visit = daemon.get("/api/systems/mill")["last_visit"]
    equal((visit["by"], visit["found"]), ("installer", "dust"), "the visit")
    session.post("/systems/mill/radon-test", **{"from": local_day(5 * 86_400_000)}, place="basement",
                 to=local_day(86_400_000), value="1.5 pCi/L", device="canister", closed_house="yes")
    test = daemon.get("/api/systems/mill")["radon_tests"][0]
    equal((test["by"], test["place"], test["kind"], test["closed_house"], round(test["value"], 3)),
          ("installer", "basement", "short", True, 55.5), "the test")
    check("canister" in session.get("/systems/mill").text, "the test stands on the sheet")
    session.post("/systems/mill/radon-test", **{"from": local_day(30 * 86_400_000)}, place="den",
                 to=local_day(20 * 86_400_000), value="2 pCi/L", device="film detector")
    check("film detector" in session.get("/systems/mill").text, "so does an older one, at once")
    answer = session.post("/systems/mill/radon-test", status=400, **{"from": local_day()}, to=local_day(86_400_000), place="loft",
                          value="2 apples", device="", closed_house="no")
    again = Page(answer.body.decode())
    equal({a["id"] for a in again.all("span") if a.get("class") == "wrong"}, {"wrong-from", "wrong-value", "wrong-device"},
          "what is wrong stands beside its field")
    typed = {a["name"]: a.get("value") for a in again.all("input") if a.get("type") != "radio" or "checked" in a}
    equal((typed["place"], typed["value"], typed["closed_house"], again.token()), ("loft", "2 apples", "no", session.token),
          "what was typed stays, ready to be sent again")
    equal(len(daemon.get("/api/systems/mill")["radon_tests"]), 2, "nothing was written down")
    answer = session.post("/sign-out")
    check("Max-Age=0" in answer.headers["Set-Cookie"], "the cookie is taken back")
    check(session.get("/").token() is None, "signed out")


def again(answer):
    """A form that came back: its fields, which of them are wrong, and its text."""
    page = Page(answer.body.decode())
    equal(page.errors, [], "markup")
    fields = {a["name"]: a.get("value") for a in page.all("input") if a.get("type") not in ("checkbox", "radio")
              or "checked" in a}
    return fields, {a["id"] for a in page.all("span") if a.get("class") == "wrong"}, page.text


@suite.test
def a_visit_that_is_wrong_stays_in_its_form(place):
    daemon = daemon_with_accounts(place, [house()])
    session = Session(daemon)
    good = {"on": local_day(), "found": "<b>dust", "did": "cleaned", "value-suction": "0.6", "fan-model": "radial-9",
            "changed-fan": "yes"}
    cases = [({"value-suction": "0.5 apples"}, "value-suction", "is not a value with a unit"),
             ({"value-suction": "0.5 degC"}, "value-suction", "has a unit of another kind; allowed for suction: Pa, inH2O"),
             ({"value-suction": "900 inH2O"}, "value-suction", "outside what is physically possible"),
             ({"on": local_day(-86_400_000)}, "on", "not in the future"),
             ({"on": "soon"}, "on", "is not a time"), ({"on": ""}, "on", "fill this in"), ({"did": ""}, "did", "fill this in"),
             ({"next_calibration": "soon"}, "next_calibration", "is not a time"),
             ({"new_baseline": "yes", "value-suction": ""}, "new_baseline", "needs the values"),
             ({"fan-model": "", "fan-serial": "7"}, "fan-model", "is missing"),
             ({"fan-warranty_until": "soon"}, "fan-warranty_until", "is not a date")]
    for changed, field, why in cases:
        answer = post_form(daemon, "/systems/mill/visit-done", {"token": session.token, **good, **changed}, session.cookie)
        equal(answer.status, 400, f"status with {changed}")
        fields, wrong, text = again(answer)
        check(wrong == {f"wrong-{field}"} and why in text, f"{changed}: {wrong} {text[-900:]}")
        sent = good | changed
        equal({n: fields.get(n) for n in sent if n not in ("found", "did") and sent[n]},
              {n: v for n, v in sent.items() if n not in ("found", "did") and v}, f"what was typed with {changed}")
        check("<b>dust" in text, "also in the texts")
    equal(daemon.get("/api/systems/mill")["past_visits"], [], "nothing was written down")
    session.post("/systems/mill/visit-done", **good)
    visit = daemon.get("/api/systems/mill")["past_visits"][0]["facts"]
    check(abs(visit["values"]["suction"] - 0.6 * 249.08891) < 0.01, f"a number alone is in the label's unit: {visit}")
    equal((visit["equipment"][0]["model"], visit["changed"]), ("radial-9", ["fan"]), "the fan")


@suite.test
def two_people_at_once_see_what_the_other_wrote_down(place):
    daemon = daemon_with_accounts(place, [house()])
    one, other = Session(daemon), Session(daemon, "workshop", OTHER_PASSWORD)
    test = {"from": local_day(5 * 86_400_000), "to": local_day(), "value": "1.2 pCi/L", "place": "cellar", "device": "box"}
    visit = {"on": local_day(), "found": "dust", "did": "cleaned"}
    for path, sent, kind, listed in (("radon-test", test, "known-test", "radon_tests"),
                                     ("visit-done", visit, "known-visit", "past_visits")):
        known = {a["name"]: a["value"] for a in other.get("/systems/mill").all("input") if a.get("name", "").startswith("known-")}
        one.post(f"/systems/mill/{path}", **sent, **{kind: known[kind]})
        if path == "radon-test":
            other.post(f"/systems/mill/{path}", **sent, **{kind: known[kind]})
            equal(len(daemon.get("/api/systems/mill")[listed]), 1, "the very same test is one")
            sent = sent | {"value": "1.3 pCi/L"}
        answer = other.post(f"/systems/mill/{path}", status=409, **sent, **{kind: known[kind]})
        fields, _, text = again(answer)
        check("installer has written something down" in text, text[-900:])
        equal(len(daemon.get("/api/systems/mill")[listed]), 1, f"only the first of {path}")
        check(fields[kind] != known[kind] and all(fields.get(n) == v for n, v in sent.items() if n not in ("found", "did")),
              f"what was typed, ready to be sent: {fields}")
        other.post(f"/systems/mill/{path}", **sent, **{kind: fields[kind]})
        equal(len(daemon.get("/api/systems/mill")[listed]), 2, "both stand side by side")

# ---- hostile requests ----


def raw(daemon, text):
    with socket.create_connection(("127.0.0.1", daemon.page_port), timeout=10 * PATIENCE) as connection:
        connection.sendall(text)
        answer = b""
        while b"\r\n\r\n" not in answer:
            part = connection.recv(4096)
            if not part:
                break
            answer += part
    return int(answer.split(b" ")[1]) if answer.startswith(b"HTTP/") else 0


@suite.test
def foreign_hosts_and_odd_paths_and_methods(place):
    daemon = daemon_with_accounts(place, [house()])
    for host in ("evil.example", "127.0.0.1.evil.example", "localhost.evil.example", "127.0.0.2", "", "a b"):
        answer = raw(daemon, f"GET / HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
        check(answer in (400, 421), f"Host {host!r}: {answer}")
    for path, wanted in (("/../etc/passwd", (404,)), ("/assets/../api.c", (404,)), ("/assets/%2e%2e/%2e%2e/etc/passwd", (404,)),
                         ("/assets//style.css", (404,)), ("/assets/style.css/", (404,)), ("//", (404,)), ("/systems/", (404,)),
                         ("/systems//record", (404,)), ("/systems/%00", (400,)), ("/%", (400,)), ("/%zz", (400,)),
                         ("/systems/mill%2Frecord", (200, 404)), ("/SYSTEMS/mill", (404,)), ("/systems/mill/record/more", (404,)),
                         ("/a" * 900, (404,)), ("/" + "a" * 3000, (414,)), ("/?page=-1", (200,)), ("/?page=99999999999999999999", (200,)),
                         ("/?status=%3Cb%3E", (200,)), ("/systems/mill?range=1y&to=0001-01-01T00:00:00Z", (200,)),
                         ("/systems/mill?to=9999-12-31T23:59:59Z", (200,)), ("/systems/mill?range=5y&to=1971-06-01T00:00:00Z", (200,))):
        answer = raw(daemon, f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode())
        check(answer in wanted, f"{path[:60]}: {answer}, expected {wanted}")
    for method in ("PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "BREW", "get"):
        answer = raw(daemon, f"{method} / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode())
        check(answer in (400, 405), f"{method}: {answer}")
    for path in ("/", "/systems/mill", "/assets/style.css"):
        equal(post_form(daemon, path, {}).status, 405, f"POST {path}")
    answer = daemon.request("GET", "/", page=True)
    policy = answer.headers["Content-Security-Policy"]
    check("default-src 'self'" in policy and "unsafe" not in policy, policy)


@suite.test
def slow_and_many_connections_leave_the_readings_alone(place):
    broker = place.broker()
    daemon = daemon_with_accounts(place, [system("mill", [point("suction")])], broker)
    sockets = []

    def close_all():
        for one in sockets:
            one.close()
    place.at_end(close_all)
    for i in range(500):
        try:
            one = socket.create_connection(("127.0.0.1", daemon.page_port), timeout=2)
            one.setblocking(False)
            one.send(b"GET / HTTP/1.1\r\nHost: localhost\r\nX-")
            sockets.append(one)
        except OSError:
            break
    begin = time.monotonic()
    for i in range(100):
        broker.publish([("subslab/mill/suction", timed(200 + i, now_ms()))])
        time.sleep(0.002)
        for one in sockets[i::7]:
            try:
                one.send(b"a")
            except OSError:
                pass
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 100, 5, "all readings")
    print(f"    {len(sockets)} slow connections: 100 readings within {time.monotonic() - begin:.1f} s")
    equal(daemon.request("GET", "/api/systems").status, 200, "the operator's socket answers meanwhile")
    for i in range(5):
        begin = time.monotonic()
        fetch(daemon, "/sign-in")
        check(time.monotonic() - begin < (3 if SANITIZED else 1), "at once")

# ---- what a busy page costs ----


@suite.test
def units_and_ages_stand_beside_values(place):
    broker = place.broker()
    daemon = place.daemon(broker, [house()]).start()
    broker.publish([("subslab/mill/suction", "249.08891"), ("subslab/mill/radon", "148")])
    wait_until(lambda: newest(daemon, "mill"), 5, "the reading")
    us, si = fetch(daemon, "/systems/mill"), fetch(daemon, "/systems/mill?units=si")
    # NIST SP 811 (2008), appendix B: 1 inH2O (conventional) = 249.08891 Pa; 1 pCi/L = 37 Bq/m3.
    check("1 inH2O" in us.text and "4 pCi/L" in us.text, "US units")
    check("249 Pa" in si.text and "148 Bq/m3" in si.text, "SI units")
    check("just now" in us.text, "an age")
    check(all("units=si" in a["href"] for a in si.all("a") if a["href"].startswith("/systems/mill?range")), "carried along")
    check(re.search(r"not known|no reading", fetch(daemon, "/systems/mill/record").text), "what is not known is said")


@suite.test
def the_list_says_what_is_wrong_and_a_sheet_what_it_was(place):
    broker = place.broker()
    daemon = daemon_with_accounts(place, [house(), house("calm")], broker)
    daemon.commission("mill", f"date: {local_day(86400_000)}\nby: RRR\npoints: {{suction: 260 Pa}}\n")
    broker.publish([("subslab/mill/suction", "260"), ("subslab/calm/suction", "260")])
    broker.publish([("subslab/mill/suction", "50")])
    daemon.alarm("suction-low")
    fleet, sheet = fetch(daemon, "/?units=si").text, fetch(daemon, "/systems/mill?units=si").text
    equal(fleet.count("Suction low"), 1, "what is wrong, in the list, of the one")
    check("50 Pa against a limit of 100 Pa; at commissioning 260 Pa" in sheet, f"value, limit, and what it was: {sheet}")
    check(", raised" not in sheet, "raised at once: one time is enough")
    visits = fetch(daemon, "/visits").text
    check("suction-low" not in visits and "suction low" in visits, "a visit's reason is in words alone")


@suite.test
def who_is_called_is_a_touch_away(place):
    broker = place.broker()
    daemon = place.daemon(broker, [house()], page={"access_file": "accounts"},
                          contractor={"name": "Quillmere Radon", "telephone": "+1 555 0100"})
    daemon.secret("accounts", f"installer:{HASH}")
    daemon.start()
    page = fetch(daemon, share(Session(daemon), "mill"))
    check("Whom to call: Quillmere Radon, +1 555 0100." in page.text, f"in words: {page.text}")
    check({"href": "tel:+15550100"} in page.all("a"), f"to touch: {page.all('a')}")


suite.run()
