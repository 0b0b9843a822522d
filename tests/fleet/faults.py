"""Faults of systems and instruments: how they grow, and the day from which somebody could know.

What a fault does is physics (houses.py) or what the instrument shows (spoil). Where sizes come from:
fan speed and power by the fan laws (AMCA 99); bearing friction, nests, silt, tears and worn joints:
common practice, no source; unit changes: all pairs of units that instruments for the quantity have.

The expert's day. Somebody who knows weather and house compares with the same house without the
fault (its twin: same weather, same people). A daily mean counts when it is off by 6 times its natural
scatter (the twin's daily means about their running 61-day mean, the instrument's noise and
resolution) and by twice the floor; a 7-day mean by 3 times and the floor. Floors: 5 % of suction, flow,
power; 30 % and 0.4 Pa of a field; half and 40 Bq/m3 of radon; 5 cm of water. Faults of instruments
have rules of their own below. A fault that never gets there before it is mended, or with less time
left than worth_d(), is not noticeable and is left out of the shares.
"""

from types import SimpleNamespace

import numpy as np

import sensors

DAY = 86400
# kind: (weight in a fleet, days of onset or None for a sudden one, needs)
KINDS = {
    "stopped-fan": (8, None, "system"),
    "worn-fan": (12, "all", "system"),
    "smaller-fan": (4, None, "system"),
    "leak": (7, (0, 60), "system"),
    "disconnected-riser": (4, None, "system"),
    "blocked-discharge": (6, (0, 25), "system"),
    "ice": (6, None, "system"),
    "blocked-before-fan": (8, (20, 250), "system"),
    "water": (12, (1, 20), "system"),
    "lost-hole": (6, (0, 90), "field"),
    "reversal": (4, None, "field"),
    "radon-entry": (6, (0, 60), "radon"),
    "bearing": (5, (10, 90), "power"),
    "membrane-tear": (12, (0, 10), "crawl"),
    "gauge-tube": (5, None, "suction"),
    "zero-drift": (6, (60, 500), "pressure"),
    "stuck": (4, None, "sensor"),
    "unit-change": (7, None, "sensor"),
    "dead-sensor": (5, None, "sensor"),
    "dead-gateway": (4, None, "sensor"),
}
PHYSICAL = {
    "stopped-fan", "worn-fan", "smaller-fan", "leak", "disconnected-riser", "blocked-discharge", "ice",
    "blocked-before-fan", "water", "lost-hole", "reversal", "radon-entry", "bearing", "membrane-tear",
}  # fmt: skip
GRADUAL = {"worn-fan", "blocked-before-fan", "zero-drift", "bearing"}


def worth_d(kind):
    return 30 if kind in GRADUAL else 3


def possible(kind, house, points):
    need = KINDS[kind][2]
    have = {p.quantity for p in points if not p.hand}
    if kind == "membrane-tear":
        return house.foundation == "crawl"
    if kind == "water":
        return house.foundation == "tile"
    if kind == "ice":
        return house.climate != "coast"
    return {
        "system": bool(have & {"suction", "airflow", "fan-power"}) or "radon" in have,
        "field": "field" in have,
        "radon": "radon" in have,
        "power": bool(have & {"fan-power", "fan-current"}),
        "suction": "suction" in have,
        "pressure": bool(have & {"suction", "field"}),
        "sensor": True,
        "crawl": True,
    }[need]


def draw_fault(rng, kind, house, points, begin_s, end_s):
    """One fault with size, onset and perhaps a repair; None when this house cannot have it."""
    if not possible(kind, house, points):
        return None
    span = end_s - begin_s
    onset = int(begin_s + rng.uniform(0.15, 0.75) * span)
    if kind in ("worn-fan", "zero-drift"):
        onset = int(begin_s + rng.uniform(0.0, 0.3) * span)
    length = KINDS[kind][1]
    grow_d = 0.0 if length is None or length == "all" else float(rng.uniform(*length))
    if grow_d < 2:
        grow_d = 0.0
    fault = SimpleNamespace(
        kind=kind,
        onset_s=onset,
        grow_s=int(grow_d * DAY),
        repaired_s=None,
        new_baseline=False,
        branch=int(rng.integers(len(house.branches))),
        point=None,
        size=float(rng.uniform(0, 1)),
        detail={},
    )
    if kind not in GRADUAL and rng.random() < 0.7 or kind in GRADUAL and rng.random() < 0.25:
        waits_d = rng.uniform(250, 500) if kind == "worn-fan" else rng.uniform(20, 120)
        repaired = onset + fault.grow_s + int(waits_d * DAY)
        if repaired < end_s - 20 * DAY:
            fault.repaired_s = repaired
            fault.new_baseline = kind in PHYSICAL and rng.random() < 0.5
    if kind == "ice":
        choose_winter(rng, fault, begin_s, end_s)
    choose_details(rng, fault, house, points)
    return fault if fault.detail is not None else None


