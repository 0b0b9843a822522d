"""The page: who signs in, and what a link for a homeowner shows."""
import json
import os
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import (Suite, check, contact, equal, local_day, now_ms, plain_point,  # noqa: E402
                     rfc3339, wait_until, write_file)
from pages import HASH, OTHER_HASH, OTHER_PASSWORD, PASSWORD, Session, fetch, post_form, share  # noqa: E402
from page_houses import DAY, daemon_with_accounts, house, shared_pages, with_alarm  # noqa: E402

suite = Suite()

# ---- signing in ----


@suite.test
def signing_in(place):
    daemon = daemon_with_accounts(place, [house()])
    session = Session(daemon)
    for part in ("HttpOnly", "SameSite=Strict", "Path=/"):
        check(part in session.set_cookie, f"{part} in the cookie")
    check("Secure" not in session.set_cookie, "plain HTTP on loopback")
    answer = post_form(daemon, "/sign-in", {"name": "installer", "password": PASSWORD},
                       Origin=f"https://127.0.0.1:{daemon.page_port}")
    check("; Secure" in answer.headers["Set-Cookie"], "Secure behind TLS")
    Session(daemon, "workshop", OTHER_PASSWORD)
    check(Session(daemon).cookie != session.cookie, "each session has a key of its own")
    for name, password in (("installer", "wrong"), ("nobody", PASSWORD), ("installer", ""), ("", ""),
                           ("installer", PASSWORD + "\x00"), ("installer", "x" * 5000)):
        answer = post_form(daemon, "/sign-in", {"name": name, "password": password})
        check(answer.status in (400, 403), f"{name!r}: {answer.status}")
        check("Set-Cookie" not in answer.headers, f"no cookie for {name!r}")
    for following, to in (("/alarms", "/alarms"), ("//evil.example", "/"), ("https://evil.example", "/"),
                          ("/\\evil.example", "/"), ("/a\r\nX: y", "/"), ("/systems/mill", "/systems/mill")):
        answer = post_form(daemon, "/sign-in", {"name": "installer", "password": PASSWORD, "next": following})
        equal(answer.headers["Location"], to, f"after {following!r}")
    equal(post_form(daemon, "/sign-in", {"name": "installer", "password": PASSWORD},
                    Origin="http://evil.example").status, 403, "a sign-in from elsewhere")
    check(PASSWORD not in daemon.log() and "$y$" not in daemon.log(), "no secret in the log")


@suite.test
def guessing_is_slow(place):
    daemon = daemon_with_accounts(place, [house()])
    answers = [post_form(daemon, "/sign-in", {"name": "installer", "password": f"guess {i}"}) for i in range(25)]
    statuses = [answer.status for answer in answers]
    check(statuses.count(403) <= 14, f"tries that were looked at: {statuses}")
    refused = [answer for answer in answers if answer.status == 429]
    check(refused and all(a.headers["Retry-After"] for a in refused), f"the others wait: {statuses}")
    wait_until(lambda: post_form(daemon, "/sign-in", {"name": "installer", "password": PASSWORD}).status == 303,
               20, "the right password again")


@suite.test
def guessing_elsewhere_keeps_nobody_out(place):
    daemon = daemon_with_accounts(place, [house()], hosts=["radon.example"])
    tries = lambda password, address: post_form(  # noqa: E731
        daemon, "/sign-in", {"name": "installer", "password": password}, **{"X-Forwarded-For": address}).status
    guesses = [tries(f"guess {i}", "10.0.0.9, 203.0.113.7") for i in range(25)]
    check(429 in guesses, f"the guesser waits: {guesses}")
    equal(tries(PASSWORD, "203.0.113.7"), 429, "with the right password too")
    equal([tries(PASSWORD, "203.0.113.7, 198.51.100.4") for _ in range(5)], [303] * 5, "not so the owner elsewhere")


@suite.test
def a_changed_account_ends_its_sessions(place):
    daemon = daemon_with_accounts(place, [house()])
    installer, workshop = Session(daemon), Session(daemon, "workshop", OTHER_PASSWORD)
    daemon.secret("accounts", f"installer:{OTHER_HASH}\nworkshop:{OTHER_HASH}")
    check(installer.get("/").token() is None, "another password")
    check(workshop.get("/").token() is not None, "the other one goes on")
    daemon.secret("accounts", f"installer:{OTHER_HASH}")
    check(workshop.get("/").token() is None, "no account any more")
    for text, mode in ((f"installer:{HASH}", 0o644), ("installer:plain text", 0o600), ("installer", 0o600),
                       ("", 0o600), (f"installer:{HASH}\ninstaller:{HASH}", 0o600)):
        path = os.path.join(daemon.folder, "accounts")
        os.unlink(path)
        write_file(path, text, mode)
        answer = post_form(daemon, "/sign-in", {"name": "installer", "password": PASSWORD})
        equal(answer.status, 403, f"with {text[:20]!r} {mode:o}")
    check("run: chmod o-rwx" in daemon.log(), "the log says what to do")


