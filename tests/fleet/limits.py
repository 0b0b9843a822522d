#!/usr/bin/env python3
"""What lies in a made-up fleet itself, whoever judges it: how far the suction of healthy houses falls by
itself, and how many outages of sensors and gateways last longer than the delays of silence; with --fleet wear how soon a
fan's wear can be told at best.

    python3 tests/fleet/limits.py --seeds 110 111 [--fleet mixed|wear] [--houses 60] [--years 2]

- A fall of 12 % a year is 6.8 % after 200 days. Of each healthy suction (settling of 60 days, faults and new
  fans left out) the largest fall over 200 days is taken, of means of 14 days: as it is, and against the median
  of all suctions of the region on the same days, which is what a season sensor could tell at best.
- An outage of a gateway counts from 2 h, one of a sensor, while its gateway works, from 3 h: the delays of
  system-silent and sensor-silent with three intervals of an hour or so.
- Wear, in days scaled to 10 % of the speed a year. By chance: what the instruments wander, a random walk of
  sigma a root of a year in the speed that the true curve gives, hides a drift of mu a year that begins unseen.
  Page's cumulative sum finds it soonest (Shiryaev 1963, Beibel 1996; from memory): with r = 2 sigma^2 / mu^2
  years and one false call in F years, r (e^h - h - 1) = F, it takes r (h - 1 + e^-h). F is 50, 0.02 a
  system-year; every gauge is taken for one whose zero wanders. Noise within days, seasons, ground and a curve
  that nobody knows are left out, so who must tell them apart is later. By the contract: fan-fading may say
  that a fan is on its way below 0.90 within 365 d only from the day on which it is. And 42 daily values
  since the commissioning are the least from which the program tells a trend.
"""

import tempfile

import numpy as np
from scipy.optimize import brentq

import fleet
import houses as physics
import score
from truth import DAY

SPAN_D, MEAN_D, SETTLING_D = 200, 14, 60
LEAST_VALUES_D = 42
FALL = 1 - 0.88 ** (SPAN_D / 365.25)
HOUR = 3600
GATEWAY_S, SENSOR_S = 2 * HOUR, 3 * HOUR


def healthy_until(house):
    """Unix time of the first thing that happens to the house."""
    events = [house["end_s"], house["upgrade_s"], (house["fault"] or {}).get("onset_s")]
    return min(at for at in events if at)


