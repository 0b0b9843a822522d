"""The twelve houses of the demonstration and what goes wrong in them. All of it is invented: the
place, its streets, the households, every number."""

import re

from physics import DAY_S, House

# Faults of the past: how long ago they began. Of the present: seconds after the live part begins.
JOINT_OPENED_AGO_S = 2.3 * DAY_S
MEMBRANE_TORN_AGO_S = 390 * DAY_S
FAN_STOPS_S, FAN_RUNS_AGAIN_S = 6.0, 60.0
WATER_COMES_S = 12.0
UNIT_CHANGES_S = 18.0
SENSOR_DIES_S = 3.0
SYSTEM_GOES_QUIET_S = 3.0

# Points reporting every few seconds have a short history: sensors that were added not long ago.
HISTORY_S = 425 * DAY_S  # fourteen months
SHORT_HISTORY_S = 20 * 3600.0


def joint_opens(now_s):
    def fault(seconds, _live, effects):
        if seconds > now_s - JOINT_OPENED_AGO_S:
            effects.leak = 1.4
    return fault


def membrane_tears(now_s):
    def fault(seconds, _live, effects):
        if seconds > now_s - MEMBRANE_TORN_AGO_S:
            effects.far_field = 0.40
            effects.radon_bq_m3 = 115.0
    return fault


def fan_wears(now_s):
    def fault(seconds, _live, effects):
        age = min(max((seconds - (now_s - HISTORY_S)) / HISTORY_S, 0.0), 1.1)
        effects.speed = 1.0 - 0.125 * age ** 1.3
    return fault


def fan_stops(_now_s):
    def fault(_seconds, live, effects):
        if live is not False and FAN_STOPS_S <= live < FAN_RUNS_AGAIN_S:
            effects.speed = 0.0
    return fault


def water_in_the_low_spot(_now_s):
    def fault(_seconds, live, effects):
        if live is not False and live >= WATER_COMES_S:
            effects.block = 1.0 + 14.0 * min((live - WATER_COMES_S) / 6.0, 1.0)
            effects.far_field = 0.1
            effects.water_m = 0.32
    return fault


def unit_changes(_now_s):
    def fault(_seconds, live, effects):
        effects.mixed_up = live is not False and live >= UNIT_CHANGES_S
    return fault


# Visits of the past that put in a new fan: system, days ago, found, the fan.
FANS_PUT_IN = (
    ("lantern-green-8", 118, "the fan stood still; its bearing had seized", "{model: wisp-20, serial: Q 1203, why: failed}"),
    ("pepper-wharf-17", 251, "the fan was loud and warm", "{model: gale-85, serial: Q 1188, why: worn}"),
)


def first_day(system_file):
    """When a house came under watch: the day on which its fan was installed."""
    with open(system_file) as file:
        return re.search(r"installed: ([0-9-]+)", file.read()).group(1)


# Whose household has a link.
LINKED = "mossback-row-11"

# Its sensors send, and no system file names them yet: to be enrolled by whoever watches.
NEWCOMER = "juniper-walk-2"
NEWCOMER_SENDS = {"suction": 0.71, "hole-1": 5.4, "fan-power": 21.3}  # inH2O, Pa, W


def newcomer_readings(dice):
    """What the sensors of the thirteenth house read now, as plain numbers by point."""
    return {point: f"{value * dice.gauss(1.0, 0.01):.3g}" for point, value in NEWCOMER_SENDS.items()}


def is_quiet(system, point, live_s):
    """Does a point send nothing at this moment of the live part?"""
    if system == "candle-mews-6":
        return live_s >= SYSTEM_GOES_QUIET_S
    return system == "wicker-hill-30" and point == "hole-2" and live_s >= SENSOR_DIES_S


def make_houses(now_s):
    """The houses by the id of their system, each with a seed of its own."""
    near, far = False, True
    return {house.name: house for house in (
        House("tinder-lane-4", "small", 0.026, 1.5, {"hole-1": (0.030, near)}, 48, 11,
              (fan_stops(now_s),)),
        House("mossback-row-11", "middle", 0.024, 1.3,
              {"hole-1": (0.022, near), "hole-2": (0.014, near)}, 62, 12, (joint_opens(now_s),)),
        House("halfpenny-court-2", "small", 0.030, 1.6,
              {"hole-near": (0.030, near), "hole-far": (0.024, far)}, 55, 13,
              (water_in_the_low_spot(now_s),)),
        House("saddler-bend-9", "middle", 0.022, 1.4, {"hole-1": (0.030, near)}, 66, 14,
              (fan_wears(now_s),)),
        House("wicker-hill-30", "small", 0.021, 1.4,
              {"hole-1": (0.033, near), "hole-2": (0.027, near)}, 40, 15),
        House("candle-mews-6", "small", 0.024, 1.5, {"hole-1": (0.032, near)}, 58, 16),
        House("bramble-yard-15", "strong", 0.012, 1.2, {"hole-1": (0.012, near)}, 44, 17,
              (unit_changes(now_s),), indoor_celsius=19.6),
        House("orchard-close-21", "middle", 0.035, 1.8, {"membrane": (0.020, far)}, 74, 18,
              (membrane_tears(now_s),)),
        House("ferry-steps-3", "small", 0.023, 1.5,
              {"hole-north": (0.034, near), "hole-south": (0.030, near)}, 51, 19,
              legs=(1.0, 0.93)),
        House("lantern-green-8", "small", 0.028, 1.6, {"hole-1": (0.035, near)}, 60, 20),
        House("pepper-wharf-17", "strong", 0.014, 1.3, {"wall": (0.010, near)}, 52, 21),
        House("thistle-ridge-5", "middle", 0.027, 1.5, {"hole-1": (0.025, near)}, 37, 22),
    )}


def lost(dice_value, ago_s, seed):
    """Was a reading of so long ago lost? A few always are; and each house was without power twice,
    for some hours."""
    if dice_value < 0.003:
        return True
    length_s = (5 + seed % 7 * 4) * 3600.0
    begins_s = ((30 + seed * 37 % 140) * DAY_S, (210 + seed * 53 % 180) * DAY_S)
    return any(0.0 <= begin_s - ago_s < length_s for begin_s in begins_s)
