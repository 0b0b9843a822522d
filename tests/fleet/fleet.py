#!/usr/bin/env python3
"""Draws a fleet of made-up houses and writes what `subslabctl replay` takes, and the truth.

    python3 tests/fleet/fleet.py --seed 3 --folder /tmp/fleet-3 [--houses 60] [--years 2]
                                 [--fleet mixed|healthy|wear|falling|sudden]

Same seed, same bytes. Seeds up to 120 are for work; those above are sealed: each is opened once,
when the rules are set, with --open-sealed, and published as it comes out (101 to 120 were). What a
folder holds:

    settings.yaml systems/ commission/   as the contract describes houses
    systems.json     the same in one file: score.py writes the folders anew with the keys a program takes
    readings.csv     all readings, house by house
    truth.json       each house: healthy or its fault with onset, expert's day, repair; what it measures
    truth.npz        daily and hourly truth, to say of a message whether something real was behind it

Fleets: mixed (a good half has one fault, of all kinds), healthy, wear (suction and flow measured, every
fan wears 3 to 25 % a year), falling (suction alone, no season sensor, suction falls by 12 % a year), sudden
(every ten minutes with power: the fan stops or the riser comes apart).
"""

import argparse
import datetime
import os

import numpy as np

import faults
import houses
import sensors
import weather
import writing

DAY = 86400
FIRST_S = int(datetime.datetime(2023, 1, 1, tzinfo=datetime.timezone.utc).timestamp())
LAST_SEED_FOR_WORK = 120
REGIONS = [("quillmere", "mountain", 0.4), ("ostrava-falls", "lakes", 0.3), ("tern-bay", "coast", 0.15),
           ("long-prairie", "plains", 0.15)]  # fmt: skip
PROFILES = {"full": 0.36, "power": 0.15, "field": 0.17, "suction": 0.17, "radon": 0.08, "hand": 0.07}
FLEETS = ("mixed", "healthy", "wear", "falling", "sudden")
INTERVALS = {600: 0.38, 1800: 0.08, 3600: 0.4, 86400: 0.14}

# foundation, what is measured, how often
SPECIAL = {
    "wear": ("slab", "full", [600, 3600]),
    "falling": ("slab", "suction", [600, 3600]),
    "sudden": (None, "power", [600]),
}


def pick(rng, weights):
    names = list(weights)
    share = np.array([weights[n] for n in names], dtype=float)
    return names[int(rng.choice(len(names), p=share / share.sum()))]


def draw_regions(seed, years):
    begin = FIRST_S - 90 * DAY
    count = int((years + 1.3) * 366 + 90) * 24
    regions = []
    for i, (name, climate, share) in enumerate(REGIONS):
        rng = np.random.default_rng([seed, 1, i])
        region = weather.Weather(rng, climate, begin, count)
        region.name, region.share = name, share
        end = begin + count * 3600
        region.network_outages = sensors.spans(rng, begin, end, 0.4, 1200, 8 * 3600)
        regions.append(region)
    return regions


def draw_one(seed, i, regions, arguments):
    """House, points, gateway and fault; nothing simulated yet."""
    rng = np.random.default_rng([seed, 2, i])
    region = regions[int(rng.choice(len(regions), p=[r.share for r in regions]))]
    start = FIRST_S + int(rng.uniform(0, 365)) * DAY + int(rng.uniform(14, 23)) * 3600
    foundation, profile, intervals = SPECIAL.get(arguments.fleet, (None, None, None))
    house = houses.draw_house(rng, region, i, start, foundation)
    house.id = f"house-{i:03d}"
    house.climate, house.region = region.climate, region
    house.end_s = start + int(arguments.years * 365) * DAY
    house.profile = profile or pick(rng, PROFILES)
    house.every_s = int(rng.choice(intervals)) if intervals else int(pick(rng, INTERVALS))
    if arguments.fleet in SPECIAL:
        make_plain(house, arguments.fleet)
    if house.profile == "hand":
        house.every_s = 86400
    house.flow_below_leak = bool(rng.random() < 0.5)
    house.points = sensors.draw_points(rng, house, house.profile, house.every_s)
    if arguments.fleet == "falling":
        house.points = [p for p in house.points if p.quantity in ("suction", "radon")]
    draw_silences(rng, house)
    house.water_limit_m = house.sump_low_m + 0.2
    house.fault = draw_fault_of(rng, house, arguments)
    if house.fault:
        put_on_steps(house, house.fault)
    draw_papers(rng, house)
    house.upgrade_s = None
    if house.fault is None and not house.curve and rng.random() < 0.08:
        house.upgrade_s = int(start + rng.uniform(0.2, 0.7) * (house.end_s - start))
    return house