def choose_winter(rng, fault, begin_s, end_s):
    """Ice comes with a winter and goes with it, and nobody measures anew for it."""
    year_s = sensors.YEAR_S
    december = (np.ceil((begin_s - 335 * DAY) / year_s)) * year_s + 335 * DAY
    if december + 120 * DAY + year_s < end_s and rng.random() < 0.5:
        december += year_s
    fault.onset_s = int(min(december + rng.uniform(0, 20) * DAY, end_s - 30 * DAY))
    fault.repaired_s = int(min(fault.onset_s + rng.uniform(70, 110) * DAY, end_s - DAY))
    fault.new_baseline = False


def choose_details(rng, fault, house, points):
    kind, detail = fault.kind, fault.detail
    here = [p for p in points if not p.hand]
    pressure = [p for p in here if p.quantity in ("suction", "field")]
    if kind == "worn-fan":
        detail["rate"] = float(np.exp(rng.uniform(np.log(0.03), np.log(0.25))))
        detail["lossy"] = bool(rng.random() < 0.5)
    elif kind == "stopped-fan":
        # a motor that is blocked or hums on draws power without turning
        detail["power_share"] = float(rng.uniform(0.4, 1.1)) if rng.random() < 0.3 else 0.0
    elif kind == "leak":
        detail["below_flow_sensor"] = house.flow_below_leak
    elif kind == "blocked-before-fan":
        detail["above_gauge"] = bool(rng.random() < 0.4)
    elif kind in ("lost-hole", "reversal"):
        chosen = rng.choice([p.id for p in here if p.quantity == "field"])
        fault.point = str(chosen)
        detail["hole"] = next(p.hole for p in here if p.id == fault.point)
        detail["hours"] = float(rng.uniform(6, 11))
        detail["from_h"] = int(rng.integers(0, 24))
    elif kind == "gauge-tube":
        fault.point = str(rng.choice([p.id for p in here if p.quantity == "suction"]))
    elif kind == "zero-drift":
        chosen = pressure[int(rng.integers(len(pressure)))]
        fault.point = chosen.id
        base = 40.0 if chosen.quantity == "suction" else 3.0
        detail["end_pa"] = float(rng.choice([-1, 1]) * base * np.exp(rng.uniform(-0.7, 1.0)))
    elif kind in ("stuck", "dead-sensor"):
        usable = [p for p in here if p.quantity not in ("battery", "humidity")]
        if not usable or (kind == "dead-sensor" and len(usable) < 2):
            fault.detail = None
            return
        fault.point = usable[int(rng.integers(len(usable)))].id
    elif kind == "unit-change":
        choose_unit(rng, fault, here)


def choose_unit(rng, fault, here):
    pairs = []
    for point in here:
        for unit in sensors.UNITS[point.quantity]:
            if unit != point.unit:
                pairs.append((point, unit))
    if not pairs:
        fault.detail = None
        return
    point, unit = pairs[int(rng.integers(len(pairs)))]
    fault.point = point.id
    fault.detail.update(declared=point.unit, sent=unit)


def ramp(fault, times_s):
    """0 before, 1 when grown, 0 after the repair."""
    if fault.grow_s:
        level = np.clip((times_s - fault.onset_s) / fault.grow_s, 0.0, 1.0)
    else:
        level = (times_s >= fault.onset_s).astype(float)
    if fault.repaired_s:
        level = np.where(times_s >= fault.repaired_s, 0.0, level)
    return level


