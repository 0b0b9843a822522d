#!/usr/bin/env python3
"""10 000 systems with four points each: time to READY, memory, the longest turn of the loop; and a
fleet that has lived: its history imported, then at rest, restarted, asked for pages, alarmed, reloaded.

Environment: LIVED_SYSTEMS (400; 10000 and 100000 for FIGURES.md), LIVED_DAYS (45), LIVED_RATE (53 readings a
second at rest), LIVED_QUEUED (30 a system for a drain), TEST_SEED.
"""
import os
import signal
import subprocess
import sys
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from bench_drain import cpu_s  # noqa: E402
from harness import (BUILD, LOW_AT_ONCE, SANITIZED, Failure, Publisher, Skipped,  # noqa: E402
                     Suite, check, contact, equal, now_ms, point, system, timed, wait_until)
from lived_fleet import HOUR, LEVELS, LivedFleet  # noqa: E402

suite = Suite()
SYSTEMS, READY_S, MEMORY_MIB = 10_000, 10.0, 120.0  # the time with room for a busy machine


def memory_mib(pid, field):
    with open(f"/proc/{pid}/status", encoding="ascii") as file:
        for line in file:
            if line.startswith(field + ":"):
                return int(line.split()[1]) / 1024
    raise Failure(f"no {field}")


def start(daemon):
    began = time.monotonic()
    daemon.start(wait_connected=False, seconds=60)
    took = time.monotonic() - began
    daemon.wait_connected(60)
    return took


@suite.test
def ten_thousand_systems(place):
    if SANITIZED:
        raise Skipped("figures of a sanitized build say nothing")
    broker, hook = place.broker(), place.endpoint()
    points = [point("suction", every="10 min"), point("hole-1", "field", every="10 min"),
              point("fan-power", "fan-power", "W", every="10 min"),
              point("radon", "radon", "pCi/L", every="1 h")]
    daemon = place.daemon(broker, [system(f"s{i}", points) for i in range(SYSTEMS)],
                          [contact("office", hook)])
    first = start(daemon)
    at = now_ms() - 3000
    broker.publish((f"subslab/s{i}/{p}", timed(v, at)) for i in range(SYSTEMS)
                   for p, v in (("suction", 280), ("hole-1", 6), ("fan-power", 20), ("radon", 1.5)))
    wait_until(lambda: daemon.metric("subslab_readings_total") == 4 * SYSTEMS, 60, "readings")
    began = time.monotonic()
    equal(len(daemon.get("/api/systems")), SYSTEMS, "systems")
    listing = time.monotonic() - began
    print(f"        first start: ready after {first:.2f} s; list of systems {listing * 1000:.0f} ms; "
          f"memory {memory_mib(daemon.process.pid, 'VmRSS'):.0f} MiB", flush=True)
    equal(daemon.stop(), 0, "exit status")
    again = start(daemon)
    daemon.get("/api/systems")
    resident = memory_mib(daemon.process.pid, "VmRSS")
    print(f"        10 000 systems, 40 000 points: ready after {again:.2f} s (at most {READY_S:.0f}), "
          f"resident {resident:.0f} MiB, peak {memory_mib(daemon.process.pid, 'VmHWM'):.0f} MiB "
          f"(at most {MEMORY_MIB:.0f})", flush=True)
    check(again <= READY_S, f"ready after {again:.2f} s")
    check(resident <= MEMORY_MIB, f"resident {resident:.0f} MiB")


# ---- a fleet that has lived ----

LIVED_SYSTEMS = int(os.environ.get("LIVED_SYSTEMS", "400"))
LIVED_DAYS = int(os.environ.get("LIVED_DAYS", "45"))
REST_RATE = int(os.environ.get("LIVED_RATE", "53"))
DRAINED = int(os.environ.get("LIVED_QUEUED", "30"))
ALERTS, REST_S = 100, 20
PAGES = ("/", "/alarms", "/visits", "/systems/s1", "/systems/s1/record")
READER = """
import http.client, itertools, sys
connection = http.client.HTTPConnection("127.0.0.1", int(sys.argv[1]), timeout=60)
for path in itertools.cycle(sys.argv[2:]):
    connection.request("GET", path)
    connection.getresponse().read()
"""


