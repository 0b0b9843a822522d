"""Prints what Python's zoneinfo (another reader of the same files) says of offsets and days.

Lines: "offset ZONE SECONDS OFFSET ABBREVIATION" and "day ZONE DAYS_SINCE_1970 START_SECONDS".
Usage: time_zone_reference.py SEED
"""
import datetime
import random
import sys
import zoneinfo

UTC = datetime.timezone.utc
EPOCH = datetime.datetime(1970, 1, 1, tzinfo=UTC)
# Hemispheres, half hours, changes at midnight and at 00:01, negative daylight time, a skipped day.
CHOSEN = ["Europe/Berlin", "America/Chicago", "America/Denver", "Australia/Lord_Howe",
          "Asia/Kathmandu", "America/Sao_Paulo", "Africa/Cairo", "Europe/Dublin",
          "America/St_Johns", "Pacific/Apia", "Africa/Casablanca", "America/Nuuk",
          "Pacific/Chatham", "Asia/Beirut", "America/Phoenix", "UTC"]
FIRST = -2208988800  # 1900
LAST = 4133980800  # 2101


def local(zone, seconds):
    return (EPOCH + datetime.timedelta(seconds=seconds)).astimezone(zone)


def offset(zone, seconds):
    moment = local(zone, seconds)
    return int(moment.utcoffset().total_seconds()), moment.tzname()


def print_offset(name, zone, seconds):
    print("offset", name, seconds, *offset(zone, seconds))


def changes(zone):
    """Instants where offset or abbreviation change, found by halving steps of four days."""
    step = 4 * 86400
    for begin in range(FIRST, LAST, step):
        low, high = begin, begin + step
        before = offset(zone, low)
        if offset(zone, high) == before:
            continue
        while high - low > 1:
            middle = (low + high) // 2
            if offset(zone, middle) == before:
                low = middle
            else:
                high = middle
        yield high


def day_start(zone, date):
    """First instant of a local day: earliest quarter hour scan, then halving to the second."""
    midnight = int((datetime.datetime(date.year, date.month, date.day, tzinfo=UTC) - EPOCH)
                   .total_seconds())
    low = midnight - 27 * 3600
    while local(zone, low + 900).date() < date:
        low += 900
    high = low + 900
    while high - low > 1:
        middle = (low + high) // 2
        if local(zone, middle).date() < date:
            low = middle
        else:
            high = middle
    return high


def main():
    generator = random.Random(int(sys.argv[1]))
    for name in CHOSEN:
        zone = zoneinfo.ZoneInfo(name)
        dates = set()
        for change in changes(zone):
            for seconds in (change - 1, change, change + 1):
                print_offset(name, zone, seconds)
            dates |= {local(zone, change + hours * 3600).date() for hours in (-24, 0, 24)}
        for _ in range(200):
            dates.add(local(zone, generator.randrange(FIRST, LAST)).date())
        for date in sorted(dates):
            days = (date - datetime.date(1970, 1, 1)).days
            print("day", name, days, day_start(zone, date))
    for name in sorted(zoneinfo.available_timezones()):
        zone = zoneinfo.ZoneInfo(name)
        for _ in range(30):
            print_offset(name, zone, generator.randrange(2 * FIRST, 3 * LAST))


main()
