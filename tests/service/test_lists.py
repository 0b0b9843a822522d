#!/usr/bin/env python3
"""Long lists with the real daemon and tool: pages of rows, answers in parts, and what a request
that makes no sense is told. (How long a turn they take at full size: tests/bench/bench_turns.py.)"""
import json
import os
import re
import signal
import socket
import sqlite3
import sys
import time
from urllib.parse import urlencode

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from contract import Tool  # noqa: E402
from harness import Suite, check, equal, now_ms, plain_point, rfc3339, system, wait_until  # noqa: E402

suite = Suite()
MINUTE, DAY = 60_000, 86400_000
PAST, OPEN, SYSTEMS = 2500, 1300, 60


def alarm_rows(store, first, count, is_open, raised):
    """Rows of the table of alarms; `raised` gives the time of the n-th."""
    store.executemany(
        "INSERT INTO alarms (id, system, point, condition, state, priority, since_ms, raised_ms, "
        "returned_ms, value, setpoint, unit, told, open) VALUES (?, ?, ?, 'suction-low', ?, "
        "'medium', ?, ?, ?, 100, 200, 'Pa', 1, ?)",
        [(first + n, f"s{n % SYSTEMS}", f"suction-{n // SYSTEMS}" if is_open else "suction-0",
          "unacknowledged" if is_open else "normal", raised(n) - MINUTE, raised(n),
          None if is_open else raised(n) + MINUTE, int(is_open)) for n in range(count)])


