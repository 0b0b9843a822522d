"""fleet_years: an invented fleet of houses over years, with faults, as files that replay reads.

Written apart from the program's own models: fan, soil and pipe are solved for every hour by
bisection, weather, people, sensors and troubles are drawn at random. The same seed gives the same
fleet. The laws: fan pressure s^2 rho p0 (1 - (q/s/q0)^bend); soil R q^n and pipe P q^2 in series, a
leak L p^0.55 beside them; power s^3 rho (1 + slope (x - 1)). Amounts are common practice, no
source, unless a line says otherwise.

    fleet = Fleet(seed, houses=60, years=2)
    fleet.write(folder)          # settings, systems/, records/, readings.csv
    fleet.houses[i].faults       # what was done to it, and when
    fleet.explains(alarm)        # does anything that was done explain it?
"""
import os
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone

import numpy as np

DAY, HOUR, STEP = 86400, 3600, 600
EPOCH = datetime(1970, 1, 1, tzinfo=timezone.utc)
INCH = 249.08891  # Pa per inH2O at 4 degC, NIST SP 811
ZONES = ("America/Denver", "America/New_York", "Europe/Berlin", "UTC", "America/Chicago")
SENSORS = (("suction",), ("suction", "power"), ("suction", "power", "radon"),
           ("suction", "flow", "power"), ("suction", "flow", "power", "radon", "outdoor"),
           ("suction", "hole-1", "radon"), ("suction", "flow", "power", "hole-1", "hole-2"),
           ("suction", "power", "outdoor"), ("suction", "flow"), ("suction", "outdoor", "radon"))
QUANTITY = {"suction": "suction", "flow": "airflow", "power": "fan-power", "radon": "radon",
            "outdoor": "outdoor-temperature", "hole-1": "field", "hole-2": "field",
            "pitot": "velocity-pressure"}

# What each trouble may rightly raise, and the cause that is right.
FAULTS = {
    "fan-stop": ({"fan-stopped", "suction-lost", "suction-low", "field-weak", "fan-weak",
                  "ground-changed", "radon-high", "radon-rising", "radon-above-action"}, "fan-off"),
    "wear": ({"suction-fading", "fan-weak", "fan-fading", "suction-low", "field-weak", "radon-rising"},
             "fan-worn"),
    "leak": ({"suction-low", "suction-lost", "ground-changed", "field-weak", "suction-fading",
              "radon-rising", "radon-high", "radon-above-action"}, "leak"),
    "water": ({"suction-high", "ground-changed", "field-weak", "radon-rising", "radon-high",
               "radon-above-action"}, "blocked-before-fan"),
    "discharge": ({"suction-low", "suction-lost", "fan-weak", "field-weak", "suction-fading",
                   "radon-rising", "radon-high", "radon-above-action"}, "blocked-discharge"),
    "tube": ({"suction-lost", "suction-low", "fan-weak", "ground-changed", "suction-fading"}, "gauge-tube"),
    "field-lost": ({"field-weak", "radon-rising"}, "field-lost"),
    "entry": ({"radon-high", "radon-rising", "radon-above-action"}, "radon-entry"),
    "units": ({"sensor-implausible", "sensor-silent", "suction-high", "suction-low", "suction-lost",
               "ground-changed", "fan-weak", "suction-fading"}, "unit-mix-up"),
    "stuck": ({"sensor-stuck"}, None),
}
SILENCE = {"sensor-silent", "system-silent", "fleet-silent"}
STOP = {"fan-stopped", "suction-lost", "suction-low", "field-weak"}


@dataclass
class Trouble:
    kind: str
    begin: float  # days since the fleet's start
    end: float    # days; inf: for good
    degree: float = 0.0
    point: str = ""


@dataclass
class House:
    ident: str
    sensors: tuple
    zone: str
    commissioned: int  # days since the fleet's start
    faults: list = field(default_factory=list)
    outages: list = field(default_factory=list)  # (kind, begin, end) in days
    curve: list = None
    exponent: float = None
    record: dict = None
    units: dict = None
    truth: dict = None


def stamps(seconds):
    """b'2024-02-29T23:50:00Z' of seconds since 1970, as one array of bytes."""
    text = np.datetime_as_string(seconds.astype("datetime64[s]"), unit="s")
    return np.char.add(text, "Z").astype("S20")


