"""Surface image interference by complex arithmetic, and travel times through a profile by adaptive quadrature.

Needs numpy 2.4.6 and scipy 1.17.1. Writes, beside this folder:
  seawater/numpy-lloyd-mirror.csv   -20 lg |e^(ikR1)/R1 - e^(ikR2)/R2|
  seawater/scipy-travel-time.csv    time along straight slant paths through one profile
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


rows = []
for f, zs, zr, c in ((150, 25, 200, 1500), (1000, 3, 20, 1490), (20, 5, 80, 1480), (12000, 1, 35, 1510)):
    for r in (1.5, 10, 50, 100, 200, 500, 1000, 2000, 5000, 8000, 30000):
        r1, r2 = np.hypot(r, zr - zs), np.hypot(r, zr + zs)
        k = 2 * np.pi * f / c
        p = np.exp(1j * k * r1) / r1 - np.exp(1j * k * r2) / r2
        rows.append((f"{f}", f"{zs}", f"{zr}", f"{r}", f"{c}", f"{-20 * np.log10(abs(p)):.6f}"))
write(
    "numpy-lloyd-mirror.csv",
    [
        "Transmission loss with the image in a pressure-release surface, complex sum of the two paths, numpy 2.4.6.",
        "The first geometry is a textbook exercise (150 Hz, source 25 m, receiver 200 m). tolerance: 1e-4 dB; the plain complex sum loses digits where the paths cancel, hence no tighter.",
    ],
    ("frequency_hz", "source_depth_m", "receiver_depth_m", "horizontal_m", "sound_speed_m_s", "loss_db"),
    rows,
)

DEPTHS = [2.0, 15.0, 30.0, 60.0, 120.0]
TEMPERATURES = [16.4, 15.9, 11.2, 9.6, 9.1]
SALINITIES = [33.1, 33.4, 34.2, 34.6, 34.9]


def speed(d):
    t = np.interp(d, DEPTHS, TEMPERATURES)
    s = np.interp(d, DEPTHS, SALINITIES)
    return (1448.96 + 4.591 * t - 5.304e-2 * t**2 + 2.374e-4 * t**3 + 1.340 * (s - 35) + 1.630e-2 * d
            + 1.675e-7 * d**2 - 1.025e-2 * t * (s - 35) - 7.139e-13 * t * d**3)


rows = []
for one, other, horizontal in ((0, 120, 0), (5, 80, 100), (80, 5, 100), (20, 25, 3000), (1, 400, 750), (50, 50, 1000), (0, 1, 0)):
    if one == other:
        mean = speed(one)
    else:
        low, high = min(one, other), max(one, other)
        cuts = [low] + [d for d in DEPTHS if low < d < high] + [high]
        time = sum(quad(lambda z: 1 / speed(z), a, b, epsabs=0, epsrel=1e-12)[0] for a, b in zip(cuts, cuts[1:]))
        mean = (high - low) / time
    rows.append((f"{one}", f"{other}", f"{horizontal}", f"{mean:.9f}", f"{np.hypot(horizontal, other - one) / mean:.12f}"))
write(
    "scipy-travel-time.csv",
    [
        "Harmonic mean sound speed and straight-path travel time through one profile, Mackenzie 1981 and scipy.integrate.quad (scipy 1.17.1, epsrel 1e-12).",
        "profile (invented): depth m 2 15 30 60 120; temperature degC 16.4 15.9 11.2 9.6 9.1; salinity 33.1 33.4 34.2 34.6 34.9; constant beyond the ends.",
        "tolerance: 1e-6 m/s and 1e-9 relative, error of the fixed Simpson rule under test.",
    ],
    ("one_depth_m", "other_depth_m", "horizontal_m", "harmonic_mean_m_s", "time_s"),
    rows,
)
