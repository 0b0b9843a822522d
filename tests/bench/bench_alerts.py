#!/usr/bin/env python3
"""From the deciding reading, published, to its message at the webhook: 200 live alerts, one by one."""
import json
import os
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (LOW_AT_ONCE, SANITIZED, Publisher, Skipped, Suite, check,  # noqa: E402
                     contact, equal, now_ms, point, system, timed, wait_until)

suite = Suite()
ALERTS, P99_MS = 200, 100.0


@suite.test
def publish_to_webhook(place):
    if SANITIZED:
        raise Skipped("figures of a sanitized build say nothing")
    broker, hook = place.broker(), place.endpoint()
    # A contact for each: many alerts within a minute reach one contact as one message.
    daemon = place.daemon(broker, [system(f"s{i}", [point("suction")], contacts=[f"c{i}"])
                                   for i in range(ALERTS)],
                          [contact(f"c{i}", hook) for i in range(ALERTS)], conditions=LOW_AT_ONCE)
    daemon.start()
    took = []
    with Publisher(broker.port, "sensor") as sensor:
        sensor.publish([(f"subslab/s{i}/suction", timed(300, now_ms() - 1000))
                        for i in range(ALERTS)])
        wait_until(lambda: daemon.metric("subslab_readings_total") == ALERTS, 10, "first readings")
        # A connected daemon's backlog is over half a second after it connected.
        sensor.publish([("subslab/s0/suction", timed(50, now_ms()))])
        hook.wait_for(1, 20)
        for i in range(1, ALERTS):
            message = [(f"subslab/s{i}/suction", timed(50, now_ms()))]
            began = time.time()
            sensor.publish(message)
            arrived = hook.wait_for(i + 1, 20)[i]
            equal(json.loads(arrived["body"])["subject"], f"s{i}", "the alert")
            took.append((arrived["at"] - began) * 1000)
    took.sort()
    p99 = took[int(len(took) * 0.99)]
    print(f"        publish to webhook: median {took[len(took) // 2]:.1f} ms, p99 {p99:.1f} ms "
          f"(at most {P99_MS:.0f}), longest {took[-1]:.1f} ms", flush=True)
    check(p99 <= P99_MS, f"p99 {p99:.1f} ms")


if __name__ == "__main__":
    suite.run()
