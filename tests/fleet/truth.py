"""What lay behind a message of a healthy house, by the truth that its simulation wrote."""

import numpy as np

DAY = 86400
ACTION_BQ = 148.0
SILENT = ("sensor-silent", "system-silent", "fleet-silent")
DATES = ("retest-due", "visit-due", "calibration-due", "reading-due", "battery-low")


def day_values(house, name, raised_s, back=2):
    """Daily truth on the days up to a message."""
    values = house["array"](name)
    day = int(np.clip((raised_s - house["start_s"]) // DAY, 0, values.size - 1))
    return values[max(day - back, 0) : day + 1]


def baseline(house, row):
    """What the commissioning record says of the point, in the unit of its truth; without it the mean of the
    first three days."""
    said = [values[row["point"]] for from_s, values in house["records"]
            if from_s <= row["raised_s"] and row["point"] in values]  # fmt: skip
    if said:
        return float(said[-1].split()[0])
    return float(np.mean(house["array"]("day/" + row["point"])[:3]))


def was_silent(house, row):
    point = row["point"]
    spans = list(house["gateway_outages"])
    for name, outages in house["point_outages"].items():
        if point in ("", name):
            spans += outages
    wait = max([p["every_s"] for p in house["points"] if point in ("", p["id"])] + [600])
    return any(a <= row["raised_s"] <= b + 4 * wait and b - a > 1200 for a, b in spans)


def radon_truth(house, row):
    hours = house["array"]("radon_h")
    index = int((row["raised_s"] - float(house["array"]("radon_from_s")[0])) // 3600)
    if row["condition"] == "radon-above-action":
        begin = max(min(index - 365 * 12, hours.size - 365 * 24), 0)
        return float(np.mean(hours[begin : begin + 365 * 24])) >= 0.97 * ACTION_BQ
    if row["condition"] == "radon-high":
        window = hours[max(index - 96, 0) : index + 1]
        sums = np.convolve(window, np.ones(24) / 24, "valid") if window.size >= 24 else window
        return bool(np.max(sums) > 0.9 * 2 * ACTION_BQ)
    return False


def is_true(house, row):
    """Was the truth itself beyond the documented limit, a tenth of the baseline or so allowed for?"""
    condition, point, raised_s = row["condition"], row["point"], row["raised_s"]
    days = lambda name, back=2: day_values(house, name + point, raised_s, back)
    if condition.startswith("radon"):
        return radon_truth(house, row)
    if condition == "ground-changed":
        return any(ground_moved(house, b, raised_s) for b in range(house["branches"]))
    if point not in house["quantity"]:
        return False
    if condition == "suction-high":
        return bool(np.max(days("high/")) > 1.37 * baseline(house, row))
    if condition in ("suction-low", "suction-lost"):
        return bool(np.min(days("low/")) < 0.73 * baseline(house, row))
    if condition == "power-high":
        return bool(np.max(days("high/")) > 1.22 * baseline(house, row))
    if condition == "suction-fading":
        day = int((raised_s - house["start_s"]) // DAY)
        coming = house["array"]("day/" + point)[day : day + 200]
        return bool(np.min(coming, initial=np.inf) < 0.73 * baseline(house, row))
    if condition == "field-weak":
        usual = baseline(house, row)
        return bool(np.min(days("day/")) < 1.1 * max(0.5 * usual, min(1.0, 0.6 * usual)))
    if condition == "field-reversed":
        return bool(np.mean(days("reversed/", 7)) >= 0.17)
    if condition == "water-high":
        return bool(np.max(days("day/")) > house["water_limit_m"] - 0.03)
    return False


def ground_moved(house, branch, raised_s):
    first = np.mean(house["array"](f"ground/{branch}")[:3])
    return not 0.65 < float(first / np.mean(day_values(house, f"ground/{branch}", raised_s, 7))) ** 1.4 < 1.6


def behind(house, row):
    """What lay behind a message in healthy time."""
    raised = row["raised_s"]
    if row["condition"] in DATES:
        return "date"
    if row["condition"] in SILENT:
        return "outage" if was_silent(house, row) else "packets"
    if any(a <= raised <= b + 2 * DAY for a, b in house["pauses"]):
        return "event"
    if house["upgrade_s"] and abs(raised - house["upgrade_s"]) < 8 * DAY:
        return "event"
    return "true" if is_true(house, row) else "nothing"
