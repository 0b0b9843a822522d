#!/usr/bin/env python3
"""What lies in a made-up fleet itself, whoever judges it: how far the suction of healthy houses falls by
itself, and how many outages of sensors and gateways last longer than the delays of silence.

    python3 tests/fleet/limits.py --seeds 110 111 [--fleet mixed] [--houses 60] [--years 2]

- A fall of 12 % a year is 6.8 % after 200 days. Of each healthy suction (settling of 60 days, faults and new
  fans left out) the largest fall over 200 days is taken, of means of 14 days: as it is, and against the median
  of all suctions of the region on the same days, which is what a season sensor could tell at best.
- An outage of a gateway counts from 2 h, one of a sensor, while its gateway works, from 3 h: the delays of
  system-silent and sensor-silent with three intervals of an hour or so.
"""

import tempfile

import numpy as np

import fleet
import score
from truth import DAY

SPAN_D, MEAN_D, SETTLING_D = 200, 14, 60
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


def main():
    arguments = fleet.parse_seeds(fleet.parser_of(__doc__))
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
