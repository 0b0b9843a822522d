"""low_alarms: conditions that raise an alarm at once."""

from harness import LOW_AT_ONCE

MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000


def low_at_once(**more):
    return {"conditions": {**LOW_AT_ONCE, **more}}
