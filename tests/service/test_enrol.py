#!/usr/bin/env python3
"""A new house: enrolled out of unclaimed topics at a terminal, from a file, and many from a table;
what is refused changes nothing. With the real daemon, tool and broker."""
import json
import os
import pty
import shutil
import sqlite3
import subprocess
import sys
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import CTL, files, keys_are, tool_of  # noqa: E402
from harness import (PATIENCE, Suite, check, contact, equal, plain_point, system,  # noqa: E402
                     wait_until, write_file)

suite = Suite()

HOUSE = """\
# Written by a person.
id: maple-lane-4
name: 4 Maple Lane
time_zone: America/Denver
points:
  - {id: suction, quantity: suction, unit: inH2O, topic: "subslab/box 7/p", every: 10 min}
"""
HEADER = "system,name,time_zone,contacts,pipe,point,quantity,topic,unit,every\n"


def furnished(place, **more):
    """A daemon with one house and a folder for others."""
    broker = place.broker()
    settings = {"enrolled_systems": "enrolled/", **more}
    daemon = place.daemon(broker, [system("old-1", [plain_point("suction")])],
                          [contact("office", place.endpoint())], **settings).start()
    return broker, daemon, tool_of(daemon)


def enrolled(daemon):
    folder = os.path.join(daemon.folder, "enrolled")
    return sorted(os.listdir(folder)) if os.path.isdir(folder) else []


def ids(daemon):
    return sorted(row["id"] for row in daemon.get("/api/systems"))


def nothing_changed(daemon):
    equal((enrolled(daemon), ids(daemon)), ([], ["old-1"]), "what is enrolled and watched")


@suite.test
def a_file_is_enrolled_as_it_is_and_watched_at_once(place):
    broker, daemon, tool = furnished(place)
    broker.publish([("subslab/box 7/p", "0.5")])
    wait_until(lambda: daemon.get("/api/unclaimed"), 10, "the unclaimed topic")
    files(daemon.folder, {"maple.yaml": HOUSE})
    said = tool.table("enrol", "--file", "maple.yaml", "--by", "Rosa")
    check("maple-lane-4: enrolled, 1 points" in said and "commission maple-lane-4" in said, said)
    equal(enrolled(daemon), ["maple-lane-4.yaml"], "its file")
    path = os.path.join(daemon.folder, "enrolled", "maple-lane-4.yaml")
    with open(path, encoding="utf-8") as file:
        equal(file.read(), HOUSE, "its text")
    equal(os.stat(path).st_mode & 0o777, 0o640, "who may read it")
    equal(ids(daemon), ["maple-lane-4", "old-1"], "watched")
    equal(daemon.get("/api/unclaimed"), [], "its topic is claimed")
    broker.publish([("subslab/box 7/p", "0.62")])
    wait_until(lambda: daemon.readings("maple-lane-4", "suction"), 10, "its reading")
    check("Rosa enrolled maple-lane-4" in daemon.log(), "the log names who")
    equal(daemon.stop(), 0, "exit status")
    daemon.start()
    equal(ids(daemon), ["maple-lane-4", "old-1"], "after a restart")
    tool.run("check")


@suite.test
def unclaimed_topics_say_what_they_may_be(place):
    broker, daemon, tool = furnished(place)
    broker.publish([("subslab/new/suction", "0.4"), ("subslab/new/box", json.dumps(
        {"ts": "2026-01-01T00:00:00Z", "radon_bq": 48.5, "battery": {"percent": 81}}))])
    broker.publish([("subslab/new/suction", "0.62")])
    rows = wait_until(lambda: (r := tool.json("unclaimed")) and len(r) == 2 and
                      any(t["count"] == 2 for t in r) and r, 10, "two topics")
    by_topic = {row["topic"]: row for row in rows}
    equal(by_topic["subslab/new/suction"]["values"],
          [{"value": 0.62, "quantity": "suction", "unit": "inH2O"}], "the last value, proposed")
    box = by_topic["subslab/new/box"]["values"]
    equal([(v["pointer"], v["time_pointer"], v["value"], v["quantity"], v["unit"]) for v in box],
          [("/radon_bq", "/ts", 48.5, "radon", "Bq/m3"),
           ("/battery/percent", "/ts", 81, "battery", "%")], "numbers of a document")
    equal(rows[0]["topic"], "subslab/new/suction", "newest first")


