#!/usr/bin/env python3
"""The end of a contract: `forget` with the real daemon and tool. Afterwards no byte of the files of
the store holds a name of the house or its people, the neighbour has lost nothing, and the store is
sound."""
import json
import os
import pty
import re
import sqlite3
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import CTL, DAY, HOUR, MINUTE, Tool, files, series, tool_of, write_csv  # noqa: E402
from harness import (LOW_AT_ONCE, Suite, check, contact, equal, events, now_ms, plain_point,  # noqa: E402
                     rfc3339, stays, system, wait_until)

suite = Suite()
HOUSE, NEIGHBOUR = "larkspur-hollow-8", "tansy-row-3"
NAMES = [HOUSE, "Larkspur Hollow House", "8 Larkspur Hollow, Quillmere", "Perpetua Vane", "Ottoline Frayn",
         "vane-family", "cellar of the Vanes", "Marigold Tubb"]
RECORD = """\
date: {date}
by: Ottoline Frayn
instruments: micromanometer 12
points: {{suction: 250 Pa, radon: 90 Bq/m3}}
notes: keys with Perpetua Vane
"""


def house(ident, name, address, people):
    return system(ident, [plain_point("suction", every="10 min"), plain_point("radon", "radon", "Bq/m3", "1 h")],
                  name=name, address=address, contacts=people)


def furnished(place, **more):
    """Two houses with months of readings, records, visits, tests, alarms and messages."""
    broker, hook = place.broker(), place.endpoint()
    people = [contact("office", hook, "/office"), contact("vane-family", hook, "/owner", role="homeowner"),
              contact("texts", hook, "/texts", body="text")]
    daemon = place.daemon(broker, [
        house(HOUSE, NAMES[1], NAMES[2], ["office", "texts", "vane-family"]),
        house(NEIGHBOUR, "Tansy Row House", "3 Tansy Row, Quillmere", ["office", "texts"])],
        people, conditions=LOW_AT_ONCE, **more)
    daemon.start()
    tool, now = tool_of(daemon), now_ms() // HOUR * HOUR
    rows = []
    for ident in (HOUSE, NEIGHBOUR):
        rows += series(ident, "suction", "Pa", now - 40 * DAY, now - HOUR, 10 * MINUTE, 250.0)
        rows += series(ident, "radon", "Bq/m3", now - 40 * DAY, now - HOUR, HOUR, 80.0)
    write_csv(os.path.join(daemon.folder, "history.csv"), rows)
    files(daemon.folder, {"record.yaml": RECORD.format(date=rfc3339(now - 39 * DAY))})
    tool.run("commission", HOUSE, "record.yaml")
    tool.run("import", "history.csv")
    day, earlier = rfc3339(now - 5 * DAY)[:10], rfc3339(now - 9 * DAY)[:10]
    tool.run("visit-done", HOUSE, "--on", day, "--by", "Ottoline Frayn", "--found", "keys with Perpetua Vane",
             "--did", "new gauge")
    tool.run("radon-test", HOUSE, "80 Bq/m3", "--from", earlier, "--to", day, "--place", "cellar of the Vanes",
             "--device", "charcoal 4", "--by", "Perpetua Vane")
    tool.run("record", HOUSE, "suction", "251 Pa", "--by", "Perpetua Vane")
    for ident in (HOUSE, NEIGHBOUR):
        broker.publish([(f"subslab/{ident}/suction", "20")])
        wait_until(lambda i=ident: [a for a in daemon.alarms() if a["system"] == i], 20, f"an alarm of {ident}")
    alarm = [a for a in daemon.alarms() if a["system"] == HOUSE][0]
    tool.run("acknowledge", alarm["id"], "--by", "Marigold Tubb", "--note", "Perpetua Vane was told")
    tool.run("out-of-service", HOUSE, "--until", "2 h", "--by", "Ottoline Frayn", "--why", "the Vanes paint")
    broker.publish([(f"subslab/{HOUSE}/suction", "Perpetua Vane is no number"), (f"subslab/{HOUSE}/oven", "20")])
    wait_until(lambda: daemon.refused() and tool.json("unclaimed"), 10, "refused, unclaimed")
    wait_until(lambda: all(d["state"] != "waiting" for d in daemon.deliveries()), 20, "all is sent")
    return broker, hook, daemon, tool


