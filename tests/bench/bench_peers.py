#!/usr/bin/env python3
"""subslabd against what somebody would otherwise pick, in one run: one table in Markdown.

    bench_peers.py            a short run, with generous limits on a few ratios (under a minute)
    bench_peers.py --full     the table as it stands in FIGURES.md (under ten minutes)
    bench_peers.py --figures  the same, and puts it into FIGURES.md between its two marks; best done
                              when the machine has nothing else to do

Needs a release build (cmake --preset release) and the Debian packages of the groups build, test and
peers in config/packages.sh; without collectd its rows are left out, and the table says so.

How it is measured. A broker holds the same backlog for a session of every program at QoS 1. Then
each program has the machine for itself:

  readings/s     from its connection to the broker until the last reading is kept
  CPU            user and system time of all its processes in that time
  bytes          what its files have grown by; of SQLite files without free pages
  restart        from its start, with the data in place, to the broker's line of its connection
  memory         the sum of its processes' largest resident sets
  kept           what is read back from it after that undisturbed drain
  catching up    a burst is queued, the program started, and all its processes get SIGKILL together
                 when it has acknowledged a part that chance decides; so again and again, then it
                 may end in peace, and what is read back is compared with what was published
  steady flow    readings come evenly to all programs at once; now and then all get SIGKILL and are
                 started again; compared in the same way

Programs that commit each message get the beginning of the backlog, as many readings as the table
says. Of several rounds the best figure of each program counts; others use this machine too.

Environment: TEST_SEED; ROUNDS (3 with --full).
"""
import os
import platform
import random
import re
import subprocess
import sys
import threading
import time
from collections import Counter
from textwrap import fill as wrapped

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
# pylint: disable=wrong-import-position
from compare_programs import (BATCH, COLLECTD, INTERVAL_S, NEVER, POINTS, SYSTEMS,  # noqa: E402
                              WINDOW, PahoBatch, PahoEach, SubBatch, SubEach, SubToNothing,
                              Subslabd, as_collectd, as_json)
from compare_collectd import CollectdCsv, CollectdRrd, CollectdRrdCached  # noqa: E402
from harness import SANITIZED, SOURCE, Skipped, Suite, check, equal  # noqa: E402

FULL = "--full" in sys.argv or "--figures" in sys.argv
ROUNDS = int(os.environ.get("ROUNDS", "3" if FULL else "1"))
DAYS, SLOW_READINGS = (7, 2000) if FULL else (2, 300)
BURSTS, BURST = (5, 3000) if FULL else (2, 300)
FLOW_PER_S, FLOW_KILLS, FLOW_BETWEEN_S = (100, 5, 3.0) if FULL else (100, 2, 1.5)
DAY_S, READY_S = 86400, 60
LOAD_BEFORE = os.getloadavg()[0]
PROGRAMS = [Subslabd, SubToNothing, SubBatch, SubEach, PahoBatch, PahoEach]
COLLECTD_PROGRAMS = [CollectdCsv, CollectdRrd, CollectdRrdCached]
HAS_COLLECTD = os.path.exists(COLLECTD)
if HAS_COLLECTD:
    PROGRAMS += COLLECTD_PROGRAMS
MARKS = "<!-- peers: begin -->\n", "<!-- peers: end -->\n"

suite = Suite()


