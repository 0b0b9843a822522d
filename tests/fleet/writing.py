"""Files of a fleet: readings as CSV, fast; system files and commissioning records in two forms."""

import datetime
import json
import os

import numpy as np

import houses
import weather

UTC = datetime.timezone.utc


# What the contract has and a program may not take yet. score.py asks the program and leaves out the rest.
OPTIONAL_KEYS = ("region", "elevation", "stack_height", "branches", "discharge", "control", "by", "place",
                 "changed")  # fmt: skip


def rfc3339(unix_s):
    return datetime.datetime.fromtimestamp(int(unix_s), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _table_of_days(first, last):
    days = [datetime.date(1970, 1, 1) + datetime.timedelta(days=d) for d in range(first, last + 1)]
    return np.frombuffer("".join(d.isoformat() for d in days).encode(), dtype=np.uint8).reshape(-1, 10)


_seconds = np.arange(86400)
TABLE_OF_SECONDS = np.empty((86400, 10), dtype=np.uint8)
TABLE_OF_SECONDS[:, 0] = ord("T")
TABLE_OF_SECONDS[:, 9] = ord("Z")
for _column, _part in ((1, _seconds // 3600), (4, _seconds // 60 % 60), (7, _seconds % 60)):
    TABLE_OF_SECONDS[:, _column] = 48 + _part // 10
    TABLE_OF_SECONDS[:, _column + 1] = 48 + _part % 10
TABLE_OF_SECONDS[:, [3, 6]] = ord(":")


def csv_rows(system, point, when_s, numbers, decimals):
    """Lines time,system,point,value, with an empty unit. A matrix of bytes; zeros are taken out."""
    scaled = np.rint(np.asarray(numbers) * 10.0**decimals).astype(np.int64)
    size = np.abs(scaled)
    digits = max(len(str(int(size.max(initial=0)))), decimals + 1)
    middle = f",{system},{point},".encode()
    width = 20 + len(middle) + 1 + digits + (1 if decimals else 0) + 2
    rows = np.zeros((when_s.size, width), dtype=np.uint8)
    days = when_s // 86400
    rows[:, :10] = _table_of_days(int(days.min()), int(days.max()))[days - days.min()]
    rows[:, 10:20] = TABLE_OF_SECONDS[when_s % 86400]
    at = 20 + len(middle)
    rows[:, 20:at] = np.frombuffer(middle, dtype=np.uint8)
    rows[:, at] = np.where(scaled < 0, ord("-"), 0)
    column = at + digits + (1 if decimals else 0)
    rest = size
    for place in range(digits):
        if decimals and place == decimals:
            rows[:, column] = ord(".")
            column -= 1
        shown = (rest > 0) | (place <= decimals)
        rows[:, column] = np.where(shown, 48 + rest % 10, 0)
        rest = rest // 10
        column -= 1
    rows[:, -2] = ord(",")
    rows[:, -1] = ord("\n")
    flat = rows.ravel()
    return flat[flat != 0].tobytes()


def record_value(quantity, si):
    if quantity == "airflow":
        return f"{max(si, 0) * 1000:.2f} L/s"
    if quantity == "fan-current":
        return f"{si:.3f} A"
    if quantity == "fan-power":
        return f"{si:.1f} W"
    return f"{si:.2f} Pa" if quantity == "field" else f"{si:.1f} Pa"


def interval_text(seconds):
    return f"{seconds // 86400} d" if seconds % 86400 == 0 else f"{seconds // 60} min"


def branch_document(house, b):
    branch = house.branches[b]
    pipe = {"inside_diameter": str(branch.pipe)}
    if house.states_losses:
        pipe["loss_after_gauge"] = round(branch.k2 + branch.k3)
    fan = {"power": f"{branch.power_w:.0f} W"}
    if house.curve:
        flows = np.linspace(0, 0.95, 7) * branch.flow_max
        pressures = houses.fan_pa(flows, 1.0, branch) * house.maker_error
        fan["curve"] = [[f"{q * 1000:.2f} L/s", f"{p:.1f} Pa"] for q, p in zip(flows, pressures)]
    if branch.constant_pressure:
        fan["control"] = "constant-pressure"
    return {"id": f"fan-{b + 1}", "pipe": pipe, "fan": fan, "discharge": "roof"}


def point_document(house, point):
    document = {
        "id": point.id,
        "quantity": point.quantity,
        "unit": point.unit,
        "every": interval_text(point.every_s),
    }
    if point.hand:
        document["by"] = "hand"
    if point.branch is not None:
        document["branch"] = f"fan-{point.branch + 1}"
    if point.place:
        document["place"] = point.place
    if point.quantity == "water-level":
        document["limits"] = {"high": f"{house.water_limit_m * 100:.0f} cm"}
    if point.quantity == "battery":
        document["limits"] = {"low": "20 %"}
    return document


def system_document(house):
    """A system file with all that the contract knows."""
    return {
        "id": house.id,
        "name": f"House {house.number}",
        "time_zone": weather.ZONES[house.climate],
        "foundation": house.foundation,
        "region": house.region.name,
        "elevation": f"{house.region.elevation_m:.0f} m",
        "stack_height": f"{house.height_m:.1f} m",
        "branches": [branch_document(house, b) for b in range(len(house.branches))],
        "points": [point_document(house, point) for point in house.points],
    }


def record_document(house, record):
    at_s, values, changed = record
    document = {"date": rfc3339(at_s), "by": "the installer"}
    if changed:
        document["changed"] = [changed]
    else:
        document["radon_before"] = f"{house.before_bq:.0f} Bq/m3"
        document["radon_after"] = f"{house.after_bq:.0f} Bq/m3"
        if house.states_exponent:
            branch = house.branches[0]
            document["ground_exponent"] = round(0.5 * (branch.crack_n + branch.soil_n), 2)
    if values:
        document["points"] = values
    return document


def without_refused(document, accepted):
    """The same system for a program that takes only some of OPTIONAL_KEYS: with one branch, or where
    branches are not taken, the first one's pipe and fan stand at the top."""
    refused = set(OPTIONAL_KEYS) - set(accepted)
    flat = len(document["branches"]) == 1 or "branches" in refused
    keep = lambda part, drop: {key: value for key, value in part.items() if key not in drop}
    kept = keep(document, refused | {"branches", "points"})
    branches = [{**keep(b, refused), "fan": keep(b["fan"], refused)} for b in document["branches"]]
    if flat:
        kept.update(keep(branches[0], {"id"}))
    else:
        kept["branches"] = branches
    drop = refused | ({"branch"} if flat else set())
    kept["points"] = [keep(point, drop) for point in document["points"]]
    return kept


def write_systems(folder, systems, records, accepted=OPTIONAL_KEYS):
    """JSON is YAML, so files are written as JSON."""
    for name in ("systems", "commission"):
        os.makedirs(os.path.join(folder, name), exist_ok=True)
    write_json(os.path.join(folder, "settings.yaml"), {"units": "si", "systems": "systems/"})
    for system in systems:
        name = os.path.join(folder, "systems", system["id"] + ".yaml")
        write_json(name, without_refused(system, accepted))
        for number, record in enumerate(records[system["id"]]):
            kept = {k: v for k, v in record.items() if k != "changed" or "changed" in accepted}
            tail = f".{number}" if number else ""
            write_json(os.path.join(folder, "commission", f"{system['id']}{tail}.yaml"), kept)


def write_json(name, document):
    with open(name, "w", encoding="utf-8") as out:
        json.dump(document, out, indent=1, default=float)
        out.write("\n")
