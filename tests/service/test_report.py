#!/usr/bin/env python3
"""The year's letter with the real daemon and tool: what it says of a year that is known, in two
languages, as text and as a page; of all houses into a folder; and `in_spec` of show."""
import os
import re
import sys
import time
from datetime import datetime, timezone

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import DAY, HOUR, files, keys_are, near, series, tool_of, write_csv  # noqa: E402
from harness import (Suite, check, contact, equal, now_ms, plain_point, rfc3339, system,  # noqa: E402
                     wait_until)
from pages import Page  # noqa: E402

suite = Suite()
LAST_YEAR = datetime.now(timezone.utc).year - 1


def at(month, day, hour=0, year=LAST_YEAR):
    return int(datetime(year, month, day, hour, tzinfo=timezone.utc).timestamp() * 1000)


def house(ident, name, people):
    return system(ident, [plain_point("suction", unit="Pa", every="1 h"), plain_point("radon", "radon", "Bq/m3", "1 h")],
                  name=name, address=f"{name}, Quillmere", time_zone="UTC", contacts=people)


def furnished(place):
    """A whole year: suction low for 36.5 days, silent for 10, a test, a visit with a fan."""
    hook = place.endpoint()
    people = [contact("office", hook), contact("dueno", hook, role="homeowner", language="es")]
    daemon = place.daemon(place.broker(), [house("alder-5", "Alder House", ["office"]),
                                           house("sauce-2", "Casa del Sauce", ["office", "dueno"])], people,
                          contractor={"name": "Quillmere Radon", "telephone": "+1 555 0100"},
                          conditions={"suction-lost": {"enabled": "no"}, "suction-high": {"enabled": "no"}})
    daemon.start()
    tool = tool_of(daemon)
    begin, end, low = at(1, 1), at(1, 1, year=LAST_YEAR + 1), (at(6, 1), at(6, 1) + int(36.5 * DAY))
    gone = (at(9, 1), at(9, 11))

    def suction(time):
        return None if gone[0] <= time < gone[1] else 100.0 if low[0] <= time < low[1] else 250.0

    def radon(time):
        return None if gone[0] <= time < gone[1] else 70.0
    rows = []
    for ident in ("alder-5", "sauce-2"):
        rows += series(ident, "suction", "Pa", begin, end + 2 * DAY, HOUR, suction)
        rows += series(ident, "radon", "Bq/m3", begin, end + 2 * DAY, HOUR, radon)
        files(daemon.folder, {"r.yaml": f"date: {rfc3339(begin)[:10]}\nby: the installer\npoints: {{suction: 250 Pa}}\n"})
        tool.run("commission", ident, "r.yaml")
    write_csv(os.path.join(daemon.folder, "history.csv"), rows)
    tool.run("import", "history.csv")
    tool.run("visit-done", "alder-5", "--on", rfc3339(at(7, 8))[:10], "--by", "Ottoline Frayn", "--found",
             "fan worn, key under the pot", "--did", "new fan", "--equipment", "{model: radial-9, why: worn}")
    tool.run("radon-test", "alder-5", "66 Bq/m3", "--from", rfc3339(at(10, 1))[:10], "--to", rfc3339(at(10, 5))[:10],
             "--place", "cellar", "--device", "charcoal", "--by", "the owner")
    return daemon, tool


def paragraphs(letter):
    return {s["heading"]: s["paragraphs"] for s in letter["sections"]}