@suite.test
def twenty_houses_come_out_of_one_table(place):
    broker, daemon, tool = furnished(place)
    rows = HEADER
    for n in range(20):
        rows += (f'rowan-{n},"{n} Rowan Row, left",America/Denver,office,3.068 in,suction,suction,'
                 f"subslab/r{n}/p,inH2O,1 min\n"
                 f"rowan-{n},,,,,hole-1,field,subslab/r{n}/h,Pa,1 min\n")
    files(daemon.folder, {"rowan.CSV": rows})
    reloads = daemon.log().count("read again")
    answer = tool.json("enrol", "--file", "rowan.CSV")
    equal(len(answer["enrolled"]), 20, "enrolled")
    keys_are(answer["enrolled"][0], "id file points", "each")
    equal(len(enrolled(daemon)), 20, "files")
    equal(daemon.log().count("read again"), reloads + 1, "read once for all")
    broker.publish([("subslab/r7/p", "0.5"), ("subslab/r19/h", "6")])
    wait_until(lambda: daemon.readings("rowan-7", "suction") and
               daemon.readings("rowan-19", "hole-1"), 10, "their readings")
    shown = tool.json("show", "rowan-3")
    equal((shown["name"], [p["id"] for p in shown["points"]]),
          ("3 Rowan Row, left", ["suction", "hole-1"]), "one of them")
    one = tool.run("enrol", "rowan-3", "--file", "rowan.CSV", status=1)[1]
    check("rowan.CSV:8: id: \"rowan-3\" is taken by" in one, one)


RISERS = "system,branch,pipe,fan_serial,discharge,point,quantity,unit,every\n"


@suite.test
def a_house_with_two_risers_comes_out_of_a_table(place):
    _, daemon, tool = furnished(place)
    files(daemon.folder, {"two.csv": RISERS + "oak-1,east,3.068 in,0017,roof,suction-east,suction,Pa,10 min\n"
                          "oak-1,west,4 in,,wall,suction-west,suction,Pa,10 min\n"
                          "oak-1,west,,0018,,flow-west,airflow,L/s,10 min\n"
                          "oak-1,,,,,radon,radon,Bq/m3,1 h\n"
                          "oak-2,,4 in,,,suction,suction,Pa,10 min\n"})
    equal(len(tool.json("enrol", "--file", "two.csv")["enrolled"]), 2, "enrolled")
    shown = tool.json("show", "oak-1")
    equal([b["id"] for b in shown["branches"]], ["east", "west"], "its risers")
    with open(os.path.join(daemon.folder, "enrolled", "oak-1.yaml"), encoding="utf-8") as file:
        text = file.read()
    check('branches:\n  - id: east\n    pipe: {inside_diameter: 3.068 in}\n    fan: {serial: "0017"}\n    discharge: roof\n'
          '  - id: west\n    pipe: {inside_diameter: 4 in}\n    fan: {serial: "0018"}\n    discharge: wall\n' in text, text)
    equal(text.count("branch: west"), 2, "points of the second")
    with open(os.path.join(daemon.folder, "enrolled", "oak-2.yaml"), encoding="utf-8") as file:
        check("branches" not in (text := file.read()) and "pipe: {inside_diameter: 4 in}" in text, text)