def with_alarms(place):
    """A daemon whose store holds a long history, many open alarms, and a few at one instant."""
    points = [plain_point(f"suction-{n}", "suction") for n in range(OPEN // SYSTEMS + 1)]
    daemon = place.daemon(place.broker(), [system(f"s{n}", points) for n in range(SYSTEMS)])
    daemon.start()
    daemon.stop()
    now = now_ms()
    with sqlite3.connect(daemon.store) as store:
        alarm_rows(store, 1, PAST, False, lambda n: now - 400 * DAY + (n // 3) * MINUTE)
        alarm_rows(store, PAST + 1, OPEN, True, lambda n: now - DAY + (n // 700) * MINUTE)
    store.close()
    return daemon.start()


def pages(daemon, size, path="/api/alarms", **query):
    """The rows of a list, taken page by page."""
    rows, before = [], {}
    while True:
        page = daemon.get(path, limit=size, **before, **query)
        check(len(page) <= size, "no more than asked for")
        rows += page
        if len(page) < size:
            return rows
        before = {"before": page[-1]["id"]}


def in_order(rows, what):
    keys = [(row["raised"], row["id"]) for row in rows]
    equal(keys, sorted(keys, reverse=True), f"{what}: newest first")
    equal(len(set(row["id"] for row in rows)), len(rows), f"{what}: each once")


@suite.test
def lists_come_whole_in_parts_and_by_pages(place):
    daemon = with_alarms(place)
    history, still_open = daemon.alarms(all=1), daemon.alarms()
    equal((len(history), len(still_open)), (PAST + OPEN, OPEN), "all of them")
    in_order(history, "history")
    in_order(still_open, "open")
    ids = [row["id"] for row in history]
    equal([row["id"] for row in pages(daemon, 333, all=1)], ids, "the history by pages")
    equal([row["id"] for row in pages(daemon, 333)], [row["id"] for row in still_open], "the open")
    mine = [row["id"] for row in history if row["system"] == "s7"]
    equal([row["id"] for row in daemon.alarms(all=1, system="s7")], mine, "of one system")
    equal([row["id"] for row in pages(daemon, 9, all=1, system="s7")], mine, "and by pages")
    since = sorted(row["returned"] for row in history if row["returned"])[PAST // 2]
    equal([row["id"] for row in daemon.alarms(all=1, since=since)],
          [row["id"] for row in history if not row["returned"] or row["returned"] >= since],
          "what stood since then")
    equal(len(daemon.get("/api/systems")), SYSTEMS, "the systems in parts")
    equal(len(daemon.get("/api/systems", status="silent")), SYSTEMS, "all of them silent")
    equal(daemon.get("/api/systems", status="in spec"), [], "and none in spec")


@suite.test
def the_tool_shows_the_newest_and_streams_all(place):
    daemon = with_alarms(place)
    tool = lambda *words: Tool(daemon.settings_file).run("alarms", *words)[0]  # noqa: E731
    rows = lambda text: len(re.findall(r"^ *\d+ +medium", text, re.M))  # noqa: E731
    every = json.loads(tool("--all", "--json"))
    equal(len(every), PAST + OPEN, "JSON has them all")
    in_order(every, "JSON")
    equal(rows(tool("--all")), 200, "a table of the newest 200")
    equal(rows(tool("--all", "--limit", "7")), 7, "or as many as asked for")
    some = json.loads(tool("--all", "--json", "--limit", "1500", "--before", str(every[99]["id"])))
    equal(some, every[100:1600], "from there on, over more than one page")
    equal(json.loads(tool("--json", "--limit", "3")), every[:3], "the open ones too")
    equal(json.loads(tool("--all", "--json", "--system", "s1", "--since", rfc3339(now_ms() + DAY)))[1:2],
          [row for row in every if row["system"] == "s1" and not row["returned"]][1:2], "what stands")


@suite.test
def visits_come_in_parts_and_by_pages(place):
    daemon = with_alarms(place)
    every = daemon.get("/api/visits")
    ranks = [(-("low", "medium", "high").index(row["priority"]), row["due"], row["system"]) for row in every]
    equal((len(every), ranks), (SYSTEMS, sorted(ranks)), "all, most urgent first")
    equal(pages(daemon, 7, "/api/visits"), every, "by pages")
    tool = lambda *words, **more: Tool(daemon.settings_file).run("visits", *words, **more)[0]  # noqa: E731
    equal(json.loads(tool("--json")), every, "JSON has them all")
    equal(json.loads(tool("--json", "--limit", "4", "--before", every[8]["id"])), every[9:13], "or some")
    text = tool("--limit", "2")
    check(all((row["name"] in text) == (row in every[:2]) for row in every[:9]), f"two of them: {text}")
    tool("--limit", "x", status=2)
    tool("--before", "s1-after-12", status=1)
    calendar = daemon.request("GET", "/visits.ics", page=True).body.decode()
    equal(re.findall(r"^UID:(.*)@", calendar, re.M), [row["id"] for row in every], "the calendar")
    check(calendar.startswith("BEGIN:VCALENDAR\r\n") and calendar.endswith("END:VCALENDAR\r\n") and
          "\r\n\r\n" not in calendar, "is one, without empty lines")
    page = daemon.request("GET", "/visits?count=100", page=True).body.decode()
    equal(re.findall(r'<article class="visit"><h2><a href="/systems/(\w+)"', page),
          [row["system"] for row in every], "the page")
    check(page.endswith("</html>\n") and "No visit" not in page, "to its end")


def chunks(connection):
    """The body of an answer in chunks (RFC 9112, section 7.1), as it comes."""
    with connection.makefile("rb") as lines:
        while lines.readline() not in (b"\r\n", b""):
            pass
        while True:
            size = int(lines.readline() or b"-1", 16)
            check(size >= 0, "the answer broke off")
            if size == 0:
                return
            yield lines.read(size)
            lines.readline()


@suite.test
def a_list_goes_on_over_new_settings(place):
    """Of 2000 systems, 100 are gone when their turn comes, and one is new."""
    daemon = place.daemon(place.broker(), [system(f"s{n}", [plain_point("suction")]) for n in range(2000)])
    daemon.start(seconds=60)
    daemon.stop()
    with sqlite3.connect(daemon.store) as store:
        store.execute("INSERT INTO alarms (system, point, condition, state, priority, since_ms, raised_ms, value, "
                      "setpoint, unit, told, open) SELECT system, point, 'suction-low', 'unacknowledged', 'medium', "
                      "?1, ?1, 100, 200, 'Pa', 1, 1 FROM points", (now_ms() - DAY,))
    store.close()
    daemon.start(seconds=60)
    for path, key in (("/api/systems", "id"), ("/api/visits", "system")):
        before = daemon.get(path)
        with socket.socket(socket.AF_UNIX) as one:
            one.settimeout(60)
            one.connect(daemon.socket)
            one.sendall(f"GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
            parts = chunks(one)
            text = next(parts)
            gone = {row[key] for row in before[-100:]}
            daemon.systems = [each for each in daemon.systems if each["id"] not in gone]
            daemon.systems.append(system(f"new-{key}", [plain_point("suction")]))
            daemon.write_settings()
            told = daemon.log().count("read again")
            daemon.process.send_signal(signal.SIGHUP)
            wait_until(lambda count=told: daemon.log().count("read again") > count, 30, "new settings")
            text += b"".join(parts)
        equal([row[key] for row in json.loads(text)], [row[key] for row in before[:-100]], path)


SENT = 1700


@suite.test
def deliveries_come_by_pages_too(place):
    daemon = place.daemon(place.broker(), [system("mill", [plain_point("suction")])]).start()
    daemon.stop()
    now = now_ms()
    with sqlite3.connect(daemon.store) as store:
        store.executemany(
            "INSERT INTO outbox (id, contact, system, type, content_type, body, alarm, priority, created_ms, "
            "not_before_ms, state, head, tries, done_ms, last_answer) VALUES (?, 'office', 'mill', "
            "'subslab.alarm.raised', 'application/json', '{}', 0, 1, ?, ?, ?, 0, 1, ?, '204')",
            [(f"msg-{n}", now + n - DAY, now + n - DAY, 2 if n % 10 == 3 else 1, now + n - DAY)
             for n in range(SENT)])
    store.close()
    daemon.start()
    every = [f"msg-{n}" for n in reversed(range(SENT))]
    ids = lambda rows: [row["id"] for row in rows]  # noqa: E731
    equal(ids(daemon.deliveries()), every, "all, newest first")
    equal(ids(pages(daemon, 333, "/api/deliveries")), every, "by pages")
    failed = [ident for ident in every if ident.endswith("3")]
    equal(ids(pages(daemon, 7, "/api/deliveries", failed=1)), failed, "those that failed")
    tool = lambda *words, **more: Tool(daemon.settings_file).run("deliveries", *words, **more)[0]  # noqa: E731
    rows = lambda text: re.findall(r"msg-\d+", text)  # noqa: E731
    equal(rows(tool()), every[:200], "a table of the newest 200")
    equal(rows(tool("--limit", "5", "--before", every[9])), every[10:15], "or of others")
    equal(ids(json.loads(tool("--json"))), every, "JSON has them all")
    equal(ids(json.loads(tool("--json", "--failed", "--limit", "9"))), failed[:9], "or so many")
    tool("--limit", "0", status=2)
    tool("--json", "--before", "msg-none", status=1)


@suite.test
def the_page_of_alarms_leads_on_to_the_next(place):
    daemon = with_alarms(place)
    for query, total in (("", OPEN), ("?all=1", PAST + OPEN)):
        address, seen = "/alarms" + query, 0
        while address:
            answer = daemon.request("GET", address, page=True)
            while answer.status == 503:  # busy: come again, as it says
                time.sleep(0.3)
                answer = daemon.request("GET", address, page=True)
            text = answer.body.decode()
            seen += text.count("<article" if not query else "<tr><th scope=\"row\"")
            older = text.split('rel="next"')[0].rsplit('href="', 1)[1].split('"')[0]
            address = older.replace("&amp;", "&") if 'rel="next"' in text else None
        equal(seen, total, f"all alarms on the pages of /alarms{query}")


@suite.test
def what_makes_no_sense_is_told_in_a_sentence(place):
    daemon = place.daemon(place.broker(), [system("mill", [plain_point("suction")])]).start()
    paths = {"/api/systems/%ff": 404, "/api/systems/%c3%28": 404, "/api/%fe%ff": 404,
             "/api/systems/" + "x" * 1500: 404, "/api/" + "a/" * 200: 404,
             "/api/deliveries/%ff": 404, "/api/alarms?system=%ff": 404, "/api/alarms?since=%ff": 400}
    for name in ("limit", "before"):
        for value in ("-1", "x", "", "0", "1.5", "%ff", "99999999999999999999", "1;2"):
            paths[f"/api/alarms?all=1&{name}={value}"] = 400
            if name == "limit":
                paths[f"/api/deliveries?limit={value}"] = 400
                paths[f"/api/visits?limit={value}"] = 400
    for ident in ("x", "", "%ff", "-1", "mill-first", "-first", "mill-after-", "x" * 300 + "-first"):
        paths[f"/api/deliveries?before={ident}"] = 404
        paths[f"/api/visits?before={ident}"] = 404
    paths["/api/alarms?before=999999999999"] = 404
    paths["/api/alarms?all=1&before=999999999999"] = 404
    for limit in ("-1", "x", "", "0"):
        paths[f"/api/readings?system=mill&limit={limit}"] = 400
    for path, status in paths.items():
        for page in (False, True):
            answer = daemon.request("GET", path, page=page)
            equal(answer.status, status, path)
            sentence = json.loads(answer.body)["error"]
            check(len(sentence) > 10, f"{path}: {answer.body!r}")
    for path in ("/api/systems/%ff/out-of-service", "/api/alarms/%ff/acknowledge", "/api/alarms/1x/shelve",
                 "/api/contacts/%ff/test-alert", "/api/deliveries/%ff/again",
                 "/api/systems/mill/points/%ff/record"):
        answer = daemon.request("POST", path, {"by": "a", "value": "1 Pa"})
        equal(answer.status, 404, path)
        check(json.loads(answer.body)["error"], path)
    for path in ("/%ff", "/systems/%ff", "/systems/%ff/record", "/alarms?before=x", "/alarms?before=-1",
                 "/alarms?all=1&before=999999999999", "/?page=%ff", "/?find=%ff&status=%ff"):
        answer = daemon.request("GET", path, page=True)
        check(answer.status in (200, 404) and b"</html>" in answer.body, f"{path}: {answer.status}")
    equal(daemon.request("GET", "/api/systems/a%00b", page=True).status, 400, "no NUL")


@suite.test
def a_reader_that_stops_reading_holds_up_nobody(place):
    daemon = with_alarms(place)
    readers = []
    place.at_end(lambda: [one.close() for one in readers])
    for _ in range(12):
        one = socket.create_connection(("127.0.0.1", daemon.page_port), timeout=5)
        one.send(f"GET /api/alarms?{urlencode({'all': 1})} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
        readers.append(one)
    for _ in range(10):
        equal(daemon.request("GET", "/api/alarms?limit=1", page=True).status, 200, "another reader")
    wait_until(lambda: len(daemon.alarms(all=1)) == PAST + OPEN, 10, "a whole list beside them")


suite.run()