def make_plain(house, name):
    """One fan without control; for falling also long settled, since only the fall is asked for."""
    house.branches = house.branches[:1]
    house.branches[0].constant_pressure = False
    if name == "falling":
        house.branches[0].settle = 0.0
    for hole in house.holes + house.hidden:
        hole.branch = 0


def put_on_steps(house, fault):
    """Onset and repair to the next step of the simulation: a reading shows the step before it, and would
    else seem to come late."""
    step = min(house.every_s, 3600)
    on_step = lambda at_s: house.start_s - (house.start_s - int(at_s)) // step * step
    fault.onset_s = on_step(fault.onset_s)
    if fault.repaired_s:
        fault.repaired_s = on_step(fault.repaired_s)


def draw_silences(rng, house):
    """Gateway, radios, and pauses of the fan (power cuts)."""
    begin, end = house.start_s, house.end_s
    house.timed = bool(rng.random() < 0.5)
    house.gateway, house.gateway_outages, keeps = sensors.draw_gateway(rng, begin, end)
    house.keeps = house.timed and keeps
    if not house.keeps:
        outages = house.region.network_outages
        house.gateway_outages = house.gateway_outages + [o for o in outages if begin <= o[0] < end]
    house.point_outages = {
        p.id: sensors.spans(rng, begin, end, p.outages_a_year, 1200, 21 * DAY) for p in house.points
    }
    house.pauses = sensors.spans(rng, begin + 30 * DAY, end, 0.25, 1800, 8 * 3600)


def draw_fault_of(rng, house, arguments):
    if arguments.fleet == "healthy":
        return None
    if arguments.fleet == "sudden":
        kind = str(rng.choice(["stopped-fan", "disconnected-riser"]))
        return faults.draw_fault(rng, kind, house, house.points, house.start_s, house.end_s)
    if arguments.fleet in ("wear", "falling"):
        fault = faults.draw_fault(rng, "worn-fan", house, house.points, house.start_s, house.end_s)
        fault.repaired_s, fault.new_baseline, fault.branch = None, False, 0
        fault.onset_s = int(house.start_s + rng.uniform(0, 60) * DAY)
        if arguments.fleet == "falling":
            fault.onset_s = house.start_s
            fault.detail["suction_rate"] = 0.12
        return fault
    if rng.random() < 0.42:
        return None
    weights = {kind: row[0] for kind, row in faults.KINDS.items()}
    for _ in range(20):
        kind = pick(rng, weights)
        fault = faults.draw_fault(rng, kind, house, house.points, house.start_s, house.end_s)
        if fault:
            return fault
    return None


def draw_papers(rng, house):
    """What the contractor wrote down."""
    house.curve = bool(rng.random() < (0.8 if house.profile == "full" else 0.45))
    house.maker_error = rng.normal(1.0, 0.03)
    house.states_losses = bool(rng.random() < 0.3)
    house.states_exponent = bool(rng.random() < 0.5)
    house.radon_baseline = bool(rng.random() < 0.7)
    house.typed_from_sensor = bool(rng.random() < 0.2)


