"""Threshold over a background of independent exponential cells: cell averaging and order statistic.

A cell alarms when it lies over alpha times the background. For n exponential cells before it:
mean     Pfa = (1 + alpha/n)^-n
ordered  Pfa = product over i = 0 .. k-1 of (n - i) / (n - i + alpha), background the k-th smallest
For cells that are means of m exponential looks, over the mean of n of them: alpha is exceeded by the share Pfa of Fisher's law of
2 m and 2 m n degrees of freedom.
(formulas from memory; each is checked here against the integral of exp(-alpha b) over the density of the background, by
quadrature). scipy 1.17.1. Writes reference/detect/scipy-cfar.csv. Running it again gives the same bytes.

    python3 reference/make/detect_cfar.py
"""

import hashlib
import math
import pathlib

from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import beta, chi2, f, gamma

HERE = pathlib.Path(__file__)
OUT = HERE.parent.parent / "detect" / "scipy-cfar.csv"
# kind, cells, order, looks, probability of a false alarm
ROWS = [
    ("mean", 8, 0, 1, 1e-3), ("mean", 16, 0, 1, 1e-4), ("mean", 32, 0, 1, 1e-6), ("mean", 64, 0, 1, 1e-6), ("mean", 16, 0, 1, 1e-2),
    ("ordered", 20, 15, 1, 1e-3), ("ordered", 20, 15, 1, 1e-4), ("ordered", 20, 15, 1, 1e-6), ("ordered", 32, 24, 1, 1e-6),
    ("ordered", 16, 12, 1, 1e-2), ("ordered", 16, 12, 1, 1e-4), ("ordered", 50, 37, 1, 1e-6),
    ("median", 15, 8, 1, 1e-2), ("median", 31, 16, 1, 1e-3),
    ("mean", 16, 0, 4, 1e-4), ("mean", 32, 0, 10, 1e-6),
]


def alarm(kind, n, k, alpha):
    if kind == "mean":
        return (1.0 + alpha / n) ** -n
    return math.prod((n - i) / (n - i + alpha) for i in range(k))


def alarm_by_quadrature(kind, n, k, m, alpha):
    if kind == "mean":
        density, top = gamma(m * n, scale=1.0 / (m * n)).pdf, 20.0
    else:
        # The k-th smallest of n exponentials is -ln(1 - u) with u of a beta distribution.
        law = beta(k, n - k + 1)
        density, top = (lambda b: law.pdf(-math.expm1(-b)) * math.exp(-b)), 40.0
    over = gamma(m, scale=1.0 / m).sf
    return quad(lambda b: over(alpha * b) * density(b), 0.0, top, epsabs=1e-16, epsrel=1e-10, limit=500, points=[0.2, 0.6, 1.0, 2.0])[0]


lines = [
    "# multiplier over the background of independent exponential cells for a probability of false alarm",
    "# source: closed forms of cell averaging (several looks: Fisher's law) and order statistic, from memory, checked by quadrature with scipy 1.17.1",
    "# script: reference/make/detect_cfar.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: relative 1e-8 (printed digits); counts of trials are held to their exact limits, one in a million",
    "# order: k of the k-th smallest, 0 for the mean; the last column is wrong on purpose: as if the background were known",
    "# looks: independent exponential cells of which each cell is the mean",
    "cells,order,looks,false_alarm_probability,alpha,alpha_of_known_background",
]
for kind, n, k, m, pfa in ROWS:
    if m > 1:
        alpha = f.isf(pfa, 2 * m, 2 * m * n)
    else:
        alpha = brentq(lambda a: math.log(alarm(kind, n, k, a)) - math.log(pfa), 1e-3, 1e4, xtol=1e-13, rtol=1e-14)
    seen = alarm_by_quadrature(kind, n, k, m, alpha)
    assert abs(seen / pfa - 1.0) < 1e-6, (kind, n, k, m, pfa, seen)
    known = chi2.isf(pfa, 2 * m) / (2 * m)
    lines.append(f"{n},{k},{m},{pfa!r},{alpha:.9f},{known:.9f}")
OUT.write_text("\n".join(lines) + "\n")
