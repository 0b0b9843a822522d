"""lived_fleet: the history of a large fleet as CSV, made as fast as it is read. Some dozens of houses
are drawn at random; each system gets the text of one of them under its own name.

    fleet = LivedFleet(seed, systems=10_000, days=45, faulty=300, end_ms=now_ms())
    fleet.systems           # system files; fleet.record: the commissioning record of each
    for text in fleet.csv(): …  # by days, as what keeps a fleet writes it

Hourly readings of four points, at the house's own minute. Values are invented; amounts are common
practice, no source. A faulty house has a fan that stops, suction that falls, radon that stays high,
or a sensor that dies, in its second half.
"""
from datetime import datetime, timezone

import numpy as np

from harness import point, system

HOUR, DAY = 3_600_000, 86_400_000
POINTS = (("suction", "suction", "Pa", 0.01), ("hole-1", "field", "Pa", 0.03),
          ("fan-power", "fan-power", "W", 0.005), ("radon", "radon", "Bq/m3", 0.25))
LEVELS = {"suction": 280.0, "hole-1": 8.0, "fan-power": 21.0, "radon": 45.0}
FAULTS = ("fan", "falling", "radon", "dead")
HEALTHY_KINDS, FAULTY_KINDS = 48, 12
NAME = b"@"  # in the place of the system's


def instant(time_ms):
    return f"{datetime.fromtimestamp(time_ms // 1000, timezone.utc):%Y-%m-%dT%H:%M:%SZ}"


def values_of(random, name, scatter, fault, hours):
    """Of one point, hour by hour; NaN: the sensor said nothing."""
    value = LEVELS[name] * np.clip(1 + scatter * random.standard_normal(hours), 0.05, None)
    since = np.arange(hours) - int(hours * random.uniform(0.5, 0.9))
    if fault == "fan" and name != "radon":
        value[since >= 0] *= 0.01
    if fault == "falling" and name in ("suction", "hole-1"):
        value *= 1 - 0.5 * np.clip(since, 0, None) / hours
    if fault in ("radon", "fan") and name == "radon":
        value[since >= 0] *= 6
    if fault == "dead" and name == "suction":
        value[since >= 0] = np.nan
    return value


class LivedFleet:
    def __init__(self, seed, systems, days, faulty, end_ms):
        self.random = np.random.default_rng(seed)
        self.count, self.days, self.faulty = systems, days, faulty
        self.start_ms = end_ms - days * DAY
        self.kinds = [self.house(FAULTS[k % len(FAULTS)] if k >= HEALTHY_KINDS else None)
                      for k in range(HEALTHY_KINDS + FAULTY_KINDS)]
        rows = [sum(text.count(b"\n") for text in kind) for kind in self.kinds]
        self.rows = sum(rows[self.kind_of(i)] for i in range(systems))

    def house(self, fault):
        """The text of each day."""
        hours, minute = self.days * 24, int(self.random.integers(0, 55)) * 60_000
        table = [values_of(self.random, name, scatter, fault, hours) for name, _, _, scatter in POINTS]
        return [b"".join(
            f"{instant(self.start_ms + h * HOUR + minute)},@,{POINTS[p][0]},{table[p][h]:.4g},\n".encode()
            for h in range(d * 24, d * 24 + 24) for p in range(len(POINTS)) if not np.isnan(table[p][h]))
            for d in range(self.days)]

    def kind_of(self, i):
        """Every so many is a faulty one."""
        if self.faulty and i % (self.count // self.faulty) == 0:
            return HEALTHY_KINDS + i // (self.count // self.faulty) % FAULTY_KINDS
        return i % HEALTHY_KINDS

    @property
    def systems(self):
        points = [point(name, quantity, unit, every="1 h") for name, quantity, unit, _ in POINTS]
        return [system(f"s{i}", points, contacts=["office"]) for i in range(self.count)]

    @property
    def record(self):
        values = ", ".join(f"{name}: {LEVELS[name]} {unit}" for name, _, unit, _ in POINTS[:3])
        return (f"date: {instant(self.start_ms)[:10]}\nby: the installer\nradon_after: 45 Bq/m3\n"
                f"points: {{{values}}}\n")

    def csv(self):
        yield b"time,system,point,value,unit\n"
        names = [f"s{i}".encode() for i in range(self.count)]
        for day in range(self.days):
            for i, name in enumerate(names):
                yield self.kinds[self.kind_of(i)][day].replace(NAME, name)
