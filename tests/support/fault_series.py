"""fault_series: a house and a series of readings, for tests that look for each of them later."""

from harness import LOW_AT_ONCE, equal, point, system, timed, wait_until

MILL = system("mill", [point("suction")])
AT_ONCE = {**LOW_AT_ONCE, "broker-lost": {"on_delay": "1 s"},
           "delivery-failing": {"on_delay": "1 s"}}


QUIET = {**AT_ONCE, "sensor-silent": {"enabled": "no"}, "system-silent": {"enabled": "no"},
         "fleet-silent": {"enabled": "no"}}


def series(count, start_ms, value=300):
    return [("subslab/mill/suction", timed(value + i % 50, start_ms + i * 1000))
            for i in range(count)]


def all_there(daemon, count, start_ms, seconds=60):
    wait_until(lambda: len(daemon.readings("mill", "suction")) >= count, seconds,
               f"{count} readings")
    equal([t for t, _ in daemon.readings("mill", "suction")],
          [start_ms + i * 1000 for i in range(count)], "each reading once")
    equal(daemon.refused(), {}, "refused")
