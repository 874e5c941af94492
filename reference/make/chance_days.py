"""Rates of events that come in bursts: coverage of limits over days -> reference/chance/numpy-days.json

Needs numpy 2.4.6 and scipy 1.17.1; a second run gives the same bytes.

For each law of days TRIALS sets of D days are drawn: a Gamma-Poisson mixture (negative binomial) of mean `mean` and shape `shape` (none:
Poisson). Of each set the limits of Garwood over the whole time, and those of a studentised bootstrap of whole days, the wider on either
side (written from the rules in docs/method/evaluation.md, with NumPy's own draws). How often each upper limit lies at or above the mean,
and each lower one at or below it, is told, with all sets of one law in full so that another program can be held to the same.
"""
import hashlib
import json
import pathlib

import numpy as np
from scipy import stats

HERE = pathlib.Path(__file__).resolve()
CONFIDENCE = 0.95
DRAWS = 2000
TRIALS = 400
LAWS = [
    # days, mean a day, shape
    (6, 10.0, 1.0), (10, 2.0, None), (10, 10.0, 1.0), (10, 10.0, 0.3), (14, 2.0, 0.5), (14, 10.0, 1.0), (14, 10.0, 0.3),
    (30, 10.0, 1.0), (30, 10.0, 0.3), (30, 0.5, 0.5),
]
WHOLE = (14, 10.0, 1.0)


def rounded(value):
    return float(f"{value:.10g}")


def garwood(events, days):
    side = (1 - CONFIDENCE) / 2
    low = stats.chi2.ppf(side, 2 * events) / 2 / days if events else 0.0
    return low, stats.chi2.isf(side, 2 * events + 2) / 2 / days


def error_of(drawn):
    """Standard error of the mean of each row; never below that of as many events, or of one."""
    days = drawn.shape[1]
    spread = drawn.std(axis=1, ddof=1) / np.sqrt(days)
    return np.maximum(spread, np.sqrt(np.maximum(drawn.sum(axis=1), 1)) / days)


def by_days(x, rng):
    days = len(x)
    counted = garwood(int(x.sum()), days)
    rate, error = x.mean(), error_of(x[None, :])[0]
    drawn = x[rng.integers(0, days, (DRAWS, days))]
    t = np.sort((drawn.mean(axis=1) - rate) / error_of(drawn))
    side = (1 - CONFIDENCE) / 2
    low_t = t[int(np.ceil(side * len(t))) - 1]
    high_t = t[int(np.ceil((1 - side) * len(t))) - 1]
    return min(counted[0], max(rate - high_t * error, 0.0)), max(counted[1], rate - low_t * error)


def law(days, mean, shape):
    rng = np.random.default_rng([days, int(10 * mean), int(10 * (shape or 0))])
    sets = []
    for _ in range(TRIALS):
        x = rng.poisson(mean, days) if shape is None else rng.negative_binomial(shape, shape / (shape + mean), days)
        sets.append((x, garwood(int(x.sum()), days), by_days(x, rng)))
    share = lambda holds: rounded(float(np.mean([holds(s) for s in sets])))  # noqa: E731
    found = {
        "days": days, "mean": mean, "shape": shape, "trials": TRIALS,
        "garwood_upper_covers": share(lambda s: s[1][1] >= mean), "garwood_lower_covers": share(lambda s: s[1][0] <= mean),
        "days_upper_covers": share(lambda s: s[2][1] >= mean), "days_lower_covers": share(lambda s: s[2][0] <= mean),
        "days_upper_over_mean_median": rounded(float(np.median([s[2][1] for s in sets]) / mean)),
    }
    if (days, mean, shape) == WHOLE:
        found["sets"] = [{"events": [int(n) for n in s[0]], "low": rounded(s[2][0]), "high": rounded(s[2][1])} for s in sets]
    return found


(HERE.parents[1] / "chance" / "numpy-days.json").write_text(json.dumps({
    "provenance": {
        "what": "coverage of 95 % limits (2.5 % beyond each) of the rate of events over days that are over-dispersed: Garwood over the whole time, and a studentised bootstrap of whole days with it",
        "source": "numpy 2.4.6 random.default_rng, negative_binomial; scipy 1.17.1 stats.chi2; the laws are invented",
        "script": "reference/make/chance_days.py",
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "limits of a set: half of them within 3 %, nine tenths within 10 % (two bootstraps of 2000 draws of different streams); coverage of the same sets within 0.02",
    },
    "laws": [law(*of) for of in LAWS],
}, separators=(",", ":")).replace('{"events"', '\n{"events"').replace('{"days"', '\n{"days"') + "\n")