@suite.test
def risers_of_a_table_that_are_wrong_are_told_by_their_line(place):
    _, daemon, tool = furnished(place)
    east = "oak-1,east,3 in,,,s-east,suction,Pa,10 min\n"
    cases = [(east + "oak-1,west,9 kg,,,s-west,suction,Pa,10 min\n", "t.csv:3: branches[west].pipe.inside_diameter: "),
             (east + "oak-1,east,4 in,,,t-east,suction,Pa,10 min\n",
              't.csv:3: pipe: "4 in" differs from "3 in" in line 2; allowed: the same in all rows of oak-1 and that branch'),
             (east + "oak-1,,4 in,,,s,field,Pa,10 min\n", "t.csv:3: branch: is missing, but other rows of oak-1 name one"),
             (east + "oak-1,we st,4 in,,,s,suction,Pa,10 min\n", "t.csv:3: branches[2].id: "),
             (east + "oak-1,west,,,,s-west,suction,Pa,10 min\noak-1,,,,,s,suction,Pa,10 min\n",
              "t.csv:4: points[s].branch: is missing; allowed: one of the branches east, west")]
    for rows, expected in cases:
        files(daemon.folder, {"t.csv": RISERS + rows})
        said = tool.run("enrol", "--file", "t.csv", status=1)[1]
        check(expected in said and "nothing was written" in said, f"{expected!r}: {said}")
        nothing_changed(daemon)


@suite.test
def what_is_wrong_in_a_table_is_told_by_its_line_and_writes_nothing(place):
    _, daemon, tool = furnished(place)
    row = "elm-1,,UTC,office,,s,suction,a/b,inH2O,10 min\n"
    cases = [
        (HEADER + row + "elm-2,,UTC,,,s,suction,a/c,degF,10 min\n",
         "t.csv:3: points[s].unit: degF is a unit of another kind"),
        (HEADER + row + "elm-2,,Mars/Base,,,s,suction,a/c,Pa,10 min\n",
         "t.csv:3: time_zone: \"Mars/Base\" is not a known time zone"),
        (HEADER + row + "elm-1,other name,UTC,,,t,field,a/c,Pa,10 min\nelm-1,third,,,,u,field,a/d,Pa,\n",
         "t.csv:4: name: \"third\" differs from \"other name\" in line 3"),
        (HEADER + row + "old-1,,UTC,,,s,suction,a/c,Pa,10 min\n", "t.csv:3: id: \"old-1\" is taken by"),
        (HEADER + row + "elm-2,,UTC,,,s,suction,a/b,Pa,10 min\n", "is taken"),
        (HEADER + row + "elm-2,,UTC,,,s,suction,subslab/old-1/suction,Pa,10 min\n",
         "t.csv:3: points[s].topic: \"subslab/old-1/suction\" with the same value is taken by suction of old-1"),
        (HEADER + row + "elm-2,,UTC,nobody,,s,suction,a/c,Pa,10 min\n", "t.csv:3: contacts: "),
        (HEADER + row + "elm-1,,,,,s,field,a/c,Pa,10 min\n", "t.csv:"),
        (HEADER + row + "elm-2,,UTC,,,,suction,a/c,Pa,10 min\n", "t.csv:3: points[1].id: "),
        (HEADER + row + ",,UTC,,,s,suction,a/c,Pa,10 min\n", "t.csv:3: system: is missing"),
        ("system,pont\na,b\n", "t.csv:1: pont: is no column; did you mean \"point\"?"),
        ("system,name\na,b\n", "t.csv:1: point: is missing"),
        (HEADER, "t.csv:1: has no row"),
        (HEADER + row + '"elm-2,,UTC\n', "t.csv:3: quotes"),
        (HEADER + row + "../x,,UTC,,,s,suction,a/c,Pa,10 min\n", "t.csv:3: id: \"../x\" is not an id"),
        (HEADER + row + "elm-2,,UTC,,9 in2,s,suction,a/c,Pa,10 min\n", "t.csv:3: pipe.inside_diameter: "),
    ]
    for text, expected in cases:
        files(daemon.folder, {"t.csv": text})
        said = tool.run("enrol", "--file", "t.csv", status=1)[1]
        check(expected in said and "nothing was written" in said, f"{expected!r}: {said}")
        nothing_changed(daemon)


