"""One-sided upper limits of rare events in many trials -> reference/chance/mpmath-limits.csv

Python 3.11 or later; mpmath 1.3 or later (40 digits, so that its version does not matter to the 17 written).
scipy.stats loses digits here: for 2 of 1e8 its inverse is off by 8e-10 of the limit.
"""
import hashlib
import pathlib

from mpmath import binomial, mp, mpf

HERE = pathlib.Path(__file__)
TARGET = HERE.parents[1] / "chance" / "mpmath-limits.csv"
mp.dps = 40
lines = [
    "# One-sided upper limits: the share at which at most `count` of `of` have the probability 1 - confidence.",
    "# source: mpmath, 40 digits, root of the sum of binomial terms",
    "# script: reference/make/chance_extremes.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: 1e-13 of the limit, the rounding of some hundred operations",
    "count,of,confidence,high",
]
for k, n in [(0, 10**10), (1, 10**9), (2, 10**8), (5, 10**10), (12, 10**6), (3, 50)]:
    for confidence in (0.5, 0.95, 0.999):
        side = mpf(1.0 - confidence)

        low, high = mpf(0), mpf(1)
        while high - low > low * mpf(10) ** -25:
            middle = (low + high) / 2
            at_most = sum(binomial(n, j) * middle**j * (1 - middle) ** (n - j) for j in range(k + 1))
            low, high = (middle, high) if at_most > side else (low, middle)
        lines.append(f"{k},{n},{confidence},{float(low)!r}")
TARGET.write_text("\n".join(lines) + "\n")
