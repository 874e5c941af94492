"""Absorption by Francois & Garrison 1982 and Ainslie & McColm 1998, written out a second time.

Needs numpy 2.4.6. Writes seawater/numpy-absorption.csv beside this folder. Coefficients of both are from memory.
"""

import hashlib
import pathlib

import numpy as np

assert np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "seawater"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()


def francois_garrison(f, t, s, d, ph):
    c = 1412 + 3.21 * t + 1.19 * s + 0.0167 * d
    theta = 273 + t
    f1 = 2.8 * np.sqrt(s / 35) * 10 ** (4 - 1245 / theta)
    f2 = 8.17 * 10 ** (8 - 1990 / theta) / (1 + 0.0018 * (s - 35))
    boric = 8.86 / c * 10 ** (0.78 * ph - 5) * f1 * f**2 / (f**2 + f1**2)
    p2 = 1 - 1.37e-4 * d + 6.2e-9 * d**2
    sulphate = 21.44 * s / c * (1 + 0.025 * t) * p2 * f2 * f**2 / (f**2 + f2**2)
    if t <= 20:
        a3 = 4.937e-4 - 2.59e-5 * t + 9.11e-7 * t**2 - 1.50e-8 * t**3
    else:
        a3 = 3.964e-4 - 1.146e-5 * t + 1.45e-7 * t**2 - 6.5e-10 * t**3
    return boric, sulphate, a3 * (1 - 3.83e-5 * d + 4.9e-10 * d**2) * f**2


def ainslie_mccolm(f, t, s, d, ph):
    z = d / 1000
    f1 = 0.78 * np.sqrt(s / 35) * np.exp(t / 26)
    f2 = 42 * np.exp(t / 17)
    return (0.106 * f1 * f**2 / (f1**2 + f**2) * np.exp((ph - 8) / 0.56)
            + 0.52 * (1 + t / 43) * (s / 35) * f2 * f**2 / (f2**2 + f**2) * np.exp(-z / 6)
            + 0.00049 * f**2 * np.exp(-(t / 27 + z / 17)))


SEAS = [(10, 35, 0, 8.0), (4, 35, 1000, 7.7), (20, 35, 0, 8.1), (25, 36, 30, 8.2), (-1, 33, 200, 8.0), (10, 8, 20, 8.0)]
rows = []
for f in (0.1, 0.5, 1, 10, 38, 100, 130, 500):
    for t, s, d, ph in SEAS:
        boric, sulphate, water = francois_garrison(f, t, s, d, ph)
        rows.append([f"{f * 1000:g}", f"{t}", f"{s}", f"{d}", f"{ph}"]
                    + [f"{v:.9e}" for v in (boric, sulphate, water, ainslie_mccolm(f, t, s, d, ph))])
(OUT / "numpy-absorption.csv").write_text("\n".join([
    "# Absorption by Francois & Garrison 1982 (three parts) and Ainslie & McColm 1998, the equations written out a second time with numpy 2.4.6.",
    "# The coefficients of both are from memory; this holds the arithmetic, not the sea.",
    "# tolerance: 1e-8 relative, rounding of this file.",
    "# script: reference/make/" + HERE.name,
    "# script-sha256: " + SHA,
    "frequency_hz,temperature_degc,salinity,depth_m,ph,boric_acid_db_per_km,magnesium_sulphate_db_per_km,water_db_per_km,ainslie_mccolm_db_per_km",
] + [",".join(row) for row in rows]) + "\n")