@suite.test
def without_accounts_the_page_only_shows(place):
    daemon = place.daemon(place.broker(), [house()]).start()
    check("Sign in" not in fetch(daemon, "/").text, "nowhere to sign in")
    equal(post_form(daemon, "/sign-in", {"name": "installer", "password": PASSWORD}).status, 200, "only told so")
    equal(post_form(daemon, "/systems/mill/share", {}).status, 403, "no change")


@suite.test
def beyond_this_machine_reading_needs_an_account_too(place):
    everywhere = daemon_with_accounts(place, [house()], address="0.0.0.0")
    proxied = daemon_with_accounts(place, [house()], hosts=["radon.example"])
    here = daemon_with_accounts(place, [house()])
    # A bare proxy hands on neither the name that was asked for nor where a request came from.
    headers = [(everywhere, {}), (proxied, {"Host": "radon.example"}), (proxied, {})]
    headers += [(here, {name: value}) for name, value in (
        ("X-Forwarded-For", "203.0.113.7"), ("X-Forwarded-Host", "x"), ("X-Forwarded-Proto", "https"),
        ("X-Real-IP", "203.0.113.7"), ("Forwarded", "for=203.0.113.7"), ("Via", "1.1 proxy"))]
    for daemon, more in headers:
        for path in ("/", "/systems/mill", "/systems/mill/record", "/alarms", "/visits"):
            answer = daemon.request("GET", path, page=True, headers=more)
            equal(answer.status, 303, f"{path} with {more}")
            check(answer.headers["Location"].startswith("/sign-in"), path)
        for path in ("/api/systems", "/api/readings?system=mill", "/metrics", "/visits.ics"):
            equal(daemon.request("GET", path, page=True, headers=more).status, 401, f"{path} with {more}")
        equal(json.loads(daemon.request("GET", "/health", page=True, headers=more).body), {"status": "ok"},
              f"the word alone with {more}")
        for path in ("/sign-in", "/assets/style.css"):
            equal(daemon.request("GET", path, page=True, headers=more).status, 200, path)
    session = Session(everywhere)
    session.get("/systems/mill")
    equal(everywhere.request("GET", "/api/systems", page=True, headers={"Cookie": session.cookie}).status, 200, "signed in")
    equal(here.request("GET", "/", page=True).status, 200, "at this machine itself")
    check("contacts" in json.loads(here.request("GET", "/health", page=True).body), "and all of its health")
    equal(proxied.request("GET", "/metrics").status, 200, "the operator's socket asks for nothing")

# ---- links for homeowners ----


@suite.test
def a_link_shows_one_system_until_it_is_withdrawn(place):
    daemon = daemon_with_accounts(place, [house(), house("other")], hosts=["radon.example"])
    session = Session(daemon)
    link = lambda: [a["href"] for a in session.get("/systems/mill").all("a") if a.get("href", "").startswith("/share/")]  # noqa: E731
    equal(link(), [], "none at first")
    session.post("/systems/mill/share")
    (first,) = link()
    away = {"Host": "radon.example"}
    page = fetch(daemon, first, **away)
    check(page.token() is None and not [a for a in page.all("a") if not a["href"].startswith(("/share/", "#"))],
          "no way from here to anything else")
    check("Record of mill" in fetch(daemon, first + "/record", **away).text, "its record")
    shown = fetch(daemon, first, Cookie=session.cookie)
    check(shown.token() is None and "Changes" not in shown.text, "the signed-in see what the homeowner sees")
    for i in range(len("/share/"), len(first)):
        changed = first[:i] + ("A" if first[i] != "A" else "B") + first[i + 1:]
        equal(daemon.request("GET", changed, page=True).status, 404, changed)
    for wrong in (first[:-1], first + "A", first.replace("mill", "other"), "/share/mill", "/share/mill.", "/share/.",
                  "/share/" + "A" * 300, first + "/alarms", first + "/record/x"):
        equal(daemon.request("GET", wrong, page=True).status, 404, wrong)
    check(len(first.rsplit(".", 1)[1]) * 6 >= 128, "too long to be guessed")
    daemon.stop()
    daemon.start()
    fetch(daemon, first)
    session = Session(daemon)
    session.post("/systems/mill/withdraw-share")
    equal(daemon.request("GET", first, page=True).status, 404, "withdrawn")
    session.post("/systems/mill/share")
    (second,) = link()
    check(second != first, "the next link is another one")
    equal(daemon.request("GET", first, page=True).status, 404, "the first stays withdrawn")
    fetch(daemon, second)