@suite.test
def files_that_are_wrong_or_taken_are_refused(place):
    _, daemon, tool = furnished(place)
    files(daemon.folder, {"bad.yaml": HOUSE + "pont: 1\n", "maple.yaml": HOUSE,
                          "old.yaml": HOUSE.replace("maple-lane-4", "old-1")})
    said = tool.run("enrol", "--file", "bad.yaml", status=1)[1]
    check("bad.yaml:7: pont: unknown key" in said, said)
    said = tool.run("enrol", "--file", "old.yaml", status=1)[1]
    check('old.yaml:2: id: "old-1" is taken by' in said and "systems/old-1.yaml" in said, said)
    said = tool.run("enrol", "elm-2", "--file", "maple.yaml", status=1)[1]
    check('maple.yaml:2: id: "maple-lane-4" is not elm-2' in said, said)
    said = tool.run("enrol", "--file", "none.yaml", status=1)[1]
    check("No such file" in said, said)
    tool.run("enrol", "a b", "--file", "maple.yaml", status=2)
    tool.run("enrol", "--topic", "a#", status=2)
    tool.run("enrol", "--topic", "a/#", "--file", "maple.yaml", status=2)
    said = tool.run("enrol", status=2, text_in="")[1]
    check("--file" in said, said)
    nothing_changed(daemon)
    # A file that nobody has read yet is not written over.
    files(os.path.join(daemon.folder), {"enrolled/maple-lane-4.yaml": "half: written\n"})
    said = tool.run("enrol", "--file", "maple.yaml", status=1)[1]
    check("a file maple-lane-4.yaml is there already" in said, said)
    with open(os.path.join(daemon.folder, "enrolled/maple-lane-4.yaml"), encoding="utf-8") as file:
        equal(file.read(), "half: written\n", "the other's file")
    equal(enrolled(daemon), ["maple-lane-4.yaml"], "nothing is left beside it")


@suite.test
def one_id_in_both_folders_is_refused_with_both_places(place):
    _, daemon, tool = furnished(place)
    files(daemon.folder, {"enrolled/other.yaml": HOUSE.replace("maple-lane-4", "old-1")})
    said = tool.run("check", status=2)[1]
    check("id: \"old-1\" is taken by" in said and "enrolled/other.yaml" in said and
          "systems/old-1.yaml" in said, said)


@suite.test
def without_a_folder_or_with_refused_settings_it_says_what_to_do(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("old-1", [plain_point("suction")])]).start()
    tool = tool_of(daemon)
    files(daemon.folder, {"maple.yaml": HOUSE})
    said = tool.run("enrol", "--file", "maple.yaml", status=1)[1]
    check("enrolled_systems" in said, said)
    daemon.settings["enrolled_systems"] = "no/such/folder"
    daemon.write_settings()
    daemon.process.send_signal(1)
    wait_until(lambda: "read again" in daemon.log(), 10, "the reload")
    said = tool.run("enrol", "--file", "maple.yaml", status=1)[1]
    check("the folder cannot be made: No such file or directory" in said, said)
    daemon.systems[0]["unknown_key"] = 1
    daemon.write_settings()
    daemon.process.send_signal(1)
    wait_until(lambda: daemon.health()[1]["settings_refused"], 10, "the refusal")
    said = tool.run("enrol", "--file", "maple.yaml", status=1)[1]
    check("subslabctl check" in said, said)
    equal(ids(daemon), ["old-1"], "what is watched")


@suite.test
def what_a_killed_daemon_left_half_written_is_no_system(place):
    _, daemon, tool = furnished(place)
    files(daemon.folder, {"maple.yaml": HOUSE, "enrolled/.maple-lane-4.yaml.new": "id: half"})
    tool.run("check")
    daemon.kill()
    daemon.start()
    equal(ids(daemon), ["old-1"], "after the start")
    tool.run("enrol", "--file", "maple.yaml")
    equal(enrolled(daemon), ["maple-lane-4.yaml"], "the draft has become the file")
    equal(ids(daemon), ["maple-lane-4", "old-1"], "watched")