@suite.test
def a_year_that_is_known_is_told_as_it_was(place):
    daemon, tool = furnished(place)
    letter = tool.json("report", "alder-5", "--year", LAST_YEAR)
    keys_are(letter, "system name year language from to title sections", "the letter")
    equal([letter["title"], letter["language"]], [f"Your radon system in {LAST_YEAR}", "en"], "title")
    said = paragraphs(letter)
    days = (at(1, 1, year=LAST_YEAR + 1) - at(1, 1)) / DAY
    covered = f"{100 * (days - 10) / days:.0f} %"
    check("read 1.89 pCi/L on average" in said["Radon"][0] and covered in said["Radon"][0], f"{said['Radon']}")
    check("below 4 pCi/L" in said["Radon"][2], f"{said['Radon']}")
    mean = (250 * (days - 46.5) + 100 * 36.5) / (days - 10) / 249.08891
    check(f"pulled {mean:.3g} inH2O" in said["The pull in the pipe"][0], f"{said['The pull in the pipe']} {mean}")
    share = said["How much of the time it was as it should be"]
    known = days - 10
    check(re.match(rf"In {100 * (1 - 36.5 / known):.0f} % of the time", share[0]), f"{share}")
    check("Times out of order: 1. The longest took 36." in share[1], f"{share}")
    check(re.match(r"For [23] % of the time we had no readings", share[2]), f"{share}")
    check(any("pulls too little, from" in line and f"{LAST_YEAR}-06-01 to {LAST_YEAR}-07-07" in line
              for line in said["What happened"]), f"{said['What happened']}")
    equal(said["What was done"], [f"{LAST_YEAR}-07-08: the system was visited, and a new fan was put in."], "done")
    equal(said["Radon tests"], [f"1.78 pCi/L, from {LAST_YEAR}-10-01 to {LAST_YEAR}-10-05"], "tests")
    check(any(f"{LAST_YEAR + 2}-10-0" in line for line in said["What comes next"]), f"{said['What comes next']}")
    text = tool.table("report", "alder-5", "--year", LAST_YEAR)
    for words in ("Alder House, Quillmere", "carbon monoxide", "no substitute for a radon test", "Quillmere Radon, +1 555 0100"):
        check(words in " ".join(text.split()), f"{words}: {text}")
    for private in ("Ottoline", "pot", "the owner"):
        check(private not in text, f"nothing of the trade: {private}")
    check(daemon.readings("alder-5", "suction"), "all is there")


@suite.test
def in_spec_of_show_is_the_share_and_its_outages(place):
    _daemon, tool = furnished(place)
    rows = {row["what"]: row for row in tool.json("show", "alder-5")["in_spec"]}
    equal(sorted(rows), ["radon", "suction", "system"], "what there are points of")
    for row in rows.values():
        keys_are(row, "what window share outages", "a row")
        equal(row["window"], "365 d", "window")
    begin = now_ms() - 365 * DAY
    low = max(0, at(6, 1) + int(36.5 * DAY) - max(begin, at(6, 1)))
    outages = rows["suction"]["outages"]
    if low > 7 * DAY:  # within the last 365 days
        equal(len(outages), 1, f"one outage: {outages}")
        near(1 - rows["suction"]["share"], low / (365 * DAY) / (1 - rows["suction"]["without_readings"]), "its share", 0.02)
    covered = (at(1, 3, year=LAST_YEAR + 1) - begin - DAY * 10 * (begin < at(9, 1))) / (365 * DAY)
    near(1 - rows["radon"]["without_readings"], covered, "covered by readings", 0.05)
    if covered > 0.1:
        near(rows["radon"]["share"], 1.0, "radon was never out of order")


@suite.test
def the_page_the_folder_and_the_language_of_the_owner(place):
    daemon, tool = furnished(place)
    html = tool.run("report", "sauce-2", "--year", LAST_YEAR, "--as", "html")[0]
    check(f"Su sistema de radón en {LAST_YEAR}" in html and "lang=\"es\"" in html and "<style>" in html, html[:500])
    check("no sustituye" in html or "sustitu" in html, "what it does not prove")
    check(not re.search(r'<link|<script|(?:href|src)="[^#"]', html), "needs no other file")
    equal(tool.json("report", "sauce-2", "--year", LAST_YEAR, "--language", "en")["language"], "en", "chosen")
    page = daemon.request("GET", f"/systems/alder-5/report?year={LAST_YEAR}", page=True)
    equal(page.status, 200, "the page")
    check(b"Your radon system in" in page.body, "its title")
    folder = os.path.join(daemon.folder, "letters")
    check("2 letters in" in tool.run("report", "--year", LAST_YEAR, "--into", folder)[0], "said")
    equal(os.stat(folder).st_mode & 0o777, 0o700, "a folder of its own, for nobody else")
    equal(sorted(os.listdir(folder)), [f"alder-5-{LAST_YEAR}.txt", f"sauce-2-{LAST_YEAR}.txt"], "files")
    with open(os.path.join(folder, f"sauce-2-{LAST_YEAR}.txt"), encoding="utf-8") as file:
        check("Su sistema de radón" in file.read(), "in the owner's language")


