"""Independent reference integration: when does a leg reach its mark?

Reads ../data/spring-2013.csv, writes crossings.json beside this script. It shares no code with
the program: every stretch of time is integrated by adaptive quadrature and every crossing is
found by root search, and each result is checked again by a plain sum over one-second steps.
"""

import csv
import datetime as dt
import hashlib
import json
import math
import pathlib
import platform
import sys
from fractions import Fraction

import numpy as np
import scipy
from scipy.integrate import quad
from scipy.optimize import brentq

HERE = pathlib.Path(__file__).resolve().parent
DATA = HERE.parent / "data" / "spring-2013.csv"
UTC = dt.timezone.utc
BASE = dt.datetime(2013, 3, 31, tzinfo=UTC)  # time is counted in hours from here
BASE_UNIX = int(BASE.timestamp())
LEFT_OUT = {("JFK", "2013-05-09T02:00:00Z")}

REFERENCE_NODES = [
    [4, 0], [5, 0.08], [6, 0.09], [7, 0.10], [8, 0.11], [9, 0.12], [10, 0.14], [11, 0.17],
    [12, 0.20], [13, 0.25], [14, 0.35], [15, 0.50], [24, 1.00], [30, 1.05], [43.7, 0],
]
MM_NODES = [[4, 0], [8, 0.02], [12, 0.06], [16, 0.12], [20, 0.19], [24, 0.25], [30, 0.27], [40, 0]]

CURVES = {
    "reference": {
        "form": "nodes", "unit": "fraction-per-day", "nodes": REFERENCE_NODES, "status": "constructed",
    },
    "cardinal": {
        "form": "beta", "unit": "fraction-per-day", "tmin": 6.3, "topt": 28.6, "tmax": 43.7,
        "rate_at_topt": 1.078158, "status": "constructed",
    },
    "mm-nodes": {
        "form": "nodes", "unit": "mm-per-hour", "nodes": MM_NODES, "style_length_mm": 8.8,
        "status": "constructed",
    },
}

# Starts in UTC. The second stands inside the hour that the left-out row would have covered.
STARTS = [
    "2013-04-16T06:00:00Z", "2013-04-18T13:17:41Z", "2013-04-23T17:45:03Z", "2013-04-27T10:00:00Z",
    "2013-05-02T21:59:59Z", "2013-05-08T20:05:12Z", "2013-05-13T12:30:00Z",
]
JFK_STARTS = ["2013-05-09T01:29:17Z"]
EXTRA_MARKS = {
    "2013-04-18T13:17:41Z": [0.8, 1.5],
    "2013-05-08T20:05:12Z": [0.05, 0.3, 1.2],
    "2013-05-13T12:30:00Z": [0.8, 1.2, 1.5],
}

# The 'Reference run' of the agronomy notes, taken there with steps of 5 s.
TABLE_START = "2013-04-29T14:00:00Z"  # 10:00 at -04:00
TABLE = [
    ("EWR", "reference", "2013-05-01T13:50:07Z", "2013-05-02T15:10:37Z"),
    ("EWR", "cardinal", "2013-05-01T00:56:06Z", "2013-05-02T00:57:32Z"),
    ("JFK", "reference", "2013-05-01T16:31:31Z", "2013-05-02T21:32:01Z"),
    ("JFK", "cardinal", "2013-05-01T12:36:51Z", "2013-05-02T15:41:50Z"),
]


def parse(stamp):
    return dt.datetime.fromisoformat(stamp.replace("Z", "+00:00"))


def hours(stamp):
    return (parse(stamp) - BASE).total_seconds() / 3600.0