def effects_of(house, times_s, fault):
    effects = houses.no_effects(house, times_s.size)
    if house.pauses:
        off = ~sensors.outside(times_s, house.pauses)
        for b in range(len(house.branches)):
            effects.dead[b] = off
    if house.upgrade_s:
        effects.fan_size[0] = np.where(times_s >= house.upgrade_s, 1.3, 1.0)
    if fault is not None and fault.kind in faults.PHYSICAL:
        dead_before = list(effects.dead)
        if "suction_rate" in fault.detail:
            years = np.maximum(times_s - fault.onset_s, 0) / sensors.YEAR_S
            effects.speed[0] = np.sqrt(np.maximum(1 - 0.12 * years, 0.2))
        else:
            faults.apply(fault, house, house.region, times_s, effects)
        b = fault.branch
        if fault.kind == "stopped-fan" and dead_before[b] is not None:
            effects.dead[b] = effects.dead[b] | dead_before[b]
    return effects


def simulate(seed, i, house):
    step = min(house.every_s, 3600)
    times_s = np.arange(house.start_s, house.end_s + step, step, dtype=np.int64)
    run = lambda fault: houses.simulate(
        house, house.region, times_s, effects_of(house, times_s, fault), np.random.default_rng([seed, 3, i])
    )
    twin = run(None)
    fault = house.fault
    real = run(fault) if fault and fault.kind in faults.PHYSICAL else twin
    if fault:
        judge_fault(house, fault, twin, real, times_s)
    return times_s, twin, real


def judge_fault(house, fault, twin, real, times_s):
    expert = faults.expert_day(fault, house, house.points, twin, real, times_s)
    fault.moved, fault.strength = {}, None
    if fault.kind in faults.PHYSICAL:
        fault.moved, fault.strength = faults.moved_points(fault, house, house.points, twin, real, times_s)
    last = fault.repaired_s or house.end_s
    fault.expert_s = None if expert is None else int(max(expert, fault.onset_s))
    fault.noticeable = expert is not None and fault.expert_s + faults.worth_d(fault.kind) * DAY <= last


def house_rows(seed, i, house, times_s, real):
    """The lines of readings.csv for one house."""
    fault, parts = house.fault, []
    for k, point in enumerate(house.points):
        rng = np.random.default_rng([seed, 4, i, k])
        when = sensors.report_times(rng, point, house.start_s, house.end_s, house.timed)
        shown = sensors.take_readings(rng, point, house, real, times_s, when)
        kept = np.ones(when.size, dtype=bool)
        if not point.hand:
            kept = sensors.radio_keeps(rng, point, when)
            kept &= sensors.outside(when, house.point_outages[point.id])
            if not house.keeps:
                kept &= sensors.outside(when, house.gateway_outages)
        if fault:
            shown, sent, _ = faults.spoil(rng, fault, point, when, shown)
            kept &= sent
        other = np.zeros(when.size, dtype=bool)
        if fault and fault.kind == "unit-change" and fault.point == point.id:
            other = faults.ramp(fault, when) > 0
        sent_unit = fault.detail.get("sent") if fault else None
        for mask, unit in ((kept & ~other, point.unit), (kept & other, sent_unit)):
            if not mask.any():
                continue
            decimals = point.decimals if unit == point.unit else max(sensors.DECIMALS[unit])
            numbers = sensors.to_unit(point.quantity, unit, shown[mask])
            if point.quantity in ("radon", "humidity", "battery", "fan-power", "fan-current", "airflow"):
                numbers = np.maximum(numbers, 0.0)
            parts.append(writing.csv_rows(house.id, point.id, when[mask], numbers, decimals))
    return b"".join(parts)


MEASURED_BY_HAND = ("suction", "field", "velocity-pressure", "airflow", "fan-power", "fan-current")

LEAST_BASELINE = {"suction": 2.0, "field": 0.25}


