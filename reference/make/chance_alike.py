"""Some of n trials that are alike -> reference/chance/scipy-alike.csv

Python 3.11 or later; scipy 1.17.1. The chance of the trials is one draw of a beta law of mean p, of whose trials any two are correlated by rho: a = p (1 - rho) / rho, b = (1 - p) (1 - rho) / rho
(scipy.stats.betabinom; scipy.stats.binom at rho = 0).
"""
import hashlib
import pathlib

import scipy
from scipy.stats import betabinom, binom

HERE = pathlib.Path(__file__)
rows = []
for each in (0.01, 0.2, 0.5, 0.9):
    for count in (1, 2, 5, 20, 200):
        for common in (0.0, 0.05, 0.3, 0.8):
            if common == 0.0:
                some = binom.sf(0, count, each)
            else:
                odds = (1.0 - common) / common
                some = betabinom.sf(0, count, each * odds, (1.0 - each) * odds)
            rows.append((each, count, common, f"{some:.12g}"))
lines = [
    "# chance that some of n trials succeeds, each with a chance, of whose variance a share is common",
    f"# source: scipy {scipy.__version__}, scipy.stats.betabinom and scipy.stats.binom",
    "# script: reference/make/chance_alike.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: 1e-9: scipy takes differences of logarithms of beta functions",
    "each,count,common,some",
]
lines += [",".join(str(value) for value in row) for row in rows]
(HERE.parents[1] / "chance" / "scipy-alike.csv").write_text("\n".join(lines) + "\n")
