#!/usr/bin/env python3
"""scale_page: the figures of systemd/SCALE.md that follow from others.

    scale_page.py --write [FILE]    computes the second table from the first
    scale_page.py --check [FILE]    whether it is what follows; exit status 1 when not

A figure that was measured anew is put into the first table, by hand; then --write. A row of it is
`| name | value | unit and how it was measured |`.
"""
import os
import re
import sys

PAGE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "systemd", "SCALE.md")
BEGIN, END = "<!-- computed: begin -->", "<!-- computed: end -->"
FIGURES = {"systems", "shard", "readings a day", "CPU a reading", "broker CPU a reading", "catch-up CPU",
           "broker catch-up CPU", "daily CPU", "bytes at rest", "bytes of a row", "memory", "wire bytes",
           "queued bytes", "bytes a connection", "outage"}
GIB, DAY_S = 2 ** 30, 86400


def figures(text):
    """The first table: {name: number}"""
    found = {}
    for name, value in re.findall(r"^\| ([a-zA-Z -]+?) \| ([0-9][0-9 .]*) \|", text, re.MULTILINE):
        found.setdefault(name, float(value.replace(" ", "")))
    missing = FIGURES - set(found)
    if missing:
        raise SystemExit(f"scale_page: no figure {', '.join(sorted(missing))}")
    return found


def short(number):
    """Two digits that count."""
    if number == 0:
        return "0"
    digits = max(0, 1 - int(f"{number:e}".split("e")[1]))
    rounded = float(f"{number:.1e}")
    return f"{rounded:,.{digits}f}".replace(",", " ")


def computed(f):
    a_second = f["systems"] * f["readings a day"] / DAY_S
    shards = f["systems"] / f["shard"]
    held = f["outage"] * 3600 * a_second
    cores = a_second * (f["CPU a reading"] + f["broker CPU a reading"]) / 1e6
    daily = f["systems"] * f["daily CPU"] / 1e3
    rows = [
        ("shards", "systems / shard", short(shards)),
        ("readings a second", "systems x readings a day / 86 400", short(a_second)),
        ("CPU, day in, day out", "readings a second x (CPU a reading + broker CPU a reading)",
         f"{short(cores)} cores"),
        ("CPU of the daily analysis", "systems x daily CPU", f"{short(daily)} s a day"),
        ("memory of the daemons", "shards x memory", f"{short(shards * f['memory'] / 1024)} GiB"),
        ("memory of the broker's connections", "systems x bytes a connection, one gateway a system",
         f"{short(f['systems'] * f['bytes a connection'] / GIB)} GiB"),
        ("disk a year", "readings a second x a year x bytes at rest",
         f"{short(a_second * 365.25 * DAY_S * f['bytes at rest'] / GIB)} GiB"),
        ("disk for what is not yet packed", "readings of 3 days x bytes of a row",
         f"{short(3 * DAY_S * a_second * f['bytes of a row'] / GIB)} GiB"),
        ("network", "readings a second x wire bytes",
         f"{short(a_second * f['wire bytes'] * 8 / 1e6)} Mbit/s"),
        ("messages that wait after an outage", "readings a second x outage", short(held)),
        ("the same, of one shard", "the same / shards", short(held / shards)),
        ("broker memory for them", "messages that wait x queued bytes",
         f"{short(held * f['queued bytes'] / GIB)} GiB"),
        ("the same, of one shard", "the same / shards",
         f"{short(held * f['queued bytes'] / GIB / shards)} GiB"),
        ("CPU to catch up", "messages that wait x (catch-up CPU + broker catch-up CPU)",
         f"{short(held * (f['catch-up CPU'] + f['broker catch-up CPU']) / 6e7)} min of one core"),
    ]
    lines = ["| for all systems | from | result |", "|---|---|---|"]
    return "\n".join(lines + [f"| {name} | {how} | **{result}** |" for name, how, result in rows])


def main():
    if len(sys.argv) not in (2, 3) or sys.argv[1] not in ("--write", "--check"):
        raise SystemExit(__doc__)
    page = sys.argv[2] if len(sys.argv) == 3 else PAGE
    with open(page, encoding="utf-8") as file:
        text = file.read()
    head, rest = text.split(BEGIN)
    tail = rest.split(END)[1]
    new = f"{head}{BEGIN}\n{computed(figures(head))}\n{END}{tail}"
    if sys.argv[1] == "--write":
        with open(page, "w", encoding="utf-8") as file:
            file.write(new)
    elif new != text:
        raise SystemExit("scale_page: the second table does not follow from the first; use --write")


if __name__ == "__main__":
    main()