TRADE_WORDS = ("sump", "installer", "gauge", "gate code", "technician", "key under", "repair", "office", "note",
               "shelver", "delay", "crew", "roof work", "serial", "hole", "riser", "monitor", "den",
               "canister", "tester")


def house_with_trade_words():
    """Whatever somebody of the trade can write of a house, each with a word to look for."""
    return house(foundation="Planted sump", region="planted-region", points=[
        {**plain_point("planted-suction", every="1 min"), "name": "Planted riser"},
        {**plain_point("planted-radon", "radon", "Bq/m3", every="1 min"), "name": "Planted monitor", "place": "Planted cellar"},
        {**plain_point("planted-hole", "field", "Pa", every="1 min"), "name": "Planted hole"}])


@suite.test
def a_link_shows_nothing_that_was_written_for_the_trade(place):
    broker = place.broker()
    daemon = daemon_with_accounts(place, [house_with_trade_words(), house("other")], broker)
    broker.publish([("subslab/mill/planted-suction", "50"), ("subslab/mill/planted-hole", "0.2")])
    alarm = daemon.alarm("suction-low")["id"]
    session = Session(daemon)
    today = local_day()
    daemon.commission("mill", f"date: {today}\nby: Planted installer +1 555 0101\ninstruments: Planted gauge\n"
                              "points: {planted-suction: 250 Pa, planted-hole: 6 Pa}\nradon_before: 9.1 pCi/L\n"
                              "equipment: [{branch: main, model: Planted-fan, serial: Planted serial 12}]\n"
                              "notes: Planted gate code 4711\n")
    daemon.post("/api/systems/mill/visit-done", {"on": today, "by": "Planted technician +1 555 0102", "found":
                                                 "Planted key under mat", "did": "Planted repair",
                                                 "equipment": [{"branch": "main", "model": "Planted-spare"}]})
    daemon.post("/api/systems/mill/radon-test", {"from": rfc3339(now_ms() - 5 * DAY), "to": rfc3339(now_ms() - DAY), "value":
                                                 "1.3 pCi/L", "place": "Planted den", "device": "Planted canister",
                                                 "by": "Planted tester"})
    daemon.post(f"/api/alarms/{alarm}/acknowledge", {"by": "Planted office", "note": "Planted note"})
    daemon.post(f"/api/alarms/{alarm}/shelve", {"by": "Planted shelver", "until": "1 d", "why": "Planted delay"})
    daemon.post("/api/systems/mill/out-of-service", {"by": "Planted crew", "until": "1 d", "why": "Planted roof work"})
    # Each is on one of the contractor's pages, or its absence below would prove nothing.
    known = session.get("/systems/mill").text
    for word in [f"Planted {word}" for word in TRADE_WORDS] + ["Planted-fan", "Planted-spare"]:
        check(word in known, f"{word} at the contractor's")
    for text in shared_pages(daemon, session, "mill"):
        for word in ("Planted", "planted", "suction-low", "field-weak"):
            check(word not in text, text[max(0, text.find(word) - 100):text.find(word) + 60])
        check("555" not in text and "4711" not in text, "no telephone, no code")
        check("9.1 pCi/L" in text or "337 Bq/m3" in text, "what was measured is there")
        check("1.3 pCi/L" in text or "48.1 Bq/m3" in text, "the test is there")
    for text in shared_pages(daemon, session, "other")[::2]:
        check("We know of nothing that is wrong" in text, "and the other house says so")


@suite.test
def an_alarm_is_told_by_a_link_in_the_homeowners_words(place):
    daemon, _ = with_alarm(place)
    sheet = shared_pages(daemon, Session(daemon), "mill")[0]
    check("What it means:" in sheet and "What to leave alone:" in sheet, "what it means and what to leave alone")
    check("against a limit of" not in sheet and "Check first" not in sheet, "no words of the trade")


ENGLISH, SPANISH = "The pull in the pipe", "La aspiración en el tubo"


def language_of(page):
    return page.all("html")[0]["lang"]


