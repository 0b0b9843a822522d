#!/usr/bin/env python3
"""What is told of a mixed fleet over more than a year, and whether intervals hold the truth as often as
they say, through replay and import. Small; tests/bench/bench_years.py is the large one.

Needs numpy and scipy. The fleet is fixed (FLEET_SEED, 10): chance would else fail one run in many."""
import os
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, "..", "support"), os.path.join(HERE, "..", "bench")]
# pylint: disable=wrong-import-position
import numpy as np  # noqa: E402
from contract import DAY, HOUR, files, tool_of, write_csv  # noqa: E402
from harness import BUILD, Suite, check, now_ms, point, rfc3339, system  # noqa: E402
import bench_years  # noqa: E402

suite = Suite()
SEED = int(os.environ.get("FLEET_SEED", 10))
ONE_CAUSE = "fan-stop,leak,water,discharge,tube".split(",")


def fleet_of(**more):
    bench_years.build_folder = lambda: BUILD
    tally = bench_years.Tally()
    bench_years.one(SEED, tally=tally, **more)
    tally.print()
    return tally


@suite.test
def a_healthy_fleet_is_left_alone(_place):
    """Seasons, weather, dropouts, outages and power cuts, coarse displays, another instrument at
    commissioning: at most 0.1 unexplained alarms a system-year, plus one for so small a number."""
    tally = fleet_of(houses=10, years=1.2, faulty=0.0)
    told = [(a["system"], a["condition"], a["raised"]) for _, a, _, _ in tally.false_list]
    check(len(told) <= 0.1 * tally.years + 1, f"unexplained: {told}")


@suite.test
def faults_are_found_and_named(_place):
    tally = fleet_of(houses=16, years=0.5, faulty=1.0, kinds=ONE_CAUSE,
                     sensors=[("suction", "flow", "power"), ("suction", "power")])
    for (kind, sensors), delays in tally.delays.items():
        if kind == "fan-stop":
            check(max(delays) <= 1 / 24, f"{kind} with {sensors}: {max(delays) * 24:.1f} h")
        elif kind != "water":  # with a steep fan, water can't raise the suction to the limit
            check(max(delays) <= 2, f"{kind} with {sensors}: {max(delays):.1f} d")
    for sensors, least in (("suction+flow+power", 0.95), ("suction+power", 0.80)):
        right, total = tally.right_causes(sensors)
        check(total >= 5 and right >= least * total, f"{sensors}: {right} of {total} causes are right")


@suite.test
def wear_is_found_within_weeks(_place):
    """10 % of the speed a year, with flow measured: half of the houses within nine weeks."""
    tally = fleet_of(houses=14, years=1.1, faulty=1.0, kinds=["wear"],
                     sensors=[("suction", "flow", "power"), ("suction", "flow")])
    told = [(a["system"], a["raised"]) for _, a, _, _ in tally.false_list if a["condition"] == "fan-fading"]
    check(not told, f"before there was any wear: {told}")
    delays = sorted(d for found in tally.delays.values() for d in found)
    check(len(delays) == 14 and delays[7] <= 63, f"found after {[round(d) for d in delays]} days")
    right, total = tally.right_causes("suction+flow+power")
    check(total >= 5 and right >= 0.9 * total, f"{right} of {total} causes are right")


class Houses:
    """Radon of a known mean with a monitor's own error, and suction of a known slope; both with days
    that follow each other (first-order autoregression, 0.5 from day to day)."""
    DAYS, RADON_DAYS, MEAN, SLOPE = 400, 120, 90.0, -12.0  # Bq/m3; Pa a year. Of less than a year
    # a slope is no claim: the season may be behind it.

    def __init__(self, count):
        random_numbers = np.random.default_rng(SEED)
        self.end = now_ms() // HOUR * HOUR
        self.start = self.end - self.DAYS * DAY
        self.systems, self.rows = [], []
        for i in range(count):
            self.systems.append(system(f"h{i}", [
                point("radon", "radon", "Bq/m3", every="2 h"),
                point("suction", "suction", "Pa", every="6 h")]))
            own = 1 + 0.10 * random_numbers.normal()  # the calibration's share, 10 %
            days = [self.following(random_numbers) for _ in range(2)]
            for hours in range(0, self.DAYS * 24, 2):
                at, day = self.start + hours * HOUR, hours // 24
                level = self.MEAN * own * (1 + 0.25 * days[0][day] + 0.1 * random_numbers.normal())
                if day >= self.DAYS - self.RADON_DAYS:
                    self.add(at, f"h{i}", "radon", max(0.0, level), "Bq/m3")
                if hours % 6 == 0:
                    self.add(at, f"h{i}", "suction", 250 + self.SLOPE * hours / 24 / 365.2425 +
                             2.0 * days[1][day] + 0.5 * random_numbers.normal(), "Pa")
        self.rows.sort(key=lambda row: row[0])

    def following(self, random_numbers):
        values = [random_numbers.normal()]
        while len(values) <= self.DAYS:
            values.append(0.5 * values[-1] + 0.75 ** 0.5 * random_numbers.normal())
        return values

    def add(self, at, ident, name, value, unit):
        self.rows.append((rfc3339(at), ident, name, f"{value:.3f}", unit))


@suite.test
def intervals_hold_the_truth(place):
    """Import, then show: the mean of 91 days within 1.96 standard uncertainties, and the slope within
    its interval, in 95 of 100 houses; the bounds are what chance leaves of that 999 times in 1000
    (binomial and chi-square, 60 houses)."""
    count = 60
    houses = Houses(count)
    daemon = place.daemon(None, houses.systems)
    write_csv(os.path.join(daemon.folder, "readings.csv"), houses.rows)
    files(daemon.folder, {"record.yaml": f"date: {rfc3339(houses.start)}\nby: the installer\n"
                                         "points: {suction: 250 Pa}\n"})
    daemon.start(wait_connected=False)
    tool = tool_of(daemon)
    tool.run("import", "readings.csv")
    means = slopes = 0
    scores = []
    for i in range(count):
        tool.run("commission", f"h{i}", "record.yaml")
        points = {p["id"]: p for p in tool.json("show", f"h{i}")["points"]}
        mean = next(a for a in points["radon"]["averages"] if a["window"].startswith("91"))
        scores.append((mean["mean"] - houses.MEAN) / mean["standard_uncertainty"])
        means += abs(scores[-1]) <= 1.96
        trend = points["suction"]["trend"]
        slopes += trend["lower"] <= houses.SLOPE <= trend["upper"]
    print(f"        of {count} intervals, {means} of the mean and {slopes} of the slope hold the truth; "
          f"standard deviation of the means' errors in their uncertainties {np.std(scores):.2f}")
    check(0.7 <= np.std(scores) <= 1.3, f"{np.std(scores):.2f}, expected 1")
    check(means >= 50, f"{means} means of {count}")
    check(slopes >= 50, f"{slopes} slopes of {count}")


suite.run()
