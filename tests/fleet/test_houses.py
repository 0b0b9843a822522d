#!/usr/bin/env python3
"""The model of houses held against physics, handbooks and itself. Last line: N passed, N failed."""

import filecmp
import os
import sys
import tempfile
import traceback
from types import SimpleNamespace

import numpy as np

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import faults  # noqa: E402
import fleet  # noqa: E402
import houses  # noqa: E402
import sensors  # noqa: E402
import weather  # noqa: E402
import writing  # noqa: E402

START = fleet.FIRST_S
DAY = 86400


def near(value, expected, tolerance):
    assert abs(value - expected) <= tolerance, f"{value} is not {expected} within {tolerance}"


def region_of(seed, climate="lakes", days=500):
    return weather.Weather(np.random.default_rng([seed, 9]), climate, START - 60 * DAY, days * 24)


def house_of(seed, region, **changes):
    house = houses.draw_house(np.random.default_rng([seed, 8]), region, 0, START, changes.pop("kind", "slab"))
    house.branches = house.branches[:1]
    house.branches[0].constant_pressure = False
    for hole in house.holes + house.hidden:
        hole.branch = 0
    for name, value in changes.items():
        setattr(house, name, value)
    return house


def run(house, region, days=360, step=3600, change=None):
    times = np.arange(START, START + days * DAY, step, dtype=np.int64)
    effects = houses.no_effects(house, times.size)
    if change:
        change(effects, times)
    return times, houses.simulate(house, region, times, effects, np.random.default_rng(7))


# Published figures


def test_standard_atmosphere():
    """ISO 2533: 500 m 95 461 Pa, 1 000 m 89 875 Pa, 4 000 m 61 640 Pa."""
    near(weather.standard_pressure_pa(500), 95461, 5)
    near(weather.standard_pressure_pa(1000), 89875, 5)
    near(weather.standard_pressure_pa(4000), 61640, 30)


def test_density():
    """ISO 2533: 1.225 kg/m3 at 15 degC and 101 325 Pa; 1.2041 at 20 degC."""
    near(weather.air_density(101325, 15), 1.225, 1e-5)
    near(weather.air_density(101325, 20), 1.2041063, 1e-6)


def test_stack_effect():
    """ASHRAE Fundamentals: rho g h (Ti - To) / To; 5 m, 21 and -10 degC, 1.2 kg/m3 at 263.15 K: 6.93 Pa.
    Written with outdoor density and Ti it is the same when the density belongs to the temperature."""
    outdoor = weather.air_density(101325, -10)
    indoor = weather.air_density(101325, 21)
    exact = (outdoor - indoor) * weather.GRAVITY * 5
    near(houses.stack_pa(-10, 21, 5, outdoor), exact, 1e-9)
    near(houses.stack_pa(-10, 21, 5, 1.2 * 294.15 / 263.15), 6.931548, 1e-5)


def test_draft_of_a_riser():
    """A riser of 8 m at 18 degC and -15 degC outdoors: about 12 Pa (chimney draft, ASHRAE)."""
    outdoor, riser = weather.air_density(101325, -15), weather.air_density(101325, 18)
    near(houses.draft_pa(outdoor, riser, 8), 12.2, 0.3)


def test_velocity_pressure():
    """10 Pa at 1.2 kg/m3 is 4.0825 m/s; in a bore of 3.998 in, with 0.9 from centre to mean, 107.13 m3/h."""
    point = SimpleNamespace(quantity="velocity-pressure", branch=0)
    branch = SimpleNamespace(pipe="3.998 in")
    house = SimpleNamespace(flow_below_leak=True, branches=[branch])
    result = SimpleNamespace(flow=[np.array([107.130290 / 3600])], air=SimpleNamespace(density_factor=1.0))
    near(float(sensors.true_si(point, house, result, None)[0]), 10.0, 1e-3)


