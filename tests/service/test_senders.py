#!/usr/bin/env python3
"""Each recipe of systemd/SENDERS.md: its message is sent as it stands there, taken by the lines of the
system file that stand there, and is stored as it should be. The expected values are worked out here."""
import os
import re
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import SOURCE, Suite, check, equal, now_ms, point, system, time_ms_of, wait_until, write_file  # noqa: E402

suite = Suite()
INH2O = 249.08891  # Pa, at 4 degC: NIST SP 811, table B.9
TOPIC = re.compile(r"(?:at|to)\s+`([\w/-]+/[\w/-]+)`:")


def recipes():
    """{title: (topic, message or None, shell line or None, points as YAML)}"""
    with open(os.path.join(SOURCE, "systemd", "SENDERS.md"), encoding="utf-8") as file:
        parts = re.split(r"^## ", file.read(), flags=re.M)[1:]
    found = {}
    for part in parts:
        blocks = dict(re.findall(r"^```(\w+)\n(.*?)^```", part, re.M | re.S))
        topic = TOPIC.search(part)
        message = blocks.get("json", blocks.get("text"))
        found[part.splitlines()[0]] = (topic and topic.group(1), message and message.strip(), blocks.get("sh"),
                                       blocks["yaml"])
    return found


RECIPES = recipes()
# What must be stored: by recipe and point, in SI; and the time where the message has one of its own.
EXPECTED = {
    "A Zigbee bridge": {"outside": -3.4, "air": 100420.0, "battery": 87},
    "A LoRaWAN network server": {"suction": (268.9, "2026-01-15T08:30:00.123Z"), "battery": (3.61, "2026-01-15T08:30:00.123Z")},
    "Firmware for microcontrollers: a plain value a topic": {"suction": 1.08 * INH2O},
    "Firmware for microcontrollers: a document whose time has no offset": {"fan-power": 19, "fan-current": 0.257},
    "A logger that sends later, and says when in local time": {"suction": (268.9, "2026-01-15T08:30:00Z")},
    "A line of shell": {"suction": 1.08 * INH2O},
    "A transducer with 4-20 mA at the U-tube": {"suction": (12.64 - 4) / 16 * 2 * INH2O},
    "A current clamp at the fan": {"fan-current": 0.257},
    "Pulses of an energy meter": {"fan-power": 3 * 1.0 / (10 / 60)},
}


def daemon_for(place, broker, points):
    daemon = place.daemon(broker, [system("mill", [point("suction")])])
    daemon.settings["broker"]["subscribe"] = ["#"]
    daemon.write_settings()
    write_file(os.path.join(daemon.folder, "systems", "mill.yaml"),
               "id: mill\nname: Mill House\ntime_zone: America/Denver\n" + points, 0o640)
    return daemon.start()


@suite.test
def every_recipe_is_tried(place):
    del place
    equal(set(RECIPES), set(EXPECTED), "the recipes")


@suite.test
def each_message_is_stored_as_it_should_be(place):
    broker = place.broker()
    for title, (topic, message, shell, points) in RECIPES.items():
        daemon = daemon_for(place, broker, points)
        before = now_ms()
        if shell:
            line = shell.replace("mosquitto_pub", f"mosquitto_pub -h 127.0.0.1 -p {broker.port}")
            subprocess.run(["sh", "-ec", line], check=True, timeout=30)
        else:
            broker.publish([(topic, message)])
        for name, expected in EXPECTED[title].items():
            value, own = expected if isinstance(expected, tuple) else (expected, None)
            stored = wait_until(lambda n=name, d=daemon: d.readings("mill", n), 20, f"{title}: a reading of {name}")
            check(abs(stored[0][1] - value) <= 1e-6 * abs(value), f"{title}: {name} is {stored}, not {value}")
            if own:
                equal(stored[0][0], time_ms_of(own), f"{title}: the time of {name}")
            else:
                check(before - 1000 <= stored[0][0] <= now_ms(), f"{title}: the time of {name}: {stored}")
        equal(daemon.refused(), {}, f"{title}: nothing is refused")
        daemon.stop()


@suite.test
def a_time_without_an_offset_is_refused_and_it_is_said_what_to_do(place):
    topic, message, _, points = RECIPES["Firmware for microcontrollers: a document whose time has no offset"]
    broker = place.broker()
    daemon = daemon_for(place, broker, points.replace("value: /ENERGY/Power", "value: /ENERGY/Power, time: /Time"))
    broker.publish([(topic, message)])
    wait_until(lambda: daemon.readings("mill", "fan-current"), 20, "the point without a time")
    equal(daemon.readings("mill", "fan-power"), [], "the point that names it")
    said = subprocess.run([os.path.join(os.path.dirname(daemon.program), "subslabctl"), "--settings",
                           daemon.settings_file, "refused"], capture_output=True, text=True, timeout=30,
                          check=True).stdout
    check("time-malformed" in said and "with its offset" in said and "leave `time` out" in said
          and "`time_zone_of_time: local`" in said, said)


@suite.test
def a_broken_wire_reads_as_no_suction(place):
    """0 mA: the value of the text, and it is told."""
    _, _, _, points = RECIPES["A transducer with 4-20 mA at the U-tube"]
    broker = place.broker()
    daemon = daemon_for(place, broker, points.replace("offset: -0.5}", "offset: -0.5, limits: {lost: 0.1 inH2O}}")
                        + "conditions: {suction-lost: {on_delay: 0 s}}\n")
    broker.publish([("subslab/mill/suction", "0")])
    stored = wait_until(lambda: daemon.readings("mill", "suction"), 20, "the reading")
    check(abs(stored[0][1] + 0.5 * INH2O) < 1e-3, f"it reads {stored}")
    daemon.alarm("suction-lost")


if __name__ == "__main__":
    suite.run()
