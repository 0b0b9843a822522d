"""What instruments and radios make of the truth of a house.

- A pressure transducer has noise, resolution, an error of span, a zero that wanders (random walk) and
  goes with temperature. Sizes as on data sheets of small transducers (common practice, no source).
- A radon monitor counts: a reading is a Poisson count over the interval divided by its sensitivity
  (0.03 to 0.6 counts an hour for each Bq/m3), plus its own background, behind a lag of an hour or
  two of the decay products; some show a mean of 12 or 24 h. ISO 11665-5 (from memory) on counting.
- Plain numbers get the time of arrival, some seconds late; timed ones have their own time. A timed
  gateway may keep what it could not send, so that a broken network leaves no gap.
- Radios lose packets alone and in bursts; points, gateways and the network of a region fall silent
  from minutes to weeks, log-uniform. One gateway in ten is bad and comes and goes.
"""

from types import SimpleNamespace

import numpy as np
from scipy.signal import lfilter


YEAR_S = 365.2425 * 86400
# SI of one unit; temperatures apart
UNITS = {
    "suction": {"Pa": 1.0, "inH2O": 249.08891, "mmH2O": 9.80665, "hPa": 100.0, "kPa": 1000.0},
    "field": {"Pa": 1.0, "inH2O": 249.08891, "mmH2O": 9.80665, "hPa": 100.0},
    "velocity-pressure": {"Pa": 1.0, "inH2O": 249.08891, "mmH2O": 9.80665},
    "airflow": {"cfm": 4.719474432e-4, "L/s": 1e-3, "m3/h": 1 / 3600.0},
    "fan-power": {"W": 1.0, "kW": 1000.0},
    "fan-current": {"A": 1.0, "mA": 1e-3},
    "radon": {"Bq/m3": 1.0, "pCi/L": 37.0},
    "indoor-temperature": {"degC": 1.0, "degF": 1.0},
    "outdoor-temperature": {"degC": 1.0, "degF": 1.0},
    "barometric-pressure": {"hPa": 100.0, "kPa": 1000.0, "inHg": 3386.389},
    "humidity": {"%": 1.0},
    "water-level": {"cm": 0.01, "in": 0.0254, "m": 1.0},
    "battery": {"%": 1.0},
}
DECLARED = {
    "suction": ["inH2O", "Pa", "Pa", "mmH2O", "hPa"],
    "field": ["Pa", "Pa", "Pa", "inH2O"],
    "velocity-pressure": ["Pa", "Pa", "inH2O"],
    "airflow": ["cfm", "cfm", "L/s", "m3/h"],
    "fan-power": ["W"],
    "fan-current": ["A", "mA"],
    "radon": ["pCi/L", "Bq/m3"],
    "indoor-temperature": ["degF", "degC"],
    "outdoor-temperature": ["degF", "degC"],
    "barometric-pressure": ["hPa", "inHg", "kPa"],
    "humidity": ["%"],
    "water-level": ["in", "cm"],
    "battery": ["%"],
}
# decimals that an instrument shows in a unit: fine, coarse
DECIMALS = {
    "inH2O": (3, 2),
    "Pa": (1, 0),
    "mmH2O": (2, 1),
    "hPa": (3, 2),
    "kPa": (4, 3),
    "cfm": (1, 0),
    "L/s": (2, 1),
    "m3/h": (1, 0),
    "W": (1, 0),
    "kW": (4, 3),
    "A": (3, 2),
    "mA": (0, 0),
    "Bq/m3": (0, 0),
    "pCi/L": (2, 1),
    "degC": (2, 1),
    "degF": (1, 0),
    "inHg": (2, 2),
    "%": (1, 0),
    "cm": (1, 0),
    "in": (2, 1),
    "m": (3, 2),
}


def to_unit(quantity, unit, si):
    if unit == "degF":
        return si * 1.8 + 32.0
    return si / UNITS[quantity][unit]


def new_point(rng, identity, quantity, every_s, quality, **where):
    unit = str(rng.choice(DECLARED[quantity]))
    coarse = rng.random() < {"good": 0.1, "fair": 0.4, "cheap": 0.7}[quality]
    decimals = DECIMALS[unit][1 if coarse else 0]
    if quantity in ("field", "velocity-pressure"):
        decimals = {"Pa": 2 if quality == "good" else 1, "inH2O": 4, "mmH2O": 3}[unit]
    grade = {"good": 0.4, "fair": 1.0, "cheap": 2.0}[quality]
    return SimpleNamespace(
        id=identity,
        quantity=quantity,
        unit=unit,
        decimals=decimals,
        every_s=every_s,
        grade=grade,
        span=rng.normal(0, 0.012 * grade),
        phase_s=int(rng.integers(0, min(every_s, 3600))),
        loss=rng.choice([0.0005, 0.003, 0.01, 0.03], p=[0.4, 0.3, 0.2, 0.1]),
        outages_a_year=rng.gamma(1.0, 0.6 * grade),
        hand=False,
        branch=where.get("branch"),
        hole=where.get("hole"),
        place=where.get("place"),
        share=where.get("share", 1.0),
    )