def test_room_of_the_reference():
    """Entry 10 000 Bq/h, 250 m3, 0.5 per h, from 400 Bq/m3: 272.155 after 1 h, 94.092 after 6 h (decay
    with 3.8235 d); steady 78.809."""
    loss = np.full(200, 0.5 + houses.DECAY_PER_H)
    values = houses.mixed_room(np.full(200, 40.0), loss, 400.0)
    near(values[0], 272.155367, 1e-4)
    near(values[5], 94.091986, 1e-4)
    near(values[-1], 78.809413, 1e-4)


def test_fan_laws():
    """AMCA 99: at speed s the curve is p s^2 at flow Q s."""
    branch = SimpleNamespace(pressure_max=400.0, flow_max=0.08, bend=0.3)
    near(houses.fan_pa(0.04 * 0.8, 0.8, branch), 0.64 * houses.fan_pa(0.04, 1.0, branch), 1e-9)


def test_quadratic_fan_and_system():
    """p = 400 (1 - (Q/0.08)^2) on p = 60 000 Q^2: Q = 2/35 m3/s, 195.918 Pa."""
    branch = SimpleNamespace(pressure_max=400.0, flow_max=0.08, bend=0.0)
    low, high = np.zeros(3), np.full(3, 0.08)
    flow = houses.find_root(lambda q: houses.fan_pa(q, 1.0, branch) - 60000 * q * q, low, high, 0.02, 40)
    near(float(flow[1]), 2 / 35, 1e-7)


# Balances


def test_pressures_balance():
    """Fan = ground + pipes + stack - draft, and flow at the fan = ground + leak, at every step."""
    region = region_of(1)
    house = house_of(1, region)
    branch = house.branches[0]

    def leak(effects, times):
        effects.leak_c[0] = np.where(times > times[0] + 100 * DAY, 0.002, 0.0)

    _, result = run(house, region, change=leak)
    flow, total, u = result.flow[0], result.fan_flow[0], result.pit[0]
    gauge = u + branch.k1 * flow * np.abs(flow)
    assert np.max(np.abs(gauge - result.suction[0])) < 1e-9
    fan = SimpleNamespace(**{**vars(branch), "pressure_max": branch.pressure_max * result.air.density_factor})
    lost = gauge + (branch.k2 + branch.k3) * total**2 + result.air.stack - result.air.draft[0]
    assert np.max(np.abs(houses.fan_pa(total, 1.0, fan) - lost)) < 0.05
    extra = total - flow
    assert np.all(extra[: 99 * 24] == 0)
    near(float(extra[-1]), 0.002 * np.sqrt(gauge[-1]), 1e-5)


def test_radon_is_conserved():
    """What enters has left or is still there: sum of entry = sum of loss + change."""
    rng = np.random.default_rng(3)
    loss, entry = rng.uniform(0.1, 2.0, 500), rng.uniform(0, 50, 500)
    values = houses.mixed_room(entry, loss, 20.0)
    before = np.concatenate([[20.0], values[:-1]])
    mean = entry / loss + (before - entry / loss) * (1 - np.exp(-loss)) / loss
    near(float(np.sum(entry - loss * mean)), float(values[-1] - 20.0), 1e-6)


def test_signatures_of_faults():
    """Slow fan: suction and flow down. Blocked ground: suction up, flow down. Leak: suction down, flow
    at the fan up. Blocked discharge: both down. (reference: fan and system curves)"""
    region = region_of(2)
    house = house_of(2, region)
    _, good = run(house, region, days=20)
    changes = {}
    for name, value in (("speed", 0.8), ("ground", 0.4), ("leak_c", 0.002), ("k3", 3e5)):
        change = lambda effects, times, n=name, v=value: getattr(effects, n).__setitem__(0, v)
        _, bad = run(house, region, days=20, change=change)
        changes[name] = [np.mean(bad.suction[0]) / np.mean(good.suction[0]),
                         np.mean(bad.fan_flow[0]) / np.mean(good.fan_flow[0])]  # fmt: skip
    assert changes["speed"][0] < 0.85 and changes["speed"][1] < 0.95, changes
    assert changes["ground"][0] > 1.02 and changes["ground"][1] < 0.9, changes
    assert changes["leak_c"][0] < 0.98 and changes["leak_c"][1] > 1.02, changes
    assert changes["k3"][0] < 0.9 and changes["k3"][1] < 0.95, changes


