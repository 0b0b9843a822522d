"""compare_programs: what somebody would otherwise pick to keep readings from a broker, each
started, watched, killed and read back in the same way. bench_peers.py measures them.

A Peer owns a folder and a session of the broker. All of them subscribe at QoS 1 with a session that
the broker keeps, so all of them can take in a backlog, and all get the same window of messages on
the way. The SQLite peers have the daemon's durability (WAL, synchronous FULL) and one table with
topic and time as its key, so a message that comes twice is one row. collectd has no such setting:
it hands a value to its writers and acknowledges, and it syncs nothing.

collectd's MQTT plugin takes only "time:value" on PREFIX/HOST/PLUGIN/TYPE-INSTANCE, so it is fed the
same readings once more in that form. It gets one write thread, because with more the values of a
backlog overtake each other and some are thrown away as too old, and round robin files made to fit:
the step is the readings' interval, times lie on it, and there is room for all of them and no
coarser averages.
"""
import glob
import os
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (SUPPORT, Daemon, check, dies_with_us, point, system,  # noqa: E402
                     wait_until)

SYSTEMS, POINTS, INTERVAL_S = 25, 4, 600
WINDOW = 2000  # messages on the way; the daemon's default receive_maximum
BATCH = 200
NEVER = 10**9
STALLED_S, GIVE_UP_S = 3.0, 240.0
COLLECTD = "/usr/sbin/collectd"

TABLE = ("CREATE TABLE IF NOT EXISTS readings (topic TEXT, time_ms INTEGER, value REAL, "
         "PRIMARY KEY (topic, time_ms)) WITHOUT ROWID;")
PRAGMAS = "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
LINES = ["-F", "%t %p"]  # mosquitto_sub prints: TOPIC {"v": VALUE, "t": TIME}
SED_TO_SQL = ("s/^([^ ]+) \\{\"v\": ([^,]+), \"t\": ([0-9]+)\\}$/"
              "INSERT OR IGNORE INTO readings VALUES ('\\1', \\3, \\2);/")
AWK_TO_SQL = """
BEGIN { print "BEGIN;" }
{ gsub(/[{},"]/, " "); print "INSERT OR IGNORE INTO readings VALUES ('" $1 "', " $7 ", " $4 ");" }
NR % BATCH == 0 { print "COMMIT; BEGIN;" }
END { print "COMMIT;" }
"""


# ---- readings: (number of the point, time in s, value), in order of time ----

def as_json(readings):
    for number, time_s, value in readings:
        yield (f"subslab/s{number // POINTS}/p{number % POINTS}",
               f'{{"v": {value:.1f}, "t": {time_s * 1000}}}')


def as_collectd(readings):
    for number, time_s, value in readings:
        yield (f"collectd/s{number // POINTS}/suction/gauge-p{number % POINTS}",
               f"{time_s}:{value:.1f}")


def number_of(name):
    """Of a topic or a path of files: …s3…p2…"""
    house, place = re.search(r"\bs(\d+)\b.*\bp(\d+)\b", name).groups()
    return int(house) * POINTS + int(place)


def used_bytes(database):
    """Of an SQLite file: its pages without the free ones."""
    store = sqlite3.connect(f"file:{database}?mode=ro", uri=True)
    try:
        pages, free, size = (store.execute(f"PRAGMA {name}").fetchone()[0]
                             for name in ("page_count", "freelist_count", "page_size"))
        return (pages - free) * size
    finally:
        store.close()


def cpu_s(pid):
    """Time on a processor of a running process's threads."""
    total = 0
    for path in glob.glob(f"/proc/{pid}/task/*/schedstat"):
        try:
            with open(path, encoding="ascii") as file:
                total += int(file.read().split()[0])
        except OSError:  # the thread has ended
            pass
    return total / 1e9