def apply(fault, house, region, times_s, effects):
    """Puts a physical fault into effects (houses.no_effects)."""
    b, size, level = fault.branch, fault.size, ramp(fault, times_s)
    branch, detail = house.branches[b], fault.detail
    resistance = branch.pressure_max / branch.flow_max**2
    kind = fault.kind
    if kind == "stopped-fan":
        effects.dead[b] = level > 0
        effects.dead_power = detail["power_share"]
    elif kind == "worn-fan":
        years = np.maximum(times_s - fault.onset_s, 0) / sensors.YEAR_S * (level > 0)
        worn = np.minimum(detail["rate"] * years, 0.7)
        effects.speed[b] = 1.0 - worn
        if detail["lossy"]:
            effects.power[b] = 1.0 + 1.5 * worn
    elif kind == "smaller-fan":
        effects.fan_size[b] = np.where(level > 0, 0.72 - 0.4 * size, 1.0)
    elif kind in ("leak", "disconnected-riser"):
        per_root_pa = branch.flow_design / np.sqrt(branch.u_design)
        share = (0.15 + 1.6 * size**1.5) if kind == "leak" else 6.0 + 20.0 * size
        effects.leak_c[b] = level * per_root_pa * share
    elif kind == "blocked-discharge":
        effects.k3[b] = level * resistance * 2.0 * np.exp(4.0 * size)
    elif kind == "ice":
        cold = np.clip((-4.0 - region.at("outdoor_c", times_s - 6 * 3600)) / 6.0, 0.0, 1.0)
        effects.k3[b] = level * cold * resistance * (4.0 + 60.0 * size)
    elif kind == "blocked-before-fan":
        where = effects.k2 if detail["above_gauge"] else effects.k1
        where[b] = level**2 * resistance * 1.0 * np.exp(4.0 * size)
    else:
        apply_to_ground(fault, house, region, times_s, effects, level)


def apply_to_ground(fault, house, region, times_s, effects, level):
    b, size, detail = fault.branch, fault.size, fault.detail
    if fault.kind == "water":
        effects.ground[b] = 1.0 - level * (0.35 + 0.6 * size)
        # what is under water carries no suction any more
        for i, hole in enumerate(house.holes):
            if hole.branch == b:
                effects.extension[i] = 1.0 - level * (0.3 + 0.65 * size)
        effects.hidden_extension = 1.0 - level * (0.3 + 0.65 * size)
        effects.water_m = level * (0.1 + 0.3 * size)
    elif fault.kind == "lost-hole":
        effects.extension[detail["hole"]] = 1.0 - level * (0.4 + 0.6 * size)
        effects.hidden_extension = 1.0 - level * 0.4 * size
        effects.crack[house.holes[detail["hole"]].branch] = 1.0 + level * 0.3 * size
    elif fault.kind == "reversal":
        local = (times_s / 3600.0 - detail["from_h"]) % 24
        hole = house.holes[detail["hole"]]
        pull = (hole.design_pa * (1.2 + 1.2 * size) + 1.0) / (1 - hole.coupling)
        effects.extra_stack = level * (local < detail["hours"]) * min(pull, 60.0)
    elif fault.kind == "radon-entry":
        effects.bypass = level * (0.06 + 0.6 * size**1.5)
    elif fault.kind == "bearing":
        effects.power[b] = 1.0 + level * (0.15 + 0.9 * size)
        effects.speed[b] = 1.0 - 0.05 * level * size
    elif fault.kind == "membrane-tear":
        effects.crack[b] = 1.0 + level * (0.6 + 4.0 * size)
        effects.extension = [1.0 - level * (0.3 + 0.5 * size)] * len(house.holes)
        effects.hidden_extension = 1.0 - level * (0.3 + 0.5 * size)


def spoil(rng, fault, point, when_s, shown_si):
    """A fault of the instrument: (SI values, mask of those that are still sent, unit of the numbers)."""
    sent = np.ones(when_s.size, dtype=bool)
    level = ramp(fault, when_s)
    if fault.kind == "dead-gateway" or (fault.kind == "dead-sensor" and point.id == fault.point):
        return shown_si, level == 0, point.unit
    if point.id != fault.point:
        return shown_si, sent, point.unit
    if fault.kind == "gauge-tube":
        noise = 0.3 * point.grade * rng.standard_normal(when_s.size)
        shown_si = np.where(level > 0, noise, shown_si)
    elif fault.kind == "zero-drift":
        shown_si = shown_si + level * fault.detail["end_pa"]
    elif fault.kind == "stuck" and (level > 0).any():
        shown_si = np.where(level > 0, shown_si[np.argmax(level > 0)], shown_si)
    return shown_si, sent, point.unit


def running_mean(values, width):
    kernel = np.ones(width)
    return np.convolve(values, kernel, "same") / np.convolve(np.ones(values.size), kernel, "same")


def daily(values, per_day):
    whole = values.size // per_day * per_day
    return values[:whole].reshape(-1, per_day).mean(axis=1)


FLOOR = {"suction": 0.05, "airflow": 0.05, "velocity-pressure": 0.1, "fan-power": 0.05, "fan-current": 0.05}


def floor_si(point, usual):
    if point.quantity in FLOOR:
        return FLOOR[point.quantity] * abs(usual)
    return {"field": max(0.3 * abs(usual), 0.4), "radon": max(0.5 * usual, 40.0), "water-level": 0.05}[
        point.quantity
    ]