def draw_points(rng, house, profile, every_s):
    quality = str(rng.choice(["good", "fair", "cheap"], p=[0.3, 0.45, 0.25]))
    slow = max(every_s, 3600)
    add = lambda *a, **k: points.append(new_point(rng, *a, **k))
    points = []
    several = len(house.branches) > 1
    for b in range(len(house.branches)):
        tail = f"-{b + 1}" if several else ""
        if profile == "radon":
            break
        add("suction" + tail, "suction", every_s, quality, branch=b)
        if profile == "full":
            flow = "airflow" if rng.random() < 0.55 else "velocity-pressure"
            add(("flow" if flow == "airflow" else "pitot") + tail, flow, every_s, quality, branch=b)
        if profile in ("full", "power"):
            power = "fan-power" if rng.random() < 0.8 else "fan-current"
            add("power" + tail, power, every_s, quality, branch=b)
    if profile in ("full", "field"):
        for i in range(int(rng.integers(1, 4))):
            add(f"hole-{i + 1}", "field", every_s, "fair" if quality == "cheap" else quality, hole=i)
    if profile != "suction" or rng.random() < 0.6:
        add("radon", "radon", slow, quality, place="basement")
        if rng.random() < 0.15:
            add("radon-2", "radon", slow, quality, place="living room", share=rng.uniform(0.45, 0.85))
    for name, quantity, chance in (
        ("outdoors", "outdoor-temperature", 0.4),
        ("indoors", "indoor-temperature", 0.2),
        ("barometer", "barometric-pressure", 0.12),
        ("battery", "battery", 0.15),
    ):
        if rng.random() < chance and profile != "hand":
            add(name, quantity, slow, quality)
    if house.foundation == "tile" and rng.random() < 0.6 and profile in ("full", "field", "power"):
        add("sump", "water-level", every_s, quality)
    if profile == "hand":
        for point in points:
            if point.quantity == "suction":
                point.hand, point.every_s, point.unit, point.decimals = True, 183 * 86400, "inH2O", 1
    return points


def true_si(point, house, result, times_s):
    """The quantity at base steps (hours for radon)."""
    b = point.branch
    if point.quantity == "suction":
        return result.suction[b]
    if point.quantity in ("airflow", "velocity-pressure"):
        flow = result.flow[b] if house.flow_below_leak else result.fan_flow[b]
        if point.quantity == "airflow":
            return flow
        area = {"3.042 in": 0.00468895, "3.998 in": 0.00809921}[house.branches[b].pipe]
        centre = flow / area / 0.9
        return 0.5 * 1.2 * result.air.density_factor * centre * np.abs(centre)
    if point.quantity == "fan-power":
        return result.power[b]
    if point.quantity == "fan-current":
        return result.power[b] / (120.0 * 0.75)
    if point.quantity == "field":
        return result.field[point.hole]
    if point.quantity == "outdoor-temperature":
        return result.air.outdoor_c
    if point.quantity == "indoor-temperature":
        return result.air.indoor_c
    if point.quantity == "barometric-pressure":
        return result.air.pressure_pa
    if point.quantity == "water-level":
        return result.water_m
    return np.full(times_s.size, 90.0) - 10.0 * (times_s - times_s[0]) / YEAR_S  # battery


NOISE_SI = {
    "suction": 1.0,
    "field": 0.12,
    "velocity-pressure": 0.15,
    "airflow": 3e-4,
    "fan-power": 0.15,
    "fan-current": 0.003,
    "indoor-temperature": 0.1,
    "outdoor-temperature": 0.15,
    "barometric-pressure": 15.0,
    "humidity": 1.0,
    "water-level": 0.004,
    "battery": 0.3,
}


