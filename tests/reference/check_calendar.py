#!/usr/bin/env python3
"""The calendar text read by an independent parser, Debian's python3-icalendar.

    check_calendar.py TOOL      TOOL: the built tool_calendar

Random events, with commas, semicolons, backslashes, line breaks and characters of one to four
octets, go through the tool and come back through the parser: nothing may be lost or changed.
Rules: RFC 5545 3.1 (folding), 3.3.11 (escaping), 3.6 and 3.6.1 (required properties).
TEST_SEED=n repeats a run.
"""
import datetime
import json
import os
import random
import re
import subprocess
import sys
import time

import icalendar

TOOL = sys.argv[1]
SEED = int(os.environ.get("TEST_SEED", time.time()))
NOW_MS = 1767225600000
EPOCH = datetime.datetime(1970, 1, 1, tzinfo=datetime.timezone.utc)
passed = failed = 0


def check(name, good, detail=""):
    global passed, failed
    if good:
        passed += 1
    else:
        failed += 1
        print(f"FAILED {name}: {str(detail)[:300]}")


def render(events, name="Visits"):
    run = subprocess.run([TOOL, str(NOW_MS), name], input=json.dumps(events).encode(),
                         stdout=subprocess.PIPE, check=True)
    return run.stdout


def random_text(dice, longest):
    alphabet = dice.choice(["", "\\"]) + "abc ,;:\"'\n-éß日本🏠nN\t"
    text = "".join(dice.choice(alphabet) for _ in range(dice.randint(1, longest)))
    return text.strip() or "x"  # blanks at the ends are the parser's own affair


def random_event(dice, number):
    event = {"uid": f"event-{number}@example", "summary": random_text(dice, 200),
             "sequence": dice.randint(0, 2**31 - 1), "priority": dice.randint(1, 9)}
    if dice.random() < 0.7:
        event["description"] = random_text(dice, 900)
    if dice.random() < 0.5:
        event["location"] = random_text(dice, 90)
    if dice.random() < 0.5:
        event["created_ms"] = dice.randint(0, 2**41) // 1000 * 1000
    if dice.random() < 0.5:
        start = dice.randint(0, 40000)
        event.update(all_day=True, start_day=start, end_day=start + dice.randint(1, 5))
    else:
        start = dice.randint(0, 2**41) // 1000 * 1000
        event.update(all_day=False, start_ms=start, end_ms=start + 1000 * dice.randint(1, 10**6))
    return event


def instant(ms):
    return EPOCH + datetime.timedelta(milliseconds=ms)


def check_lines(text):
    check("ends with a line break", text.endswith(b"\r\n"))
    lines = text.split(b"\r\n")
    check("no bare line break", not any(b"\r" in line or b"\n" in line for line in lines))
    check("no line over 75 octets", max(map(len, lines)) <= 75)
    for line in lines:
        try:
            line.decode("utf-8")
        except UnicodeDecodeError:
            check("fold inside a character", False, repr(line))


def unescape(value):
    """RFC 5545 3.3.11 from left to right."""
    return re.sub(r"\\(.)", lambda match: "\n" if match[1] in "nN" else match[1], value)


def raw_texts(text):
    """uid -> {property: text}, by unfolding and unescaping alone."""
    events, event = {}, {}
    for line in text.decode("utf-8").replace("\r\n ", "").split("\r\n"):
        name, _, value = line.partition(":")
        if line == "BEGIN:VEVENT":
            event = {}
        elif line == "END:VEVENT":
            events[event["UID"]] = event
        else:
            event[name] = unescape(value)
    return events


def check_event(sent, got, raw):
    uid = sent["uid"]
    for name in ("summary", "description", "location"):
        check(f"{uid} raw {name}", raw.get(name.upper()) == sent.get(name),
              f"{sent.get(name)!r} became {raw.get(name.upper())!r}")
        # The parser (version 4.0.3) replaces escapes one kind after the other, so that a backslash
        # before "n" comes out wrong; texts with one are judged by the raw check alone.
        here = got.get(name)
        if "\\" not in sent.get(name, ""):
            check(f"{uid} {name}", (None if here is None else str(here)) == sent.get(name),
                  f"{sent.get(name)!r} became {str(here)!r}")
    check(f"{uid} sequence", int(got["sequence"]) == sent["sequence"])
    check(f"{uid} priority", int(got["priority"]) == sent["priority"])
    check(f"{uid} stamp", got["dtstamp"].dt == instant(NOW_MS))
    if "created_ms" in sent:
        check(f"{uid} created", got["created"].dt == instant(sent["created_ms"]))
    if sent["all_day"]:
        for key, name in (("start_day", "dtstart"), ("end_day", "dtend")):
            day = datetime.date(1970, 1, 1) + datetime.timedelta(days=sent[key])
            check(f"{uid} {name}", got[name].dt == day, f"{got[name].dt} for {day}")
    else:
        check(f"{uid} dtstart", got["dtstart"].dt == instant(sent["start_ms"]))
        check(f"{uid} dtend", got["dtend"].dt == instant(sent["end_ms"]))


def main():
    print(f"TEST_SEED={SEED}")
    dice = random.Random(SEED)
    for count in (0, 1, 40, 200):
        sent = [random_event(dice, number) for number in range(count)]
        text = render(sent)
        check_lines(text)
        calendar = icalendar.Calendar.from_ical(text)
        check("version", str(calendar["version"]) == "2.0")
        check("product", str(calendar["prodid"]) != "")
        check("no complaint of the parser", not calendar.errors, calendar.errors)
        got = {str(event["uid"]): event for event in calendar.walk("VEVENT")}
        check("every event once", len(got) == count)
        raw = raw_texts(text)
        for event in sent:
            check(f"{event['uid']} no complaint", not got[event["uid"]].errors)
            check_event(event, got[event["uid"]], raw[event["uid"]])
    summary = "é" * 60  # the case of RFC 5545 3.1: 128 octets with the name
    text = render([{"uid": "fold", "summary": summary, "all_day": True, "start_day": 0, "end_day": 1}])
    event = icalendar.Calendar.from_ical(text).walk("VEVENT")[0]
    check("sixty times é", str(event["summary"]) == summary)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    sys.exit(main())