def test_dead_fan_leaves_the_draft():
    """A fan that stands reads the draft of the riser: some Pa in winter, nothing like the fan's suction."""
    region = region_of(3, "mountain")
    house = house_of(3, region)
    house.branches[0].length_m, house.branches[0].riser_warmth = 8.0, 0.9

    def stop(effects, times):
        effects.dead[0] = np.ones(times.size, dtype=bool)

    _, result = run(house, region, change=stop)
    suction, outdoor = result.suction[0], result.air.outdoor_c
    assert 0.3 < np.mean(suction[outdoor < -5]) < 12, np.mean(suction[outdoor < -5])
    assert np.mean(suction[outdoor < -5]) > np.mean(suction[outdoor > 18]) + 0.3
    assert np.max(result.power[0]) < 2


def test_settling_goes_both_ways():
    region = region_of(4, "coast")
    for settle, falls in ((0.4, True), (-0.25, False)):
        house = house_of(4, region)
        branch = house.branches[0]
        branch.settle, branch.settle_d, branch.wet_b = settle, 30.0, 0.0
        _, result = run(house, region)
        first, last = np.mean(result.suction[0][:48]), np.mean(result.suction[0][-30 * 24 :])
        assert (last < first) == falls, (settle, first, last)


def test_constant_pressure_holds_and_hides():
    """A controlled fan holds its gauge while a leak takes more power."""
    region = region_of(5)
    house = house_of(5, region)
    house.branches[0].constant_pressure = True
    _, good = run(house, region, days=30)
    _, bad = run(house, region, days=30, change=lambda e, t: e.leak_c.__setitem__(0, 3e-4))
    assert np.std(good.suction[0]) < 0.1
    near(np.mean(bad.suction[0]) / np.mean(good.suction[0]), 1.0, 0.01)
    assert np.mean(bad.power[0]) > 1.005 * np.mean(good.power[0])


def test_levels_before_and_after():
    """The mean with the fan is the drawn one, without it the level of before the system comes back."""
    region = region_of(6)
    house = house_of(6, region, before_bq=600.0, after_bq=60.0)
    _, good = run(house, region)
    assert 45 < np.mean(good.radon_h) < 100, np.mean(good.radon_h)
    _, off = run(house, region, change=lambda e, t: e.dead.__setitem__(0, np.ones(t.size, dtype=bool)))
    assert 250 < np.mean(off.radon_h) < 900, np.mean(off.radon_h)


def test_membranes_have_low_fields():
    region = region_of(7)
    fields = []
    for seed in range(20):
        house = houses.draw_house(np.random.default_rng([7, seed]), region, 0, START, "crawl")
        fields += [hole.design_pa for hole in house.holes]
    assert 0.6 <= min(fields) and max(fields) <= 2.5


# Weather


def test_weather_of_a_year():
    region = region_of(8, "lakes", 366)
    summer = np.argmax(np.convolve(region.outdoor_c, np.ones(24 * 30), "valid")) / 24 - 60
    assert 150 < summer < 240, summer
    assert 300 < region.rain_mm.sum() < 1600
    assert 400 < np.std(region.pressure_pa) < 1500
    assert 0.1 < np.max(region.frost) <= 1.0
    near(np.mean(region.pressure_pa), weather.standard_pressure_pa(region.elevation_m), 400)