def count_radon(rng, point, house, result, when_s):
    """Monitor's values in Bq/m3 at when_s."""
    sensitivity = np.exp(rng.uniform(np.log(0.03), np.log(0.6)))
    background, factor = rng.gamma(1.2, 2.5), rng.normal(1.0, 0.07)
    room = result.radon_h * point.share
    lag_h = rng.uniform(0.5, 2.0)
    keep = np.exp(-1.0 / lag_h)
    behind = lfilter([1 - keep], [1, -keep], room, zi=[keep * room[0]])[0]
    counts = rng.poisson(np.maximum(behind * factor + background, 0.0) * sensitivity)
    shown = counts / sensitivity
    window = int(rng.choice([1, 12, 24], p=[0.6, 0.2, 0.2]))
    if point.every_s >= 86400 // 2:
        window = 24
    if window > 1:
        total = np.concatenate([np.zeros(1), np.cumsum(shown)])
        index = np.arange(1, shown.size + 1)
        first = np.maximum(index - window, 0)
        shown = (total[index] - total[first]) / (index - first)
    index = np.clip((when_s - result.hours_s[0]) // 3600 - 1, 0, shown.size - 1).astype(int)
    return shown[index]


def wander(rng, when_s, times_s, yearly):
    """A random walk by the day, with the standard deviation yearly after a year."""
    days = np.arange(0, (times_s[-1] - times_s[0]) // 86400 + 2)
    walk = np.cumsum(rng.standard_normal(days.size)) * yearly / np.sqrt(365.0)
    return np.interp((when_s - times_s[0]) / 86400.0, days, walk)


def take_readings(rng, point, house, result, times_s, when_s):
    """What the instrument shows, in SI, before faults of its own and before rounding."""
    if point.quantity == "radon":
        return count_radon(rng, point, house, result, when_s)
    step = times_s[1] - times_s[0]
    index = np.clip((when_s - times_s[0]) // step, 0, times_s.size - 1).astype(int)
    value = true_si(point, house, result, times_s)[index]
    noise = NOISE_SI[point.quantity] * point.grade * rng.uniform(0.5, 1.5)
    span = np.full(when_s.size, 1 + point.span)
    if rng.random() < 0.08:  # exchanged for another of its kind, without a word
        span[when_s > rng.uniform(when_s[0], when_s[-1])] = 1 + rng.normal(0, 0.012 * point.grade)
    # dust on a flow probe, ageing of a bridge
    yearly = {"airflow": 0.02, "velocity-pressure": 0.01, "suction": 0.004, "field": 0.004}
    if point.quantity in yearly:
        span = span + wander(rng, when_s, times_s, yearly[point.quantity] * point.grade)
    shown = value * span + noise * rng.standard_normal(when_s.size)
    if point.quantity in ("suction", "field", "velocity-pressure"):
        auto_zero = rng.random() < 0.4
        yearly = {"suction": 1.0, "field": 0.18, "velocity-pressure": 0.15}[point.quantity] * point.grade
        if not auto_zero:
            shown = shown + wander(rng, when_s, times_s, yearly)
            per_k = {"suction": 0.1, "field": 0.012, "velocity-pressure": 0.012}[point.quantity]
            shown = shown + rng.normal(0, per_k) * point.grade * (result.air.indoor_c[index] - 20.0)
    return shown


def spans(rng, begin_s, end_s, a_year, shortest_s, longest_s):
    """Outages: log-uniform lengths at Poisson times."""
    count = rng.poisson(a_year * (end_s - begin_s) / YEAR_S)
    starts = np.sort(rng.uniform(begin_s, end_s, count))
    lengths = np.exp(rng.uniform(np.log(shortest_s), np.log(longest_s), count))
    return [(float(a), float(min(a + b, end_s))) for a, b in zip(starts, lengths)]


def draw_gateway(rng, begin_s, end_s):
    """(kind, outages of the gateway, whether it keeps what it could not send)."""
    kind = str(rng.choice(["good", "fair", "bad"], p=[0.65, 0.25, 0.1]))
    if kind == "bad":
        outages = spans(rng, begin_s, end_s, rng.uniform(15, 40), 1200, 12 * 3600)
    else:
        outages = spans(rng, begin_s, end_s, {"good": 1.2, "fair": 5.0}[kind], 300, 14 * 86400)
    return kind, outages, rng.random() < 0.15


def outside(when_s, outages):
    """Mask of the times that lie in no outage."""
    kept = np.ones(when_s.size, dtype=bool)
    if outages:
        edges = np.array(outages)
        order = np.argsort(edges[:, 0])
        starts = edges[order, 0]
        ends = np.maximum.accumulate(edges[order, 1])
        last = np.searchsorted(starts, when_s, side="right") - 1
        kept = (last < 0) | (when_s >= ends[np.maximum(last, 0)])
    return kept


def radio_keeps(rng, point, when_s):
    """Packets that arrive: single losses and bursts of minutes to two hours."""
    kept = rng.random(when_s.size) >= point.loss
    bursts = spans(rng, when_s[0], when_s[-1] + 1, 500 * point.loss, 300, 7200)
    return kept & outside(when_s, bursts)


def report_times(rng, point, begin_s, end_s, timed):
    if point.hand:
        count = int((end_s - begin_s) // point.every_s)
        regular = begin_s + (np.arange(count) + 0.45) * point.every_s
        return (regular + rng.uniform(-25, 25, count) * 86400).astype(np.int64)
    when = np.arange(begin_s + point.phase_s, end_s, point.every_s, dtype=np.int64)
    if not timed:
        when = when + np.minimum(rng.exponential(2.0, when.size), point.every_s / 4).astype(np.int64)
    return when
