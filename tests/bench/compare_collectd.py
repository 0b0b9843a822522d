"""compare_collectd: collectd as one of the programs of compare_programs, with files of CSV and round
robin files."""
import glob
import os
import socket
import struct
import subprocess
import time

from compare_programs import COLLECTD, INTERVAL_S, Peer, STALLED_S, as_collectd, number_of
from harness import check, dies_with_us, equal, wait_until

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
