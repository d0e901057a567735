"""Hours of TMY3 and EPW files as pvlib reads them. Writes archives.json beside this script, and the two files that
it and the tests read to ../data/archives.

With the unpacked source archive of pvlib as argument, it also prints what the two whole files in there give, and how
the rows of an EPW file of PVGIS lie against PVGIS's own table of the same hours in UTC.
"""

import csv
import datetime
import json
import math
import pathlib
import sys

import pandas
import pvlib

HERE = pathlib.Path(__file__).resolve().parent
DATA = HERE.parent / "data"
ARCHIVES = DATA / "archives"
TMY3 = ARCHIVES / "sand-point-tmy3.csv"
EPW = ARCHIVES / "newark-2013.epw"
# Days around the ends of months that are of different years, and of the year.
TMY3_DAYS = ("01/01", "01/31", "02/01", "02/28", "03/01", "04/30", "05/01", "12/31")
EPW_FIRST, EPW_DAYS = datetime.datetime(2013, 4, 25), 10
EPW_MISSING = datetime.datetime(2013, 4, 28, 17)
STANDARD = datetime.timedelta(hours=-5)
# EnergyPlus's marks for missing, from the dew point to the last field.
EPW_REST = ("99.9,999,999999,9999,9999,9999,9999,9999,9999,999999,999999,999999,9999,999,999,99,99,9999,99999,9,"
            "999999999,999,.999,999,99,999,999,99")
EVERY = 7


def cut_tmy3():
    """Lines of the file that comes with pvlib, byte for byte."""
    whole = pathlib.Path(pvlib.__file__).parent / "data" / "703165TY.csv"
    lines = whole.read_bytes().splitlines(keepends=True)
    kept = lines[:2] + [line for line in lines[2:] if line[:5].decode() in TMY3_DAYS]
    TMY3.write_bytes(b"".join(kept))


def build_epw():
    """An EPW file of Newark's own readings: the row of hour h has the reading of h o'clock standard time."""
    readings = {}
    with open(DATA / "spring-2013.csv", newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["origin"] == "EWR":
                utc = datetime.datetime.strptime(row["time_hour"], "%Y-%m-%dT%H:%M:%SZ")
                readings[utc + STANDARD] = (float(row["temp"]) - 32) * 5 / 9
    lines = [
        "LOCATION,Newark,NJ,USA,NOAA readings,725020,40.69,-74.17,-5.0,2.0",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,\"Made of spring-2013.csv, public domain\"",
        "COMMENTS 2,Only the temperature is observed",
        "DATA PERIODS,1,1,Data,Thursday, 4/25, 5/4",
    ]
    for n in range(EPW_DAYS * 24):
        day, hour = EPW_FIRST + datetime.timedelta(days=n // 24), n % 24 + 1
        at = day + datetime.timedelta(hours=hour)
        celsius = 99.9 if at == EPW_MISSING else readings[at]
        lines.append(f"{day.year},{day.month},{day.day},{hour},60,?9,{celsius:.1f},{EPW_REST}")
    EPW.write_text("\n".join(lines) + "\n", encoding="ascii", newline="\n")


def read_tmy3(path, year=None, encoding=None):
    table, _ = pvlib.iotools.read_tmy3(path, coerce_year=year, map_variables=True, encoding=encoding)
    return table["temp_air"]


def read_epw(path, year=None):
    table, _ = pvlib.iotools.read_epw(path, coerce_year=year)
    air = table["temp_air"]
    # pvlib names an EPW hour by its begin.
    air.index = air.index + pandas.Timedelta(hours=1)
    return air[air != 99.9]


def summed(air):
    times = [int(at.timestamp()) for at in air.index]
    pairs = sorted(zip(times, (float(value) for value in air)))
    return {
        "readings": len(pairs),
        "first_unix": pairs[0][0],
        "last_unix": pairs[-1][0],
        "sum_of_unix": sum(at for at, _ in pairs),
        "sum_of_celsius": round(math.fsum(value for _, value in pairs), 6),
        "every_7th": [{"unix": at, "celsius": value} for at, value in pairs[::EVERY]],
    }


def pvgis(tests):
    """How many hours of h o'clock in the header's offset have the temperature of the EPW row of hour h."""
    air = read_epw(tests / "tmy_45.000_8.000_2005_2023.epw").tz_convert("UTC")
    lines = (tests / "tmy_45.000_8.000_2005_2023.csv").read_text(encoding="utf-8").splitlines()
    begin = next(n for n, line in enumerate(lines) if line.startswith("time(UTC)"))
    own = {}
    for line in lines[begin + 1:]:
        cells = line.split(",")
        if len(cells) > 2 and cells[0][:2] in ("19", "20"):
            own[pandas.Timestamp(datetime.datetime.strptime(cells[0], "%Y%m%d:%H%M"), tz="UTC")] = float(cells[1])
    same = sum(own.get(at) == value for at, value in air.items())
    print(f"PVGIS: {same} of {len(air)} EPW hours agree with its own table in UTC")


def main():
    ARCHIVES.mkdir(exist_ok=True)
    cut_tmy3()
    build_epw()
    out = {
        "made_with": {"pvlib": pvlib.__version__, "pandas": pandas.__version__},
        "files": [
            {"file": TMY3.name, "archive": "tmy3", "year": None, **summed(read_tmy3(TMY3))},
            {"file": TMY3.name, "archive": "tmy3", "year": 2025, **summed(read_tmy3(TMY3, 2025))},
            {"file": EPW.name, "archive": "epw", "year": None, **summed(read_epw(EPW))},
            {"file": EPW.name, "archive": "epw", "year": 2025, **summed(read_epw(EPW, 2025))},
        ],
    }
    (HERE / "archives.json").write_text(json.dumps(out, indent=2) + "\n", encoding="utf-8", newline="\n")
    if len(sys.argv) > 1:
        source = pathlib.Path(sys.argv[1])
        for name, air in (
            ("703165TY.csv", read_tmy3(source / "pvlib" / "data" / "703165TY.csv")),
            ("723170TYA.CSV", read_tmy3(source / "pvlib" / "data" / "723170TYA.CSV")),
            ("the EPW of PVGIS", read_epw(source / "tests" / "data" / "tmy_45.000_8.000_2005_2023.epw")),
        ):
            print(name, {key: value for key, value in summed(air).items() if key != "every_7th"})
        pvgis(source / "tests" / "data")


if __name__ == "__main__":
    main()
