"""A message that waits for the sea: two-state hours, success by state.

Python 3.11, numpy==2.4.6. Run with no arguments to write reference/network/numpy-sea.json. Running it again gives the same bytes.

exact: powers of the transition matrix over (good, bad, ashore), where a step moves the chain and then tries; the mean by numpy.linalg.solve on the two states at sea.
drawn: 400,000 messages, hour by hour.
"""

import hashlib
import json
import pathlib

import numpy as np

DRAWS = 400_000
HOURS = [0, 1, 3, 10, 30, 100, 300]
# Chance to leave good, to leave bad, success in good, in bad, offered in.
CASES = [
    (1 / 60, 1 / 20, 1.0, 0.0, "any"), (1 / 60, 1 / 20, 0.9, 0.1, "any"), (1 / 100, 1 / 48, 0.97, 0.0, "bad"), (1 / 100, 1 / 48, 0.97, 0.02, "good"),
    (0.3, 0.7, 0.6, 0.6, "any"), (1 / 30, 1 / 90, 0.8, 0.05, "any"), (0.5, 0.5, 0.99, 0.3, "bad"),
]


def start(leaves_good, leaves_bad, offered):
    good = leaves_bad / (leaves_good + leaves_bad)
    return {"any": [good, 1 - good], "good": [1.0, 0.0], "bad": [0.0, 1.0]}[offered]


def exact(leaves_good, leaves_bad, in_good, in_bad, offered):
    moves = np.array([[1 - leaves_good, leaves_good, 0.0], [leaves_bad, 1 - leaves_bad, 0.0], [0.0, 0.0, 1.0]])
    tries = np.array([[1 - in_good, 0.0, in_good], [0.0, 1 - in_bad, in_bad], [0.0, 0.0, 1.0]])
    first = np.array(start(leaves_good, leaves_bad, offered) + [0.0]) @ tries
    by = [float((first @ np.linalg.matrix_power(moves @ tries, hours))[2]) for hours in HOURS]
    # Mean: the sum over n of what is still at sea after step n.
    at_sea = (moves @ tries)[:2, :2]
    mean = float(first[:2] @ np.linalg.solve(np.eye(2) - at_sea, np.ones(2)))
    return by, mean


def quantiles(case):
    by = lambda hours: exact_at(case, hours)
    told = []
    for chance in (0.5, 0.9, 0.99):
        hours = 0
        while by(hours) < chance:
            hours += 1
        told.append(hours)
    return told


def exact_at(case, hours, kept={}):
    if case not in kept:
        leaves_good, leaves_bad, in_good, in_bad, offered = case
        v, total, sums = np.array(start(leaves_good, leaves_bad, offered)), 0.0, []
        for _ in range(5000):
            total += float(v @ [in_good, in_bad])
            sums.append(total)
            v = (v * [1 - in_good, 1 - in_bad]) @ np.array([[1 - leaves_good, leaves_good], [leaves_bad, 1 - leaves_bad]])
        kept[case] = sums
    return kept[case][hours]


def drawn(case, seed):
    leaves_good, leaves_bad, in_good, in_bad, offered = case
    draw = np.random.default_rng(seed)
    good = draw.random(DRAWS) < start(leaves_good, leaves_bad, offered)[0]
    ashore = np.full(DRAWS, -1)
    for hour in range(HOURS[-1] + 1):
        if hour:
            u = draw.random(DRAWS)
            good = np.where(good, u >= leaves_good, u < leaves_bad)
        lands = draw.random(DRAWS) < np.where(good, in_good, in_bad)
        ashore[lands & (ashore < 0)] = hour
    return [float(((ashore >= 0) & (ashore <= hours)).mean()) for hours in HOURS]


def main():
    here = pathlib.Path(__file__)
    cases = []
    for seed, case in enumerate(CASES):
        by, mean = exact(*case)
        leaves_good, leaves_bad, in_good, in_bad, offered = case
        cases.append({"mean_good": 1 / leaves_good, "mean_bad": 1 / leaves_bad, "good_succeeds": in_good, "bad_succeeds": in_bad, "offered": offered,
                      "hours": HOURS, "exact": [float(f"{p:.12g}") for p in by], "mean": float(f"{mean:.12g}"), "p50_p90_p99": quantiles(case),
                      "drawn": drawn(case, seed)})
    document = {
        "provenance": {
            "what": "chance that a message is ashore within so many hours of a sea of good and bad hours, mean and quantiles in hours",
            "source": f"numpy {np.__version__}, numpy.linalg.matrix_power and solve, numpy.random",
            "script": "reference/make/" + here.name,
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "1e-10 of exact and mean, quantiles equal; 0.004 of drawn, five standard errors of 400,000 messages",
        },
        "cases": cases,
    }
    (here.parent.parent / "network" / "numpy-sea.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