@suite.test
def a_copy_of_the_store_brings_them_back(place):
    broker, daemon, tool = furnished(place)
    other = HOUSE.replace("maple-lane-4", "elm-5").replace("box 7", "box 8")
    files(daemon.folder, {"maple.yaml": HOUSE, "elm.yaml": other})
    for name in ("maple.yaml", "elm.yaml"):
        tool.run("enrol", "--file", name)
    broker.publish([("subslab/box 7/p", "0.62")])
    wait_until(lambda: daemon.readings("maple-lane-4", "suction"), 10, "its reading")
    tool.run("backup", "copy.db")
    tool.run("forget", "elm-5", "--by", "Rosa", "--yes")
    equal(ids(daemon), ["maple-lane-4", "old-1"], "what is forgotten")
    with sqlite3.connect(f"file:{daemon.store}?mode=ro", uri=True) as store:
        equal(store.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'kept_files'").fetchone(), (0,),
              "only the copy holds files")
    equal(daemon.stop(), 0, "exit status")
    folder = os.path.join(daemon.folder, "enrolled")
    write_file(os.path.join(folder, "maple-lane-4.yaml"), HOUSE + "# mine\n", 0o640)
    said = tool.run("restore", "copy.db")[0]
    check("1 system files put back, 1 were there" in said, said)
    for name, text in (("maple-lane-4.yaml", HOUSE + "# mine\n"), ("elm-5.yaml", other)):
        with open(os.path.join(folder, name), encoding="utf-8") as file:
            equal(file.read(), text, name)
    shutil.rmtree(folder)
    os.remove(daemon.store)
    tool.run("restore", "copy.db")
    equal(enrolled(daemon), ["elm-5.yaml", "maple-lane-4.yaml"], "into a folder made anew")
    with open(daemon.store, "rb") as file:
        check(b"Written by a person" not in file.read(), "the store keeps nothing of the files")
    tool.run("verify")
    daemon.start()
    equal(ids(daemon), ["elm-5", "maple-lane-4", "old-1"], "watched again")
    equal(len(daemon.readings("maple-lane-4", "suction")), 1, "its readings")


@suite.test
def enrolled_systems_may_lie_among_the_others(place):
    _, daemon, tool = furnished(place, enrolled_systems="systems")
    files(daemon.folder, {"maple.yaml": HOUSE})
    tool.run("enrol", "--file", "maple.yaml")
    equal(ids(daemon), ["maple-lane-4", "old-1"], "read once")
    tool.run("check")


