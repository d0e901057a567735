"""Scores of forecasts by scoringrules and properscoring, and points of the normal distribution by scipy.

Writes score.json beside this script.
"""

import json
import math
import pathlib

import numpy
import properscoring
import scoringrules
from scipy import stats

STATED = {"empirical": 0.54, "fair": 0.30}


def near(ours, theirs):
    assert math.isclose(ours, theirs, rel_tol=1e-12, abs_tol=1e-14), (ours, theirs)
    return float(ours)


def ensemble(members, truth):
    array = numpy.array(members, dtype=float)
    empirical = float(scoringrules.crps_ensemble(truth, array, estimator="nrg"))
    near(empirical, float(properscoring.crps_ensemble(truth, array)))
    row = {"members": members, "truth": truth, "empirical": empirical}
    if len(members) > 1:
        row["fair"] = float(scoringrules.crps_ensemble(truth, array, estimator="fair"))
    return row


def normal(mean, sd, truth):
    crps = float(scoringrules.crps_normal(truth, mean, sd))
    return {"mean": mean, "sd": sd, "truth": truth, "crps": near(crps, float(properscoring.crps_gaussian(truth, mean, sd)))}


def main():
    spread = [round(math.sin(7.3 * i) * 20 + i / 9, 3) for i in range(51)]
    ensembles = [ensemble(members, truth) for members, truth in (
        ([1, 2, 3, 4, 6], 2.5),
        ([6, 1, 4, 3, 2], 2.5),
        ([5, 5, 5, 5], 3),
        ([7.25], 9),
        ([-3, 12.5], -40),
        (spread, 1.5),
        (spread, 90),
    )]
    for estimator, value in STATED.items():
        near(ensembles[0][estimator], value)
    quantiles = [{"point": q, "share": a, "truth": 2.5, "loss": float(scoringrules.quantile_score(2.5, q, a))}
                 for q, a in ((1.4, 0.1), (3.0, 0.5), (5.2, 0.9), (2.5, 0.3), (-8, 0.75))]
    intervals = [{"low": low, "high": high, "alpha": a, "truth": y,
                  "score": float(scoringrules.interval_score(y, low, high, a))}
                 for low, high, a, y in ((1.4, 5.2, 0.2, 2.5), (1.4, 5.2, 0.2, 0.9), (1.4, 5.2, 0.1, 7), (3, 3, 0.5, 3))]
    shares = [1e-300, 1e-20, 1e-9, 1e-4, 0.01, 0.05, 0.0749, 0.0751, 0.1, 0.25, 0.5, 0.6, 0.9, 0.975, 0.999, 1 - 1e-12]
    points = [-37.5, -8, -3.1, -1.2815515655446004, -0.3, 0, 0.7, 1.96, 5, 8]
    out = {
        "status": "derived: scoringrules, properscoring and scipy, all digits",
        "ensembles": ensembles,
        "normals": [normal(*case) for case in ((3, 1.5, 2.5), (0, 1, 0), (-20, 0.25, 4), (48, 11, 75.5))],
        "pinball": quantiles,
        "intervals": intervals,
        "normal_points": [{"share": p, "z": float(stats.norm.ppf(p))} for p in shares],
        "normal_below": [{"z": z, "share": float(stats.norm.cdf(z)), "density": float(stats.norm.pdf(z))} for z in points],
    }
    path = pathlib.Path(__file__).resolve().parent / "score.json"
    path.write_text(json.dumps(out, indent=2) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