@suite.test
def records_of_the_fleet_into_a_folder(place):
    daemon, tool = furnished(place)
    folder = os.path.join(daemon.folder, "records")
    os.mkdir(folder)
    check("2 records in" in tool.run("report", "--record", "--into", folder)[0], "said")
    equal(sorted(os.listdir(folder)), ["alder-5-record.html", "sauce-2-record.html"], "files")
    with open(os.path.join(folder, "alder-5-record.html"), encoding="utf-8") as file:
        html = file.read()
    for words in ("Record of Alder House", "radial-9", "no substitute for a radon test", "charcoal", "<style>"):
        check(words in html, f"{words}: {html[:800]}")
    check(not re.search(r'<link|<script|(?:href|src)="[^#"]', html), "needs no other file")
    check("Acta de" in tool.run("report", "alder-5", "--record", "--language", "es")[0], "in another language")
    tool.run("report", "alder-5", "--record", "--year", LAST_YEAR, status=2)


class Parts(Page):
    """The texts between tags of what a page prints, in their order."""
    def __init__(self, text):
        self.parts = []
        super().__init__(re.sub(r'<(style|title|svg|footer|thead)\b.*?</\1>|<p class="no-print">.*?</p>', "", text, flags=re.S))

    def handle_data(self, data):
        if " ".join(data.split()):
            self.parts.append(" ".join(data.split()))


def is_same_paper(html, text, what):
    """Each text of the page stands in the plain one, in the same order, and nothing of the markup."""
    plain, place = " ".join(text.split()), 0
    parts = Parts(html).parts
    check(len(parts) > 15, f"{what}: few texts: {parts}")
    for part in parts:
        found = plain.find(part, place)
        check(found >= 0, f"{what}: \"{part}\" is not behind \"{plain[max(0, place - 60):place]}\" in {plain}")
        place = found + len(part)
    check(not re.search(r"</?[a-z]|&[a-z#0-9]+;", text), f"{what}: markup in {text}")


def while_nothing_happens(tool, asked):
    """Page and text of a record, when no alarm came or went between them."""
    html, text, again = (tool.run("report", *asked, *more)[0] for more in ([], ["--as", "text"], []))
    return Parts(html).parts == Parts(again).parts and (html, text)


@suite.test
def the_record_as_plain_text_has_all_that_the_page_has(place):
    daemon, tool = furnished(place)
    for language, heading, worth in (("en", "What this proves, and what not", "no substitute for a radon test"),
                                     ("es", "Qué prueba esto y qué no", "No sustituye una prueba de radón")):
        asked = ["alder-5", "--record", "--language", language]
        html, text = wait_until(lambda: while_nothing_happens(tool, asked), 30, "a record that stays as it is")  # pylint: disable=cell-var-from-loop
        is_same_paper(html, text, f"the record, {language}")
        lines = text.splitlines()
        check(heading in lines and worth in " ".join(text.split()), f"what it does not prove: {text}")
        check(all(len(line) <= 100 for line in lines) and all(line == line.rstrip() for line in lines), "within the width")
        check(lines[0] in ("Record of Alder House", "Acta de Alder House") and "  - " in text, text[:300])
    answer = daemon.request("GET", "/systems/alder-5/record?as=text&language=es", page=True)
    equal([answer.status, answer.headers["Content-Type"]], [200, "text/plain; charset=utf-8"], "the page gives it too")
    check("Acta de Alder House" in answer.body.decode() and "<" not in answer.body.decode(), answer.body.decode()[:300])
    (link,) = [a["href"] for a in Page(daemon.request("GET", "/systems/alder-5/record", page=True).body.decode()).all("a")
               if "as=text" in a.get("href", "")]
    equal(daemon.request("GET", link, page=True).headers["Content-Type"], "text/plain; charset=utf-8", "by its link")
    sheet = [tool.run("report", "sauce-2", "--fan-sheet", *more)[0] for more in ([], ["--as", "text"])]
    is_same_paper(*sheet, "the sheet at the fan")
    folder = os.path.join(daemon.folder, "texts")
    os.mkdir(folder)
    tool.run("report", "--record", "--as", "text", "--into", folder)
    equal(sorted(os.listdir(folder)), ["alder-5-record.txt", "sauce-2-record.txt"], "files")
    equal(tool.run("report", "nobody", "--record", "--as", "text", status=1)[0], "", "of nobody")


