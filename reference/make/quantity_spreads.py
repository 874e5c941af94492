"""Values of figures without a unit that are written with a spread -> reference/quantity/scipy-spreads.csv

Python 3.11 or later; scipy 1.17.1.
"""
import hashlib
import pathlib

import scipy
from scipy.stats import norm, uniform

HERE = pathlib.Path(__file__)
FILE = HERE.parents[1] / "quantity" / "scipy-spreads.csv"
# Key, its text, middle, half width in its own unit, law: read by eye from the text.
WRITTEN = [
    ("salinity", "34 ± 0.5", 34.0, 0.5, "normal"),
    ("salinity", "34 +/- 0.5", 34.0, 0.5, "normal"),
    ("salinity", "34 ± 3 %", 34.0, 1.02, "normal"),
    ("salinity", "34 ± 3 % of the value uniform", 34.0, 1.02, "uniform"),
    ("normal_drag", "1.2 ± 0.1", 1.2, 0.1, "normal"),
    ("normal_drag", "1.2 ± 0.1 uniform", 1.2, 0.1, "uniform"),
    ("normal_drag", "1.2 ± 5 %", 1.2, 0.06, "normal"),
    ("tangential_drag", "2e-3 ± 1e-3", 2e-3, 1e-3, "normal"),
    ("efficiency", "0.88 ± 0.03", 0.88, 0.03, "normal"),
    ("efficiency", "0.88 ± 3 points", 0.88, 0.03, "normal"),
    ("efficiency", "88 % ± 3 points uniform", 0.88, 0.03, "uniform"),
    ("efficiency", "0.88 ± 3 % of the value", 0.88, 0.0264, "normal"),
]
rows = []
for key, text, middle, half_width, law in WRITTEN:
    for share in (0.025, 0.25, 0.5, 0.9, 0.975):
        # A normal half width is two standard deviations.
        drawn = norm(middle, half_width / 2) if law == "normal" else uniform(middle - half_width, 2 * half_width)
        rows.append((key, text, share, float(drawn.ppf(share))))
lines = [
    "# What a figure without a unit that is written with a spread is at a share of its law.",
    f"# source: scipy {scipy.__version__}, scipy.stats (norm.ppf with half the half width as standard deviation, uniform.ppf)",
    "# script: reference/make/quantity_spreads.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: 1e-12 of the value, the arithmetic of both",
    "key,text,share,value",
]
lines += [",".join(str(value) for value in row) for row in rows]
FILE.write_text("\n".join(lines) + "\n")
