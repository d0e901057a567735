"""What wall clocks read round the clock changes of a year, by Python's zoneinfo.

Run from the root of the repository; writes tests/reference/zones.json. Needs
Python 3.9 or later, nothing else, and the zones of the system.
"""

import json
import pathlib
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

YEAR = 2025
# Of both hemispheres, with changes at other hours, of half an hour, from
# offsets of half and quarter hours, and some without any change.
ZONES = [
    "Africa/Cairo",
    "Africa/Johannesburg",
    "America/Adak",
    "America/Chicago",
    "America/Havana",
    "America/New_York",
    "America/Nuuk",
    "America/Santiago",
    "America/St_Johns",
    "Asia/Beirut",
    "Asia/Jerusalem",
    "Asia/Kathmandu",
    "Asia/Kolkata",
    "Asia/Tokyo",
    "Atlantic/Azores",
    "Australia/Adelaide",
    "Australia/Hobart",
    "Australia/Lord_Howe",
    "Europe/Berlin",
    "Europe/Dublin",
    "Europe/London",
    "Pacific/Auckland",
    "Pacific/Chatham",
]
QUARTER = timedelta(minutes=15)
# Before and after each change, in quarters of an hour.
REACH = 12
START = datetime(YEAR, 1, 1, tzinfo=timezone.utc)
END = datetime(YEAR + 1, 1, 1, tzinfo=timezone.utc)


def changes(zone):
    """The first quarter of an hour in UTC after each change of the offset."""
    found = []
    at = START
    while at < END:
        if at.astimezone(zone).utcoffset() != (at - QUARTER).astimezone(zone).utcoffset():
            found.append(at)
        at += QUARTER
    return found


def moments(wall, zone):
    """The moments at which the clock shows `wall`: none, one or two."""
    found = set()
    for fold in (0, 1):
        utc = wall.replace(tzinfo=zone, fold=fold).astimezone(timezone.utc)
        # A time that the clock passes over does not come back as itself.
        if utc.astimezone(zone).replace(tzinfo=None) == wall:
            found.add(utc)
    return sorted(found)


def case(name):
    zone = ZoneInfo(name)
    # Where no clock changes, noon at midsummer and at midwinter.
    near = changes(zone) or [datetime(YEAR, month, 21, 12, tzinfo=timezone.utc) for month in (6, 12)]
    to_utc, to_local = [], []
    for change in near:
        steps = [change + QUARTER * n for n in range(-REACH, REACH + 1)]
        local = [at.astimezone(zone).replace(tzinfo=None) for at in steps]
        to_local += [[int(at.timestamp()), wall.isoformat()] for at, wall in zip(steps, local)]
        wall = min(local)
        while wall <= max(local):
            to_utc.append([wall.isoformat(), [int(at.timestamp()) for at in moments(wall, zone)]])
            wall += QUARTER
    return {"zone": name, "changes": len(changes(zone)), "to_utc": to_utc, "to_local": to_local}


def main():
    target = pathlib.Path(__file__).with_name("zones.json")
    lines = ",\n".join(json.dumps(case(name)) for name in ZONES)
    target.write_text(f'{{"year": {YEAR}, "zones": [\n{lines}\n]}}\n')


if __name__ == "__main__":
    main()
