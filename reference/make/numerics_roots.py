"""Roots by scipy.optimize.brentq, with its count of function calls.

Needs scipy 1.17.1. Writes numerics/scipy-brentq.csv beside this folder.
"""

import hashlib
import math
import pathlib

import scipy
from scipy.optimize import brentq

assert scipy.__version__ == "1.17.1"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "numerics"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()

CASES = [
    ("cosine-line", lambda x: math.cos(x) - x, 0.0, 1.0),
    ("cubic", lambda x: x**3 - 2 * x - 5, 2.0, 3.0),
    ("exponential", lambda x: math.exp(-x) - 1e-3, 0.0, 20.0),
    ("steep-tanh", lambda x: math.tanh(50 * (x - 0.3)), -4.0, 9.0),
    ("flat-ninth", lambda x: (x - 1.5) ** 9, 0.0, 4.0),
    ("pole-like", lambda x: 1 / (x + 1e-3) - 400, 0.0, 1.0),
    ("spreading-range", lambda x: 15 * math.log10(x) + 0.06e-3 * x - 70, 1.0, 1e6),
]
rows = []
for name, f, a, b in CASES:
    root, result = brentq(f, a, b, xtol=1e-12, rtol=4 * 2.0**-52, full_output=True, maxiter=500)
    rows.append(f"{name},{a!r},{b!r},{root:.17g},{result.function_calls}")
(OUT / "scipy-brentq.csv").write_text("\n".join([
    "# Roots of seven functions by scipy.optimize.brentq (scipy 1.17.1), xtol 1e-12, rtol 4 rounding units; calls counts evaluations of the function.",
    "# tolerance: 2e-12 plus 1e-14 relative: both sides stop within 1e-12 of the change of sign.",
    "# calls: at most twice scipy's plus 4; the variants of the method differ in their details.",
    "# script: reference/make/" + HERE.name,
    "# script-sha256: " + SHA,
    "case,a,b,root,calls",
] + rows) + "\n")
