"""Ambient noise: the four-term formula written out a second time, and its integral over bands.

Needs numpy 2.4.6 and scipy 1.17.1. Writes, beside this folder:
  seawater/numpy-ambient-noise.csv   the four terms and their power sum
  seawater/scipy-noise-bands.csv     band levels by adaptive quadrature (scipy.integrate.quad)
"""

import hashlib
import pathlib

import numpy as np
import scipy
from scipy.integrate import quad

assert np.__version__ == "2.4.6" and scipy.__version__ == "1.17.1"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "seawater"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()


def write(name, about, columns, rows):
    lines = ["# " + line for line in about]
    lines += ["# script: reference/make/" + HERE.name, "# script-sha256: " + SHA, ",".join(columns)]
    lines += [",".join(row) for row in rows]
    (OUT / name).write_text("\n".join(lines) + "\n")


def terms(f, w, s):
    return np.array([
        17 - 30 * np.log10(f),
        40 + 20 * (s - 0.5) + 26 * np.log10(f) - 60 * np.log10(f + 0.03),
        50 + 7.5 * np.sqrt(w) + 20 * np.log10(f) - 40 * np.log10(f + 0.4),
        -15 + 20 * np.log10(f),
    ])


def density(f, w, s):
    return float(np.sum(10 ** (terms(f, w, s) / 10)))


rows = []
for s in (0, 0.5, 1):
    for w in (0, 5, 10, 15):
        for f in (0.01, 0.1, 1, 10, 100):
            values = [*terms(f, w, s), 10 * np.log10(density(f, w, s))]
            rows.append([f"{f * 1000:g}", f"{w}", f"{s}"] + [f"{v:.9f}" for v in values])
write(
    "numpy-ambient-noise.csv",
    [
        "Ambient noise by the four-term formula (after Coates 1990, attribution from memory), written out a second time with numpy 2.4.6.",
        "columns in dB re 1 uPa2/Hz. tolerance: 1e-8 dB, rounding of this file.",
    ],
    ("frequency_hz", "wind_m_s", "shipping", "turbulence_db", "shipping_db", "wind_db", "thermal_db", "total_db"),
    rows,
)

rows = []
for low, high in ((50, 200), (90, 170), (10, 100), (1, 10), (891.251, 1122.018), (2000, 20000), (10, 100000), (100000, 500000)):
    for w, s in ((5, 0.5), (10, 0.5), (10, 1), (7.5, 0.5), (0, 0), (20, 1)):
        power = quad(lambda x: density(np.exp(x) / 1000, w, s) * np.exp(x), np.log(low), np.log(high),
                     epsabs=0, epsrel=1e-12, limit=400)[0]
        rows.append((f"{low}", f"{high}", f"{w}", f"{s}", f"{10 * np.log10(power):.8f}"))
write(
    "scipy-noise-bands.csv",
    [
        "Band level of the four-term ambient noise, integral of the density by scipy.integrate.quad (scipy 1.17.1, epsrel 1e-12).",
        "level in dB re 1 uPa. tolerance: 1e-6 dB, error of the fixed Simpson rule under test.",
    ],
    ("low_hz", "high_hz", "wind_m_s", "shipping", "level_db"),
    rows,
)