def effect_on_point(point, house, twin, real, times_s):
    """What a physical fault moves at a point: (daily means of the difference, natural scatter of a daily
    mean, floor, Unix time of the first day)."""
    if point.quantity == "radon":
        step, start = 3600, twin.hours_s[0]
        good, bad = twin.radon_h * point.share, real.radon_h * point.share
    else:
        step, start = times_s[1] - times_s[0], times_s[0]
        good = sensors.true_si(point, house, twin, times_s)
        bad = sensors.true_si(point, house, real, times_s)
    per_day = int(86400 // step)
    good, bad = daily(good, per_day), daily(bad, per_day)
    usual = float(np.median(good))
    scatter = np.std(good - running_mean(good, 61))
    if point.quantity == "radon":
        instrument = 0.15 * usual + 3.0
    else:
        n = max(86400 / point.every_s, 1.0)
        rounding = 0.3 * sensors.UNITS[point.quantity][point.unit] * 10.0**-point.decimals
        instrument = sensors.NOISE_SI[point.quantity] * point.grade / np.sqrt(n) + rounding
    return np.abs(bad - good), np.hypot(scatter, instrument), floor_si(point, usual), int(start)


def weekly(effect):
    return np.convolve(effect, np.ones(7) / 7)[: effect.size]


def expert_of_point(point, house, twin, real, times_s, fault):
    """First time at which this point gives a physical fault away, or None."""
    effect, scatter, floor, start = effect_on_point(point, house, twin, real, times_s)
    seen = (effect >= max(6 * scatter, 2 * floor)) | (weekly(effect) >= max(3 * scatter, floor))
    if fault.kind == "reversal" and point.quantity == "field" and point.id == fault.point:
        inwards = (sensors.true_si(point, house, real, times_s) <= 0).astype(float)
        seen = weekly(daily(inwards, int(86400 // (times_s[1] - times_s[0])))) >= 0.2
    first = int((fault.onset_s - start) // 86400)
    seen[: max(first, 0)] = False
    if not seen.any():
        return None
    day = int(np.argmax(seen))
    # a change that is plain at once is not kept waiting for the end of its day
    plain = effect[min(day + 1, effect.size - 1)] >= max(6 * scatter, 2 * floor)
    if day - first <= 1 and plain and not fault.grow_s and fault.kind not in ("ice", "reversal"):
        return int(fault.onset_s + max(2 * point.every_s, 1800))
    return int(start + (day + 1) * 86400)


def moved_points(fault, house, points, twin, real, times_s):
    """({point: Unix time from which a physical fault has moved it by a third of its floor}, strength: the
    largest weekly mean of all points in floors). Only messages about these points can be about the fault."""
    moved, strength = {}, 0.0
    for point in points:
        if point.quantity in FLOOR or point.quantity in ("field", "radon", "water-level"):
            effect, scatter, floor, start = effect_on_point(point, house, twin, real, times_s)
            days = np.flatnonzero(effect >= floor / 3)
            strength = max(strength, float(np.max(weekly(effect))) / max(floor, 3 * scatter))
            if days.size:
                moved[point.id] = max(int(start + days[0] * 86400), fault.onset_s)
    return moved, strength


def expert_of_instrument(fault, points, twin, house, times_s):
    kind = fault.kind
    fast = min(p.every_s for p in points)
    if kind == "dead-gateway":
        return fault.onset_s + max(3 * fast, 3600)
    point = next(p for p in points if p.id == fault.point)
    if kind == "dead-sensor":
        return fault.onset_s + max(3 * point.every_s, 7200)
    if kind == "stuck":
        return fault.onset_s + max(48 * 3600, 4 * point.every_s)
    if kind == "gauge-tube":
        return fault.onset_s + max(3 * point.every_s, 1800)
    if kind == "unit-change":
        return fault.onset_s + max(6 * 3600, 3 * point.every_s)
    usual = abs(float(np.median(sensors.true_si(point, house, twin, times_s))))
    needed = max(0.1 * usual, 6.0) if point.quantity == "suction" else max(0.5 * usual, 0.7)
    share = needed / abs(fault.detail["end_pa"])
    return int(fault.onset_s + share * fault.grow_s) if share <= 1 else None


def expert_day(fault, house, points, twin, real, times_s):
    """Unix time from which an expert with these sensors could know, or None."""
    if fault.kind not in PHYSICAL:
        return expert_of_instrument(fault, points, twin, house, times_s)
    days = []
    for point in points:
        if point.quantity in FLOOR or point.quantity in ("field", "radon", "water-level"):
            day = expert_of_point(point, house, twin, real, times_s, fault)
            if day is not None and point.hand:
                day += int(0.5 * point.every_s)
            if day is not None:
                days.append(day)
    return min(days) if days else None
