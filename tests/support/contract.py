"""contract: what the tests of the outside contract share: the tool as a person calls it, files as a
person writes them, and the form of what comes back.

    from contract import Tool, series, write_csv
"""
import json
import os
import re
import subprocess
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
# pylint: disable=wrong-import-position
from harness import BUILD, PATIENCE, check, equal, rfc3339, write_file  # noqa: E402

CTL, DAEMON = (os.path.join(BUILD, name) for name in ("subslabctl", "subslabd"))
MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000
UTC_TIME = re.compile(r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z$")
# Spread over the last digits, so that no series looks stuck.
NOISE = (0.0, 0.011, -0.007, 0.004, -0.012, 0.009, -0.003, 0.013, -0.010, 0.002)


class Tool:
    """subslabctl for one settings file."""

    def __init__(self, settings_file, folder=None):
        self.settings_file, self.folder = settings_file, folder or os.path.dirname(settings_file)

    def run(self, *arguments, status=0, text_in=None):
        """(standard output, standard error); the exit status must be as expected."""
        command = [CTL, "--settings", self.settings_file, *map(str, arguments)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60 * PATIENCE,
                              cwd=self.folder, input=text_in, check=False)
        said = f"subslabctl {' '.join(map(str, arguments))}"
        equal(done.returncode, status, f"exit status of {said}: {done.stdout[-400:]}{done.stderr[-600:]}")
        for mark in ("AddressSanitizer", "LeakSanitizer", "runtime error:"):
            check(mark not in done.stderr, f"{said}: {done.stderr[-600:]}")
        return done.stdout, done.stderr

    def json(self, *arguments, status=0):
        return json.loads(self.run(*arguments, "--json", status=status)[0])

    def table(self, *arguments, status=0):
        """Text for people: fit for 80 columns."""
        text = self.run(*arguments, status=status)[0]
        for line in text.splitlines():
            check(len(line) <= 80, f"{arguments}: a line of {len(line)} columns: {line!r}")
        return text


def tool_of(daemon):
    return Tool(daemon.settings_file)


def keys_are(found, needed, what):
    """Every key that the contract names is there; more are allowed (the contract is extended)."""
    missing = [key for key in needed.split() if key not in found]
    check(not missing, f"{what} lacks {missing}: has {sorted(found)}")


def is_time(value, what, or_null=False):
    if value is None and or_null:
        return
    check(isinstance(value, str) and UTC_TIME.match(value), f"{what}: {value!r} is no RFC 3339 UTC")


def number_or_why(holder, key, what):
    """A number that cannot be computed is null with a why."""
    value = holder[key]
    if value is None:
        check(isinstance(holder.get("why"), str) and holder["why"],
              f"{what}: {key} is null without a why: {holder}")
    else:
        check(isinstance(value, (int, float)) and not isinstance(value, bool), f"{what}: {key} {value!r}")


def near(found, expected, what, part=1e-6):
    check(isinstance(found, (int, float)) and abs(found - expected) <= part * max(1e-12, abs(expected)),
          f"{what}: {found!r}, expected {expected!r}")


def write_csv(path, rows, header="time,system,point,value,unit"):
    with open(path, "w", encoding="utf-8") as file:
        file.write(header + "\n")
        for row in rows:
            file.write(",".join(str(cell) for cell in row) + "\n")
    return path


def series(system, point, unit, start_ms, end_ms, every_ms, value):
    """Rows of CSV; value is a number or a function of the time. One time in ten differs slightly."""
    rows, step = [], 0
    for at in range(start_ms, end_ms, every_ms):
        is_now = value(at) if callable(value) else value
        if is_now is not None:
            rows.append((rfc3339(at), system, point, f"{is_now * (1 + NOISE[step % 10]):.6g}", unit))
        step += 1
    return rows


def files(folder, texts):
    """Writes {name: text}; a name may have folders."""
    for name, text in texts.items():
        path = os.path.join(folder, name)
        os.makedirs(os.path.dirname(path), exist_ok=True)
        write_file(path, text)