@suite.test
def two_at_once_do_not_write_over_each_other(place):
    _, daemon, tool = furnished(place)
    files(daemon.folder, {f"{n}.yaml": HOUSE.replace("4 Maple Lane", f"by {n}") for n in range(6)})
    said = []

    def enrol(n):
        done = subprocess.run([CTL, "--settings", tool.settings_file, "enrol", "--file", f"{n}.yaml"],
                              capture_output=True, text=True, cwd=daemon.folder, check=False,
                              timeout=60 * PATIENCE)
        said.append((done.returncode, done.stderr))

    threads = [threading.Thread(target=enrol, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    equal(sorted(status for status, _ in said), [0, 1, 1, 1, 1, 1], f"one is first: {said}")
    equal(ids(daemon), ["maple-lane-4", "old-1"], "what is watched")


class Terminal:
    """The tool at a terminal, as a person sees it."""

    def __init__(self, daemon, *arguments):
        self.master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [CTL, "--settings", daemon.settings_file, "enrol", *arguments], stdin=slave, stdout=slave,
            stderr=slave, cwd=daemon.folder, close_fds=True)
        os.close(slave)
        self.text = ""
        self.seen = 0

    def read(self):
        try:
            self.text += os.read(self.master, 4096).decode(errors="replace")
        except OSError:
            pass

    def answer(self, question, text):
        end = time.monotonic() + 20 * PATIENCE
        while question not in self.text[self.seen:]:
            check(time.monotonic() < end and self.process.poll() is None,
                  f"never asked {question!r}: {self.text}")
            self.read()
        self.seen = self.text.index(question, self.seen) + len(question)
        os.write(self.master, (text + "\n").encode())

    def end(self):
        while self.process.poll() is None:
            self.read()
        self.read()
        os.close(self.master)
        return self.process.returncode


@suite.test
def at_a_terminal_it_asks(place):
    broker, daemon, _ = furnished(place)
    broker.publish([("subslab/elm-road-9/suction", "0.62"), ("subslab/elm-road-9/radon", "48 Bq/m3"),
                    ("subslab/other/suction", "0.7"), ("elsewhere/x", "1")])
    wait_until(lambda: len(daemon.get("/api/unclaimed")) >= 3, 10, "unclaimed topics")
    at = Terminal(daemon, "--topic", "subslab/elm-road-9/#")
    at.answer("Which are of the house?", "9")
    at.answer("Allowed: numbers from 1 to 2", "1-2")
    at.answer("How many risers with a fan? [1]", "")
    for _ in range(2):
        at.answer("id of the point", "")
        at.answer("quantity", "")
        at.answer("unit that is sent", "")
        at.answer("how often", "1 min")
    at.answer("id, which never changes [elm-road-9]", "")
    at.answer("name", "Elm: the \"9\"")
    at.answer("address", "9 Elm Road, rear")
    at.answer("time zone", "America/Denver")
    for question in ("region", "contacts", "pipe", "fan model", "discharge"):
        at.answer(question, "")
    at.answer("Enrol this house?", "yes")
    equal(at.end(), 0, f"exit status: {at.text}")
    check("\x1b" not in at.text and "subslab/other" not in at.text, at.text)
    equal(ids(daemon), ["elm-road-9", "old-1"], "watched")
    shown = daemon.get("/api/systems/elm-road-9")
    equal((shown["name"], sorted((p["id"], p["quantity"]) for p in shown["points"])),
          ("Elm: the \"9\"", [("radon", "radon"), ("suction", "suction")]), "the house")


@suite.test
def at_a_terminal_a_house_may_have_two_risers(place):
    broker, daemon, _ = furnished(place)
    broker.publish([("subslab/oak-1/suction-east", "0.62"), ("subslab/oak-1/suction-west", "0.7")])
    wait_until(lambda: len(daemon.get("/api/unclaimed")) == 2, 10, "unclaimed topics")
    at = Terminal(daemon)
    at.answer("Which are of the house?", "1-2")
    at.answer("How many risers", "no")
    at.answer("Allowed: 1 to 8", "2")
    at.answer("id of a riser, such as east [riser-1]", "east")
    at.answer("id of a riser, such as east [riser-2]", "west")
    for riser in ("west", "east"):  # newest first
        at.answer("id of the point", "")
        for question in ("quantity", "unit that is sent", "how often"):
            at.answer(question, "")
        at.answer("id of its riser", riser)
    for question, text in (("id, which never changes", ""), ("name", "Oak"), ("address", ""),
                           ("time zone", "America/Denver"), ("region", ""), ("contacts", ""),
                           ("The riser east", "3.068 in"), ("fan model", "radial-150"), ("serial", "0017"),
                           ("installed", ""), ("discharge", "roof"), ("The riser west", ""),
                           ("fan model", ""), ("discharge", "wall")):
        at.answer(question, text)
    at.answer("Enrol this house?", "yes")
    equal(at.end(), 0, f"exit status: {at.text}")
    shown = daemon.get("/api/systems/oak-1")
    equal([b["id"] for b in shown["branches"]], ["east", "west"], "its risers")
    with open(os.path.join(daemon.folder, "enrolled", "oak-1.yaml"), encoding="utf-8") as file:
        text = file.read()
    check("fan: {model: radial-150, serial: \"0017\"}" in text and "    branch: west\n" in text, text)


@suite.test
def who_says_no_or_goes_away_writes_nothing(place):
    broker, daemon, _ = furnished(place)
    broker.publish([("subslab/elm-road-9/suction", "0.62")])
    wait_until(lambda: daemon.get("/api/unclaimed"), 10, "the unclaimed topic")
    at = Terminal(daemon, "elm-9")
    at.answer("Which are of the house?", "1")
    at.answer("How many risers", "")
    at.answer("id of the point", "\x04")
    equal(at.end(), 1, f"exit status: {at.text}")
    nothing_changed(daemon)
    at = Terminal(daemon, "--topic", "a/#")
    equal(at.end(), 1, "no topic fits")
    check("no topic that fits a/#" in at.text, at.text)


if __name__ == "__main__":
    suite.run()
