#!/usr/bin/env python3
"""The score held against a house whose truth is written by hand. Last line: N passed, N failed."""

import json
import os
import sys
import tempfile

import numpy as np

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import limits  # noqa: E402
import score  # noqa: E402
import test_houses  # noqa: E402
import writing  # noqa: E402

START = 1672531200
DAY = 86400


def house_of(fault=None, **changes):
    """A house with suction, one hole and radon for a year: 100 Pa, 6 Pa, 50 Bq/m3."""
    points = [("suction", "suction"), ("hole-1", "field"), ("radon", "radon"), ("power", "fan-power")]
    house = {
        "id": "h",
        "foundation": "slab",
        "start_s": START,
        "end_s": START + 365 * DAY,
        "every_s": 600,
        "branches": 1,
        "points": [{"id": p, "quantity": q, "every_s": 600} for p, q in points],
        "quantity": dict(points),
        "gateway": "bad",
        "gateway_outages": [[START + 10 * DAY, START + 11 * DAY]],
        "point_outages": {"hole-1": [[START + 20 * DAY, START + 20 * DAY + 7200]]},
        "pauses": [[START + 40 * DAY, START + 40 * DAY + 7200]],
        "upgrade_s": None,
        "water_limit_m": 0.3,
        "fault": fault,
        "messages": [],
        "records": [(START, {"suction": "100.0 Pa", "power": "20.0 W"})],
    }
    arrays = {
        "day/suction": np.full(365, 100.0),
        "day/hole-1": np.full(365, 6.0),
        "day/power": np.full(365, 20.0),
        "ground/0": np.ones(365),
        "radon_h": np.full(365 * 24, 50.0),
        "radon_from_s": np.array([START]),
    }
    arrays |= {f"{end}/{point}": arrays[f"day/{point}"].copy() for end in ("low", "high") for point in ("suction", "power")}
    house["array"] = arrays.__getitem__
    house["arrays"] = arrays
    house.update(changes)
    return house


def message(condition, day, point="", diagnosis="", returned_day=None):
    returned = None if returned_day is None else START + returned_day * DAY
    return {"system": "h", "condition": condition, "point": point, "diagnosis": diagnosis,
            "raised": "", "returned": "", "raised_s": START + day * DAY, "returned_s": returned}  # fmt: skip


def fault_of(kind, day, **changes):
    moved = dict.fromkeys(("suction", "power", "hole-1"), START + day * DAY)
    fault = {"kind": kind, "onset_s": START + day * DAY, "grow_s": 0, "repaired_s": None, "point": None,
             "size": 0.5, "strength": 3.0, "detail": {}, "moved": moved, "expert_s": START + day * DAY + 1800, "noticeable": True}  # fmt: skip
    fault.update(changes)
    return fault


def test_silence_of_an_outage_or_of_packets():
    house = house_of()
    assert score.behind(house, message("system-silent", 10.05)) == "outage"
    assert score.behind(house, message("sensor-silent", 10.05, "radon")) == "outage"
    assert score.behind(house, message("sensor-silent", 20.03, "hole-1")) == "outage"
    assert score.behind(house, message("sensor-silent", 20.03, "suction")) == "packets"
    assert score.behind(house, message("sensor-silent", 30, "hole-1")) == "packets"


def test_true_or_nothing():
    house = house_of()
    assert score.behind(house, message("suction-low", 100, "suction")) == "nothing"
    assert score.behind(house, message("suction-low", 40.01, "suction")) == "event"
    house["arrays"]["low/suction"][98:103] = 60.0  # for an hour a day
    assert score.behind(house, message("suction-low", 100, "suction")) == "true"
    assert score.behind(house, message("suction-high", 100, "suction")) == "nothing"
    assert score.behind(house, message("power-high", 100, "power")) == "nothing"
    house["arrays"]["high/power"][98:103] = 26.0
    assert score.behind(house, message("power-high", 100, "power")) == "true"
    assert score.behind(house, message("radon-high", 100, "radon")) == "nothing"
    house["arrays"]["radon_h"][97 * 24 : 100 * 24] = 320.0
    assert score.behind(house, message("radon-high", 100, "radon")) == "true"
    assert score.behind(house, message("radon-above-action", 100, "radon")) == "nothing"
    house["arrays"]["radon_h"][:] = 160.0
    assert score.behind(house, message("radon-above-action", 100, "radon")) == "true"
    assert score.behind(house, message("retest-due", 100)) == "date"