@suite.test
def a_sheet_is_in_the_language_of_its_reader(place):
    broker = place.broker()
    daemon = place.daemon(broker, [house(contacts=["jefe"])], page={"access_file": "accounts"}, contacts=[
        contact("jefe", place.endpoint({"*": {"status": 204}}), language="es")])
    daemon.secret("accounts", f"installer:{HASH}\njefe:{HASH}")
    daemon.start()
    broker.publish([("subslab/mill/suction", "50")])
    daemon.alarm("suction-low")
    words = {"en": ["What is wrong", "Suction low", "What to do: ", "never"],
             "es": ["Qué está mal", "Succión baja", "Qué hacer: ", "nunca"]}
    asked = {"Accept-Language": "es-MX,es;q=0.9,en;q=0.8"}
    for name, headers, query, wanted in [
            (None, {}, "", "en"), (None, asked, "", "es"), (None, asked, "?language=en", "en"),
            ("installer", {}, "", "en"), ("installer", asked, "", "es"), ("installer", {}, "?language=es", "es"),
            ("jefe", {}, "", "es"), ("jefe", {"Accept-Language": "en"}, "", "es"), ("jefe", {}, "?language=en", "en")]:
        cookie = {"Cookie": Session(daemon, name).cookie} if name else {}
        page = fetch(daemon, "/systems/mill" + query, **cookie, **headers)
        equal(page.all("html")[0]["lang"], wanted, f"{name} {headers} {query}")
        for language, texts in words.items():
            equal([text in page.text for text in texts[:3]], [language == wanted] * 3, f"words of {language} for {name}")
    session = Session(daemon)
    chosen = session.get("/systems/mill?language=es&units=si")
    for where in [a["href"] for a in chosen.all("a")] + [form["action"] for form in chosen.all("form") if form["method"] == "post"]:
        check(where.startswith(("#", "/share/")) or "language=" in where and "units=" in where, f"kept along: {where}")
    (shelve,) = [form["action"] for form in chosen.all("form") if "/shelve" in form["action"]]
    answer = session.post(shelve, until="2 h", why="wait", system="mill")
    check("language=es" in answer.headers["Location"], f"after a form, too: {answer.headers['Location']}")
    check(words["es"][0] in session.get(answer.headers["Location"]).text, "its words")


@suite.test
def a_link_is_in_the_language_of_its_reader(place):
    hook = place.endpoint({"*": {"status": 204}})
    broker = place.broker()
    houses = [house(contacts=["office"]), house("casa", contacts=["office", "casa"]), house("home", contacts=["office", "home"]),
              house("open", contacts=["office", "open"])]
    daemon = place.daemon(broker, houses, page={"access_file": "accounts"}, contacts=[
        contact("office", hook, language="en"), contact("casa", hook, role="homeowner", language="es-MX"),
        contact("home", hook, role="homeowner", language="en"), contact("open", hook, role="homeowner")])
    daemon.secret("accounts", f"installer:{HASH}")
    daemon.start()
    broker.publish([(f"subslab/{ident}/suction", "50") for ident in ("mill", "casa")])
    daemon.alarm("suction-low", system="casa")
    session = Session(daemon)
    asked = {"Accept-Language": "es-MX,es;q=0.9,en;q=0.8"}
    for ident, headers, query, wanted in [
            ("mill", {}, "", "en"), ("mill", asked, "", "es"), ("mill", {"Accept-Language": "fr,de"}, "", "en"),
            ("mill", asked, "?language=en", "en"), ("mill", {}, "?language=es", "es"), ("mill", asked, "?language=xx", "es"),
            ("casa", {"Accept-Language": "en"}, "", "es"), ("casa", {}, "?language=en", "en"),
            ("home", asked, "", "en"), ("open", asked, "", "es"), ("open", {}, "", "en")]:
        link = share(session, ident)
        for path in (link, link + "/record"):
            page = fetch(daemon, path + query, **headers)
            equal(language_of(page), wanted, f"{path}{query} with {headers}")
            equal([ENGLISH in page.text, SPANISH in page.text], [wanted == "en", wanted == "es"], "its words")
            check(("What it means:" if wanted == "en" else "Qué significa:") in page.text or ident not in ("mill", "casa"),
                  "the alarm, too")
        for path, status in ((link + "/nothing", 404), (link + "A", 404)):
            if path == link + "A" and ident != "mill":  # of an unknown link only the browser tells
                continue
            page = fetch(daemon, path + query, status, **headers)
            equal(language_of(page), wanted, f"{path}{query} with {headers}")
    chosen = fetch(daemon, link + "?language=es&units=si")
    for a in chosen.all("a"):
        check(a["href"].startswith("#") or "language=" in a["href"] and "units=" in a["href"], f"kept along: {a['href']}")
    answer = post_form(daemon, link, {}, **{"Accept-Language": "es"})
    equal((answer.status, "Así no" in answer.body.decode()), (405, True), "a refused method")


suite.run()
