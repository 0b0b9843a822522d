#!/usr/bin/env python3
"""10 000 systems with four points each: time to READY, memory, the longest turn of the loop."""
import os
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (SANITIZED, Failure, Skipped, Suite, check, contact, equal,  # noqa: E402
                     now_ms, point, system, timed, wait_until)

suite = Suite()
SYSTEMS, READY_S, MEMORY_MIB = 10_000, 3.0, 120.0


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


if __name__ == "__main__":
    suite.run()