class Peer:
    """Programs in a row, each reading what the one before writes."""

    label = ident = ""
    slow = False       # a commit per message: gets the beginning of the backlog
    keeps = True
    feed, topic = staticmethod(as_json), "subslab/#"

    def __init__(self, folder, port):
        self.folder, self.port = folder, port
        self.store = os.path.join(folder, "peer.db")
        self.processes, self.ended_cpu_s = [], 0.0

    def commands(self, count):
        raise NotImplementedError

    def start(self, count=NEVER):
        """Of `count` readings and then its end, where the program knows such a thing."""
        self.processes, self.ended_cpu_s, before = [], 0.0, subprocess.DEVNULL
        commands = self.commands(count)
        with open(os.path.join(self.folder, "peer.log"), "ab") as log:
            for i, command in enumerate(commands):
                last = i == len(commands) - 1
                process = subprocess.Popen(
                    command, stdin=before, stdout=subprocess.DEVNULL if last else subprocess.PIPE,
                    stderr=log, cwd=self.folder, preexec_fn=dies_with_us,
                    process_group=self.processes[0].pid if i else 0)
                if i:
                    before.close()
                before = process.stdout
                self.processes.append(process)

    def cpu_s(self):
        """Of all its programs since they were started, also of those that have ended."""
        return self.ended_cpu_s + sum(cpu_s(p.pid) for p in self.processes if p.returncode is None)

    def wait_end(self):
        """Until all of them have ended; their CPU is that of the kernel's own account then."""
        began = time.monotonic()
        for process in self.processes:
            while process.returncode is None:
                pid, status, usage = os.wait4(process.pid, os.WNOHANG)
                if pid:
                    process.returncode = os.waitstatus_to_exitcode(status)
                    self.ended_cpu_s += usage.ru_utime + usage.ru_stime
                    break
                check(time.monotonic() - began < GIVE_UP_S, f"{self.label} does not end")
                time.sleep(0.001)

    def wait_drained(self, _readings):
        """Until the readings are kept; the moment (of time.monotonic) when they were."""
        self.wait_end()
        return time.monotonic()

    def settle(self, _readings):
        """All is acknowledged: let it write what it still holds."""

    def stop(self):
        """In peace. mosquitto_sub may hang in its handler when a signal comes while it talks to the
        broker; what it has acknowledged it has handed on, so it can be ended then."""
        first = self.processes[0]
        first.send_signal(signal.SIGTERM)
        last_resort = threading.Timer(STALLED_S, first.kill)
        if first.args[0] == "mosquitto_sub":
            last_resort.start()
        self.wait_end()
        last_resort.cancel()

    def kill(self):
        running = [p for p in self.processes if p.returncode is None]
        if running:
            os.killpg(self.processes[0].pid, signal.SIGKILL)
        self.wait_end()

    def bytes(self):
        return used_bytes(self.store) if os.path.exists(self.store) else 0

    def stored(self):
        """Everything kept: [(number of the point, time in s, value)]."""
        store = sqlite3.connect(f"file:{self.store}?mode=ro", uri=True)
        try:
            return [(number_of(topic), time_ms // 1000, value) for topic, time_ms, value
                    in store.execute("SELECT topic, time_ms, value FROM readings")]
        finally:
            store.close()

    def mosquitto_sub(self, count, *more):
        return ["mosquitto_sub", "-p", str(self.port), "-V", "5", "-i", self.ident, "-c", "-x",
                "100000", "-q", "1", "-t", self.topic, "-D", "connect", "receive-maximum",
                str(WINDOW), "-C", str(count), *more]

    def sqlite3(self):
        return ["sqlite3", "-cmd", PRAGMAS + TABLE, self.store]


class SubToNothing(Peer):
    label, ident, keeps = "`mosquitto_sub` to nothing", "sub-nothing", False

    def commands(self, count):
        return [self.mosquitto_sub(count)]

    def stored(self):
        return []


class SubBatch(Peer):
    label, ident = f"`mosquitto_sub`, `awk`, `sqlite3`; commit per {BATCH}", "sub-sqlite-batch"

    def commands(self, count):
        return [self.mosquitto_sub(count, *LINES), ["awk", "-v", f"BATCH={BATCH}", AWK_TO_SQL],
                self.sqlite3()]


class SubEach(Peer):
    label, ident = "`mosquitto_sub`, `sed`, `sqlite3`; commit per message", "sub-sqlite-each"
    slow = True

    def commands(self, count):
        return [self.mosquitto_sub(count, *LINES), ["sed", "-uE", SED_TO_SQL], self.sqlite3()]


class PahoBatch(Peer):
    label, ident, batch = f"Python, paho, sqlite3; commit per {BATCH}", "paho-batch", BATCH

    def commands(self, count):
        return [["/usr/bin/python3", os.path.join(SUPPORT, "paho_to_sqlite.py"), str(self.port),
                 self.ident, self.store, str(self.batch), str(count)]]


class PahoEach(PahoBatch):
    label, ident, batch, slow = "Python, paho, sqlite3; commit per message", "paho-each", 1, True


# ---- the daemon ----

class Subslabd(Peer):
    label, ident = "**subslabd**", "subslabd"

    def __init__(self, folder, port):
        super().__init__(folder, port)
        self.daemon = Daemon(folder, port, [
            system(f"s{s}", [point(f"p{p}", every=f"{INTERVAL_S // 60} min")
                             for p in range(POINTS)]) for s in range(SYSTEMS)],
            client_id=self.ident)
        self.store = self.daemon.store

    def commission(self):
        """It shall have something to judge by."""
        baseline = ", ".join(f"p{p}: 250 Pa" for p in range(POINTS))
        self.start()
        self.wait_connected()
        for s in range(SYSTEMS):
            self.daemon.commission(
                f"s{s}", f"date: 2020-01-01\nby: the installer\npoints: {{{baseline}}}\n")
        self.stop()

    def start(self, count=NEVER):
        self.ended_cpu_s = 0.0
        self.daemon.spawn()
        self.processes = [self.daemon.process]

    def wait_connected(self):
        wait_until(self.daemon.is_ready, 60, "READY of the daemon")
        self.daemon.wait_connected()

    def wait_drained(self, readings):
        self.wait_connected()
        began = time.monotonic()
        # A metrics request now and then disturbs little, and tells when the last commit is done.
        while self.daemon.metric("subslab_readings_total") < len(readings):
            check(time.monotonic() - began < GIVE_UP_S, "the drain does not end")
            time.sleep(0.01)
        return time.monotonic()

    def stop(self):
        self.daemon.measure_turn()
        super().stop()
        check(self.processes[0].returncode == 0, "the daemon's exit status")

    def kill(self):
        self.processes[0].kill()
        self.wait_end()

    def wait_packed(self):
        """Starts it and lets it pack the days that are over, until nothing moves any more."""
        self.start()
        self.wait_connected()
        store = sqlite3.connect(f"file:{self.store}?mode=ro", uri=True)
        began = still = time.monotonic()
        changes = None
        while time.monotonic() - still < STALLED_S / 2:
            now = store.execute("PRAGMA data_version").fetchone()[0]
            rows = store.execute("SELECT EXISTS (SELECT 1 FROM readings)").fetchone()[0]
            if now != changes or rows:
                changes, still = now, time.monotonic()
            check(time.monotonic() - began < GIVE_UP_S, "packing does not end")
            time.sleep(0.2)
        store.close()
        self.stop()

    def stored(self):
        self.start()
        self.wait_connected()
        found = [(number_of(f"s{s} {name}"), moment // 1000, value) for s in range(SYSTEMS)
                 for name, readings in self.daemon.readings(f"s{s}").items()
                 for moment, value in readings]
        self.stop()
        return found
