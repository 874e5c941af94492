"""Spares, independent things, and the wait for a window -> reference/chance/scipy-spares.csv, scipy-at-least.csv, numpy-windows.csv

Python 3.11 or later; scipy 1.17.1, numpy 2.4.6.

Windows: powers of the whole transition matrix over (run of good so far, window whole), seasons one after the other; beside it 200,000 waits drawn hour by hour, with the good
steps in a row counted. The chain is set up from the share of good and the mean length of bad runs.
"""
import hashlib
import pathlib

import numpy as np
import scipy
from scipy.stats import binom, poisson_binom

HERE = pathlib.Path(__file__)
FOLDER = HERE.parents[1] / "chance"
DRAWS = 200_000


def write(name, what, source, tolerance, columns, rows):
    lines = [
        f"# {what}",
        f"# source: {source}",
        "# script: reference/make/chance_waits.py",
        f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
        f"# tolerance: {tolerance}",
        columns,
    ]
    lines += [",".join(str(value) for value in row) for row in rows]
    (FOLDER / name).write_text("\n".join(lines) + "\n")


rows = []
for needed in (1, 2, 4, 12, 100):
    for works in (0.3, 0.9, 0.97, 0.999, 1.0):
        for confidence in (0.5, 0.9, 0.95, 0.999):
            things = needed
            while binom.sf(needed - 1, things, works) < confidence:
                things += 1
            rows.append((needed, works, confidence, things - needed))
write("scipy-spares.csv", "Least number of spares with which so many of alike things work with a confidence.", f"scipy {scipy.__version__}, scipy.stats.binom",
      "exact", "needed,works,confidence,spares", rows)

rows = []
for chances in ([0.9], [0.9, 0.8, 0.5], [0.95, 0.7, 0.6, 0.2, 0.99], [0.01] * 6, [0.999, 0.998, 0.997, 0.5], [0.0, 1.0, 0.25]):
    for needed in range(len(chances) + 1):
        at_least = 1.0 if needed == 0 else float(poisson_binom.sf(needed - 1, chances))
        rows.append((needed, ";".join(str(c) for c in chances), f"{at_least:.12g}"))
write("scipy-at-least.csv", "Chance that at least so many of independent things work, by the chance of each.", f"scipy {scipy.__version__}, scipy.stats.poisson_binom",
      "1e-11: twelve digits are printed, and the library's transform leaves 1e-15 of one", "needed,chances,chance", rows)


def chain(good_share, bad_run):
    leaves_bad = 1.0 / bad_run
    leaves_good = leaves_bad * (1.0 - good_share) / good_share
    return leaves_good, leaves_bad


def matrix(leaves_good, leaves_bad, window):
    # States: bad, good for 1 .. window - 1 steps, whole.
    m = np.zeros((window + 1, window + 1))
    m[0, 0], m[0, 1] = 1.0 - leaves_bad, leaves_bad
    for run in range(1, window):
        m[run, 0], m[run, run + 1] = leaves_good, 1.0 - leaves_good
    m[window, window] = 1.0
    return m


def season_of(seasons, hour):
    for good_share, bad_run, hours in seasons[:-1]:
        if hour < hours:
            return good_share, bad_run
        hour -= hours
    return seasons[-1][:2]


def exact(seasons, window, wait):
    good = seasons[0][0]
    state = np.zeros(window + 1)
    state[0], state[1] = 1.0 - good, good
    hour, last = 1, wait + window - 1
    while hour <= last:
        now = season_of(seasons, hour)
        ahead = 1
        while hour + ahead <= last and season_of(seasons, hour + ahead) == now:
            ahead += 1
        state = state @ np.linalg.matrix_power(matrix(*chain(*now), window), ahead)
        hour += ahead
    return float(state[window])


def drawn(seasons, window, waits, seed):
    draw = np.random.default_rng(seed)
    good = draw.random(DRAWS) < seasons[0][0]
    run, begun = np.where(good, 1, 0), np.full(DRAWS, -1)
    begun[(run == window)] = 0
    for hour in range(1, max(waits) + window):
        leaves_good, leaves_bad = chain(*season_of(seasons, hour))
        u = draw.random(DRAWS)
        good = np.where(good, u >= leaves_good, u < leaves_bad)
        run = np.where(good, run + 1, 0)
        begun[(run >= window) & (begun < 0)] = hour - window + 1
    return [float(((begun >= 0) & (begun <= wait)).mean()) for wait in waits]


rows = []
cases = [
    ([(0.7, 30.0, 0)], 1), ([(0.7, 30.0, 0)], 12), ([(0.55, 48.0, 0)], 24), ([(0.9, 18.0, 0)], 72), ([(0.3, 60.0, 0)], 36),
    ([(0.8, 20.0, 200), (0.5, 40.0, 300), (0.3, 70.0, 0)], 24), ([(0.4, 50.0, 100), (0.85, 24.0, 0)], 48),
]
for seed, (seasons, window) in enumerate(cases):
    waits = [0, 1, 10, 47, 150, 400, 1000]
    for wait, share in zip(waits, drawn(seasons, window, waits, seed)):
        name = ";".join(":".join(str(part) for part in season) for season in seasons)
        rows.append((name, window, wait, f"{exact(seasons, window, wait):.12g}", share))
write("numpy-windows.csv", "Chance that a window of so many good steps has begun within a wait; seasons as share of good : mean bad run in steps : steps (the last one stays). "
      "exact by matrices, drawn from 200,000 waits.", f"numpy {np.__version__}, numpy.linalg.matrix_power, numpy.random",
      "1e-10 of exact; 0.005 of drawn, 4.5 standard errors at the most", "seasons,window,wait,exact,drawn", rows)