def told(what, measured, asked):
    print(f"        {what}: {measured} (asked: {asked})", flush=True)


def turn_ms(daemon):
    return daemon.metric("subslab_turn_longest_seconds") * 1000


def settle(daemon, seconds=1800):
    """Until days are judged and packed, which begins some seconds after the last of the history; when
    that was: a processor that is idle says so."""
    end, used, since = time.monotonic() + seconds, 0.0, time.monotonic()
    while time.monotonic() < end:
        time.sleep(0.5)
        daemon.notifications()
        now = cpu_s(daemon.process.pid)
        if now - used > 0.03 + LIVED_SYSTEMS * 2e-6:
            since = time.monotonic()
        used = now
        if time.monotonic() - since > 8:
            return since
    raise Failure("the daemon does not come to rest")


def run_import(daemon, fleet):
    """What the tool said."""
    tool = subprocess.Popen([os.path.join(BUILD, "subslabctl"), "--settings", daemon.settings_file,
                             "import", "-"], stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def feed():
        for text in fleet.csv():
            tool.stdin.write(text)
        tool.stdin.close()
    feeder = threading.Thread(target=feed)
    feeder.start()
    while tool.poll() is None:
        daemon.notifications()  # a daemon that nobody listens to waits
        time.sleep(0.05)
    feeder.join()
    return tool.stdout.read().decode()


def import_history(daemon, fleet):
    began = time.monotonic()
    used = cpu_s(daemon.process.pid)
    said = run_import(daemon, fleet)
    check(f"{fleet.rows} readings taken" in said, said)
    taken_s = time.monotonic() - began
    settled_s = settle(daemon) - began
    cost_us = (cpu_s(daemon.process.pid) - used) / fleet.rows * 1e6
    told("import of history", f"{fleet.rows} rows in {taken_s:.1f} s, {fleet.rows / taken_s:.0f} "
         f"rows/s; with all days judged and packed {fleet.rows / settled_s:.0f} rows/s, daemon "
         f"{cost_us:.2f} us CPU a row, longest turn {turn_ms(daemon):.0f} ms", "400 000 rows/s")


def at_rest(daemon, broker, fleet):
    """Readings come in, one after another, as from a fleet of six an hour and system."""
    used, began = cpu_s(daemon.process.pid), time.monotonic()
    with Publisher(broker.port, "rest") as publisher:
        for i in range(REST_S * REST_RATE):
            publisher.publish([(f"subslab/s{i % fleet.count}/suction", timed(280, now_ms()))])
            daemon.notifications()
            time.sleep(max(0, began + (i + 1) / REST_RATE - time.monotonic()))
    share = (cpu_s(daemon.process.pid) - used) / (time.monotonic() - began)
    told(f"at rest, {REST_RATE} readings/s", f"{share * 100:.1f} % of a core", "3 %")


def started_again(daemon):
    equal(daemon.stop(60), 0, "exit status")
    took = start(daemon)
    told("start with all of it, to ready", f"{took:.2f} s", "1 s")
    return took


def pages(daemon):
    worst = {}
    for path in PAGES:
        for _ in range(50):
            began = time.monotonic()
            equal(daemon.request("GET", path, page=True, timeout=60).status, 200, path)
            worst[path] = max(worst.get(path, 0), time.monotonic() - began)
    told("pages, worst of 50", ", ".join(f"{p} {s * 1000:.0f} ms" for p, s in worst.items()), "100 ms")
    took = []
    for _ in range(5):
        began = time.monotonic()
        equal(daemon.request("GET", "/api/systems", timeout=60).status, 200, "systems")
        took.append(time.monotonic() - began)
    told("/api/systems", f"{sorted(took)[2] * 1000:.0f} ms", "150 ms")


def alerts_beside_readers(daemon, broker, hook):
    readers = [subprocess.Popen(["/usr/bin/python3", "-c", READER, str(daemon.page_port), *PAGES])
               for _ in range(3)]
    took, before = [], len(hook.requests)
    try:
        time.sleep(1)
        with Publisher(broker.port, "sensor") as sensor:
            for i in range(ALERTS):
                began = time.time()
                sensor.publish([(f"subslab/alert-{i}/suction", timed(50, now_ms()))])
                arrived = hook.wait_for(before + i + 1, 20)[-1]
                daemon.notifications()
                check(f"alert-{i}" in arrived["body"], f"alert {i}: {arrived['body'][:300]}")
                took.append((arrived["at"] - began) * 1000)
    finally:
        for reader in readers:
            reader.kill()
            reader.wait()
    took.sort()
    told("deciding reading to webhook beside three readers of pages", f"median "
         f"{took[len(took) // 2]:.1f} ms, 99 of 100 within {took[int(len(took) * 0.99) - 1]:.1f} ms",
         "100 ms")


def reload(daemon, count):
    daemon.systems.append(system("new", [point("suction")]))
    daemon.write_settings()
    before = turn_ms(daemon)
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: f"read again: {count + 1} systems" in daemon.log(), 120, "the reload")
    told("longest turn since the start, reload included", f"{turn_ms(daemon):.0f} ms (before the "
         f"reload {before:.0f} ms)", "250 ms")


