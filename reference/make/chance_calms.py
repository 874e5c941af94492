"""Waits for calm water by month -> reference/chance/scipy-calms.csv

Python 3.11 or later; scipy 1.17.1, numpy 2.4.6.

Heights of a month follow scipy.stats.weibull_min with a given mean; an hour is calm with the share of the month it lies in, and calm and rough have the correlation
exp(-1 h/memory) from hour to hour. Exact: the whole transition matrix over (calm hours in a row so far, window whole), hour by hour with the matrix of its month by the
calendar. Drawn: 40,000 waits, calm hours in a row counted.
"""
import datetime
import hashlib
import pathlib

import numpy as np
import scipy
from scipy.optimize import brentq
from scipy.stats import weibull_min

HERE = pathlib.Path(__file__)
FOLDER = HERE.parents[1] / "chance"
DRAWS = 40_000
HEIGHTS = {
    "ocean": [3.4, 3.2, 2.7, 2.2, 1.7, 1.5, 1.4, 1.5, 1.9, 2.5, 3.0, 3.3],
    "lee": [1.2, 1.1, 1.0, 0.8, 0.6, 0.5, 0.5, 0.5, 0.7, 0.9, 1.1, 1.2],
}
CASES = [
    # sea, shape, memory h, wave m, lasts h, ready, slip h
    ("ocean", 1.7, 30.0, 1.5, 12, datetime.date(2027, 9, 14), 1008),
    ("ocean", 1.7, 30.0, 1.5, 12, datetime.date(2027, 12, 24), 336),
    ("ocean", 1.3, 60.0, 1.0, 24, datetime.date(2027, 2, 20), 720),
    ("ocean", 2.2, 8.0, 2.0, 6, datetime.date(2028, 2, 28), 72),
    ("lee", 1.5, 20.0, 1.0, 10, datetime.date(2027, 10, 31), 48),
    ("lee", 1.5, 20.0, 1.0, 1, datetime.date(2027, 6, 15), 0),
]


def share(mean_m, shape, wave_m):
    # The scale by its mean, searched: no closed form is shared with the program.
    scale = brentq(lambda s: weibull_min.mean(shape, scale=s) - mean_m, 1e-6, 100.0, xtol=1e-14, rtol=1e-14)
    return float(weibull_min.cdf(wave_m, shape, scale=scale))


def month_of(ready, hour):
    return (datetime.datetime.combine(ready, datetime.time()) + datetime.timedelta(hours=hour)).month - 1


rows = []
for number, (sea, shape, memory_h, wave_m, lasts_h, ready, slip_h) in enumerate(CASES):
    calm = [share(mean, shape, wave_m) for mean in HEIGHTS[sea]]
    rho = np.exp(-1.0 / memory_h)
    leaves = [((1 - g) * (1 - rho), g * (1 - rho)) for g in calm]

    def matrix(month):
        a, b = leaves[month]
        n = lasts_h + 1
        m = np.zeros((n, n))
        m[0, 0], m[0, 1] = 1 - b, b
        for run in range(1, lasts_h):
            m[run, 0], m[run, run + 1] = a, 1 - a
        m[lasts_h, lasts_h] = 1.0
        return m

    most = 4000
    months = [month_of(ready, hour) for hour in range(most + lasts_h)]
    state = np.zeros(lasts_h + 1)
    state[0], state[1] = 1 - calm[months[0]], calm[months[0]]
    whole = [state[lasts_h]]
    for hour in range(1, most + lasts_h):
        state = state @ matrix(months[hour])
        whole.append(state[lasts_h])
    begun = whole[lasts_h - 1:]
    p50 = next(h for h, p in enumerate(begun) if p >= 0.5)
    p90 = next(h for h, p in enumerate(begun) if p >= 0.9)
    random = np.random.default_rng(number)
    good = random.random(DRAWS) < calm[months[0]]
    runs = good.astype(int)
    done = runs >= lasts_h
    for hour in range(1, slip_h + lasts_h):
        a, b = leaves[months[hour]]
        turn = random.random(DRAWS)
        good = np.where(good, turn >= a, turn < b)
        runs = np.where(good, runs + 1, 0)
        done |= runs >= lasts_h
    rows.append((sea, shape, memory_h, wave_m, lasts_h, ready.isoformat(), slip_h, f"{calm[ready.month - 1]:.12g}",
                 f"{begun[slip_h]:.12g}", f"{done.mean():.6g}", p50, p90))

lines = [
    "# Waits for so many hours in a row with waves of at most a height: share of calm hours in the month of readiness, chance that the window begins within the slip, hours within which it does with 0.5 and 0.9.",
    f"# source: scipy {scipy.__version__}, scipy.stats.weibull_min; numpy {np.__version__}, whole transition matrices and numpy.random",
    "# script: reference/make/chance_calms.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: 1e-10 of shares and chances; hours equal; 0.012 of drawn, 4.8 standard errors at the most",
    "sea,shape,memory_h,wave_m,lasts_h,ready,slip_h,calm_share,chance,drawn,p50_h,p90_h",
]
lines += [",".join(str(value) for value in row) for row in rows]
(FOLDER / "scipy-calms.csv").write_text("\n".join(lines) + "\n")
