"""The darkest five days of a month by Bendt's distribution, with and without memory from day to day; and what misprints of the weather formulas do.

Needs numpy 2.4.6, scipy 1.17.1. Writes reference/power/scipy-weather-stretches.json. Months of 31 days, days of a Gaussian with a correlation of 0.29
(Graham, Hollands and Huget 1988, from memory) brought to the distribution by its rank; 200,000 months of numpy's generator, seed 5.
"""

import hashlib
import json
from pathlib import Path

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

HERE = Path(__file__).resolve()
LOW, DAYS, MONTHS, PERSISTENCE = 0.05, 31, 200_000, 0.29


def highest(km):
    return 0.6313 + 0.267 * km - 11.9 * (km - 0.75) ** 8


def mean(gamma, high):
    y = gamma * (high - LOW)
    return (LOW + high) / 2 if abs(y) < 1e-9 else LOW + (high - LOW) * (-1 / np.expm1(-y) - 1 / y)


def clearness(share, gamma, high):
    return np.log(np.exp(gamma * LOW) - share * (np.exp(gamma * LOW) - np.exp(gamma * high))) / gamma


def darkest(km, persistence, random):
    high = highest(km)
    gamma = brentq(lambda g: mean(g, high) - km, -40, 60, xtol=1e-13)
    x = random.standard_normal((MONTHS, DAYS))
    for day in range(1, DAYS):
        x[:, day] = persistence * x[:, day - 1] + np.sqrt(1 - persistence**2) * x[:, day]
    k = np.concatenate([np.zeros((MONTHS, 1)), np.cumsum(clearness(ndtr(x), gamma, high), axis=1)], axis=1)
    return float(np.median(((k[:, 5:] - k[:, :-5]) / 5).min(axis=1)))


def fitted(km):
    """Mean of the distribution with the printed fit of gamma."""
    high = highest(km)
    xi = (high - LOW) / (high - km)
    return mean(-1.498 + (1.184 * xi - 27.182 * np.exp(-1.5 * xi)) / (high - LOW), high)


def rt(w, ws):
    a, b = 0.409 + 0.5016 * np.sin(ws - np.pi / 3), 0.6609 - 0.4767 * np.sin(ws - np.pi / 3)
    return np.pi / 24 * (a + b * np.cos(w)) * (np.cos(w) - np.cos(ws)) / (np.sin(ws) - ws * np.cos(ws))


random = np.random.default_rng(5)
sums = []
for sunset in (42.5, 90.0, 144.7):
    ws, middles = np.radians(sunset), np.radians(np.arange(-172.5, 180, 15))
    lit = middles[np.abs(middles) < ws]
    sums.append({"sunset_deg": sunset, "of_24_middles": float(rt(lit, ws).sum()), "with_negative_sunset": [float(rt(w, -ws)) for w in lit]})
result = {
    "darkest_five_days": [{"mean": km, "median": round(darkest(km, PERSISTENCE, random), 4), "median_of_independent_days": round(darkest(km, 0.0, random), 4)}
                          for km in (0.35, 0.50)],
    "mean_with_fitted_gamma": [[km, float(f"{fitted(km):.10g}")] for km in (0.2, 0.3, 0.4, 0.5, 0.6, 0.7)],
    "sums_of_rt": sums,
}
(HERE.parents[1] / "power" / "scipy-weather-stretches.json").write_text(json.dumps({
    "provenance": {
        "what": "median of the darkest five days in a row of months of 31 days, K; mean K with the printed fit of gamma; sums of rt at the middles of 24 hours, and rt with a "
                "sunset hour angle below zero at those with light",
        "source": "formulas as equations 2.9.4 to 2.9.6 and 2.13.2 of Duffie and Beckman (read in public programs); numpy 2.4.6, scipy 1.17.1 (special.ndtr, optimize.brentq)",
        "script": "reference/make/" + HERE.name,
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "medians 0.002: sampling error of 20,000 months on the other side is 0.0005; sums and means 1e-8",
    },
    **result,
}, indent=1) + "\n")