class Sky:
    """Weather of the region: outdoor temperature and wind, by steps."""

    def __init__(self, random, start, days):
        self.steps = days * DAY // STEP
        at = np.arange(self.steps) * (STEP / DAY)
        of_year = 2 * np.pi * (at + (start - datetime(start.year, 1, 1, tzinfo=timezone.utc)).days
                               - 18) / 365.2425
        mean, swing = random.uniform(5, 13), random.uniform(8, 14)
        front = filtered(random, self.steps, 3 * DAY / STEP) * random.uniform(3, 5)
        self.celsius = mean - swing * np.cos(of_year) - 4 * np.cos(2 * np.pi * at) + front
        gust = filtered(random, self.steps, 0.4 * DAY / STEP)
        self.wind_m_s = np.exp(0.9 + 0.6 * gust)
        self.season = np.cos(of_year)  # 1 in mid-winter


def filtered(random, n, memory):
    """AR(1) of standard deviation 1 with so many steps of memory."""
    from scipy.signal import lfilter
    keep = np.exp(-1 / memory)
    return lfilter([np.sqrt(1 - keep * keep)], [1, -keep],
                   np.concatenate([[random.normal() / np.sqrt(1 - keep * keep)],
                                   random.normal(size=n - 1)]))


class Air:
    """The fan and what it pulls on."""

    def __init__(self, random):
        self.p0, self.q0 = random.uniform(280, 950), random.uniform(0.03, 0.12)
        self.bend, self.n = random.uniform(1.3, 2.8), random.uniform(1.0, 1.8)
        q = self.q0 * random.uniform(0.25, 0.75)
        p = self.p0 * (1 - (q / self.q0) ** self.bend)
        share = random.uniform(0.05, 0.25)
        self.pipe, self.soil = share * p / q ** 2, (1 - share) * p / q ** self.n
        self.q, self.p = q, p
        self.power, self.slope = random.uniform(15, 85), random.uniform(0.1, 0.7)

    def soil_flow(self, p, soil, block):
        low, high = np.zeros_like(p), np.full_like(p, 2 * self.q0)
        for _ in range(40):
            q = (low + high) / 2
            below = soil * q ** self.n + (self.pipe + block) * q * q < p
            low, high = np.where(below, q, low), np.where(below, high, q)
        return (low + high) / 2

    def solve(self, speed, soil_factor, leak, block, discharge, density):
        """suction, flow, power, drop over the soil; arrays."""
        squared = self.p / self.q ** 2
        soil, block, discharge = self.soil * soil_factor, block * squared, discharge * squared
        leak = leak * self.q / self.p ** 0.55
        low, high = np.zeros_like(speed), np.full_like(speed, self.p0 * 1.3)
        for _ in range(40):
            p = (low + high) / 2
            inner = self.soil_flow(p, soil, block)
            q = inner + leak * p ** 0.55
            fan = speed ** 2 * density * self.p0 * (1 - (q / np.maximum(speed, 1e-6) / self.q0) **
                                                    self.bend)
            more = fan > p + discharge * q * q
            low, high = np.where(more, p, low), np.where(more, high, p)
        x = q / np.maximum(speed, 1e-6) / self.q
        power = self.power * speed ** 3 * density * np.maximum(0.1, 1 + self.slope * (x - 1))
        return p, q, power, soil * inner ** self.n


