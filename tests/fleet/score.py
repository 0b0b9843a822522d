#!/usr/bin/env python3
"""Makes fleets, lets the built program judge them by `replay`, and prints how well it did.

    SUBSLAB_BUILD=build python3 tests/fleet/score.py --seeds 1 2 3 [--fleet mixed] [--houses 60]
                                        [--years 2] [--keep FOLDER] [--list] [--year-claims FILE]

As in NREL/TP-5500-72801, "Metrics and Methods to Assess Building Fault Detection and Diagnosis Tools"
(2019): false alarms per healthy system-year; faults found among those that an expert with these sensors
could have seen (faults.py); diagnosis right, wrong or not told.

- A message is a raised row of replay's OUT file. Healthy time is all of a healthy house and what
  precedes the onset in the others. What lay behind a message there (behind()):
    outage   sensor, gateway or network were really silent
    true     the truth was beyond the documented limit of the commissioning record, by weather, season or
             settling (truth.py)
    event    the fan really stood (a short power cut), or was replaced that day
    date     a date had come
    packets  a silence of lost packets alone
    nothing  none of these
  "without a cause" is packets and nothing.
- A fault is found by the first message after its onset that can be about it (can_be_about()): one of the
  whole system, or of a point that the fault has moved, outside of short power cuts.
- Its diagnosis is the first claim of those messages; `none`, `unknown` and an empty one are no claims.
  A condition that names the fault itself (a dead sensor is silent) needs no claim. A claim of several
  causes is right when one of them is.
- Year claims: a JSON list of {system, from, mean, lower, upper} (Bq/m3; from: Unix time of the record),
  made by whatever reads the program's `year`; scored against the true mean of the 365 days from `from`.
"""

import collections
import json
import os
import re
import shutil
import statistics
import tempfile
from datetime import datetime, timezone

import numpy as np

import faults
import fleet
import replaying
from truth import DATES, DAY, SILENT, behind

YEAR_S = 365.2425 * DAY
RIGHT = {
    "stopped-fan": {"fan-off"},
    "worn-fan": {"fan-worn"},
    "smaller-fan": {"fan-worn", "fan-replaced", "fan-smaller"},
    "leak": {"leak"},
    "disconnected-riser": {"leak", "disconnected-riser"},
    "blocked-discharge": {"blocked-discharge"},
    "ice": {"blocked-discharge", "ice"},
    "blocked-before-fan": {"blocked-before-fan"},
    "water": {"water", "water-high", "wet-ground"},
    "lost-hole": {"field-lost"},
    "reversal": {"field-lost", "field-reversed"},
    "radon-entry": {"radon-entry"},
    "bearing": {"bearing", "fan-worn", "power-high"},
    "membrane-tear": {"leak", "field-lost"},
    "gauge-tube": {"gauge-tube"},
    "zero-drift": {"sensor-fault", "zero-drift", "gauge-zero"},
    "stuck": {"sensor-fault"},
    "unit-change": {"unit-mix-up"},
    "dead-sensor": set(),
    "dead-gateway": set(),
}
NAMES_ITSELF = {
    "dead-sensor": SILENT,
    "dead-gateway": SILENT,
    "stuck": ("sensor-stuck",),
    "bearing": ("power-high",),
    "reversal": ("field-reversed",),
}
# of faults of the system: the largest weekly effect on any point, in floors (faults.py)
STRENGTHS = {"slight": "1 to 2 floors", "clear": "2 to 4 floors", "plain": "4 floors and more"}
NO_CLAIM = {"", "none", "unknown", "null", "cannot-tell", "undecided"}


def unix(text):
    if not text:
        return None
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=timezone.utc).timestamp()


def load(folder, rows):
    with open(os.path.join(folder, "truth.json"), encoding="utf-8") as file:
        truth = json.load(file)
    with open(os.path.join(folder, "systems.json"), encoding="utf-8") as file:
        records = json.load(file)["records"]
    arrays = np.load(os.path.join(folder, "truth.npz"))
    houses = {house["id"]: house for house in truth["houses"]}
    for house in houses.values():
        house["messages"] = []
        house["records"] = [(unix(r["date"]), r.get("points", {})) for r in records[house["id"]]]
        house["array"] = lambda name, prefix=house["id"]: arrays[f"{prefix}/{name}"]
        house["quantity"] = {point["id"]: point["quantity"] for point in house["points"]}
    of_fleet = []
    for row in rows:
        row["raised_s"], row["returned_s"] = unix(row["raised"]), unix(row["returned"])
        (houses[row["system"]]["messages"] if row["system"] else of_fleet).append(row)
    return truth, houses, of_fleet