def test_low_holes_are_true_only_below_their_own_floor():
    """At 0.8 Pa the floor is 0.48 Pa: a mean of 0.75 Pa is nothing, 0.5 Pa is true."""
    house = house_of()
    house["arrays"]["day/hole-1"][:] = 0.8
    house["arrays"]["day/hole-1"][99:102] = 0.75
    assert score.behind(house, message("field-weak", 100, "hole-1")) == "nothing"
    house["arrays"]["day/hole-1"][99:102] = 0.5
    assert score.behind(house, message("field-weak", 100, "hole-1")) == "true"


def test_the_limit_is_that_of_the_newest_record():
    """The record said 1.2 Pa, so the limit is 0.72 Pa, whatever the first days were."""
    house = house_of()
    house["arrays"]["day/hole-1"][:] = 0.8
    house["arrays"]["day/hole-1"][99:102] = 0.75
    house["records"][0][1]["hole-1"] = "1.20 Pa"
    assert score.behind(house, message("field-weak", 100, "hole-1")) == "true"
    house["records"].append((START + 50 * DAY, {"hole-1": "0.80 Pa"}))
    assert score.behind(house, message("field-weak", 100, "hole-1")) == "nothing"


def test_a_fall_that_the_region_shares_is_none_of_the_house():
    """Three houses fall by 12 % a year together, one by 24 %: against the region only that one falls."""
    days = np.arange(365)
    houses = {}
    for name, rate in (("a", 0.12), ("b", 0.12), ("c", 0.12), ("d", 0.24)):
        houses[name] = house_of(id=name, region="r")
        houses[name]["arrays"]["day/suction"] = 100.0 * (1 - rate) ** (days / 365.25)
    (region,) = limits.suctions(houses).values()
    falls = limits.largest_falls(region)
    assert all(abs(own - limits.FALL) < 1e-3 for own, _ in falls[:3])
    assert all(against < 1e-9 for _, against in falls[:3]) and falls[3][1] > 0.06
    houses["d"]["upgrade_s"] = START + 100 * DAY  # another fan: what was before is too short
    assert len(limits.suctions(houses)["r"]) == 3


def test_outages_longer_than_the_delays_of_silence():
    house = house_of(gateway_outages=[[START + 10 * DAY, START + 11 * DAY], [START + 30 * DAY, START + 30 * DAY + 3600]],
                     point_outages={"hole-1": [[START + 10 * DAY, START + 11 * DAY], [START + 20 * DAY, START + 21 * DAY]],
                                    "radon": [[START + 50 * DAY, START + 50 * DAY + 7200]]})  # fmt: skip
    assert limits.outages(house) == (1, 1)
    house["upgrade_s"] = START + 15 * DAY
    assert limits.outages(house) == (1, 0)


def test_a_drift_in_a_random_walk_is_found_as_the_formula_says():
    """Page's cumulative sum on walks that drift from their first day: the mean delay is that of the formula,
    within the five standard errors of 400 walks and the half percent that steps of half a day overshoot."""
    sigma, mu, step = 0.01, 0.05, 0.5 / 365.25
    ratio = 2 * sigma**2 / mu**2
    delay = limits.delay_years(sigma, mu)
    h = delay / ratio + 1  # e^-h is next to nothing
    assert abs(ratio * (np.exp(h) - h - 1) / 50.0 - 1) < 0.01
    rng = np.random.default_rng(4)
    found = []
    for _ in range(400):
        walk = np.cumsum((mu * step + sigma * np.sqrt(step) * rng.standard_normal(4000) - mu * step / 2) * mu / sigma**2)
        height = walk - np.minimum.accumulate(np.minimum(walk, 0.0))
        found.append((np.argmax(height > h) + 1) * step)
    error = np.std(found) / np.sqrt(len(found))
    assert abs(np.mean(found) - delay) < 5 * error + 0.08 * delay


def test_first_claim_is_the_diagnosis():
    house = house_of(fault_of("leak", 100))
    house["messages"] = [
        message("field-weak", 50, "hole-1", "field-lost"),
        message("suction-low", 101, "suction", "unknown"),
        message("suction-lost", 102, "suction", "fan-worn"),
        message("suction-lost", 103, "suction", "leak"),
    ]
    found, after_s, verdict, wrong = score.judge_fault(house)
    assert (found, after_s, verdict, wrong) == (True, DAY, "wrong", 1), (found, after_s, verdict, wrong)
    house["messages"][2]["diagnosis"] = "fan-worn or leak"
    assert score.judge_fault(house)[2:] == ("right", 0)
    house["messages"] = house["messages"][:2]
    assert score.judge_fault(house)[2:] == ("not told", 0)
    house["messages"] = house["messages"][:1]
    assert not score.judge_fault(house)[0]
    house["messages"] = [message("radon-high", 102, "radon", "leak")]
    assert not score.judge_fault(house)[0], "the leak did not move radon"
    house["pauses"] = [[START + 101 * DAY, START + 101 * DAY + 3600]]
    house["messages"] = [message("suction-lost", 101.02, "suction", "leak")]
    assert not score.judge_fault(house)[0], "the power was cut"