def left_in(daemon, name):
    """Which files of the store hold a name."""
    folder, found = os.path.dirname(daemon.store), []
    for file in os.listdir(folder):
        if file.startswith(os.path.basename(daemon.store)):
            with open(os.path.join(folder, file), "rb") as bytes_of:
                if name.encode() in bytes_of.read():
                    found.append(file)
    return found


def of_neighbour(daemon, tool):
    alarms = [(a["id"], a["condition"], a["raised"]) for a in tool.json("alarms", "--all") if a["system"] == NEIGHBOUR]
    return [daemon.readings(NEIGHBOUR, point) for point in ("suction", "radon")], alarms, \
        [d["id"] for d in daemon.deliveries() if d["system"] == NEIGHBOUR]


@suite.test
def nothing_of_a_house_is_left_and_its_neighbour_has_all(place):
    _broker, _hook, daemon, tool = furnished(place)
    with sqlite3.connect(daemon.store) as store:  # a link that its homeowner had
        store.execute("INSERT INTO notes VALUES (?, '1 on')", (f"page share {HOUSE}",))
    store.close()
    for name in NAMES:
        check(left_in(daemon, name), f"{name} is there before, or this test sees nothing")
    before = of_neighbour(daemon, tool)
    check(all(len(part) > 0 for part in (*before[0], *before[1:])), "the neighbour has something to lose")
    answer = tool.json("forget", HOUSE, "--by", "the office", "--record", "house.html", "--yes")
    check(answer["deleted"]["readings"] > 6000 and answer["deleted"]["records"] == 3, f"{answer}")
    equal([answer["contacts"], answer["deleted"]["log_emptied"]], [["vane-family"], True], "told")
    check(not os.path.exists(answer["file"]) and HOUSE in answer["file"], "its file is gone")
    equal([s["id"] for s in tool.json("systems")], [NEIGHBOUR], "what is watched")
    equal({name: left_in(daemon, name) for name in NAMES}, {name: [] for name in NAMES}, "left while it runs")
    equal(of_neighbour(daemon, tool), before, "the neighbour's")
    equal(daemon.stop(), 0, "exit status")
    equal({name: left_in(daemon, name) for name in NAMES}, {name: [] for name in NAMES}, "left when it is stopped")
    equal(tool.run("verify")[0], "the store is sound\n", "verify")
    with sqlite3.connect(daemon.store) as store:
        store.execute("VACUUM")
    store.close()
    equal({name: left_in(daemon, name) for name in NAMES}, {name: [] for name in NAMES}, "left after VACUUM")
    daemon.start()
    equal(of_neighbour(daemon, tool), before, "the neighbour's after a start")
    with open(os.path.join(daemon.folder, "house.html"), encoding="utf-8") as record:
        text = record.read()
    for name in (NAMES[1], NAMES[2], "Ottoline Frayn", "What this proves, and what not"):
        check(name in text, f"the record says {name}")
    outside = re.findall(r'<link[^>]*|<script[^>]*|(?:href|src)="[^#"][^"]*', text)
    equal(outside, [], "what the record needs besides itself")
    equal(os.stat(os.path.join(daemon.folder, "house.html")).st_mode & 0o777, 0o600, "who may read it")


@suite.test
def its_people_are_not_told_that_what_stands_is_over(place):
    _broker, hook, daemon, _tool = furnished(place)
    check(events(hook, kind="alarm.raised"), "an alarm stands, and they know of it")
    daemon.post(f"/api/systems/{HOUSE}/forget", {"by": "the office"}, status=202)
    wait_until(lambda: len(daemon.get("/api/systems")) == 1, 20, "it is watched no more")
    stays(lambda: not events(hook, kind="alarm.returned"), 1, "nothing is told as over")


@suite.test
def the_same_id_begins_anew(place):
    broker, _hook, daemon, tool = furnished(place)
    path = tool.json("forget", HOUSE, "--by", "the office", "--yes", "--record", "house.json")["file"]
    with open(os.path.join(daemon.folder, "house.json"), encoding="utf-8") as record:
        shown = json.load(record)
    equal([shown["id"], len(shown["radon_tests"])], [HOUSE, 1], "the record in JSON")
    _, said = tool.run("forget", HOUSE, "--by", "the office", "--yes", status=1)
    check("nothing is known of" in said, said)
    files(os.path.dirname(path), {os.path.basename(path): json.dumps(house(HOUSE, "Another", "Elsewhere", ["office"]))})
    daemon.post("/api/reload", {}, status=202)
    wait_until(lambda: len(tool.json("systems")) == 2, 20, "it is watched again")
    show = tool.json("show", HOUSE)
    equal([show["commissioning"], show["past_visits"], show["radon_tests"]], [[], [], []], "what is known of it")
    broker.publish([(f"subslab/{HOUSE}/suction", "111")])
    wait_until(lambda: [v for _, v in daemon.readings(HOUSE, "suction")] == [111], 10, "its one reading")
    equal(daemon.stop(), 0, "exit status")
    equal(tool.run("verify")[0], "the store is sound\n", "verify")


