"""Sound speed: TEOS-10 over four grids, and the closed-form equations at single points.

Needs gsw 3.6.23 and numpy 2.4.6. Writes, beside this folder:
  seawater/gsw-sound-speed.csv         TEOS-10 at grid points: the independent truth
  seawater/numpy-sound-speed-forms.csv Mackenzie 1981 and Chen & Millero 1977 written out a second time
Absolute salinity is S * 35.16504 / 35 (reference composition, so that no place is needed); pressure from depth at 30 degrees
by gsw.p_from_z.
"""

import hashlib
import pathlib

import gsw
import numpy as np

assert gsw.__version__ == "3.6.23" and np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "seawater"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()


def write(name, about, columns, rows):
    lines = ["# " + line for line in about]
    lines += ["# script: reference/make/" + HERE.name, "# script-sha256: " + SHA, ",".join(columns)]
    lines += [",".join(row) for row in rows]
    (OUT / name).write_text("\n".join(lines) + "\n")


def pressure(depth_m):
    return abs(float(gsw.p_from_z(-depth_m, 30.0)))


def teos10(t, s, p):
    return float(gsw.sound_speed_t_exact(s * 35.16504 / 35.0, t, p))


def mackenzie(t, s, d):
    return (1448.96 + 4.591 * t - 5.304e-2 * t**2 + 2.374e-4 * t**3 + 1.340 * (s - 35) + 1.630e-2 * d
            + 1.675e-7 * d**2 - 1.025e-2 * t * (s - 35) - 7.139e-13 * t * d**3)


def chen_millero(t90, s, p_dbar):
    t, p = 1.00024 * t90, p_dbar / 10.0
    cw = (1402.388 + 5.03711 * t - 5.80852e-2 * t**2 + 3.3420e-4 * t**3 - 1.47800e-6 * t**4 + 3.1464e-9 * t**5
          + (0.153563 + 6.8982e-4 * t - 8.1788e-6 * t**2 + 1.3621e-7 * t**3 - 6.1185e-10 * t**4) * p
          + (3.1260e-5 - 1.7107e-6 * t + 2.5974e-8 * t**2 - 2.5335e-10 * t**3 + 1.0405e-12 * t**4) * p**2
          + (-9.7729e-9 + 3.8504e-10 * t - 2.3643e-12 * t**2) * p**3)
    a = (1.389 - 1.262e-2 * t + 7.164e-5 * t**2 + 2.006e-6 * t**3 - 3.21e-8 * t**4
         + (9.4742e-5 - 1.2580e-5 * t - 6.4885e-8 * t**2 + 1.0507e-8 * t**3 - 2.0122e-10 * t**4) * p
         + (-3.9064e-7 + 9.1041e-9 * t - 1.6002e-10 * t**2 + 7.988e-12 * t**3) * p**2
         + (1.100e-10 + 6.649e-12 * t - 3.389e-13 * t**2) * p**3)
    b = -1.922e-2 - 4.42e-5 * t + (7.3637e-5 + 1.7945e-7 * t) * p
    d = 1.727e-3 - 7.9836e-6 * p
    return cw + a * s + b * s**1.5 + d * s**2


GRIDS = {
    "shelf": (np.linspace(0, 30, 7), np.linspace(30, 40, 5), np.linspace(0, 200, 5)),
    "upper": (np.linspace(0, 25, 6), np.linspace(30, 40, 5), np.linspace(0, 1000, 6)),
    "deep": (np.linspace(0, 6, 5), np.linspace(34, 36, 3), np.linspace(1000, 6000, 6)),
    "brackish": (np.linspace(0, 25, 6), np.linspace(5, 24.9, 5), np.linspace(0, 200, 5)),
    "fresher": (np.linspace(0, 25, 6), np.linspace(25, 30, 5), np.linspace(0, 200, 5)),
    "warm": (np.linspace(30.1, 35, 5), np.linspace(30, 40, 5), np.linspace(0, 100, 3)),
}
rows = []
for name, (temperatures, salinities, depths) in GRIDS.items():
    for t in temperatures:
        for s in salinities:
            for d in depths:
                p = pressure(d)
                rows.append((name, f"{t:.6g}", f"{s:.6g}", f"{d:.6g}", f"{p:.4f}", f"{teos10(t, s, p):.4f}"))
write(
    "gsw-sound-speed.csv",
    [
        "Sound speed of seawater, TEOS-10 (gsw.sound_speed_t_exact), gsw 3.6.23.",
        "temperature ITS-90; salinity practical, as absolute salinity S * 35.16504 / 35; pressure by gsw.p_from_z at latitude 30.",
        "tolerance: none; the file is the truth against which the error of the closed forms is measured, rms and worst by grid.",
    ],
    ("grid", "temperature_degc", "salinity", "depth_m", "pressure_dbar", "teos10_m_s"),
    rows,
)

POINTS = [(0, 35, 0), (10, 35, 100), (25, 35, 10), (8, 35, 500), (4, 35, 1000), (2, 34.7, 5000), (5, 10, 20), (12, 3, 40),
          (18, 22, 5), (1.5, 28, 150), (29, 38.5, 60), (25, 35, 1000)]
rows = []
for t, s, d in POINTS:
    p = pressure(d)
    in_mackenzie = 25 <= s <= 40
    rows.append((f"{t:g}", f"{s:g}", f"{d:g}", f"{p:.6f}", f"{mackenzie(t, s, d):.6f}" if in_mackenzie else "",
                 f"{chen_millero(t, s, float(f'{p:.6f}')):.6f}", f"{teos10(t, s, p):.6f}"))
write(
    "numpy-sound-speed-forms.csv",
    [
        "Sound speed by Mackenzie 1981 and Chen & Millero 1977, the equations written out a second time; TEOS-10 (gsw 3.6.23) beside them.",
        "Mackenzie is empty below salinity 25. pressure by gsw.p_from_z at latitude 30.",
        "tolerance: 1e-5 m/s, rounding of this file and of the arithmetic; a wrong digit in a coefficient shows far above it.",
    ],
    ("temperature_degc", "salinity", "depth_m", "pressure_dbar", "mackenzie_m_s", "chen_millero_m_s", "teos10_m_s"),
    rows,
)