def can_be_about(house, row):
    """Can this message, raised or standing after the onset, be about the house's fault?"""
    fault, condition, point = house["fault"], row["condition"], row["point"]
    until = fault["repaired_s"] or house["end_s"]
    begin = row["raised_s"]
    kind = fault["kind"]
    slow = DAY if fault["repaired_s"] and kind in faults.PHYSICAL else 0
    if begin > until + slow or condition in DATES:
        return False
    if kind in ("dead-sensor", "dead-gateway"):
        end = row["returned_s"] or np.inf
        about = condition in SILENT and point in ("", fault["point"] or point)
        soon, long = begin < fault["onset_s"] + 20 * DAY, min(fault["onset_s"] + 10 * DAY, until - DAY)
        return about and soon and end > long
    if begin < fault["onset_s"] or condition in SILENT:
        return False
    if kind not in faults.PHYSICAL:
        return point in (fault["point"], "")
    paused = any(a <= begin <= b + 2 * DAY for a, b in house["pauses"])
    return not paused and (point == "" or begin >= fault["moved"].get(point, np.inf))


def messages_about(house):
    about = [row for row in house["messages"] if can_be_about(house, row)]
    return sorted(about, key=lambda row: row["raised_s"])


def claims_of(row):
    words = set(re.split(r"[^a-z-]+", row["diagnosis"] or ""))
    return words - NO_CLAIM


def judge_fault(house):
    """(found, seconds from onset to the first message, "right", "wrong" or "not told", wrong claims)."""
    fault = house["fault"]
    about = messages_about(house)
    if not about:
        return False, None, "not told", 0
    kind = fault["kind"]
    verdict, wrong = "not told", 0
    for row in about:
        claims = claims_of(row)
        itself = row["condition"] in NAMES_ITSELF.get(kind, ())
        right = claims & RIGHT[kind] or (itself and not claims)
        says = "right" if right else "wrong" if claims else "not told"
        wrong += says == "wrong"
        if verdict == "not told":
            verdict = says
    return True, max(about[0]["raised_s"] - fault["onset_s"], 0.0), verdict, wrong


def measures(house):
    have = set(house["quantity"].values())
    flow = have & {"airflow", "velocity-pressure"}
    power = have & {"fan-power", "fan-current"}
    if "suction" in have and flow and power:
        return "suction, flow, power"
    if "suction" in have and power:
        return "suction, power"
    return "suction without" if "suction" in have else "radon alone"


def score(truth, houses):
    """All counts of one fleet."""
    result = {
        "seed": truth["seed"],
        "years": 0.0,
        "behind": collections.Counter(),
        "conditions": collections.Counter(),
        "kinds": collections.defaultdict(lambda: [0, 0]),
        "verdicts": collections.defaultdict(collections.Counter),
        "verdicts_by_kind": collections.defaultdict(collections.Counter),
        "strengths": collections.defaultdict(lambda: [0, 0]),
        "wrong_claims": 0,
        "bad_gateways": [0, 0.0],
        "wear": [],
        "falling": [],
        "stopped_min": [],
        "lost_min": [],
        "list": [],
    }
    for house in houses.values():
        fault = house["fault"]
        healthy_until = fault["onset_s"] if fault else house["end_s"]
        years = (healthy_until - house["start_s"]) / YEAR_S
        result["years"] += years
        if house["gateway"] == "bad":
            result["bad_gateways"][0] += sum(row["raised_s"] < healthy_until for row in house["messages"])
            result["bad_gateways"][1] += years
        for row in house["messages"]:
            if row["raised_s"] < healthy_until:
                reason = behind(house, row)
                result["behind"][reason] += 1
                result["conditions"][(row["condition"], reason)] += 1
                if reason == "nothing":
                    words = [row[name] for name in ("condition", "point", "raised", "returned", "diagnosis")]
                    result["list"].append((house["id"], house["foundation"], *words))
        if fault:
            score_fault(result, house, fault)
    return result