def commission_values(seed, i, house, times_s, real, at_s, number):
    """What the installer's own instruments said at at_s: {point: text}."""
    rng = np.random.default_rng([seed, 5, i, number])
    step = times_s[1] - times_s[0]
    first = int(np.clip((at_s + 1800 - times_s[0]) // step, 0, times_s.size - 2))
    window = slice(first, first + max(2, int(3600 // step)))
    values = {}
    for point in house.points:
        if point.quantity in MEASURED_BY_HAND:
            value = float(np.mean(sensors.true_si(point, house, real, times_s)[window]))
            error = point.span if house.typed_from_sensor else rng.normal(0, 0.012)
            value *= 1 + error
            if point.quantity in ("suction", "field"):
                value += rng.normal(0, 0.4 if point.quantity == "suction" else 0.08)
            if value < LEAST_BASELINE.get(point.quantity, 0.0):
                continue  # nobody writes down a hole that the field does not reach
            values[point.id] = writing.record_value(point.quantity, value)
        elif point.quantity == "radon" and house.radon_baseline:
            begin = int((at_s - real.hours_s[0]) // 3600) + 36
            days = int(rng.integers(2, 8))
            mean = float(np.mean(real.radon_h[begin : begin + 24 * days])) * point.share
            values[point.id] = f"{max(mean * rng.normal(1, 0.06), 4):.0f} Bq/m3"
    return values


def records_of(seed, i, house, times_s, real):
    """Commissioning records in order: (time, values, what was changed)."""
    records = [(house.start_s, commission_values(seed, i, house, times_s, real, house.start_s, 0), None)]
    fault = house.fault
    if fault and fault.new_baseline:
        part = {"stopped-fan": "fan", "worn-fan": "fan", "smaller-fan": "fan", "bearing": "fan"}
        piping = ("leak", "disconnected-riser", "blocked-discharge", "blocked-before-fan", "ice")
        changed = part.get(fault.kind, "piping" if fault.kind in piping else "ground")
        at = fault.repaired_s + 3600
        records.append((at, commission_values(seed, i, house, times_s, real, at, 1), changed))
    if house.upgrade_s:
        at = house.upgrade_s + 3600
        records.append((at, commission_values(seed, i, house, times_s, real, at, 1), "fan"))
    return records


def truth_of(house):
    point = lambda p: {name: getattr(p, name) for name in ("id", "quantity", "unit", "every_s", "hand")}
    fault = house.fault
    told = None
    if fault:
        names = ("kind", "onset_s", "grow_s", "repaired_s", "new_baseline", "branch", "point", "size",
                 "detail", "expert_s", "noticeable", "moved", "strength")  # fmt: skip
        told = {name: getattr(fault, name) for name in names}
    return {
        "id": house.id,
        "region": house.region.name,
        "foundation": house.foundation,
        "profile": house.profile,
        "start_s": house.start_s,
        "end_s": house.end_s,
        "every_s": house.every_s,
        "timed": house.timed,
        "branches": len(house.branches),
        "constant_pressure": house.branches[0].constant_pressure,
        "settle": [b.settle for b in house.branches],
        "gateway": house.gateway,
        "healthy": fault is None,
        "fault": told,
        "upgrade_s": house.upgrade_s,
        "water_limit_m": house.water_limit_m,
        "pauses": house.pauses,
        "gateway_outages": [] if house.keeps else house.gateway_outages,
        "point_outages": house.point_outages,
        "points": [point(p) for p in house.points],
    }


def truth_arrays(house, times_s, real):
    """Daily truth from the house's start, the lowest and highest hour of each day, radon by the hour."""
    per_day = int(86400 // (times_s[1] - times_s[0]))
    arrays = {"radon_h": real.radon_h.astype(np.float32), "radon_from_s": np.array([real.hours_s[0]])}
    for point in house.points:
        if point.quantity in ("radon", "battery", "humidity"):
            continue
        value = sensors.true_si(point, house, real, times_s)
        arrays["day/" + point.id] = faults.daily(value, per_day).astype(np.float32)
        hours = faults.daily(value, max(per_day // 24, 1))
        hours = hours[: hours.size // 24 * 24].reshape(-1, 24)
        arrays["low/" + point.id] = hours.min(axis=1).astype(np.float32)
        arrays["high/" + point.id] = hours.max(axis=1).astype(np.float32)
        if point.quantity == "field":
            share = faults.daily((value <= 0).astype(float), per_day)
            arrays["reversed/" + point.id] = share.astype(np.float32)
    for b, ground in enumerate(real.ground):
        arrays[f"ground/{b}"] = faults.daily(ground * np.ones(times_s.size), per_day).astype(np.float32)
    return {f"{house.id}/{name}": value for name, value in arrays.items()}


def write_fleet(arguments):
    folder, seed = arguments.folder, arguments.seed
    regions = draw_regions(seed, arguments.years)
    os.makedirs(folder, exist_ok=True)
    truths, arrays, rows, systems, records = [], {}, 0, [], {}
    with open(os.path.join(folder, "readings.csv"), "wb") as out:
        out.write(b"time,system,point,value,unit\n")
        for i in range(arguments.houses):
            house = draw_one(seed, i, regions, arguments)
            times_s, _, real = simulate(seed, i, house)
            lines = house_rows(seed, i, house, times_s, real)
            rows += lines.count(b"\n")
            out.write(lines)
            made = records_of(seed, i, house, times_s, real)
            records[house.id] = [writing.record_document(house, record) for record in made]
            systems.append(writing.system_document(house))
            truths.append(truth_of(house))
            arrays.update(truth_arrays(house, times_s, real))
    truth = {"seed": seed, "fleet": arguments.fleet, "years": arguments.years, "readings": rows}
    truth["houses"] = truths
    writing.write_json(os.path.join(folder, "truth.json"), truth)
    writing.write_json(os.path.join(folder, "systems.json"), {"systems": systems, "records": records})
    writing.write_systems(folder, systems, records)
    np.savez(os.path.join(folder, "truth.npz"), **arrays)
    return truth


def parser_of(description, kind="mixed", years=2.0):
    """With what every program that makes fleets is told of them."""
    parser = argparse.ArgumentParser(description=description, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--houses", type=int, default=60)
    parser.add_argument("--years", type=float, default=years)
    parser.add_argument("--fleet", choices=FLEETS, default=kind)
    parser.add_argument("--open-sealed", action="store_true")
    return parser


def parse(words=None):
    parser = parser_of(__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", required=True)
    arguments = parser.parse_args(words)
    refuse_sealed(parser, [arguments.seed], arguments.open_sealed)
    return arguments


def parse_seeds(parser):
    """Of a program that makes several fleets, one a seed."""
    parser.add_argument("--seeds", type=int, nargs="+", default=[1])
    arguments = parser.parse_args()
    refuse_sealed(parser, arguments.seeds, arguments.open_sealed)
    return arguments


def make(arguments, seed, folder):
    """The fleet of one of the seeds, into a folder."""
    words = ["--seed", str(seed), "--folder", folder, "--houses", str(arguments.houses)]
    words += ["--years", str(arguments.years), "--fleet", arguments.fleet]
    words += ["--open-sealed"] if arguments.open_sealed else []
    write_fleet(parse(words))


def refuse_sealed(parser, seeds, is_opened):
    """Who tunes against sealed seeds has none any more."""
    if max(seeds) > LAST_SEED_FOR_WORK and not is_opened:
        parser.error(f"seeds above {LAST_SEED_FOR_WORK} are sealed; --open-sealed opens them, once, when all work is done")


if __name__ == "__main__":
    made = write_fleet(parse())
    print(f"{len(made['houses'])} houses, {made['readings']} readings")