def suctions(houses):
    """{region: {(house, point): (first day since 1970, logarithms of daily truth while healthy)}}."""
    found = {}
    for house in houses.values():
        days = int((healthy_until(house) - house["start_s"]) // DAY)
        for point, quantity in house["quantity"].items():
            if quantity == "suction" and days > SETTLING_D + SPAN_D + MEAN_D:
                truth = house["array"]("day/" + point)[:days].astype(float)
                series = (int(house["start_s"] // DAY), np.log(np.maximum(truth, 1e-6)))
                found.setdefault(house["region"], {})[house["id"], point] = series
    return found


def largest_falls(region):
    """(as it is, against the region) of each suction of a region: shares of what it was, 0 for none."""
    begin = min(first for first, _ in region.values())
    length = max(first + values.size for first, values in region.values()) - begin
    table = np.full((len(region), length), np.nan)
    for row, (first, values) in zip(table, region.values()):
        row[first - begin : first - begin + values.size] = values
    change = table[:, SPAN_D:] - table[:, :-SPAN_D]
    common = np.nanmedian(change, axis=0)
    falls = []
    for row, (first, values) in zip(change, region.values()):
        part = slice(first - begin + SETTLING_D, first - begin + values.size - SPAN_D)
        mean = lambda x: np.convolve(x, np.ones(MEAN_D) / MEAN_D, "valid")
        falls.append(tuple(max(0.0, 1 - float(np.exp(mean(x).min()))) for x in (row[part], (row - common)[part])))
    return falls


def outages(house):
    """(of the gateway, of single sensors) of the healthy time, longer than the delays."""
    until = healthy_until(house)
    long = lambda spans, least: [(a, b) for a, b in spans if b - a > least and a < until]
    hidden = lambda a: any(begin - HOUR <= a <= end for begin, end in house["gateway_outages"])
    single = [a for spans in house["point_outages"].values() for a, _ in long(spans, SENSOR_S) if not hidden(a)]
    return len(long(house["gateway_outages"], GATEWAY_S)), len(single)


def shares_in_speed(branch):
    """How much of a relative error of suction, and of flow, goes into the speed by the true curve."""
    flow, k23, step = branch.flow_design, branch.k2 + branch.k3, 1e-3
    gauge = branch.u_design + branch.k1 * flow**2
    speed = lambda p, q: np.log(physics.speed_for(branch, q, p + k23 * q * q))
    of_suction = (speed(gauge * (1 + step), flow) - speed(gauge * (1 - step), flow)) / (2 * step)
    return of_suction, (speed(gauge, flow * (1 + step)) - speed(gauge, flow * (1 - step))) / (2 * step)


def wander_of_speed(house):
    """Standard deviation after a year of the speed that the instruments of the first fan show (sensors.py)."""
    branch = house.branches[0]
    point = {p.quantity: p for p in reversed(house.points)}
    of_suction, of_flow = shares_in_speed(branch)
    gauge, sensor = point["suction"], point.get("airflow") or point["velocity-pressure"]
    suction = np.hypot(0.004, 1.0 / (branch.u_design + branch.k1 * branch.flow_design**2)) * gauge.grade
    velocity_pa = 0.6 * (branch.flow_design / physics.PIPE_AREA_M2[branch.pipe] / 0.9) ** 2
    flow = 0.02 if sensor.quantity == "airflow" else 0.5 * np.hypot(0.01, 0.15 / velocity_pa)
    return float(np.hypot(of_suction * suction, of_flow * flow * sensor.grade))


def delay_years(sigma, mu, false_every_years=50.0):
    ratio = 2 * sigma**2 / mu**2
    h = brentq(lambda x: ratio * (np.exp(x) - x - 1) - false_every_years, 1e-9, 100)
    return ratio * (h - 1 + np.exp(-h))


def wear_bounds(house):
    """Days, scaled to 10 % a year: (by chance, by the contract, by the least number of values)."""
    rate = house.fault.detail["rate"]
    chance_d = 365.25 * delay_years(wander_of_speed(house), rate)
    allowed_d = max(0.0, 0.10 - rate) / rate * 365.25
    begun_d = (house.fault.onset_s - house.start_s) / DAY
    return tuple(days * rate / 0.10 for days in (chance_d, allowed_d, max(0.0, LEAST_VALUES_D - begun_d)))


def print_wear(arguments):
    bounds = []
    for seed in arguments.seeds:
        regions = fleet.draw_regions(seed, arguments.years)
        drawn = (fleet.draw_one(seed, i, regions, arguments) for i in range(arguments.houses))
        bounds += [wear_bounds(house) for house in drawn]
    bounds = np.array(bounds)
    middle = lambda columns: f"{np.median(bounds[:, columns].max(axis=1)):.0f} d"
    print(f"{len(bounds)} fans that wear, in the middle, scaled to 10 % a year: told at best after {middle([0])} "
          f"by chance, {middle([0, 1])} by chance and the contract, {middle([0, 1, 2])} with {LEAST_VALUES_D} values")


def main():
    arguments = fleet.parse_seeds(fleet.parser_of(__doc__))
    if arguments.fleet == "wear":
        print_wear(arguments)
        return
    years, of_gateways, of_sensors, falls = 0.0, 0, 0, []
    for seed in arguments.seeds:
        with tempfile.TemporaryDirectory() as folder:
            fleet.make(arguments, seed, folder)
            _, houses, _ = score.load(folder, [])
        for region in suctions(houses).values():
            falls += largest_falls(region)
        for house in houses.values():
            years += (healthy_until(house) - house["start_s"]) / score.YEAR_S
            gateway, sensors = outages(house)
            of_gateways, of_sensors = of_gateways + gateway, of_sensors + sensors
    print(f"{years:.0f} healthy system-years: outages longer than the delays of silence, a system-year: "
          f"{of_gateways / years:.2f} of gateways, {of_sensors / years:.2f} of single sensors")
    for name, values in zip(("as it is", "against its region"), zip(*falls)):
        many = sum(fall >= FALL for fall in values)
        print(f"{many} of {len(values)} healthy suctions, {name}, fall by {FALL * 100:.1f} % in {SPAN_D} d at some time")


if __name__ == "__main__":
    main()