def drained(daemon, broker, fleet):
    """What waits at the broker when the daemon comes back."""
    daemon.stop(60)
    at, count = now_ms() - DRAINED * 20_000, DRAINED * fleet.count
    names = ("hole-1", "fan-power", "radon")
    messages = ((f"subslab/s{i % fleet.count}/{names[i % 3]}",
                 timed(LEVELS[names[i % 3]] * (1 + i % 97 / 1000), at + i // fleet.count * 20_000))
                for i in range(count))
    broker.publish(messages)
    daemon.start(wait_connected=False, seconds=60)
    used = cpu_s(daemon.process.pid)
    wait_until(lambda: daemon.metric("subslab_readings_total") >= count, 300, "the drain")
    cost = (cpu_s(daemon.process.pid) - used) / count * 1e6
    told(f"CPU a reading, {count} queued", f"{cost:.2f} us", "5 us")


@suite.test
def a_fleet_that_has_lived(place):
    if SANITIZED:
        raise Skipped("figures of a sanitized build say nothing")
    broker, hook = place.broker(), place.endpoint()
    fleet = LivedFleet(suite.seed, LIVED_SYSTEMS, LIVED_DAYS, LIVED_SYSTEMS * 3 // 100, now_ms() - HOUR)
    alerted = [system(f"alert-{i}", [point("suction", every="1 h")], contacts=[f"c{i}"],
                      conditions=LOW_AT_ONCE) for i in range(ALERTS)]
    daemon = place.daemon(broker, fleet.systems + alerted,
                          [contact("office", place.endpoint())] +
                          [contact(f"c{i}", hook) for i in range(ALERTS)])
    print(f"        {fleet.count} systems, {4 * fleet.count} points, {fleet.days} days hourly, "
          f"{fleet.faulty} faulty; load {os.getloadavg()[0]:.1f}", flush=True)
    start(daemon)
    for i in range(fleet.count):
        daemon.commission(f"s{i}", fleet.record)
    import_history(daemon, fleet)
    broker.publish((f"subslab/alert-{i}/suction", timed(300, now_ms() - 1000)) for i in range(ALERTS))
    at_rest(daemon, broker, fleet)
    started_again(daemon)
    pages(daemon)
    resident, peak = (memory_mib(daemon.process.pid, name) for name in ("VmRSS", "VmHWM"))
    told("memory", f"{resident:.0f} MiB, at most {peak:.0f} MiB", "120 MiB")
    alerts_beside_readers(daemon, broker, hook)
    reload(daemon, fleet.count + ALERTS)
    drained(daemon, broker, fleet)


if __name__ == "__main__":
    suite.run()