def stamp_up(unix):
    # What lies within 10 microseconds of a whole second is one: see in_fractions.
    return dt.datetime.fromtimestamp(math.ceil(unix - 1e-5), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


# ------------------------------------------------------------------------------------ curves

class Curve:
    """Rate in shares of the style per hour; `kinks` are temperatures where the form changes."""

    def __init__(self, spec):
        self.spec = spec
        per_hour = {"fraction-per-day": 1 / 24, "mm-per-hour": 1.0}[spec["unit"]]
        self.scale = per_hour / spec.get("style_length_mm", 1.0)
        if spec["form"] == "nodes":
            self.xs = np.array([n[0] for n in spec["nodes"]], float)
            self.ys = np.array([n[1] for n in spec["nodes"]], float)
            self.kinks = list(self.xs)
        else:
            self.kinks = [spec["tmin"], spec["tmax"]]

    def own(self, t):
        """Rate in the curve's own unit at t degrees Celsius."""
        if self.spec["form"] == "nodes":
            return np.interp(t, self.xs, self.ys, left=0.0, right=0.0)
        lo, best, hi = self.spec["tmin"], self.spec["topt"], self.spec["tmax"]
        t = np.asarray(t, float)
        c = np.clip(t, lo, hi)
        return (self.spec["rate_at_topt"] * (hi - c) / (hi - best)
                * ((c - lo) / (best - lo)) ** ((best - lo) / (hi - best)))

    def __call__(self, t):
        return self.own(t) * self.scale


def tabled(curve):
    """The same beta function as straight lines between its values at each 0.1 degree."""
    lo, hi = round(curve.spec["tmin"] * 10), round(curve.spec["tmax"] * 10)
    ts = [i / 10 for i in range(lo, hi + 1)]
    return Curve({"form": "nodes", "unit": curve.spec["unit"],
                  "nodes": [[t, float(curve.own(t))] for t in ts]})


# -------------------------------------------------------------------------------- temperature

def read():
    out = {"EWR": [], "JFK": []}
    with DATA.open(newline="") as f:
        for row in csv.DictReader(f):
            if (row["origin"], row["time_hour"]) in LEFT_OUT:
                continue
            day = dt.date(int(row["year"]), int(row["month"]), int(row["day"]))
            out[row["origin"]].append((hours(row["time_hour"]), (float(row["temp"]) - 32) * 5 / 9, day))
    return out


def segments(readings, kind, hour=1):
    """[(t0, t1, T at t0, T at t1)] without holes, in the readings' own unit of time."""
    out = []
    for (ta, a, _), (tb, b, _) in zip(readings, readings[1:]):
        if kind == "instant":
            out.append((ta, tb, a, b))
        else:  # b holds over (tb - 1 h, tb]; hours without a mean go straight from a to b
            if tb - hour > ta:
                out.append((ta, tb - hour, a, b))
            out.append((tb - hour, tb, b, b))
    return out


class Growth:
    """Progress along one temperature path and one curve."""

    def __init__(self, segs, curve, exact=True):
        self.curve, self.exact = curve, exact
        self.pieces = []
        for t0, t1, a, b in segs:
            cuts = [t0, t1]
            if a != b:
                cuts += [t0 + (k - a) / (b - a) * (t1 - t0) for k in curve.kinks if min(a, b) < k < max(a, b)]
            cuts = sorted(set(cuts))
            for c, d in zip(cuts, cuts[1:]):
                self.pieces.append((c, d, t0, t1, a, b))
        self.ends = np.array([p[1] for p in self.pieces])
        self.full = [self.part(p, p[0], p[1]) for p in self.pieces]

    def part(self, piece, c, d):
        _, _, t0, t1, a, b = piece
        if a == b:
            return float(self.curve(a)) * (d - c)

        def temp(t):
            return a + (b - a) * (t - t0) / (t1 - t0)

        if not self.exact:  # the rate is a straight line on the piece
            return float(self.curve(temp((c + d) / 2))) * (d - c)
        return quad(lambda t: float(self.curve(temp(t))), c, d, epsabs=1e-14, epsrel=1e-12, limit=200)[0]

    def crossing(self, start, mark):
        """Hours at which the leg from `start` reaches `mark`."""
        i = int(np.searchsorted(self.ends, start, side="right"))
        from_ = start
        done = []
        while True:
            p = self.pieces[i]
            step = self.full[i] if from_ == p[0] else self.part(p, from_, p[1])
            before = math.fsum(done)
            if before + step >= mark and step > 0:
                return brentq(lambda t: before + self.part(p, from_, t) - mark, from_, p[1],
                              xtol=1e-10, rtol=1e-14)
            done.append(step)
            i += 1
            from_ = self.pieces[i][0]

    def total(self, start, end):
        return math.fsum(self.part(p, max(p[0], start), min(p[1], end))
                         for p in self.pieces if p[1] > start and p[0] < end)


def plain_sum(segs, curve, start, mark, end):
    """The same crossing from one-second steps at their midpoints: slow, dull, another way."""
    n = int(math.ceil((end - start) * 3600))
    t = start + (np.arange(n) + 0.5) / 3600
    starts = np.array([s[0] for s in segs])
    s = np.array(segs)[np.searchsorted(starts, t, side="right") - 1]
    temp = s[:, 2] + (s[:, 3] - s[:, 2]) * (t - s[:, 0]) / (s[:, 1] - s[:, 0])
    rate = curve(temp) / 3600
    total = np.cumsum(rate)
    i = int(np.searchsorted(total, mark))
    before = total[i - 1] if i else 0.0
    return start + (i + (mark - before) / rate[i]) / 3600


def in_fractions(station, spec, kind, start, mark):
    """The crossing of a node curve on interval means in whole fractions, without any rounding."""
    assert kind == "mean-ending" and spec["form"] == "nodes"
    nodes = [(Fraction(str(x)), Fraction(str(y))) for x, y in spec["nodes"]]
    per = {"fraction-per-day": 86400, "mm-per-hour": 3600}[spec["unit"]] * Fraction(str(spec.get("style_length_mm", 1)))

    def rate(t):
        for (a, x), (b, y) in zip(nodes, nodes[1:]):
            if a <= t <= b:
                return (x + (y - x) * (t - a) / (b - a)) / per
        return Fraction(0)

    with DATA.open(newline="") as f:
        rows = [(int(parse(r["time_hour"]).timestamp()), (Fraction(r["temp"]) - 32) * 5 / 9)
                for r in csv.DictReader(f)
                if r["origin"] == station and (station, r["time_hour"]) not in LEFT_OUT]
    left, from_ = Fraction(str(mark)), int(parse(start).timestamp())
    for t0, t1, a, b in segments([(t, c, None) for t, c in rows], kind, hour=3600):
        if t1 <= from_:
            continue
        at = [Fraction(max(t0, from_)), Fraction(t1)]
        if a != b:
            at += [t for t in (t0 + (k - a) / (b - a) * (t1 - t0) for k, _ in nodes) if at[0] < t < at[1]]
        at.sort()
        for c, d in zip(at, at[1:]):
            r0, r1 = (rate(a + (b - a) * (t - t0) / (t1 - t0)) for t in (c, d))
            grown = (r0 + r1) / 2 * (d - c)
            if grown >= left > 0:
                assert r0 == r1
                return c + left / r0
            left -= grown


# ---------------------------------------------------------------------------------- index bias

# The first reproduces all four rounded figures that the documentation states. The second is what
# exact integration gives. The others show how much hangs on the definition.
DEFINITIONS = {
    "hour-means": "Readings joined by straight lines. Hour by hour: the curve at the mean temperature of each of the 24 "
                  "hours of the local day (half the sum of its two end points), the mean of the 24 rates. Against: the "
                  "curve at the mean of those 24 hour means. Both summed over the days, then divided.",
    "exact": "As hour-means, but the curve integrated exactly along the joined lines over the local day.",
    "exact-readings-mean": "As exact, but the day's mean is that of its readings at 00:00 to 23:00 local time.",
    "readings": "Hour by hour: the mean of the curve at the readings at 00:00 to 23:00 local time. Against: the curve "
                "at the mean of those readings.",
}


def index_bias(readings):
    """The daily index taken hour by hour against the same index on daily means."""
    curve = Curve(CURVES["reference"])
    first = dt.date(2013, 4, 20)
    days = [first + dt.timedelta(days=i) for i in range(30)]
    stations = []
    for station in ("EWR", "JFK"):
        growth = Growth(segments(readings[station], "instant"), curve)
        times = [t for t, _, _ in readings[station]]
        temps = [c for _, c, _ in readings[station]]
        sums = {d: [] for d in DEFINITIONS}
        by_day = []
        for day in days:
            t0 = hours(f"{day}T04:00:00Z")  # New York is at -04:00 on all these days
            at_hours = np.interp(t0 + np.arange(25), times, temps)
            hour_means = (at_hours[:-1] + at_hours[1:]) / 2
            read = np.array([c for t, c, d in readings[station] if d == day])
            exact = growth.total(t0, t0 + 24)
            line_mean, read_mean = float(hour_means.mean()), float(read.mean())
            sums["hour-means"].append((line_mean, float(curve.own(hour_means).mean())))
            sums["exact"].append((line_mean, exact))
            sums["exact-readings-mean"].append((read_mean, exact))
            sums["readings"].append((read_mean, float(curve.own(read).mean())))
            by_day.append({"day": day.isoformat(), "readings": len(read), "line_mean_c": round(line_mean, 4),
                           "readings_mean_c": round(read_mean, 4), "exact": round(exact, 6),
                           "hour_means": round(sums["hour-means"][-1][1], 6),
                           "on_line_mean": round(float(curve.own(line_mean)), 6)})

        def fast(rows):
            hourly = math.fsum(h for _, h in rows)
            on_means = math.fsum(float(curve.own(m)) for m, _ in rows)
            return {"days": len(rows), "hourly": round(hourly, 6), "on_means": round(on_means, 6),
                    "fast_percent": round(100 * (hourly / on_means - 1), 4)}

        stations.append({
            "station": station,
            **{name: {"all_days": fast(rows), "days_with_mean_under_12": fast([r for r in rows if r[0] < 12])}
               for name, rows in sums.items()},
            "by_day": by_day,
        })
    return {
        "curve": "reference", "kind": "instant",
        "first_day": days[0].isoformat(), "last_day": days[-1].isoformat(), "time_zone": "America/New_York",
        "stated_percent": {"EWR": {"all_days": 4.2, "days_with_mean_under_12": 17},
                           "JFK": {"all_days": 8.1, "days_with_mean_under_12": 13}},
        "definitions": DEFINITIONS,
        "stations": stations,
    }


# ---------------------------------------------------------------------------------------- main

def main():
    readings = read()
    exact = {c: Curve(s) for c, s in CURVES.items()}
    table = tabled(exact["cardinal"])
    kinds = ("instant", "mean-ending")
    segs = {(s, k): segments(readings[s], k) for s in readings for k in kinds}
    growth = {(s, k, c): Growth(segs[s, k], exact[c]) for s, k in segs for c in exact}
    growth_tabled = {(s, k): Growth(segs[s, k], table, exact=False) for s, k in segs}
    worst = {"plain_sum_s": 0.0, "table_s": 0.0, "second_edge": 1.0}

    def case(station, curve, kind, start, mark):
        t0 = hours(start)
        t = growth[station, kind, curve].crossing(t0, mark)
        unix = BASE_UNIX + t * 3600
        worst["plain_sum_s"] = max(worst["plain_sum_s"],
                                   float(abs(plain_sum(segs[station, kind], exact[curve], t0, mark, t + 0.5) - t) * 3600))
        whole = abs(unix - round(unix)) < 1e-5
        if not whole:
            worst["second_edge"] = min(worst["second_edge"], abs(unix - round(unix)))
        out = {"station": station, "curve": curve, "kind": kind, "start": start, "mark": mark,
               "reached_at_unix": round(unix, 3), "reached_at": stamp_up(unix)}
        if whole:
            assert in_fractions(station, CURVES[curve], kind, start, mark) == round(unix)
            out["whole_second"] = True
        if curve == "cardinal":
            tabled_unix = BASE_UNIX + growth_tabled[station, kind].crossing(t0, mark) * 3600
            out["tabled_reached_at_unix"] = round(tabled_unix, 3)
            worst["table_s"] = max(worst["table_s"], abs(tabled_unix - unix))
        return out

    cases = [
        case(station, curve, kind, start, mark)
        for station in readings for curve in exact for kind in kinds
        for start in STARTS + (JFK_STARTS if station == "JFK" else [])
        for mark in sorted([0.6, 1.0] + EXTRA_MARKS.get(start, []))
    ]

    run = []
    for station, curve, at60, at100 in TABLE:
        for mark, said in ((0.6, at60), (1.0, at100)):
            c = case(station, curve, "instant", TABLE_START, mark)
            c["table"] = said
            c["minus_table_s"] = round(c["reached_at_unix"] - parse(said).timestamp(), 3)
            run.append(c)

    assert worst["plain_sum_s"] < 0.05, worst
    assert worst["second_edge"] > 0.002, worst
    bias = index_bias(readings)
    for s in bias["stations"]:
        for span, said in bias["stated_percent"][s["station"]].items():
            got = s["hour-means"][span]["fast_percent"]
            assert round(got, 1 if span == "all_days" else 0) == said, (s["station"], span, got)

    golden = {
        "about": "Crossing times by adaptive quadrature and root search; see README.md. "
                 "Exact beta function for `cardinal`; `tabled_reached_at_unix` is the same leg on that "
                 "function's values at each 0.1 degree C joined by straight lines.",
        "made_with": {"python": platform.python_version(), "numpy": np.__version__, "scipy": scipy.__version__},
        "data": {"file": "../data/spring-2013.csv", "sha256": hashlib.sha256(DATA.read_bytes()).hexdigest(),
                 "temperature_column": "temp", "to_celsius": "(F - 32) * 5 / 9"},
        "left_out": [{"station": s, "time_hour": t, "why": "13.1 F between 57.02 F and 57.2 F: a sensor spike"}
                     for s, t in sorted(LEFT_OUT)],
        "kinds": {
            "instant": "readings are instants joined by straight lines",
            "mean-ending": "each reading is the mean over the hour ending at its stamp and holds over (t - 1 h, t]; "
                           "hours without a reading go in a straight line from the mean before to the mean after",
        },
        "curves": CURVES,
        "checks": {
            "plain_sum_greatest_difference_s": float(f"{worst['plain_sum_s']:.2g}"),
            "table_greatest_difference_s": round(worst["table_s"], 3),
            "least_distance_to_a_whole_second_s": round(worst["second_edge"], 4),
        },
        "cases": cases,
        "reference_run": run,
        "index_bias": bias,
    }
    text = dump(golden)
    (HERE / "crossings.json").write_text(text, encoding="utf-8", newline="\n")
    print(f"{len(cases)} cases, {len(run)} of the reference run; {worst}", file=sys.stderr)


def dump(golden):
    """Two-space JSON, with each entry of a long list on a line of its own."""
    def flat(v):
        return json.dumps(v, ensure_ascii=False)

    text = json.dumps(golden, indent=2, ensure_ascii=False)
    for rows in [golden["cases"], golden["reference_run"]] + [s["by_day"] for s in golden["index_bias"]["stations"]]:
        for r in rows:
            for indent in ("    ", "            ", "          "):
                deep = json.dumps(r, indent=2, ensure_ascii=False).replace("\n", "\n" + indent)
                text = text.replace(indent + deep, indent + flat(r))
    for curve in golden["curves"].values():
        if "nodes" in curve:
            deep = json.dumps(curve["nodes"], indent=2).replace("\n", "\n      ")
            text = text.replace(deep, flat(curve["nodes"]))
    assert json.loads(text) == golden
    return text + "\n"


if __name__ == "__main__":
    main()
