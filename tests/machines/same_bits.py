#!/usr/bin/env python3
"""The same bytes on every machine: a made-up fleet is judged, imported, packed and asked for by the
programs of each, and what they write is compared byte by byte with what this machine's programs do.

    same_bits.py BUILD ROOT MACHINE:EMULATOR:BUILD_IN_ROOT …

BUILD has this machine's programs; the others run in the Debian at ROOT. As root, by run.sh. Ends with
"N passed, N failed".
"""
import calendar
import collections
import contextlib
import hashlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
SOURCE = os.path.dirname(os.path.dirname(HERE))
FLEET = os.path.join(SOURCE, "tests", "fleet", "fleet.py")
HOUSES = ("house-000", "house-001", "house-002")
DAY_MS = 86400000
FLEET_ENDS = "2024-08-20T00:00:00Z"  # alarms raised later are raised by today's clock: silence, dates
LAST_YEAR = "2024"
SETTINGS = """\
store: {file: %(folder)s/subslab.db}
broker: {host: 127.0.0.1, port: 1}
page: {port: 0}
operator_socket: %(folder)s/operator.sock
systems: %(seen)s/fleet/systems/
"""
TABLES = {"packs of days": "packs", "hours of days": "day_hours", "daily values": "days"}
TEST_PROGRAMS = {"statistics and packs, bit by bit": ("tool_bits", {}),
                 "a seeded world": ("wiring_test_world", {"SEED": "20"})}
ROWS = "SELECT p.system, p.point, x.* FROM %s x JOIN points p ON p.key = x.point"


