"""Exact limits of shares and rates, and the normal law -> reference/chance/scipy-limits.csv, scipy-normal.csv

Python 3.11 or later; scipy 1.17.1.
"""
import hashlib
import pathlib

import scipy
from scipy.stats import beta, chi2, norm

HERE = pathlib.Path(__file__)
FOLDER = HERE.parents[1] / "chance"


def write(name, what, tolerance, columns, rows):
    lines = [
        f"# {what}",
        f"# source: scipy {scipy.__version__}, scipy.stats",
        "# script: reference/make/chance_limits.py",
        f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
        f"# tolerance: {tolerance}",
        columns,
    ]
    lines += [",".join(str(value) for value in row) for row in rows]
    (FOLDER / name).write_text("\n".join(lines) + "\n")


def share_low(k, n, side):
    return 0.0 if k == 0 else float(beta.ppf(side, k, n - k + 1))


def share_high(k, n, side):
    return 1.0 if k == n else float(beta.isf(side, k + 1, n - k))


def rate(n, exposure, confidence):
    side = (1 - confidence) / 2
    low = 0.0 if n == 0 else float(chi2.ppf(side, 2 * n)) / 2 / exposure
    return low, float(chi2.isf(side, 2 * n + 2)) / 2 / exposure


rows = []
shares = [(8, 10), (10, 10), (0, 10), (45, 50), (80, 100), (95, 100), (0, 1), (1, 1), (1, 2), (5, 300), (297, 300)]
shares += [(500, 1000), (3, 100000), (99997, 100000), (123456, 1000000)]
for k, n in shares:
    for confidence in (0.8, 0.95, 0.999):
        side = (1 - confidence) / 2
        rows.append(("share", k, n, confidence, share_low(k, n, side), share_high(k, n, side)))
for n, exposure in [(0, 24), (1, 24), (3, 24), (5, 24), (10, 24), (26, 24), (0, 1e-3), (1000, 7.5), (1000000, 365.25)]:
    for confidence in (0.8, 0.95, 0.999):
        rows.append(("rate", n, exposure, confidence, *rate(n, exposure, confidence)))
for k, n in [(0, 200), (0, 299), (1, 473), (3, 40), (40, 40)]:
    rows.append(("bad", k, n, 0.95, 0.0, share_high(k, n, 1 - 0.95)))
write(
    "scipy-limits.csv",
    "Clopper-Pearson (share), Garwood (rate, n is the exposure) and one-sided upper (bad) limits.",
    "1e-10 of the limit, the inversion error of scipy.stats for a million trials",
    "kind,count,of,confidence,low,high",
    rows,
)
edges = [x / 4 for x in range(-16, 17)]
write(
    "scipy-normal.csv",
    "Probability of a standard normal draw below x.",
    "that of the number of draws: chi-square test at the 0.1 % level",
    "x,below",
    [(x, float(norm.cdf(x))) for x in edges],
)
