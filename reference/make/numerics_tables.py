"""Interpolation in a table by numpy.interp, linear in x and in ln x.

Needs numpy 2.4.6. Writes numerics/numpy-interp.csv beside this folder.
"""

import hashlib
import pathlib

import numpy as np

assert np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "numerics"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()

X = [10.0, 31.5, 100.0, 630.0, 1000.0, 8000.0, 20000.0]
Y = [96.0, 88.5, 71.25, 60.0, 57.5, 41.0, 47.0]
rows = []
for x in (10, 10.5, 20, 31.5, 50, 99.999, 100, 400, 700, 1000, 1001, 5000, 12500, 19999, 20000):
    linear = np.interp(x, X, Y)
    log = np.interp(np.log(x), np.log(X), Y)
    rows.append(f"{x},{linear:.12f},{log:.12f}")
(OUT / "numpy-interp.csv").write_text("\n".join([
    "# Interpolation by numpy.interp (numpy 2.4.6) in the table x 10 31.5 100 630 1000 8000 20000, y 96 88.5 71.25 60 57.5 41 47 (invented).",
    "# linear: in x. log_x: in ln x. tolerance: 1e-10, rounding of this file and of the logarithms.",
    "# script: reference/make/" + HERE.name,
    "# script-sha256: " + SHA,
    "x,linear,log_x",
] + rows) + "\n")