class Machine:
    """The programs of one machine. All see the fleet and their own folder in ROOT: by CHROOT as / there."""

    def __init__(self, name, root, command, chroot=True):
        self.name, self.command = name, [*(["chroot", root] if chroot else []), *command]
        self.seen = "" if chroot else root  # what they call ROOT
        self.folder = f"{root}/{name}-bits"
        shutil.rmtree(self.folder, ignore_errors=True)
        os.mkdir(self.folder)
        self.inner = f"{self.seen}/{name}-bits"
        with open(f"{self.folder}/settings.yaml", "w", encoding="utf-8") as out:
            out.write(SETTINGS % {"folder": self.inner, "seen": self.seen})

    def words(self, program, *words):
        return [*self.command[:-1], f"{self.command[-1]}/{program}", "--settings", f"{self.inner}/settings.yaml", *words]

    def tool(self, *words):
        done = subprocess.run(self.words("subslabctl", *words), stdin=subprocess.DEVNULL, capture_output=True,
                              timeout=600, check=False)
        if done.returncode != 0 or not done.stdout:
            raise RuntimeError(f"{self.name}: {words}: status {done.returncode}: {done.stderr.decode()}")
        return done.stdout

    @contextlib.contextmanager
    def running(self):
        with open(f"{self.folder}/log", "wb") as log:
            process = subprocess.Popen(self.words("subslabd"), stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        try:
            ends = time.monotonic() + 120
            while not os.path.exists(f"{self.folder}/operator.sock"):
                if process.poll() is not None or time.monotonic() > ends:
                    raise RuntimeError(f"{self.name}: the daemon does not start")
                time.sleep(0.1)
            yield
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(timeout=120)

    def asked(self, query):
        with contextlib.closing(sqlite3.connect(f"file:{self.folder}/subslab.db?mode=ro", uri=True)) as file:
            return file.execute(query).fetchall()

    def wait_for_days(self, last):
        """Daily values come by and by: until each point has them almost up to its last reading."""
        ends = time.monotonic() + 400
        query = "SELECT p.system, p.point, max(d.end_ms) FROM days d JOIN points p ON p.key = d.point GROUP BY p.key"
        while True:
            reached = {f"{system},{point}": end_ms for system, point, end_ms in self.asked(query)}
            if all(reached.get(point, 0) > last_ms - 2 * DAY_MS for point, last_ms in last.items()):
                return
            if time.monotonic() > ends:
                raise RuntimeError(f"{self.name}: daily values only until {reached}")
            time.sleep(0.2)

    def history(self):
        """Alarms of the readings' own time, as the daemon's JSON has them; their order is today's."""
        lines = self.tool("alarms", "--all", "--json", "--limit", "10000").decode().splitlines()
        kept = [line.split(",", 1)[1].rstrip(",]") for line in lines
                if '"raised":"' in line and line.split('"raised":"')[1][:20] < FLEET_ENDS and '"returned":"' in line]
        return "\n".join(sorted(kept)).encode()

    def letter(self, house):
        """Of the year, without what stands: since when is a matter of how far the import was by today's clock."""
        lines = self.tool("report", house, "--year", LAST_YEAR, "--as", "text").splitlines(keepends=True)
        return b"".join(line for line in lines if b"not over yet" not in line)

    def write(self, last):
        """{what: bytes}"""
        fleet = f"{self.seen}/fleet"
        made = {"replay": self.tool("replay", f"{fleet}/readings.csv", "--commission", f"{fleet}/commission", "--fleet",
                                    "--json", "--alarms", f"{self.inner}/alarms.csv")}
        with open(f"{self.folder}/alarms.csv", "rb") as file:
            made["alarms of replay"] = file.read()
        with self.running():
            for house in HOUSES:
                self.tool("commission", house, f"{fleet}/commission/{house}.yaml")
            self.tool("import", f"{fleet}/readings.csv")
            self.wait_for_days(last)
            made["export"] = b"".join(self.tool("export", house) for house in HOUSES)
            made["history in JSON"] = self.history()
            made["letter"] = b"".join(map(self.letter, HOUSES))
        for what, (program, variables) in TEST_PROGRAMS.items():
            made[what] = subprocess.run(
                [*self.command[:-1], f"{self.command[-1]}/tests/{program}"], env={**os.environ, **variables},
                cwd=SOURCE, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, timeout=300, check=True).stdout
        for what, table in TABLES.items():
            rows = sorted(map(repr, self.asked(ROWS % table)))
            made[what] = "\n".join(rows).encode()
        return made


def last_readings(file):
    """{"system,point": milliseconds of its last reading}, of those that are read by more than a hand"""
    last, counts = {}, collections.Counter()
    with open(file, encoding="utf-8") as lines:
        for line in lines.readlines()[1:]:
            when, system, point = line.split(",")[:3]
            counts[f"{system},{point}"] += 1
            last[f"{system},{point}"] = max(when, last.get(f"{system},{point}", ""))
    return {point: 1000 * calendar.timegm(time.strptime(when, "%Y-%m-%dT%H:%M:%SZ"))
            for point, when in last.items() if counts[point] > 30}


def main():
    build, root = sys.argv[1:3]
    fleet = os.path.join(root, "fleet")
    shutil.rmtree(fleet, ignore_errors=True)
    subprocess.run([sys.executable, FLEET, "--seed", "11", "--houses", str(len(HOUSES)), "--years", "1.1", "--folder",
                    fleet], check=True, stdout=subprocess.DEVNULL)
    last = last_readings(os.path.join(fleet, "readings.csv"))
    wanted = Machine("here", root, [build], chroot=False).write(last)
    passed = failed = 0
    for words in sys.argv[3:]:
        name, emulator, folder = words.split(":")
        found = Machine(name, root, [emulator, folder]).write(last)
        for what, expected in wanted.items():
            if expected and found[what] == expected:
                passed += 1
                print(f"{name}: {what}: {len(expected)} bytes, {hashlib.sha256(expected).hexdigest()[:16]} as here")
            else:
                failed += 1
                print(f"FAILED {name}: {what} differs from this machine's")
    print(f"{passed} passed, {failed} failed")
    return failed > 0


if __name__ == "__main__":
    sys.exit(main())