def make_readings(count):
    """In order of time, on the interval, of days that the daemon packs: over for three days."""
    end_s = (int(time.time()) // DAY_S - 3) * DAY_S
    start_s = end_s - DAYS * DAY_S
    places = SYSTEMS * POINTS
    levels = [random.uniform(230, 270) for _ in range(places)]
    return [(i % places, start_s + i // places * INTERVAL_S,
             round(random.gauss(levels[i % places], 1.5), 1)) for i in range(count)]


# ---- the broker as a witness ----

class BrokerLog:
    """What the broker has written since it was last asked."""

    def __init__(self, broker):
        self.file = open(os.path.join(broker.folder, "broker.log"), encoding="utf-8")
        self.rest, self.connected, self.acknowledged = "", Counter(), Counter()

    def look(self):
        text = self.rest + self.file.read()
        end = text.rfind("\n") + 1
        self.rest = text[end:]
        for line in text[:end].splitlines():
            if "New client connected" in line:
                self.connected[re.search(r" as (\S+) \(", line).group(1)] += 1
            elif "Received PUBACK from" in line:
                self.acknowledged[line.split("PUBACK from ")[1].split(" ")[0]] += 1

    def wait(self, condition, what, seconds=240):
        began = time.monotonic()
        while True:
            self.look()
            if condition():
                return time.monotonic()
            check(time.monotonic() - began < seconds, f"not within {seconds} s: {what}")
            time.sleep(0.0005)


class PeakMemory(threading.Thread):
    """The largest resident set of each process, looked at now and then. (The kernel's account of an
    ended child would count what Python held when it forked.)"""

    def __init__(self, processes):
        super().__init__(daemon=True)
        self.pids, self.peaks, self.over = [p.pid for p in processes], {}, threading.Event()

    def run(self):
        while not self.over.wait(0.02):
            for pid in self.pids:
                try:
                    with open(f"/proc/{pid}/status", encoding="ascii") as file:
                        peak = re.search(r"VmHWM:\s+(\d+)", file.read())
                except OSError:
                    continue
                if peak:
                    self.peaks[pid] = int(peak.group(1))

    def mib(self):
        self.over.set()
        self.join()
        return sum(self.peaks.values()) / 1024


def make_broker(place, more=""):
    return place.broker(more=f"max_inflight_messages {WINDOW}\n{more}")


def make_peer(place, broker, program):
    """With a session that the broker holds."""
    peer = program(place.new_folder("peer"), broker.port)
    if program is Subslabd:
        place.daemons.append(peer.daemon)
        peer.commission()
    else:
        subprocess.run(["mosquitto_sub", "-p", str(broker.port), "-i", peer.ident, "-c", "-q", "1",
                        "-t", peer.topic, "-E"], check=True, timeout=30)
    place.at_end(peer.kill)
    return peer


def publish(broker, peers, readings):
    for feed in (as_json, as_collectd):
        if any(peer.feed is feed for peer in peers):
            equal(broker.publish(feed(readings)), len(readings), "queued")


# ---- measuring ----

def start(peer, log, count):
    """(the moment of its start, that of its connection)"""
    log.look()
    before, began = log.connected[peer.ident], time.monotonic()
    peer.start(count)
    return began, log.wait(lambda: log.connected[peer.ident] > before, f"{peer.label} connects",
                           READY_S)


def compare(peer, readings):
    """What became of them: lost, doubled, altered."""
    expected = {(number, moment): value for number, moment, value in readings}
    found = Counter()
    altered = set()
    for number, moment, value in peer.stored():
        check((number, moment) in expected, f"{peer.label} made up {number, moment, value}")
        found[number, moment] += 1
        if abs(expected[number, moment] - value) > 1e-6:
            altered.add((number, moment))
    return {"lost": len(expected) - len(found), "doubled": sum(found.values()) - len(found),
            "altered": len(altered), "of": len(expected)}


def measure(peer, log, readings):
    """One undisturbed drain."""
    bytes_before = peer.bytes()
    _, connected = start(peer, log, len(readings))
    memory, cpu_before = PeakMemory(peer.processes), peer.cpu_s()
    memory.start()
    took_s = peer.wait_drained(readings) - connected
    used_s = peer.cpu_s() - cpu_before
    figures = {"rate": len(readings) / took_s, "cpu_us": used_s / len(readings) * 1e6,
               "memory_mib": memory.mib()}
    peer.stop()
    if peer.keeps:
        figures["bytes"] = (peer.bytes() - bytes_before) / len(readings)
    began, connected = start(peer, log, NEVER)
    figures["restart_ms"] = (connected - began) * 1000
    time.sleep(0.3)  # let it have the answer
    peer.stop()
    return figures, bytes_before


BETTER = {"rate": max, "cpu_us": min, "memory_mib": min, "bytes": min, "restart_ms": min}


def drain_round(place, programs, readings, results, first):
    broker = make_broker(place)
    peers = [make_peer(place, broker, program) for program in programs]
    publish(broker, peers, readings)
    log = BrokerLog(broker)
    for peer in peers:
        figures, bytes_before = measure(peer, log, readings)
        known = results.setdefault(type(peer), {"count": len(readings)})
        for key, value in figures.items():
            known[key] = BETTER[key](known.get(key, value), value)
        print(f"        {peer.ident:20} {figures['rate']:8.0f}/s {figures['cpu_us']:7.1f} us "
              f"{figures.get('bytes', 0):6.1f} bytes {figures['restart_ms']:6.0f} ms "
              f"{figures['memory_mib']:6.1f} MiB", flush=True)
        if first and peer.keeps:
            known["drain"] = compare(peer, readings)
            print(f"        {'':20} {known['drain']}", flush=True)
        if first and isinstance(peer, Subslabd):
            peer.wait_packed()
            known["packed"] = (peer.bytes() - bytes_before) / len(readings)
            known["packed_drain"] = compare(peer, readings)
            print(f"        {'':20} packed: {known['packed']:.1f} bytes", flush=True)
    broker.stop()


def kill_round(place, programs, results):
    broker = make_broker(place, "log_type debug\n")
    peers = [make_peer(place, broker, program) for program in programs if program.keeps]
    log, readings = BrokerLog(broker), make_readings(BURSTS * BURST)
    for burst in range(BURSTS):
        publish(broker, peers, readings[burst * BURST:(burst + 1) * BURST])
        for peer in peers:
            log.look()
            waiting = (burst + 1) * BURST - log.acknowledged[peer.ident]
            enough = log.acknowledged[peer.ident] + random.uniform(0.2, 0.8) * waiting
            peer.start()
            log.wait(lambda: log.acknowledged[peer.ident] >= enough, f"{peer.label} takes some in")
            peer.kill()
    for peer in peers:
        start(peer, log, NEVER)
        finish(peer, log, readings, results, "catching up")
    broker.stop()


def finish(peer, log, readings, results, way):
    """Lets it take in what is left and end in peace, and looks what it has."""
    log.wait(lambda: log.acknowledged[peer.ident] >= len(readings), f"{peer.label} drains")
    peer.settle(readings)
    peer.stop()
    results[type(peer)][way] = compare(peer, readings)
    print(f"        {peer.ident:20} killed, {way}: {results[type(peer)][way]}", flush=True)


def flow_readings():
    return make_readings(int((FLOW_KILLS + 1) * FLOW_BETWEEN_S * FLOW_PER_S))


def flow(broker, peers, readings):
    """Publishes them evenly."""
    began = time.monotonic()
    for i in range(0, len(readings), 10):
        time.sleep(max(0, began + i / FLOW_PER_S - time.monotonic()))
        publish(broker, peers, readings[i:i + 10])


def flow_round(place, programs, results):
    broker = make_broker(place, "log_type debug\n")
    peers = [make_peer(place, broker, program) for program in programs if program.keeps]
    readings = flow_readings()
    log, sender = BrokerLog(broker), threading.Thread(target=flow, args=(broker, peers, readings),
                                                      daemon=True)
    for peer in peers:
        start(peer, log, NEVER)
    sender.start()
    began = time.monotonic()
    for i in range(FLOW_KILLS):
        kill_at = began + (i + random.uniform(0.3, 1.0)) * FLOW_BETWEEN_S
        time.sleep(max(0, kill_at - time.monotonic()))
        for peer in peers:
            peer.kill()
        for peer in peers:
            start(peer, log, NEVER)
    sender.join(240)
    for peer in peers:
        finish(peer, log, readings, results, "steady flow")
    broker.stop()


# ---- the table ----

def number(value):
    """Three digits that count, thousands apart."""
    if value < 99.95:
        return f"{value:.1f}" if value < 20 else f"{value:.0f}"
    digits = len(str(round(value))) - 3
    return f"{round(value / 10**digits) * 10**digits:,}".replace(",", " ")


def exactly(value):
    return f"{value:,}".replace(",", " ")


def kept_text(outcome):
    if outcome is None:
        return "nothing"
    words = [f"{exactly(outcome[key])} {key}" for key in ("lost", "doubled", "altered")
             if outcome[key]]
    return ", ".join(words) or "all"


def bytes_text(program, figures):
    if not program.keeps:
        return "–"
    if program.slow:
        return f"as per {BATCH}"
    text = number(figures["bytes"])
    return f"{text}; packed {number(figures['packed'])}" if "packed" in figures else text


def row(program, figures):
    return [program.label, number(figures["rate"]), number(figures["cpu_us"]),
            bytes_text(program, figures), f"{number(figures['restart_ms'])} ms",
            f"{number(figures['memory_mib'])} MiB", kept_text(figures.get("drain")),
            kept_text(figures.get("catching up")), kept_text(figures.get("steady flow"))]


def version_of(*packages):
    out = subprocess.run(["dpkg-query", "-W", "-f", "${Package} ${Version}\n", *packages],
                         capture_output=True, text=True, check=False).stdout
    return ", ".join(out.splitlines()) or "not from packages"


def sync_ms(folder):
    """How long this disk takes to make one page durable."""
    name, times = os.path.join(folder, "sync"), []
    file = os.open(name, os.O_CREAT | os.O_WRONLY)
    for _ in range(100):
        began = time.monotonic()
        os.write(file, b"x" * 4096)
        os.fdatasync(file)
        times.append(time.monotonic() - began)
    os.close(file)
    os.unlink(name)
    return sorted(times)[50] * 1000


def conditions(results, readings, folder):
    packages = ["mosquitto", "mosquitto-clients", "sqlite3", "python3", "python3-paho-mqtt"]
    packages += ["collectd-core", "rrdtool"] if HAS_COLLECTD else []
    with open("/etc/os-release", encoding="utf-8") as file:
        system_name = re.search(r'PRETTY_NAME="(.*)"', file.read()).group(1)
    _, json_form = next(as_json(readings))
    _, collectd_form = next(as_collectd(readings))
    text = (
        f"Conditions: {system_name}, Linux {platform.release().split('-')[0]}, {os.cpu_count()} "
        f"shared cores, load before the run {LOAD_BEFORE:.1f}, `fdatasync` of a page "
        f"{sync_ms(folder):.1f} ms; best of {ROUNDS}. "
        f"One broker, QoS 1, sessions kept, {exactly(WINDOW)} messages on the way; a backlog of "
        f"{exactly(len(readings))} readings as `{json_form}`: {SYSTEMS} systems of {POINTS} points, "
        f"{DAYS} days, one reading in {INTERVAL_S // 60} minutes; with a commit per message its "
        f"first {exactly(results[PahoEach]['count'])}. SQLite: WAL, `synchronous=FULL`, topic and "
        f"time as the key. Killed: SIGKILL to all processes, {BURSTS} times while it catches up "
        f"with {exactly(BURSTS * BURST)} readings, {FLOW_KILLS} times in a flow of "
        f"{exactly(len(flow_readings()))}, {FLOW_PER_S} a second. ")
    if HAS_COLLECTD:
        text += (f"collectd gets `{collectd_form}` on topics of its own, `CleanSession false`, one "
                 f"write thread, RRD files that hold all of it at full resolution. ")
    else:
        text += "collectd is not installed here (`config/packages.sh`, group `peers`). "
    return text + f"Debian packages: {version_of(*packages)}.\n"


def table(results, readings, folder):
    head = ["", "readings/s", "CPU µs a reading", "bytes a reading", "restart", "memory",
            "undisturbed", f"killed catching up, of {exactly(BURSTS * BURST)}",
            f"killed in a steady flow, of {exactly(len(flow_readings()))}"]
    lines = ["| " + " | ".join(cells) + " |"
             for cells in [head] + [row(program, results[program]) for program in PROGRAMS]]
    lines.insert(1, "|" + "---|" * len(head))
    below = wrapped(conditions(results, readings, folder), 100, break_on_hyphens=False)
    return "\n".join(lines) + "\n\n" + below + "\n"


def write_figures(text):
    name = os.path.join(SOURCE, "tests", "bench", "FIGURES.md")
    with open(name, encoding="utf-8") as file:
        page = file.read()
    begin, end = (page.index(mark) for mark in MARKS)
    with open(name, "w", encoding="utf-8") as file:
        file.write(page[:begin + len(MARKS[0])] + text + page[end:])


def judge(results):
    """Generous: another machine, and others at work on it, must not fail this."""
    ours = results[Subslabd]
    for outcome in ("drain", "packed_drain", "catching up", "steady flow"):
        equal({k: ours[outcome][k] for k in ("lost", "doubled", "altered")},
              {"lost": 0, "doubled": 0, "altered": 0}, f"subslabd, {outcome}")
    for program in (SubEach, PahoEach):
        ratio = ours["rate"] / results[program]["rate"]
        print(f"        {ratio:.0f} times the rate of {program.label} (at least 3)", flush=True)
        check(ratio >= 3, f"{ratio:.1f} times the rate of {program.label}")
    for program in (PahoBatch, SubBatch):
        ratio = ours["packed"] / results[program]["bytes"]
        print(f"        {ratio:.2f} of the bytes of {program.label} (at most 0.5)", flush=True)
        check(ratio <= 0.5, f"{ratio:.2f} of the bytes of {program.label}")
    equal(results[PahoEach]["steady flow"]["lost"], 0, "lost with a commit per message")
    check(results[PahoBatch]["catching up"]["lost"] > 0, "the kills hit nothing that was open")


@suite.test
def what_somebody_would_otherwise_pick(place):
    if SANITIZED:
        raise Skipped("figures of a sanitized build say nothing")
    results, readings = {}, make_readings(DAYS * DAY_S // INTERVAL_S * SYSTEMS * POINTS)
    quick = [program for program in PROGRAMS if not program.slow]
    slow = [program for program in PROGRAMS if program.slow]
    for round_number in range(ROUNDS):
        turn = round_number % len(quick)
        drain_round(place, quick[turn:] + quick[:turn], readings, results, round_number == 0)
        drain_round(place, slow, readings[:SLOW_READINGS], results, round_number == 0)
    kill_round(place, PROGRAMS, results)
    flow_round(place, PROGRAMS, results)
    text = table(results, readings, place.folder)
    print(text, flush=True)
    judge(results)
    if "--figures" in sys.argv:
        write_figures(text)


if __name__ == "__main__":
    suite.run()
