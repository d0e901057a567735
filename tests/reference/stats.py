"""Small check values: the beta curve, Student's t, sample sizes, intervals of means and of shares.

Writes stats.json beside this script.
"""

import json
import math
import pathlib

import numpy
from scipy import stats
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import DescrStatsW

TMIN, TOPT, TMAX, R_OPT = 6.3, 28.6, 43.7, 1.078158
STATED = {10: 0.1695, 12: 0.3019, 15: 0.5104, 18: 0.7079, 24: 1.0, 30: 1.0702, 35: 0.9017}


def beta(t):
    if t <= TMIN or t >= TMAX:
        return 0.0
    return (R_OPT * (TMAX - t) / (TMAX - TOPT)
            * ((t - TMIN) / (TOPT - TMIN)) ** ((TOPT - TMIN) / (TMAX - TOPT)))


def sample_size(cv, within):
    """Least n with t(0.975, n - 1) * cv / sqrt(n) <= within."""
    n = 2
    while stats.t.ppf(0.975, n - 1) * cv / math.sqrt(n) > within:
        n += 1
    return n


def wilson(hits, n):
    low, high = stats.binomtest(hits, n).proportion_ci(0.95, method="wilson")
    return {"hits": hits, "n": n, "low": round(float(low), 6), "high": round(float(high), 6)}


def size_for_share(share, within):
    """Least n with z(0.975) * sqrt(share * (1 - share) / n) <= within."""
    n = 1
    while stats.norm.ppf(0.975) * math.sqrt(share * (1 - share) / n) > within:
        n += 1
    return n


def wilson_of_share(share, n):
    """Also for an n that is no whole number, as an effective sample size is."""
    low, high = proportion_confint(share * n, n, alpha=0.05, method="wilson")
    return {"share": share, "n": n, "low": float(low), "high": float(high)}


def mean_interval(values):
    low, high = stats.t.interval(0.95, len(values) - 1, loc=numpy.mean(values), scale=stats.sem(values))
    again = DescrStatsW(values).tconfint_mean(0.05)
    assert numpy.allclose((low, high), again, rtol=1e-12), (values, low, high, again)
    return {"values": values, "mean": float(numpy.mean(values)), "sd": float(numpy.std(values, ddof=1)),
            "low": float(low), "high": float(high)}


def sampling():
    freedoms = [*range(1, 41), 50, 60, 80, 99, 100, 120, 200, 500, 1000, 5000, 9999]
    spreads = [0.01, 0.05, 0.08, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.60, 1.00, 1.50]
    shares = [0.0, 0.01, 0.1, 0.2, 0.5, 0.75, 0.8, 0.99, 1.0]
    return {
        "status": "derived: scipy and statsmodels, all digits",
        "student_95": [{"freedom": nu, "t": float(stats.t.ppf(0.975, nu))} for nu in freedoms],
        "needed": [{"spread": cv, "within": within, "n": sample_size(cv, within)}
                   for cv in spreads for within in (0.03, 0.05, 0.10, 0.20)],
        "needed_for_share": [{"share": p, "within": within, "n": size_for_share(p, within)}
                             for p in (0.01, 0.05, 0.2, 0.3, 0.5, 0.8) for within in (0.02, 0.05, 0.10)],
        "wilson_95": [wilson_of_share(p, n) for p in shares for n in (1, 2.5, 7.3, 10, 33.3, 50, 123.45, 1000)],
        "mean_95": [mean_interval(values) for values in (
            [40, 60],
            [41, 66, 58, 47, 73],
            [96, 131, 104, 122, 141],
            [7.9, 8.4, 8.8, 9.1, 9.1, 8.6, 8.2],
            [0, 0, 3, 250],
            list(range(100, 160, 3)),
            [1e5, 1e5 - 1, 1e5 - 3],
        )],
    }


def main():
    temperatures = [0, 6.3, 6.4, 7, 8, 9, 10, 11, 12, 13, 15, 18, 21, 24, 27, 28.6, 30, 33, 35, 40, 43, 43.6, 43.7, 50]
    for t, said in STATED.items():
        assert abs(beta(t) - said) < 5e-5, (t, beta(t))
    sizes = [(10, 5, 18), (8, 3, 30), (10, 3, 46)]
    for cv, within, said in sizes:
        assert sample_size(cv, within) == said, (cv, within, sample_size(cv, within))
    z = stats.norm.ppf(0.975)
    out = {
        "beta": {
            "curve": {"tmin": TMIN, "topt": TOPT, "tmax": TMAX, "rate_at_topt": R_OPT, "unit": "fraction-per-day"},
            "status": "exact form, not the 0.1 degree table",
            "values": [{"celsius": t, "per_day": round(beta(t), 8)} for t in temperatures],
            "greatest_gap_to_the_0_1_degree_table_per_day": float(f"{table_gap():.3g}"),
        },
        "style_sample_size": {
            "status": "least n with t(0.975, n-1) * cv / sqrt(n) <= within",
            "values": [{"cv_percent": cv, "within_percent": w, "n": sample_size(cv, w)} for cv, w, _ in sizes],
        },
        "trees_sample": {
            "status": "95 % half width of a mean with Student's t at a CV of 25 %",
            "values": [{"n": n, "half_width_percent": round(float(stats.t.ppf(0.975, n - 1) * 25 / math.sqrt(n)), 4)}
                       for n in (5, 10, 20, 26, 27)],
        },
        "wilson_95": {
            "status": "scipy's Wilson interval without continuity correction",
            "values": [wilson(h, n) for h, n in ((0, 10), (1, 10), (10, 10), (40, 50), (80, 100), (144, 200), (180, 200))],
        },
        "sampling": sampling(),
        "normal_quantiles": {"0.975": round(float(z), 8), "0.95": round(float(stats.norm.ppf(0.95)), 8)},
    }
    path = pathlib.Path(__file__).resolve().parent / "stats.json"
    path.write_text(json.dumps(out, indent=2) + "\n", encoding="utf-8", newline="\n")


def table_gap():
    """Greatest difference between the form and straight lines through its values at each 0.1 degree."""
    worst = 0.0
    for i in range(63, 437):
        a, b = beta(i / 10), beta((i + 1) / 10)
        for k in range(1, 20):
            worst = max(worst, abs(a + (b - a) * k / 20 - beta((i + k / 20) / 10)))
    return worst


if __name__ == "__main__":
    main()
