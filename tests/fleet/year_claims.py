#!/usr/bin/env python3
"""Asks the built core what the first days of radon readings say of the year, and scores the answer.

    SUBSLAB_BUILD=build python3 tests/fleet/year_claims.py --seeds 1 2 3 [--fleet healthy] [--days 91]
                                                           [--keep FOLDER]

For each house with a radon monitor: the readings of the days after its first record, through
build/tests/tool_year with the defaults of a radon point; the claim is scored by score.py against the true
mean of the 365 days from the record. Prints how many intervals hold it. --keep leaves each fleet in
FOLDER/seed-N, with claims.json beside it, and takes one that is there already.
"""

import json
import os
import shutil
import subprocess
import tempfile
from datetime import datetime, timezone

import fleet
import score
import writing

DAY = 86400
BQ = {"Bq/m3": 1.0, "pCi/L": 37.0}


def radon_readings(folder, systems, begins, days):
    """(time, Bq/m3) of the point `radon` of each house, from its record on."""
    factor = {s["id"]: BQ[p["unit"]] for s in systems for p in s["points"] if p["id"] == "radon"}
    found = {system: [] for system in factor}
    with open(os.path.join(folder, "readings.csv"), encoding="utf-8") as file:
        for line in file:
            time, system, point, value, *_ = line.split(",")
            if point != "radon":
                continue
            at = datetime.strptime(time, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=timezone.utc).timestamp()
            if begins[system] <= at < begins[system] + days * DAY:
                found[system].append((at, float(value) * factor[system]))
    return found


def ask(build, readings, every_s):
    lines = []
    for system, rows in readings.items():
        lines.append(f"{len(rows)} {every_s[system]}")
        lines += [f"{at:.0f} {value:.6g}" for at, value in sorted(rows)]
    tool = os.path.join(build, "tests", "tool_year")
    done = subprocess.run([tool], input="\n".join(lines), stdout=subprocess.PIPE, text=True, check=True)
    return dict(zip(readings, map(json.loads, done.stdout.splitlines())))


def claims_of(build, folder, days):
    with open(os.path.join(folder, "systems.json"), encoding="utf-8") as file:
        systems = json.load(file)["systems"]
    truth, houses, _ = score.load(folder, [])
    begins = {house["id"]: house["start_s"] for house in truth["houses"]}
    every_s = {h["id"]: p["every_s"] for h in truth["houses"] for p in h["points"] if p["id"] == "radon"}
    answers = ask(build, radon_readings(folder, systems, begins, days), every_s)
    keep = ("mean", "lower", "upper")
    claims = [
        {"system": system, "from": begins[system], **{name: answer[name] for name in keep}}
        for system, answer in answers.items()
        if answer["status"] == 0
    ]
    return claims, houses, len(answers)


def judge(build, seed, arguments):
    keep = arguments.keep and os.path.join(arguments.keep, f"seed-{seed}")
    folder = keep or tempfile.mkdtemp(prefix="year-")
    try:
        if not os.path.exists(os.path.join(folder, "truth.json")):
            fleet.make(arguments, seed, folder)
        claims, houses, asked = claims_of(build, folder, arguments.days)
        name = os.path.join(folder, "claims.json")
        writing.write_json(name, claims)
        held, counted = score.score_year_claims(name, houses)
        print(f"seed {seed}: {held} of {counted} hold the year's mean; {asked - counted} without a claim")
        return held, counted
    finally:
        if not keep:
            shutil.rmtree(folder)


def main():
    parser = fleet.parser_of(__doc__, kind="healthy", years=1.1)
    parser.add_argument("--days", type=int, default=91)
    parser.add_argument("--keep")
    arguments = fleet.parse_seeds(parser)
    build = os.environ.get("SUBSLAB_BUILD", "build")
    results = [judge(build, seed, arguments) for seed in arguments.seeds]
    held, counted = map(sum, zip(*results))
    print(f"{held} of {counted} intervals hold the year's mean ({100 * held / max(counted, 1):.1f} %)")


if __name__ == "__main__":
    main()
