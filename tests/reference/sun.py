"""Sunrise and sunset from two programs made by others. Writes sun.json beside this script.

`astral` solves NOAA's equations for the hour angle, as the program's own code does another way: it
catches a slip in the code. `ephem` reckons the sun's place from VSOP87 and shares no equation with
either: it tells how good the equations are.
"""

import datetime as dt
import json
import pathlib

import ephem
from astral import Observer, SunDirection
from astral.sun import time_at_elevation

UTC = dt.timezone.utc
HORIZON = -0.833  # the centre of the sun when its upper limb is seen on the horizon
HALF_DAY = dt.timedelta(hours=12)

PLACES = {
    "Wenatchee": (47.42, -120.31),
    "Newark": (40.69, -74.17),
    "General Roca": (-39.03, -67.58),
    "Quito": (-0.18, -78.47),
    "East Malling": (51.29, 0.44),
    "Jork": (53.53, 9.68),
    "Tromso": (69.65, 18.96),
    "Elgin": (-34.15, 19.03),
    "Shimla": (31.10, 77.17),
    "Hirosaki": (40.60, 140.46),
    "Huonville": (-43.03, 147.05),
    "Gisborne": (-38.66, 178.02),
    "Apia": (-13.83, -171.77),
}
DATES = [dt.date(2024, month, day) for month in range(1, 13) for day in (1, 11, 21)]


def noon(date, longitude):
    """Mean solar noon of the place: what belongs to this date lies within half a day of it."""
    return dt.datetime(date.year, date.month, date.day, 12, tzinfo=UTC) - dt.timedelta(hours=longitude / 15)


def by_astral(place, date, direction):
    middle = noon(date, place[1])
    for off in (-1, 0, 1):
        try:
            at = time_at_elevation(Observer(*place), HORIZON, date + dt.timedelta(days=off), direction, UTC,
                                   with_refraction=False)
        except ValueError:  # no such moment on that date
            continue
        if abs(at - middle) < HALF_DAY:
            return round(at.timestamp())
    return None


def by_ephem(place, date, rising):
    here = ephem.Observer()
    here.lat, here.lon = (str(degrees) for degrees in place)
    here.pressure, here.horizon = 0, str(HORIZON)
    middle = noon(date, place[1])
    here.date = ephem.Date(middle.replace(tzinfo=None))
    find = here.previous_rising if rising else here.next_setting
    try:
        at = find(ephem.Sun(), use_center=True).datetime().replace(tzinfo=UTC)
    except (ephem.AlwaysUpError, ephem.NeverUpError):
        return None
    return round(at.timestamp()) if abs(at - middle) < HALF_DAY else None


def main():
    days = []
    for name, place in PLACES.items():
        for date in DATES:
            days.append([
                name, date.isoformat(), round(noon(date, place[1]).timestamp()),
                by_astral(place, date, SunDirection.RISING), by_astral(place, date, SunDirection.SETTING),
                by_ephem(place, date, True), by_ephem(place, date, False),
            ])
    text = ",\n".join("  " + json.dumps(day) for day in days)
    places = ",\n".join(f"  {json.dumps(name)}: {json.dumps(place)}" for name, place in PLACES.items())
    columns = json.dumps(["place", "date", "noon", "astral_rise", "astral_set", "ephem_rise", "ephem_set"])
    path = pathlib.Path(__file__).resolve().parent / "sun.json"
    path.write_text(
        f'{{"horizon_degrees": {HORIZON}, "columns": {columns},\n"places": {{\n{places}\n}},\n"days": [\n{text}\n]}}\n',
        encoding="utf-8", newline="\n",
    )


if __name__ == "__main__":
    main()