def score_fault(result, house, fault):
    found, after_s, verdict, wrong = judge_fault(house)
    kind = fault["kind"]
    if kind == "worn-fan":
        score_wear(result, house, fault)
    if not fault["noticeable"]:
        return
    counters = [result["kinds"][kind]]
    if kind in faults.PHYSICAL:
        strength = fault["strength"]
        counters.append(result["strengths"]["slight" if strength < 2 else "clear" if strength < 4 else "plain"])
    for counts in counters:
        counts[0] += found
        counts[1] += 1
    if not found:
        result["list"].append((house["id"], measures(house), fault))
        return
    result["verdicts"][measures(house)][verdict] += 1
    result["verdicts_by_kind"][kind][verdict] += 1
    result["wrong_claims"] += wrong
    if verdict == "wrong":
        told = [(row["condition"], row["diagnosis"]) for row in messages_about(house)][:3]
        result["list"].append((house["id"], measures(house), fault, told))
    fast = house["every_s"] <= 600
    if kind == "stopped-fan" and fast and "power" in measures(house):
        result["stopped_min"].append(after_s / 60)
    if kind in ("stopped-fan", "disconnected-riser") and fast:
        lost = [row["raised_s"] for row in messages_about(house) if row["condition"] == "suction-lost"]
        if lost:
            result["lost_min"].append((lost[0] - fault["onset_s"]) / 60)


def score_wear(result, house, fault):
    """Days to the first message: with flow measured one that is about the fan, scaled to 10 % of speed a
    year; of a fall told of suction alone, any about suction. None if never."""
    rate = fault["detail"].get("rate", 0.10)
    flow = {"airflow", "velocity-pressure"} & set(house["quantity"].values())
    falling = "suction_rate" in fault["detail"]
    if not flow and not falling:
        return
    days = None
    for row in messages_about(house):
        fan = row["condition"].startswith("fan-") or "fan-worn" in claims_of(row)
        if row["condition"].startswith("suction-") if falling else fan:
            days = (row["raised_s"] - fault["onset_s"]) / DAY
            break
    if falling:
        result["falling"].append(days)
    else:
        result["wear"].append(None if days is None else days * rate / 0.10)


def merge(results):
    total = score({"seed": "all"}, {})
    for result in results:
        for name in ("years", "wrong_claims"):
            total[name] += result[name]
        total["bad_gateways"] = list(np.add(total["bad_gateways"], result["bad_gateways"]))
        for name in ("behind", "conditions"):
            total[name].update(result[name])
        for name in ("wear", "falling", "stopped_min", "lost_min", "list"):
            total[name] += result[name]
        for name in ("kinds", "strengths"):
            for key, (found, all_of) in result[name].items():
                total[name][key][0] += found
                total[name][key][1] += all_of
        for name in ("verdicts", "verdicts_by_kind"):
            for key, counter in result[name].items():
                total[name][key].update(counter)
    return total


def of(part, whole):
    return f"{part}/{whole}" if whole else "–"


def middle(values, unit):
    """Median with those never found at the end, and how many were found."""
    if not values:
        return "–"
    ordered = sorted(np.inf if v is None else v for v in values)
    found = sum(v is not None for v in values)
    value = statistics.median_low(ordered)
    return ("never" if np.isinf(value) else f"{value:.0f} {unit}") + f" ({found}/{len(values)})"


def verdict_text(counter):
    return " ".join(str(counter[name]) for name in ("right", "wrong", "not told"))


def rate(count, years):
    return f"{count / years:.2f}" if years else "–"