@suite.test
def it_asks_and_without_a_yes_nothing_is_deleted(place):
    _broker, _hook, daemon, tool = furnished(place)
    before = daemon.readings(HOUSE)
    _, said = tool.run("forget", HOUSE, "--by", "the office", "--record", "a.html", status=2)
    check("--yes" in said, said)
    tool.run("forget", HOUSE, "--yes", status=2)
    for answer, status in (("n", 1), ("", 1), ("y", 0)):
        ours, theirs = pty.openpty()
        process = subprocess.Popen([CTL, "--settings", daemon.settings_file, "forget", HOUSE, "--by", "the office",
                                    "--record", f"of-{answer or 'nothing'}.html"], cwd=daemon.folder, stdin=theirs,
                                   stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        os.write(ours, (answer + "\n").encode())
        out = process.communicate(timeout=60)[0]
        os.close(ours)
        os.close(theirs)
        equal(process.returncode, status, f"exit status after {answer!r}: {out}")
        check("[y/N]" in out, out)
        check(status or re.search(r"deleted are [1-9]\d* readings, \d+ alarms, [1-9]\d* records", out), out)
        if status:
            equal(daemon.readings(HOUSE), before, "nothing is deleted")
            equal(len(tool.json("systems")), 2, "and it is watched")
    equal(len(tool.json("systems")), 1, "after yes")
    _, said = tool.run("forget", NEIGHBOUR, "--by", "the office", "--yes", "--record", "a.html", status=1)
    check("name another file" in said, f"no file is overwritten: {said}")


@suite.test
def what_cannot_be_done_now_is_said_and_deletes_nothing(place):
    broker, hook = place.broker(), place.endpoint({"*": {"status": 503}})
    daemon = place.daemon(broker, [house(HOUSE, NAMES[1], NAMES[2], ["office"])], [contact("office", hook)])
    daemon.start()
    tool = tool_of(daemon)
    broker.publish([(f"subslab/{HOUSE}/suction", "250")])
    wait_until(lambda: daemon.readings(HOUSE), 10, "a reading")
    with sqlite3.connect(daemon.store) as store:  # as a digest that waits
        store.execute("INSERT INTO outbox (id, contact, system, type, content_type, body, alarm, priority, created_ms, "
                      "not_before_ms, state, head, tries, done_ms) VALUES ('msg_1', 'office', '', 'subslab.digest', "
                      "'text/plain', ?, 0, 0, ?, ?, 0, 1, 0, 0)",
                      (f"drifting: {NAMES[1]}; others", now_ms(), now_ms() + DAY))
    store.close()
    _, said = tool.run("forget", HOUSE, "--by", "the office", "--yes", status=1)
    check("msg_1" in said and "office" in said, said)
    equal([len(tool.json("systems")), len(daemon.readings(HOUSE))], [1, 1], "all is there")
    with sqlite3.connect(daemon.store) as store:
        store.execute("UPDATE outbox SET state = 1, head = 0, done_ms = 5 WHERE id = 'msg_1'")
    store.close()
    # A list of files is a person's to change.
    listed = dict(daemon.settings, systems=[os.path.join("systems", f) for f in
                                            os.listdir(os.path.join(daemon.folder, "systems"))])
    files(daemon.folder, {"subslabd.yaml": json.dumps(dict(listed, contacts=[contact("office", hook)]))})
    daemon.post("/api/reload", {}, status=202)
    one = Tool(daemon.settings_file)

    def told():
        _, text = one.run("forget", HOUSE, "--by", "the office", "--yes", "--record", f"r{now_ms()}.html", status=1)
        return "take " in text and "systemctl reload" in text
    wait_until(told, 20, "what to do is told")
    equal(len(daemon.readings(HOUSE)), 1, "all is there")


suite.run()
