"""Runs `subslabctl replay` of a built program on a fleet's folder."""

import csv
import json
import os
import re
import subprocess
import tempfile

import writing


def program(build):
    return os.path.join(build, "subslabctl")


def run(build, *words):
    return subprocess.run(
        [program(build), *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, check=False
    )


PROBE = {
    "id": "probe",
    "name": "Probe",
    "points": [{"id": "suction", "quantity": "suction", "unit": "Pa", "every": "10 min"}],
}
BRANCH = {"id": "fan-1", "pipe": {"inside_diameter": "3.998 in"}, "fan": {"power": "20 W"}}
WITH_KEY = {
    "region": {"region": "quillmere"},
    "elevation": {"elevation": "1600 m"},
    "stack_height": {"stack_height": "6 m"},
    "branches": {"branches": [BRANCH], "points": [{**PROBE["points"][0], "branch": "fan-1"}]},
    "discharge": {"discharge": "roof"},
    "control": {"fan": {"power": "20 W", "control": "constant-pressure"}},
    "by": {"points": [{**PROBE["points"][0], "by": "hand"}]},
    "place": {"points": [{"id": "radon", "quantity": "radon", "unit": "Bq/m3", "place": "basement"}]},
}


def accepted_keys(build):
    """Which of writing.OPTIONAL_KEYS the program takes: asked with a system file for each."""
    accepted = []
    with tempfile.TemporaryDirectory() as folder:
        settings = os.path.join(folder, "settings.yaml")
        file = os.path.join(folder, "systems", "probe.yaml")
        os.makedirs(os.path.dirname(file))
        writing.write_json(settings, {"systems": "systems/"})
        for key, part in WITH_KEY.items():
            writing.write_json(file, {**PROBE, **part})
            if run(build, "--settings", settings, "check").returncode == 0:
                accepted.append(key)
        writing.write_json(file, PROBE)
        record = os.path.join(folder, "record.yaml")
        values = {"suction": "9 Pa"}
        writing.write_json(record, {"date": "2024-01-01", "by": "x", "changed": ["fan"], "points": values})
        readings = os.path.join(folder, "readings.csv")
        with open(readings, "w", encoding="utf-8") as out:
            out.write("time,system,point,value,unit\n2024-01-02T00:00:00Z,probe,suction,9,\n")
        words = ("replay", readings, "--commission", f"probe={record}")
        if run(build, "--settings", settings, *words).returncode == 0:
            accepted.append("changed")
    return accepted


def replay(build, folder):
    """(rows of the alarms file, keys that were left out, how many readings the program refused)."""
    accepted = accepted_keys(build)
    with open(os.path.join(folder, "systems.json"), encoding="utf-8") as file:
        made = json.load(file)
    writing.write_systems(folder, made["systems"], made["records"], accepted)
    out = os.path.join(folder, "alarms.csv")
    settings, readings = os.path.join(folder, "settings.yaml"), os.path.join(folder, "readings.csv")
    words = ["--settings", settings, "replay", readings]
    for system, records in made["records"].items():
        for number in range(len(records)):
            tail = f".{number}" if number else ""
            words += ["--commission", f"{system}={os.path.join(folder, 'commission', system + tail)}.yaml"]
    if "--fleet" in run(build, "replay", "--help").stdout:
        words.append("--fleet")
    done = run(build, *words, "--alarms", out)
    bad = re.search(r"(\d+) bad lines", done.stdout)
    if not bad or not os.path.exists(out):
        raise RuntimeError(f"replay failed ({done.returncode}): {done.stderr[-800:]}")
    with open(out, encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    refused = [key for key in writing.OPTIONAL_KEYS if key not in accepted]
    return rows, refused, int(bad.group(1))
