"""Shares alive after a frost: Wilson's intervals, live flowers by them, clusters still to cut.

Writes damage.json beside this script. The ends of an interval are found as the two shares p
at which a share seen in n is just 1.96 standard errors away, with scipy's brentq, not by the
closed form. Made with scipy 1.17.1.
"""

import json
import math
import pathlib

from scipy import stats
from scipy.optimize import brentq

Z = float(stats.norm.ppf(0.975))


def wilson(share, n):
    def away(p):
        return (share - p) ** 2 - Z * Z * p * (1 - p) / n

    # At 0 and 1 the share itself is one end; the other one lies apart from it.
    low = 0.0 if share == 0 else brentq(away, 0.0, min(share, 1 - 1e-9), xtol=1e-15)
    high = 1.0 if share == 1 else brentq(away, max(share, 1e-9), 1.0, xtol=1e-15)
    return low, high


def check():
    for alive, n in ((36, 180), (1, 10), (40, 50), (144, 200), (0, 20), (20, 20), (1, 1)):
        said = stats.binomtest(alive, n).proportion_ci(0.95, method="wilson")
        mine = wilson(alive / n, n)
        assert math.isclose(mine[0], said.low, abs_tol=1e-9) and math.isclose(mine[1], said.high, abs_tol=1e-9)


def kings(alive, examined):
    low, high = wilson(alive / examined, examined)
    return {"alive": alive, "examined": examined, "low": low, "high": high}


def laterals(alive, examined, clusters):
    """Each cluster counts once, or each lateral where there are fewer of them than clusters."""
    n = min(clusters, examined)
    low, high = wilson(alive / examined, n)
    return {"alive": alive, "examined": examined, "clusters": clusters, "n": n, "low": low, "high": high}


def live(clusters_per_tree, flowers, king, lateral):
    def run(end):
        def of(row):
            return row["alive"] / row["examined"] if end == "point" else row[end]

        return clusters_per_tree * (of(king) + (flowers - 1) * of(lateral))

    return {
        "clusters_per_tree": clusters_per_tree, "flowers_per_cluster": flowers, "kings": king, "laterals": lateral,
        "point": run("point"), "low": run("low"), "high": run("high"),
    }


def needed(share, n, line):
    def spans(n):
        low, high = wilson(share, n)
        return low < line < high

    if not spans(n):
        more = None
    else:
        more = next((k for k in range(1, 201) if not spans(n + k)), None)
    return {"share": share, "n": n, "line": line, "more": more}


def main():
    check()
    out = {
        "status": "derived: computed here",
        "kings": [kings(a, n) for a, n in ((36, 180), (144, 180), (0, 20), (20, 20), (1, 1), (7, 20), (499, 1000))],
        "laterals": [laterals(*row) for row in ((324, 720, 180), (70, 80, 20), (0, 80, 20), (3, 5, 20), (95, 130, 26))],
        "live": [
            live(180, 5, kings(36, 180), laterals(324, 720, 180)),
            live(180, 6, kings(36, 180), laterals(405, 900, 180)),
            live(180, 5, kings(40, 50), laterals(180, 200, 50)),
        ],
        "needed": [needed(*row) for row in (
            (0.7, 30, 0.8), (0.85, 40, 0.8), (0.9, 20, 0.8), (0.75, 100, 0.8), (0.79, 100, 0.8), (0.8, 100, 0.8),
            (0.5, 100, 0.8), (1.0, 10, 0.8), (0.75, 80, 0.8), (0.75, 46, 0.8), (0.75, 45, 0.8), (0.0, 3, 0.4),
        )],
    }
    path = pathlib.Path(__file__).resolve().parent / "damage.json"
    path.write_text(json.dumps(out, indent=2) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
