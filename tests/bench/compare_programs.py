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
import socket
import sqlite3
import struct
import subprocess
import sys
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (SUPPORT, Daemon, check, dies_with_us, equal, point, system,  # noqa: E402
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


# ---- collectd ----

COLLECTD_SETTINGS = """\
FQDNLookup false
Hostname "peer"
BaseDir "{folder}"
PIDFile "{folder}/pid"
PluginDir "/usr/lib/collectd"
TypesDB "/usr/share/collectd/types.db"
Interval {interval_s}
WriteThreads {write_threads}
LoadPlugin logfile
<Plugin logfile>
  File "{folder}/collectd.log"
  LogLevel notice
</Plugin>
LoadPlugin mqtt
<Plugin mqtt>
  <Subscribe "peer">
    Host "127.0.0.1"
    Port "{port}"
    ClientId "{ident}"
    QoS 1
    Topic "collectd/#"
    CleanSession false
  </Subscribe>
</Plugin>
LoadPlugin unixsock
<Plugin unixsock>
  SocketFile "{folder}/s"
  DeleteSocket true
</Plugin>
"""


class Collectd(Peer):
    feed, topic = staticmethod(as_collectd), "collectd/#"
    write_threads, output, names = 1, "", "*"

    def __init__(self, folder, port):
        super().__init__(folder, port)
        self.data = os.path.join(folder, "data")
        self.settings = os.path.join(folder, "collectd.conf")
        with open(self.settings, "w", encoding="utf-8") as file:
            file.write(COLLECTD_SETTINGS.format(
                folder=folder, port=port, ident=self.ident, interval_s=INTERVAL_S,
                write_threads=self.write_threads) + self.output.format(data=self.data))

    def commands(self, _count):
        return [[COLLECTD, "-f", "-C", self.settings]]

    def files(self):
        """Without what a kill leaves of a file that was being made."""
        return sorted(glob.glob(os.path.join(self.data, "*", "*", self.names)))

    def bytes(self):
        return sum(os.path.getsize(f) for f in self.files())

    def progress(self, readings):
        """(how far it is, is that the end?)"""
        raise NotImplementedError

    def wait_drained(self, readings):
        """Also ends when nothing moves any more: what is missing then is lost."""
        moved, last = time.monotonic(), None
        while time.monotonic() - moved < STALLED_S:
            now, done = self.progress(readings)
            if done:
                return time.monotonic()
            if now != last:
                moved, last = time.monotonic(), now
            time.sleep(0.05)
        return moved

    def settle(self, readings):
        still, last = time.monotonic(), None
        while time.monotonic() - still < STALLED_S / 2:
            now, _ = self.progress(readings)
            if now != last:
                still, last = time.monotonic(), now
            time.sleep(0.1)


class CollectdCsv(Collectd):
    label, ident = "collectd to CSV", "collectd-csv"
    output = 'LoadPlugin csv\n<Plugin csv>\n  DataDir "{data}"\n  StoreRates false\n</Plugin>\n'

    def progress(self, readings):
        """A file begins with a line of names, a reading is a line of known length."""
        size = self.bytes()
        whole = sum(len(f"{t:.3f},{v:.6f}\n") for _, t, v in readings)
        return size, size >= whole + len("epoch,value\n") * len({n for n, _, _ in readings})

    def stored(self):
        found = []
        for name in self.files():
            with open(name, encoding="ascii") as file:
                for line in list(file)[1:]:
                    moment, value = line.split(",")
                    found.append((number_of(name), round(float(moment)), float(value)))
        return found


def last_update(name):
    """Of a round robin file of one value and three series, by rrd_format.h of RRDtool 1.7. rrdtool
    itself locks the file, and an update that comes just then is lost."""
    with open(name, "rb") as file:
        head = file.read(624)
    return struct.unpack_from("=q", head, 128 + 120 + 3 * 120)[0] if len(head) == 624 else 0


class CollectdRrd(Collectd):
    label, ident = "collectd to RRD", "collectd-rrd"
    names, rows, caching = "*.rrd", 1152, ""
    output = ('LoadPlugin rrdtool\n<Plugin rrdtool>\n  DataDir "{data}"\n'
              f"  RRARows {rows}\n  RRATimespan {rows * INTERVAL_S}\n")

    def __init__(self, folder, port):
        self.output += self.caching + "</Plugin>\n"
        super().__init__(folder, port)
        self.tool = None

    def rrdtool(self, line):
        """One rrdtool for all questions; its answer without the line of thanks."""
        if self.tool is None:
            self.tool = subprocess.Popen(["rrdtool", "-"], stdin=subprocess.PIPE, text=True,
                                         stdout=subprocess.PIPE, preexec_fn=dies_with_us)
        self.tool.stdin.write(line + "\n")
        self.tool.stdin.flush()
        answer = []
        for text in self.tool.stdout:
            check(not text.startswith("ERROR"), f"rrdtool {line}: {text}")
            if text.startswith("OK "):
                break
            answer.append(text)
        return answer

    def progress(self, readings):
        last = {}
        for number, moment, _ in readings:
            last[number] = moment
        names = {number_of(name): name for name in self.files()}
        # The values go out in the order in which they came: look at the last one first.
        place = readings[-1][0]
        if place not in names:
            return len(names), False
        found = last_update(names[place])
        if found < last[place]:
            return (len(names), found), False
        found = {n: last_update(name) for n, name in names.items()}
        return found, found == last

    def stored(self):
        found = []
        for name in self.files():
            end = last_update(name)
            equal(end, int(self.rrdtool(f"last {name}")[0]), "the last update of a file")
            for line in self.rrdtool(f"fetch {name} AVERAGE -r {INTERVAL_S} -e {end} "
                                     f"-s {end - (self.rows - 2) * INTERVAL_S}"):
                moment, _, value = line.partition(":")
                if moment.isdigit() and "nan" not in value and int(moment) <= end:
                    found.append((number_of(name), int(moment), float(value)))
        return found


class CollectdRrdCached(CollectdRrd):
    label, ident = "collectd to RRD, cache of one day", "collectd-rrd-cache"
    caching = "  CacheTimeout 86400\n  CacheFlush 172800\n"

    def connects(self, connection):
        try:
            connection.connect(os.path.join(self.folder, "s"))
        except (ConnectionRefusedError, FileNotFoundError):
            return False
        return True

    def ask(self, line):
        """One command of the unixsock plugin; its lines."""
        with socket.socket(socket.AF_UNIX) as connection:
            connection.settimeout(20)
            # The socket of one that was killed stays; the next one takes its place a moment later.
            wait_until(lambda: self.connects(connection), 20, "collectd's socket")
            connection.sendall(line.encode() + b"\n")
            with connection.makefile("r", encoding="utf-8") as answer:
                status = answer.readline()
                check(not status.startswith("-"), f"collectd {line}: {status}")
                return [answer.readline() for _ in range(int(status.split()[0]))]

    def progress(self, readings):
        """What waits in its memory is asked for, once all of it has come."""
        last = {}
        for number, moment, _ in readings:
            last[number] = moment
        found = {}
        for line in self.ask("LISTVAL"):
            moment, name = line.split()
            found[number_of(name)] = round(float(moment))
        if found != last:
            return found, False
        self.ask("FLUSH plugin=rrdtool timeout=-1")
        return super().progress(readings)
