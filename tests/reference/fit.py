"""Least-squares fits of growth curves on made-up observations. Writes fit.json beside this script."""

import json
import pathlib

import numpy as np
from scipy.optimize import curve_fit

TIGHT = {"method": "trf", "jac": "3-point", "x_scale": "jac", "ftol": 1e-15, "xtol": 1e-15, "gtol": 1e-15,
         "max_nfev": 20_000}


def beta(t, tmin, topt, tmax, best):
    inside = (t > tmin) & (t < tmax)
    x = np.where(inside, t, (tmin + tmax) / 2)
    shape = (tmax - x) / (tmax - topt) * ((x - tmin) / (topt - tmin)) ** ((topt - tmin) / (tmax - topt))
    return np.where(inside, best * shape, 0.0)


def observe(seed, temperatures, hours, rate, lag, noise):
    """Tube lengths in mm with noise of one spread, none below zero."""
    rng = np.random.default_rng(seed)
    t, h = (grid.ravel() for grid in np.meshgrid(np.array(temperatures, float), np.array(hours, float), indexing="ij"))
    length = rate(t) * np.maximum(h - lag, 0) + rng.normal(0, noise, t.size)
    return t, h, np.round(np.maximum(length, 0), 3)


def case(name, document, names, data, function, start, per):
    """`per` is the hours in the unit of each parameter: the fit itself is made in mm an hour."""
    t, h, length = data
    values, covariance = curve_fit(function, (t, h), length, p0=start, **TIGHT)
    errors = np.sqrt(np.diag(covariance))
    left = length - function((t, h), *values)
    sigma = float(np.sqrt(np.sum(left**2) / (t.size - len(values))))
    r2 = float(1 - np.sum(left**2) / np.sum((length - length.mean()) ** 2))
    observations = [{"celsius": float(a), "hours": float(b), "length_mm": float(c)} for a, b, c in zip(*data)]
    return {
        "name": name,
        "document": {**document, "source": "made up", "observations": observations},
        "parameters": [{"name": n, "value": float(v * p), "standard_error": float(e * p)}
                       for n, v, e, p in zip(names, values, errors, per)],
        "sigma": sigma,
        "r2": r2,
    }


def nodes_function(temperatures, lag):
    def function(x, *p):
        t, h = x
        rates = np.array(p[:len(temperatures)])
        index = np.searchsorted(temperatures, t)
        return rates[index] * np.maximum(h - (p[-1] if lag else 0.0), 0)
    return function


def main():
    beta_true = (6.3, 28.6, 43.7, 0.42)
    rate = lambda t: beta(t, *beta_true)
    six = [8, 12, 18, 24, 30, 36]
    ends = {"zero_below": 5, "zero_above": 44}
    lagged = lambda x, a, b, c, d, lag: beta(x[0], a, b, c, d) * np.maximum(x[1] - lag, 0)
    cases = []

    data = observe(1, six, [12, 24, 36], rate, 0, 0.25)
    names = [f"rate_at_{t}" for t in six]
    cases.append(case("nodes", {"form": "nodes", "unit": "mm-per-hour", **ends}, names, data,
                      nodes_function(six, False), [0.2] * 6, [1] * 6))

    data = observe(2, six, [6, 12, 24, 36], rate, 4.5, 0.2)
    cases.append(case("nodes with a lag", {"form": "nodes", "unit": "mm-per-day", "lag": True, **ends},
                      names + ["lag_hours"], data, nodes_function(six, True), [0.2] * 6 + [3], [24] * 6 + [1]))

    seven = [8, 12, 18, 24, 28, 33, 40]
    beta_names = ["tmin", "topt", "tmax", "rate_at_topt"]
    data = observe(3, seven, [12, 24, 36], rate, 0, 0.25)
    cases.append(case("beta", {"form": "beta", "unit": "mm-per-hour"}, beta_names, data,
                      lambda x, a, b, c, d: beta(x[0], a, b, c, d) * x[1], beta_true, [1] * 4))

    cases.append(case("beta with tmax fixed", {"form": "beta", "unit": "mm-per-day", "tmax": 43.7},
                      ["tmin", "topt", "rate_at_topt"], data,
                      lambda x, a, b, d: beta(x[0], a, b, 43.7, d) * x[1], [6.3, 28.6, 0.42], [1, 1, 24]))

    data = observe(4, seven, [6, 12, 24, 36], rate, 4.5, 0.2)
    cases.append(case("beta with a lag", {"form": "beta", "unit": "mm-per-day", "lag": True},
                      beta_names + ["lag_hours"], data, lagged, [*beta_true, 4.5], [1, 1, 1, 24, 1]))

    out = {"status": "derived: scipy.optimize.curve_fit on made-up observations, of no cultivar", "cases": cases}
    path = pathlib.Path(__file__).with_name("fit.json")
    path.write_text(json.dumps(out, indent=1) + "\n")


if __name__ == "__main__":
    main()