def test_a_dead_sensor_is_found_by_its_own_silence():
    house = house_of(fault_of("dead-sensor", 100, point="suction"))
    house["messages"] = [message("sensor-silent", 100.1, "hole-1", "", 150)]
    assert not score.judge_fault(house)[0]
    house["messages"] = [message("sensor-silent", 100.1, "suction", "", 100.5)]
    assert not score.judge_fault(house)[0], "over after half a day: that was another silence"
    house["messages"] = [message("sensor-silent", 100.1, "suction")]
    assert score.judge_fault(house)[::2] == (True, "right")


def test_counts():
    """Half a year healthy with one message of nothing and one outage; then a stopped fan after 24 min."""
    house = house_of(fault_of("stopped-fan", 182.62125))
    house["messages"] = [
        message("radon-rising", 60, "radon", "radon-entry"),
        message("system-silent", 10.05),
        message("fan-stopped", 182.62125 + 24 / 1440, "power", "fan-off"),
    ]
    result = score.score({"seed": 1}, {"h": house})
    assert abs(result["years"] - 0.5) < 1e-6
    assert result["behind"] == {"nothing": 1, "outage": 1}
    assert result["kinds"] == {"stopped-fan": [1, 1]} and result["strengths"] == {"clear": [1, 1]}
    both = score.merge([result, result])
    assert abs(both["years"] - 1) < 1e-6 and both["kinds"]["stopped-fan"] == [2, 2]
    cells = dict(score.table([both]))
    assert cells["messages without a cause a system-year"] == ["2.00"]
    assert cells["  in a house with a bad gateway"] == ["4.00"]
    assert cells["noticeable faults found"] == ["2/2"]
    assert cells["stopped fan (10 min, with power)"] == ["24 min (2/2)"]
    assert cells["cause, suction, power: right wrong not-told"] == ["2 0 0"]


def test_median_of_what_was_never_found():
    assert score.middle([10.0, None, 30.0], "d") == "30 d (2/3)"
    assert score.middle([10.0, None, None], "d") == "never (1/3)"


def test_wear_is_scaled():
    house = house_of(fault_of("worn-fan", 10, detail={"rate": 0.2}))
    house["points"].append({"id": "flow", "quantity": "airflow", "every_s": 600})
    house["quantity"]["flow"] = "airflow"
    house["messages"] = [message("suction-fading", 20, "suction", "none"), message("fan-fading", 60)]
    assert score.score({"seed": 1}, {"h": house})["wear"] == [100.0]


def test_year_claims():
    """A year that means 60 Bq/m3 lies in 55 to 65 and not in 61 to 70; half a year is not scored."""
    house = house_of()
    house["arrays"]["radon_h"][:] = np.linspace(20, 100, 365 * 24)
    claims = [
        {"system": "h", "from": START, "mean": 60, "lower": 55, "upper": 65},
        {"system": "h", "from": START, "mean": 65, "lower": 61, "upper": 70},
        {"system": "h", "from": START + 100 * DAY, "mean": 60, "lower": 0, "upper": 999},
    ]
    with tempfile.TemporaryDirectory() as folder:
        name = os.path.join(folder, "claims.json")
        writing.write_json(name, claims)
        assert score.score_year_claims(name, {"h": house}) == (1, 2)


def test_refused_keys_are_left_out():
    """A program without branches gets the first one's pipe and fan at the top, points without a branch."""
    branch = lambda b: {"id": f"fan-{b}", "pipe": {"inside_diameter": "3.042 in"}, "fan": {"control": "x"},
                        "discharge": "roof"}  # fmt: skip
    point = {"id": "suction-1", "quantity": "suction", "branch": "fan-1", "by": "hand"}
    system = {"id": "h", "region": "r", "branches": [branch(1), branch(2)], "points": [point]}
    before = json.dumps(system)
    plain = writing.without_refused(system, [])
    assert plain == {"id": "h", "pipe": {"inside_diameter": "3.042 in"}, "fan": {},
                     "points": [{"id": "suction-1", "quantity": "suction"}]}, plain  # fmt: skip
    assert writing.without_refused(system, writing.OPTIONAL_KEYS) == system
    assert json.dumps(system) == before
    one = {**system, "branches": [branch(1)]}
    kept = writing.without_refused(one, writing.OPTIONAL_KEYS)
    assert kept["discharge"] == "roof" and "branches" not in kept and "branch" not in kept["points"][0]


if __name__ == "__main__":
    sys.exit(test_houses.run_tests(globals()))
