"""Central and noncentral chi-square shares and the Marcum Q function -> reference/chance/mpmath-chi-square.csv,
scipy-chi-square.csv

Python 3.11 or later; mpmath 1.4.1 (50 digits), scipy 1.17.1. The noncentral share is summed here from its definition, with
as many terms as change the sum; scipy serves as the second opinion, over more cases but with fewer digits.
"""
import hashlib
import pathlib

import scipy
from mpmath import exp, gammainc, log, loggamma, mp, mpf
from scipy.stats import chi2, ncx2

HERE = pathlib.Path(__file__)
OUT = HERE.parents[1] / "chance"
mp.dps = 50


def head(title, source, tolerance, columns):
    return [
        f"# {title}",
        f"# source: {source}",
        "# script: reference/make/chance_chi_square.py",
        f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
        f"# tolerance: {tolerance}",
        columns,
    ]


def central(x, nu):
    return gammainc(mpf(nu) / 2, mpf(x) / 2, mp.inf, regularized=True)


def noncentral(x, nu, lam):
    a, half, l = mpf(nu) / 2, mpf(x) / 2, mpf(lam) / 2
    # Upward from j = 0, exact sums: Q(a+1) = Q(a) + half^a e^-half / Gamma(a+1), weights l^j e^-l / j!.
    share = gammainc(a, half, mp.inf, regularized=True)
    density = exp(a * log(half) - half - loggamma(a + 1))
    weight = exp(-l)
    total, j = mpf(0), 0
    while True:
        total += weight * share
        share += density
        j += 1
        density *= half / (a + j)
        weight *= l / j
        if j > l and weight < total * mpf(10) ** -40:
            return total


lines = head(
    "Share of the chi-square law of `degrees` degrees of freedom and noncentrality `noncentrality` above `value`.",
    "mpmath 1.4.1, 50 digits; incomplete gamma function, and the sum of its Poisson mixture",
    "1e-12 of the share, the rounding of some thousand operations; 1e-10 from 10,000 degrees of freedom on",
    "value,degrees,noncentrality,share",
)
for nu in (1, 2, 3, 10, 20.5, 100, 150, 1000, 2000, 20000):
    middle = float(nu)
    for x in (0.01 * middle, 0.5 * middle, middle, 1.3 * middle, 2 * middle, 5 * middle + 20):
        q = central(x, nu)
        if q > mpf(10) ** -200:
            lines.append(f"{x!r},{nu},0,{float(q)!r}")
for nu in (1, 2, 20, 100.5, 160, 200, 2000):
    for lam in (0.3, 4.0, 50.0, 400.0, 3000.0):
        for x in (0.5 * (nu + lam), nu + lam, 1.2 * (nu + lam), 2 * (nu + lam) + 30):
            q = noncentral(x, nu, lam)
            if q > mpf(10) ** -200:
                lines.append(f"{x!r},{nu},{lam!r},{float(q)!r}")
(OUT / "mpmath-chi-square.csv").write_text("\n".join(lines) + "\n")

lines = head(
    "Chi-square thresholds, detection probabilities of an energy detector (2TW degrees of freedom), and the Marcum Q function.",
    f"scipy {scipy.__version__}, scipy.stats chi2.isf, ncx2.sf",
    "1e-9 of the threshold and 1e-7 of the share, the accuracy of scipy's noncentral law",
    "kind,tw,false_alarm,snr_db,threshold,detection",
)
for tw in (1, 10, 50, 75, 100, 250, 500, 1000):
    for pfa in (1e-2, 1e-3, 1e-4, 1e-6):
        for snr in (-6, -3, 0, 3, 10):
            thr = chi2.isf(pfa, 2 * tw)
            pd = ncx2.sf(thr, 2 * tw, 2 * tw * 10 ** (snr / 10))
            if 1e-6 < pd < 1 - 1e-12:
                lines.append(f"energy,{tw},{pfa!r},{snr},{float(thr)!r},{float(pd)!r}")
for m, a, b in ((1, 1, 1), (1, 2, 3), (1, 3, 3), (1, 0.5, 4), (2, 1.5, 2.5), (5, 3, 6), (10, 8, 9)):
    lines.append(f"marcum,{m},{a},{b},0,{float(ncx2.sf(b * b, 2 * m, a * a))!r}")
(OUT / "scipy-chi-square.csv").write_text("\n".join(lines) + "\n")