def table(columns):
    """Rows (label, cell for each column)."""
    rows = []
    add = lambda label, cell: rows.append((label, [cell(c) for c in columns]))
    add("healthy system-years", lambda c: f"{c['years']:.0f}")
    without = lambda c: c["behind"]["nothing"] + c["behind"]["packets"]
    add("messages without a cause a system-year", lambda c: rate(without(c), c["years"]))
    add("messages in all a system-year", lambda c: rate(sum(c["behind"].values()), c["years"]))
    add("  in a house with a bad gateway", lambda c: rate(*c["bad_gateways"]))
    for reason in ("nothing", "packets", "true", "event", "outage", "date"):
        add(f"  behind it: {reason}", lambda c, r=reason: rate(c["behind"][r], c["years"]))
    pairs = sorted({pair for c in columns for pair in c["conditions"]})
    for pair in pairs:
        add(f"  {pair[0]}, {pair[1]}", lambda c, p=pair: rate(c["conditions"][p], c["years"]))
    add("noticeable faults found", lambda c: of(*np.sum(list(c["kinds"].values()) or [[0, 0]], axis=0)))
    for name, text in STRENGTHS.items():
        add(f"  of the system, {name} ({text})", lambda c, n=name: of(*c["strengths"].get(n, (0, 0))))
    for kind in faults.KINDS:
        add(f"  {kind}: found; right wrong not-told", lambda c, k=kind: kind_text(c, k))
    for name in ("suction, flow, power", "suction, power", "suction without", "radon alone"):
        add(f"cause, {name}: right wrong not-told", lambda c, n=name: verdict_text(c["verdicts"][n]))
    add("messages that claim a wrong cause", lambda c: str(c["wrong_claims"]))
    add("wear, flow measured, scaled to 10 % a year", lambda c: middle(c["wear"], "d"))
    add("fall of 12 % a year, suction alone", lambda c: middle(c["falling"], "d"))
    add("stopped fan (10 min, with power)", lambda c: middle(c["stopped_min"], "min"))
    add("lost suction (10 min)", lambda c: middle(c["lost_min"], "min"))
    return rows


def kind_text(column, kind):
    found, all_of = column["kinds"].get(kind, (0, 0))
    return f"{of(found, all_of)}; {verdict_text(column['verdicts_by_kind'][kind])}" if all_of else "–"


def print_table(columns):
    rows = [row for row in table(columns) if set(row[1]) - {"–", "0 0 0"}]
    heads = [f"seed {c['seed']}" for c in columns]
    width = max(len(label) for label, _ in rows)
    widths = [max(len(h), max(len(cells[i]) for _, cells in rows)) for i, h in enumerate(heads)]
    print(" " * width + "  " + "  ".join(h.rjust(w) for h, w in zip(heads, widths)))
    for label, cells in rows:
        print(label.ljust(width) + "  " + "  ".join(c.rjust(w) for c, w in zip(cells, widths)))


def score_year_claims(file, houses):
    """Share of intervals for a year's mean that hold the true mean of the 365 days from `from`."""
    with open(file, encoding="utf-8") as source:
        claims = json.load(source)
    held, counted = 0, 0
    for claim in claims:
        house = houses[claim["system"]]
        hours = house["array"]("radon_h")
        first = int((claim["from"] - float(house["array"]("radon_from_s")[0])) // 3600)
        if claim["lower"] is None or first < 0 or first + 365 * 24 > hours.size:
            continue
        true = float(np.mean(hours[first : first + 365 * 24]))
        held += claim["lower"] <= true <= claim["upper"]
        counted += 1
    return held, counted


def judge_seed(arguments, seed, build):
    keep = arguments.keep and os.path.join(arguments.keep, f"seed-{seed}")
    folder = keep or tempfile.mkdtemp(prefix="fleet-")
    try:
        fleet.make(arguments, seed, folder)
        rows, refused, bad = replaying.replay(build, folder)
        truth, houses, of_fleet = load(folder, rows)
        print(f"seed {seed}: {truth['readings']} readings, {bad} refused, {len(rows)} messages,"
              f" {len(of_fleet)} of the fleet; keys not taken: {', '.join(refused) or 'none'}")  # fmt: skip
        if arguments.year_claims:
            held = score_year_claims(arguments.year_claims, houses)
            print("year's interval holds the year's mean: %d of %d" % held)
        return score(truth, houses)
    finally:
        if not keep:
            shutil.rmtree(folder)


def parse():
    parser = fleet.parser_of(__doc__)
    parser.add_argument("--keep", help="folder that keeps what was made")
    parser.add_argument("--list", action="store_true", help="messages with nothing behind, faults missed or misread")
    parser.add_argument("--year-claims", help="JSON of claims, see above")
    return fleet.parse_seeds(parser)


def main():
    arguments = parse()
    build = os.environ.get("SUBSLAB_BUILD", "build")
    columns = [judge_seed(arguments, seed, build) for seed in arguments.seeds]
    if len(columns) > 1:
        columns.append(merge(columns))
    print_table(columns)
    if arguments.list:
        for column in columns[: len(arguments.seeds)]:
            for entry in column["list"]:
                print(column["seed"], *entry)


if __name__ == "__main__":
    main()