def test_daily_wave_peaks_in_the_afternoon():
    region = region_of(9, "mountain", 366)
    hours = (START // 3600 - 60 * 24 + np.arange(region.hours) - weather.SUN_OFFSET_H["mountain"]) % 24
    by_hour = [np.mean(region.outdoor_c[hours == h]) for h in range(24)]
    assert 13 <= int(np.argmax(by_hour)) <= 17


# Instruments


def test_counts_are_poisson():
    """Variance over mean of the counts of a steady room is 1 (index of dispersion, chi-square with
    n - 1: within 4 standard errors sqrt(2 / n)), less the lag that does nothing to a steady room."""
    n = 20000
    hours = np.arange(n) * 3600
    result = SimpleNamespace(radon_h=np.full(n, 80.0), hours_s=hours)
    point = SimpleNamespace(share=1.0, every_s=3600)
    for seed in range(12):
        rng = np.random.default_rng(seed)
        sensitivity = np.exp(np.random.default_rng(seed).uniform(np.log(0.03), np.log(0.6)))
        shown = sensors.count_radon(rng, point, None, result, hours[1:])
        if np.unique(np.round(shown * sensitivity, 6) % 1).size > 2:
            continue  # one that shows a mean of 12 or 24 h
        counts = shown * sensitivity
        near(np.var(counts) / np.mean(counts), 1.0, 4 * np.sqrt(2 / n))
        return
    raise AssertionError("no monitor without a running mean in twelve")


def test_outages_have_all_lengths():
    """Log-uniform: as many between 20 min and 2 h as between 2 and 12 h."""
    rng = np.random.default_rng(5)
    spans = sensors.spans(rng, 0, 200 * sensors.YEAR_S, 20, 1200, 43200)
    lengths = np.array([b - a for a, b in spans])
    near(len(spans), 4000, 4 * np.sqrt(4000))
    near(np.mean(lengths < 7200), np.log(6) / np.log(36), 0.04)
    when = np.arange(0, int(sensors.YEAR_S), 600)
    kept = sensors.outside(when, spans)
    a, b = spans[0]
    assert not kept[(when >= a) & (when < b)].any()


def test_units_are_those_of_si():
    near(sensors.to_unit("suction", "inH2O", 249.08891), 1.0, 1e-12)
    near(sensors.to_unit("airflow", "cfm", 4.719474432e-4), 1.0, 1e-12)
    near(sensors.to_unit("outdoor-temperature", "degF", 21.1111111111), 70.0, 1e-8)
    near(sensors.to_unit("radon", "pCi/L", 148.0), 4.0, 1e-12)


def test_csv_rows():
    lines = writing.csv_rows("h", "p", np.array([0, 86400 * 366 + 3661]), np.array([-0.05, 1234.56]), 2)
    assert lines == b"1970-01-01T00:00:00Z,h,p,-0.05,\n1971-01-02T01:01:01Z,h,p,1234.56,\n", lines
    assert writing.csv_rows("h", "p", np.array([0, 1]), np.array([0, 20]), 0).split(b"\n")[1].endswith(b",20,")


# Faults


def test_every_fault_does_something():
    """Each physical kind moves what it should, from its onset on and not before."""
    region = region_of(10, "mountain")
    for kind in sorted(faults.PHYSICAL):
        foundation = {"membrane-tear": "crawl", "water": "tile"}.get(kind, "slab")
        house = house_of(10, region, kind=foundation)
        house.climate = "mountain"
        house.flow_below_leak = False
        rng = np.random.default_rng(1)
        points = sensors.draw_points(rng, house, "full", 3600)
        fault = faults.draw_fault(rng, kind, house, points, START, START + 330 * DAY)
        assert fault, kind
        fault.size = 0.8
        times = np.arange(START, START + 360 * DAY, 3600, dtype=np.int64)
        _, twin = run(house, region)
        _, real = run(house, region, change=lambda e, t: faults.apply(fault, house, region, t, e))
        moved = np.zeros(times.size)
        for name in ("suction", "fan_flow", "power", "field"):
            for a, b in zip(getattr(twin, name), getattr(real, name)):
                moved = np.maximum(moved, np.abs(a - b) / np.mean(np.abs(a)))
        before = times < fault.onset_s
        assert np.max(moved[before]) < 1e-3, kind
        moved_radon = np.max(np.abs(twin.radon_h - real.radon_h))
        assert np.max(moved) > 0.05 or moved_radon > 10, (kind, np.max(moved))


def test_expert_waits_for_mild_faults():
    """The milder the wear, the later its day; none before its onset."""
    region = region_of(11)
    house = house_of(11, region)
    house.flow_below_leak = False
    points = sensors.draw_points(np.random.default_rng(1), house, "full", 3600)
    days = []
    for rate in (0.25, 0.1, 0.03):
        fault = SimpleNamespace(
            kind="worn-fan", onset_s=START + 20 * DAY, grow_s=0, repaired_s=None, branch=0, size=0.5,
            point=None, detail={"rate": rate, "lossy": False},
        )  # fmt: skip
        times, twin = run(house, region)
        _, real = run(house, region, change=lambda e, t: faults.apply(fault, house, region, t, e))
        day = faults.expert_day(fault, house, points, twin, real, times)
        days.append(np.inf if day is None else (day - fault.onset_s) / DAY)
    assert 0 < days[0] < days[1] < days[2], days
    assert days[0] < 90, days


# The fleet


def test_records_leave_out_holes_without_field():
    """The installer writes down what the field reaches: suction and the good hole, not the dead one."""
    region = region_of(12)
    house = house_of(12, region)
    house.flow_below_leak, house.typed_from_sensor, house.radon_baseline = False, False, False
    house.holes[0].extension, house.holes[1].extension = 0.0, 0.1
    rng = np.random.default_rng(1)
    house.points = [
        sensors.new_point(rng, "suction", "suction", 3600, "good", branch=0),
        sensors.new_point(rng, "hole-1", "field", 3600, "good", hole=0),
        sensors.new_point(rng, "hole-2", "field", 3600, "good", hole=1),
    ]
    times, result = run(house, region, days=5)
    values = fleet.commission_values(1, 0, house, times, result, START, 0)
    assert set(values) == {"suction", "hole-2"}, values
    near(float(values["suction"].split()[0]), float(np.mean(result.suction[0][:3])), 8)


def test_first_reading_after_a_stop_shows_it():
    """Sudden fleet: the first reading after the onset is of a fan that stands."""
    arguments = fleet.parse(["--folder", "", "--seed", "3", "--fleet", "sudden", "--years", "1"])
    regions, tried = fleet.draw_regions(3, 1), 0
    for i in range(12):
        house = fleet.draw_one(3, i, regions, arguments)
        if house.fault.kind != "stopped-fan":
            continue
        times, _, real = fleet.simulate(3, i, house)
        point = next(p for p in house.points if p.quantity == "suction" and p.branch == house.fault.branch)
        rng = np.random.default_rng(1)
        when = sensors.report_times(rng, point, house.start_s, house.end_s, True)
        shown = sensors.take_readings(rng, point, house, real, times, when)
        first = int(np.searchsorted(when, house.fault.onset_s))
        assert when[first] - house.fault.onset_s < 600
        assert shown[first] < 0.4 * shown[first - 1], (shown[first - 1], shown[first])
        tried += 1
    assert tried >= 3


def test_same_seed_same_bytes():
    """Twice the same small fleet: all files equal; another seed: other readings."""
    with tempfile.TemporaryDirectory() as folder:
        names = []
        for name, seed in (("a", 5), ("b", 5), ("c", 6)):
            target = os.path.join(folder, name)
            words = ["--seed", str(seed), "--folder", target, "--houses", "12", "--years", "1"]
            fleet.write_fleet(fleet.parse(words))
        for base, _, files in os.walk(os.path.join(folder, "a")):
            for file in files:
                mine = os.path.join(base, file)
                other = mine.replace(os.path.join(folder, "a"), os.path.join(folder, "b"), 1)
                assert filecmp.cmp(mine, other, shallow=False), file
                names.append(file)
        assert {"readings.csv", "truth.json", "truth.npz", "systems.json", "settings.yaml"} <= set(names)
        first, second = os.path.join(folder, "a", "readings.csv"), os.path.join(folder, "c", "readings.csv")
        assert not filecmp.cmp(first, second, shallow=False)


def run_tests(members):
    """Runs all test_ functions; TEST_ONLY=part runs those whose name has it. Exit status."""
    only = os.environ.get("TEST_ONLY", "")
    passed = failed = 0
    for name, test in list(members.items()):
        if not name.startswith("test_") or not callable(test) or only not in name:
            continue
        try:
            test()
            passed += 1
        except Exception:  # the next ones are still to be told
            failed += 1
            print(f"failed: {name}")
            traceback.print_exc(file=sys.stdout)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    sys.exit(run_tests(globals()))