class Fleet:
    def __init__(self, seed, houses=60, years=2, faulty=0.5, kinds=None, sensors=None, start=None):
        self.seed, self.random = seed, np.random.default_rng(seed)
        self.start = start or datetime(2023, 1, 1, tzinfo=timezone.utc) + timedelta(
            days=int(self.random.integers(0, 365)))
        self.days = int(years * 365.2425) + 1
        self.begin_s = int((self.start - EPOCH).total_seconds())
        self.sky = Sky(self.random, self.start, self.days)
        self.regional = self.draw_times(self.days / 365 * 1.0, 0.02, 0.3)
        kinds = kinds or [k for k in FAULTS if k != "stuck"]
        self.houses = [self.make_house(i, kinds, faulty, sensors or SENSORS)
                       for i in range(houses)]

    def draw_times(self, count, least, most):
        """(begin, end) in days, so many on average, with log-uniform lengths."""
        number = self.random.poisson(count)
        begins = np.sort(self.random.uniform(3, self.days - 1, number))
        spans = np.exp(self.random.uniform(np.log(least), np.log(most), number))
        return [(b, b + s) for b, s in zip(begins, spans)]

    def make_house(self, i, kinds, faulty, sensors):
        random = self.random
        house = House(f"h{i:03d}", sensors[i % len(sensors)], ZONES[int(random.integers(len(ZONES)))],
                      0)
        years = self.days / 365
        house.outages += [("power cut", b, e) for b, e in self.draw_times(years * 2, 0.002, 0.25)]
        house.outages += [("gateway", b, e) for b, e in self.draw_times(years * 2, 0.01, 0.6)]
        house.outages += [("region", b, e) for b, e in self.regional]
        if i < faulty * 1e9 and random.uniform() < faulty:
            kind = kinds[int(random.integers(len(kinds)))]
            self.add_fault(house, kind)
        return house

    def add_fault(self, house, kind):
        random = self.random
        needs = {"field-lost": "hole-1", "entry": "radon"}
        if kind in needs and needs[kind] not in house.sensors:
            kind = "wear"
        begin = random.uniform(0.2 * self.days, 0.65 * self.days)
        if kind == "fan-stop":
            trouble = Trouble(kind, begin, begin + random.uniform(1, 10))
        else:
            spans = {"wear": (0.10, 0.10), "leak": (1.5, 6), "water": (3, 40),
                     "discharge": (1.5, 30), "tube": (0, 0.04), "field-lost": (0, 0.25),
                     "entry": (3, 8), "units": (0, 0)}
            trouble = Trouble(kind, begin, np.inf, random.uniform(*spans[kind]))
        house.faults.append(trouble)

    # ---- one house's readings ----

    def measure(self, house):
        """{point: (seconds, values in the sensor's unit)}; sets the house's record and units."""
        random, sky, air = np.random.default_rng([self.seed, int(house.ident[1:])]), self.sky, None
        air, n = Air(random), sky.steps
        at = np.arange(n) * (STEP / DAY)
        hours = np.arange(0, n, HOUR // STEP)
        celsius = sky.celsius + random.normal() * 1.0
        # Wet soil lets less air through; it is wettest in late winter. A random part besides.
        wet = random.uniform(0, 0.15) * np.roll(sky.season, int(30 * DAY / STEP))
        wet = wet + 0.03 * filtered(random, n, 20 * DAY / STEP)
        density = 1 - 0.15 * (celsius - 10) / 283  # pipe through the house: air takes on a part
        line = 1 + 0.006 * filtered(random, n, 0.3 * DAY / STEP)  # line voltage
        speed, leak, block, discharge = line.copy(), np.zeros(n), np.zeros(n), np.zeros(n)
        field_left, entry = np.ones(n), np.ones(n)
        gauge = np.ones(n)
        for t in house.faults:
            on = (at >= t.begin) & (at < t.end)
            if t.kind == "fan-stop":
                speed[on] = 0
            elif t.kind == "wear":
                speed[on] *= np.maximum(0.4, 1 - t.degree * (at[on] - t.begin) / 365.2425)
            elif t.kind == "leak":
                leak[on] = t.degree
            elif t.kind == "water":
                block[on] = t.degree
            elif t.kind == "discharge":
                discharge[on] = t.degree
            elif t.kind == "field-lost":
                field_left[on] = t.degree
            elif t.kind == "entry":
                entry[on] = t.degree
            elif t.kind == "tube":
                gauge[on] = t.degree
        pick = lambda x: x[hours]  # noqa: E731
        solved = air.solve(np.maximum(pick(speed), 1e-3), np.exp(pick(wet)), pick(leak),
                           pick(block), pick(discharge), pick(density))
        suction, flow, power, drop = (np.repeat(x, HOUR // STEP)[:n] for x in solved)
        off = speed == 0
        for kind, b, e in house.outages:
            if kind == "power cut":
                off |= (at >= b) & (at < e)
        suction, flow, power, drop = (np.where(off, 0.0, x) for x in (suction, flow, power, drop))
        house.truth = {"suction": suction, "flow": flow, "off": off, "speed": speed}
        wind_pa = 0.05 * sky.wind_m_s ** 2
        people = np.repeat(random.uniform(size=(n + 5) // 6) < 0.06, 6)[:n] * 3.0  # exhaust fans
        stack_pa = 0.04 * 2.0 * (20 - celsius) - 0.8  # 0.04 Pa/(m K); 2 m; nothing at 10 degC
        values = {"suction": suction * gauge, "flow": flow, "power": power}
        for k, name in enumerate(("hole-1", "hole-2")):
            want = random.uniform(8, 35)
            left = field_left if k == 0 else 1.0
            values[name] = want * left * drop / (air.soil * air.q ** air.n) - wind_pa * (
                random.uniform(0.1, 0.5)) - people - stack_pa * random.uniform(0.2, 0.6)
        values["outdoor"] = celsius
        values["radon"] = self.radon(random, celsius, off, values["hole-1"], entry, at)
        return self.sense(house, random, values, at, air)

    def radon(self, random, celsius, off, hole, entry, at):
        """Bq/m3 in the room: first-order with air exchange, Poisson counts of a monitor per hour."""
        n = len(at)
        base = random.uniform(20, 70)
        slow = 0.3 * filtered(random, n, 2.5 * DAY / STEP) + 0.12 * self.sky.season
        day = 0.25 * np.cos(2 * np.pi * (at - 0.25))
        windows = (celsius > 14) & (celsius < 26) & (np.repeat(
            random.uniform(size=n // 36 + 1), 36)[:n] < 0.3)
        level = base * np.exp(slow + day) * np.where(windows, 0.5, 1.0) * entry
        level = level * np.where(off, 4.0, 1.0)
        from scipy.signal import lfilter
        keep = np.exp(-1 / (4 * HOUR / STEP))
        return lfilter([1 - keep], [1, -keep], level - level[0]) + level[0]

    def sense(self, house, random, values, at, air):
        n, result, other = len(at), {}, {"suction": 0.02, "flow": 0.05, "power": 0.02, "hole-1": 0.05,
                                        "hole-2": 0.05}
        house.units, house.record = {}, {}
        quiet = np.zeros(n, bool)
        for kind, b, e in house.outages:
            if kind in ("gateway", "region"):
                quiet |= (at >= b) & (at < e)
        first = slice(0, DAY // STEP // 4)  # the instrument of commissioning, over some hours
        swap = next((t for t in house.faults if t.kind == "units"), None)
        for name in house.sensors:
            unit, scale, steps = random.choice(np.array(self.displays(name), dtype=object))
            noise = {"suction": 0.3 + 0.004 * air.p, "flow": 0.015 * air.q, "power": 0.004 * air.power,
                     "outdoor": 0.2}.get(name, 0.4) * random.uniform(0.3, 2.0)
            value = values[name]
            own = 1 + other.get(name, 0) / 2 * random.normal()
            if name in ("suction", "power", "flow", "hole-1", "hole-2"):
                hand = 1 + np.clip(random.normal(), -2, 2) * other[name]
                house.record[name] = float(np.mean(value[first]) * hand)
            if name == "radon":
                every = HOUR
                mean = value[::HOUR // STEP]
                seen = random.poisson(mean * 0.25) / 0.25  # counts per Bq/m3 and hour
                when = np.arange(len(mean)) * (HOUR // STEP)
            else:
                every = STEP
                when = np.arange(n)
                seen = value * own + noise * random.normal(size=n)
                if name in ("power", "flow"):
                    seen = np.maximum(seen, 0)
            shown = np.round(seen / scale / steps) * steps
            if swap and name == "suction":
                # a new gauge that sends another unit
                wrong = {"Pa": 1 / INCH, "inH2O": INCH, "hPa": 100.0}[unit]
                late = at[when] >= swap.begin
                shown = np.where(late, np.round(seen / scale * wrong, 3), shown)
            kept = ~quiet[when] & (random.uniform(size=len(when)) > random.uniform(0, 0.03))
            # a sensor of its own that goes to sleep for some hours
            for b, e in [(b, b + s) for b, s in zip(random.uniform(3, self.days, 2),
                                                    random.uniform(0.02, 0.4, 2))]:
                kept &= ~((at[when] >= b) & (at[when] < e))
                house.outages.append((name, b, e))
            # sensors report at their own second of the interval
            seconds = self.begin_s + when * STEP + int(random.integers(0, every // 2))
            gaps = np.flatnonzero(np.diff(when[kept]) * STEP >= max(3 * every, 1800))
            for gap in gaps:  # dropouts that happen to follow each other
                house.outages.append((name, at[when[kept][gap]], at[when[kept][gap + 1]]))
            house.units[name] = (unit, every)
            result[name] = (seconds[kept], shown[kept], steps if not swap or name != "suction"
                            else min(steps, 0.001))
        house.exponent = round(air.n, 2) if random.uniform() < 0.4 else None
        if "flow" in house.sensors and random.uniform() < 0.6:
            off = 1 + 0.02 * random.normal()
            q = np.linspace(0, air.q0, 9)
            house.curve = [(a, b) for a, b in zip(q, off * air.p0 * (1 - (q / air.q0) ** air.bend))]
        return result

    @staticmethod
    def displays(name):
        """(unit, SI per unit, step of the display)"""
        return {"suction": [("Pa", 1.0, 0.1), ("Pa", 1.0, 1.0), ("inH2O", INCH, 0.01),
                            ("inH2O", INCH, 0.001), ("hPa", 100.0, 0.01)],
                "flow": [("m3/s", 1.0, 1e-5), ("cfm", 0.00047194745, 0.1)],
                "power": [("W", 1.0, 0.1), ("W", 1.0, 1.0)],
                "radon": [("Bq/m3", 1.0, 1.0), ("pCi/L", 37.0, 0.1)],
                "outdoor": [("degC", 1.0, 0.1)]}.get(name, [("Pa", 1.0, 0.1), ("Pa", 1.0, 0.01)])

    # ---- files ----

    def system_text(self, house):
        text = f"id: {house.ident}\ntime_zone: {house.zone}\n"
        if house.curve:
            text += "fan: {curve: [" + ", ".join(f"[{q:.5f} m3/s, {p:.1f} Pa]"
                                                 for q, p in house.curve) + "]}\n"
        text += "points:\n"
        for name in house.sensors:
            unit, every = house.units[name]
            text += (f"  - {{id: {name}, quantity: {QUANTITY[name]}, unit: {unit}, "
                     f"every: {every // 60} min}}\n")
        return text

    def record_text(self, house):
        units = {"suction": "Pa", "flow": "m3/s", "power": "W"}
        date = (self.start + timedelta(days=house.commissioned)).date()
        text = f"date: {date}\nby: the installer\n"
        if house.exponent:
            text += f"ground_exponent: {house.exponent}\n"
        return text + "points: {" + ", ".join(
            f"{k}: {v:.6g} {units.get(k, 'Pa')}" for k, v in house.record.items()) + "}\n"

    def write(self, folder):
        """Writes all; returns the number of readings."""
        for sub in ("systems", "records"):
            os.makedirs(os.path.join(folder, sub), exist_ok=True)
        count = 0
        with open(os.path.join(folder, "readings.csv"), "wb") as csv:
            csv.write(b"time,system,point,value,unit\n")
            for house in self.houses:
                for name, (seconds, values, step) in self.measure(house).items():
                    csv.write(rows_bytes(seconds, house.ident, name, values, step))
                    count += len(seconds)
                for sub, text in (("systems", self.system_text(house)),
                                  ("records", self.record_text(house))):
                    with open(os.path.join(folder, sub, house.ident + ".yaml"), "w",
                              encoding="utf-8") as file:
                        file.write(text)
        with open(os.path.join(folder, "settings.yaml"), "w", encoding="utf-8") as file:
            file.write("systems: systems/\nunits: si\n")
        return count

    # ---- the truth ----

    def explains(self, house, condition, day, settle=9.0):
        """What explains an alarm told on a day; None: nothing does. `settle`: a daily finding rests
        on 7 days, and so does its delay."""
        if condition in ("retest-due", "visit-due", "calibration-due"):
            return "date"
        if condition == "fleet-silent":
            return "region" if any(b - 0.01 <= day <= e + 0.3 for b, e in self.regional) else None
        for t in house.faults:
            if condition in FAULTS[t.kind][0] and t.begin - 0.01 <= day <= t.end + settle:
                return t.kind
        for kind, b, e in house.outages:
            if condition in SILENCE and b - 0.05 <= day <= e + 0.2:
                return kind
            if kind == "power cut" and condition in STOP and b - 0.05 <= day <= e + 0.2:
                return kind
        return None


def rows_bytes(seconds, system, point, values, step):
    """CSV lines with the point's own unit; text is made once a distinct value."""
    digits = max(0, int(np.ceil(-np.log10(step) - 1e-9)))
    distinct, where = np.unique(values, return_inverse=True)
    text = np.array([f"{v:.{digits}f}" for v in distinct]).astype("S")
    width = text.dtype.itemsize
    middle = f",{system},{point},".encode()
    rows = np.zeros((len(seconds), 20 + len(middle) + width + 2), np.uint8)
    rows[:, :20] = stamps(seconds).view(np.uint8).reshape(-1, 20)
    rows[:, 20:20 + len(middle)] = np.frombuffer(middle, np.uint8)
    rows[:, 20 + len(middle):-2] = text[where].view(np.uint8).reshape(-1, width)
    rows[:, -2:] = np.frombuffer(b",\n", np.uint8)
    flat = rows.reshape(-1)
    return flat[flat != 0].tobytes()