@suite.test
def the_sheet_at_the_fan_says_what_the_tube_should_read(place):
    daemon, tool = furnished(place)
    html = tool.run("report", "alder-5", "--fan-sheet")[0]
    for words in ("stays at the fan", "On the day it was set up: 1 inH2O", "below 0.703 inH2O", "radial-9",
                  "Quillmere Radon, +1 555 0100", "licensed electrician", "carbon monoxide"):
        check(words in html, f"{words}: {html[-3000:]}")
    spanish = tool.run("report", "sauce-2", "--fan-sheet")[0]
    check("El día en que se instaló: 1 inH2O. Llame si se queda por debajo de 0.703 inH2O." in spanish,
          f"no upper limit is set, so none is told: {spanish[-2500:]}")
    shown = daemon.request("GET", "/systems/alder-5/fan-sheet?language=es", page=True).body.decode()
    check(all(sheet.count("<dt>Ventilador</dt>") == 1 and "<dt>Fan</dt>" not in sheet
              for sheet in (shown, tool.run("report", "alder-5", "--fan-sheet", "--language", "es")[0])), shown[-2500:])
    daemon.systems[0]["contacts"] = ["dueno"]
    daemon.write_settings()
    daemon.post("/api/reload", {}, status=202)
    wait_until(lambda: "Ventilador</dt>" in (page := tool.run("report", "alder-5", "--fan-sheet")[0]) and "<dt>Fan" not in page,
               20, "all of the sheet in the household's language")
    check("Qué debe marcar el medidor en U" in spanish and "electricista con licencia" in spanish, spanish[-2000:])
    equal(daemon.request("GET", "/systems/alder-5/fan-sheet", page=True).status, 200, "the page")
    tool.run("report", "alder-5", "--fan-sheet", "--year", LAST_YEAR, status=2)


def papers(daemon, tool, ident):
    """Letter and record of a house; the record without the line that says when it was made."""
    page = Page(daemon.request("GET", f"/systems/{ident}/record", page=True).body.decode()).text
    return tool.json("report", ident, "--year", LAST_YEAR), re.sub(r"As of[-\d :]+UTC", "", page, count=1)


@suite.test
def papers_outlive_the_raw_readings_and_a_house_may_keep_its_own(place):
    daemon, tool = furnished(place)
    before = {}

    def is_settled():  # what the import lets come due, and judges of its days
        seen = {ident: papers(daemon, tool, ident) for ident in ("alder-5", "sauce-2")}
        same = "sauce-2: retest-due raised" in daemon.log() and seen == before
        before.update(seen)
        time.sleep(0 if same else 3)
        return same
    wait_until(is_settled, 90, "papers that stay as they are")
    all_of = len(daemon.readings("alder-5", "radon"))
    daemon.settings["store"]["keep_readings"] = "2 d"
    daemon.systems[0]["keep_readings"] = "25 y"
    daemon.write_settings()
    daemon.process.send_signal(1)
    wait_until(lambda: "read again" in daemon.log(), 20, "the reload")
    wait_until(lambda: len(daemon.readings("sauce-2", "radon")) < 100, 60, "the other's readings to go")
    equal(len(daemon.readings("alder-5", "radon")), all_of, "those that are kept")
    for ident, former in before.items():
        letter, record = papers(daemon, tool, ident)
        equal(letter, former[0], f"the letter of {ident}")
        equal(record, former[1], f"the record of {ident}")
    tool.run("record", "alder-5", "suction", "0.9 inH2O", "--at", rfc3339(at(3, 1) + 1), "--by", "Rosa")
    _, said = tool.run("record", "sauce-2", "suction", "0.9 inH2O", "--at", rfc3339(at(3, 1) + 1), "--by", "Rosa", status=1)
    check("older than readings are kept" in said, said)
    for ident, status in (("alder-5", 0), ("sauce-2", 1)):
        write_csv(os.path.join(daemon.folder, "old.csv"),
                  [(rfc3339(at(3, 1) + 2), ident, "radon", "70", "Bq/m3")])
        tool.run("import", "old.csv", status=status)


@suite.test
def what_cannot_be_told_is_said(place):
    daemon, tool = furnished(place)
    for wrong in (["alder-5"], ["alder-5", "--year", "26"], ["--year", "2026"], ["alder-5", "--year", "2026", "--as", "pdf"]):
        tool.run("report", *wrong, status=2)
    _, said = tool.run("report", "alder-5", "--year", LAST_YEAR - 1, status=1)
    check("nothing of the year" in said, said)
    _, said = tool.run("report", "nobody", "--year", LAST_YEAR, status=1)
    check("nobody" in said, said)
    _, said = tool.run("report", "alder-5", "--year", LAST_YEAR, "--language", "xx", status=1)
    check("allowed: en, es" in said, said)
    equal(daemon.request("GET", f"/systems/alder-5/report?year={LAST_YEAR - 1}", page=True).status, 404, "the page")
    this_year = tool.json("report", "alder-5", "--year", LAST_YEAR + 1)
    check("up to" in this_year["title"], this_year["title"])


suite.run()
