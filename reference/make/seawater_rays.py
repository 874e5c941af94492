"""Rays by integrating the ray equations, and all paths of a shallow site by shooting.

Needs numpy 2.4.6 and scipy 1.17.1. Writes, beside this folder:
  seawater/scipy-ray-arcs.csv    turning points of rays in a constant gradient
  seawater/scipy-ray-level.csv   a ray launched level where speed falls with depth
  seawater/numpy-munk-speeds.csv speeds of Munk's profile
  seawater/scipy-ray-munk.csv    rays through Munk's profile (Munk 1974, J. Acoust. Soc. Am. 55, 220; usual constants, from memory)
  seawater/scipy-ray-paths.csv   paths between two depths of an invented shallow site, with surface and bed
"""

import hashlib
import pathlib

import numpy as np
import scipy
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

assert np.__version__ == "2.4.6" and scipy.__version__ == "1.17.1"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "seawater"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()


def write(name, about, columns, rows):
    lines = ["# " + line for line in about]
    lines += ["# script: reference/make/" + HERE.name, "# script-sha256: " + SHA, ",".join(columns)]
    lines += [",".join(row) for row in rows]
    (OUT / name).write_text("\n".join(lines) + "\n")


def along(c, slope):
    """Ray equations over path length: range, depth, angle (down positive), time."""
    return lambda _s, y: (np.cos(y[2]), np.sin(y[2]), -np.cos(y[2]) * slope(y[1]) / c(y[1]), 1 / c(y[1]))


rows = []
for c0, g, deg in ((1500, 0.016, 5), (1500, 0.016, 10), (1480, 0.017, 3), (1500, 0.05, 15)):
    level = lambda _s, y: y[2]
    level.terminal = True
    y = solve_ivp(along(lambda z: c0 + g * z, lambda _z: g), (0, 1e6), (0, 0, np.radians(deg), 0), "DOP853",
                  rtol=1e-13, atol=1e-12, events=level).y[:, -1]
    rows.append((f"{c0}", f"{g}", f"{deg}", f"{y[1]:.6f}", f"{y[0]:.5f}", f"{y[3]:.9f}"))
write(
    "scipy-ray-arcs.csv",
    [
        "From launch downward to the turning point in a constant gradient: ray equations by solve_ivp DOP853 (scipy 1.17.1, rtol 1e-13).",
        "tolerance: 1e-6 relative, what an exact arc must keep; the integration itself is good to 1e-9.",
    ],
    ("speed_m_s", "gradient_per_s", "launch_deg", "turning_m", "range_m", "time_s"),
    rows,
)

rows = []
for c0, g, reach in ((1520, -0.05, 2000.0), (1480, -0.02, 3000.0)):
    there = lambda _s, y: y[0] - reach
    there.terminal = True
    y = solve_ivp(along(lambda z: c0 + g * z, lambda _z: g), (0, 1e6), (0, 0, 0, 0), "DOP853", rtol=1e-13, atol=1e-12, events=there).y[:, -1]
    radius = c0 / abs(g)
    assert abs(y[1] / (radius - np.sqrt(radius**2 - reach**2)) - 1) < 1e-9
    rows.append((f"{c0}", f"{g}", f"{reach:.0f}", f"{y[1]:.6f}", f"{y[3]:.9f}"))
write(
    "scipy-ray-level.csv",
    [
        "Depth gained and time of a ray launched level in a constant gradient, speed falling with depth: ray equations by solve_ivp DOP853 (scipy 1.17.1, rtol 1e-13).",
        "tolerance: 1e-6 relative, what an exact arc must keep; the integration itself is good to 1e-9, and is held to the circle here.",
    ],
    ("speed_m_s", "gradient_per_s", "range_m", "gained_m", "time_s"),
    rows,
)

EPS, AXIS, SCALE = 0.00737, 1300.0, 1300.0


def munk(z):
    eta = 2 * (z - AXIS) / SCALE
    return 1500 * (1 + EPS * (eta - 1 + np.exp(-eta)))


write(
    "numpy-munk-speeds.csv",
    [
        "Speeds of Munk's profile (Munk 1974; axis and scale 1300 m, 1500 m/s, 0.00737, the usual set, from memory), evaluated with numpy 2.4.6.",
        "tolerance: 5e-5 m/s, half of the last digit.",
    ],
    ("depth_m", "speed_m_s"),
    [(f"{z}", f"{munk(z):.4f}") for z in (0, 100, 500, 1000, 1300, 2000, 3000, 4000, 5000)],
)


def munk_slope(z):
    return 1500 * EPS * 2 / SCALE * (1 - np.exp(-2 * (z - AXIS) / SCALE))


rows = []
for depth, deg in ((1000, 5), (1000, -5), (1000, 10), (1000, -10), (1000, 12), (1300, 8)):
    def over_range(_r, y):
        z, th, _t = y
        return np.tan(th), -munk_slope(z) / munk(z), 1 / (munk(z) * np.cos(th))

    level = lambda _r, y: y[1]
    run = solve_ivp(over_range, (0, 100e3), (depth, np.radians(deg), 0), "DOP853", rtol=1e-12, atol=1e-12,
                    t_eval=(50e3, 100e3), events=level)
    turns = run.y_events[0][:, 0]
    first = run.t_events[0]
    cycle = first[2] - first[0]
    cycle_time = run.y_events[0][2, 2] - run.y_events[0][0, 2]
    rows.append((f"{depth}", f"{deg}", *(f"{v:.6f}" for v in (run.y[0, 0], run.y[0, 1])), f"{np.degrees(run.y[1, 1]):.7f}",
                 f"{run.y[2, 0]:.9f}", f"{run.y[2, 1]:.9f}", f"{turns.min():.4f}", f"{turns.max():.4f}", f"{cycle:.4f}",
                 f"{cycle_time:.9f}"))
write(
    "scipy-ray-munk.csv",
    [
        "Rays through Munk's profile (axis and scale 1300 m, 1500 m/s, 0.00737) at 50 and 100 km: solve_ivp DOP853 over range (scipy 1.17.1, rtol 1e-12).",
        "tolerance: 5 m and 1 ms, for layers of constant gradient stand in for the smooth profile.",
    ],
    ("depth_m", "launch_deg", "depth_50km_m", "depth_100km_m", "angle_100km_deg", "time_50km_s", "time_100km_s",
     "shallowest_m", "deepest_m", "cycle_m", "cycle_s"),
    rows,
)

# An invented shallow site: a mixed layer, a thermocline, a weak rise to the bed.
KNOTS = np.array([0.0, 15.0, 30.0, 60.0, 90.0])
SPEEDS = np.array([1508.0, 1508.2, 1492.0, 1490.5, 1491.2])


def shoot(depth, angle, reach):
    """Layer by layer to the range, off surface and bed; depth, angle, time, bounces of each."""
    x, z, th, t, surface, bed = 0.0, depth, angle, 0.0, 0, 0
    down = th > 0
    while True:
        if z <= 0.0 and not down:
            z, th, down, surface = 0.0, -th, True, surface + 1
        if z >= KNOTS[-1] and down:
            z, th, down, bed = KNOTS[-1], -th, False, bed + 1
        i = np.searchsorted(KNOTS, z, side="right" if down else "left") - 1
        i = min(max(i, 0), len(KNOTS) - 2)
        g = (SPEEDS[i + 1] - SPEEDS[i]) / (KNOTS[i + 1] - KNOTS[i])
        c = lambda q: SPEEDS[i] + g * (q - KNOTS[i])
        ends = [lambda _s, y: y[1] - KNOTS[i], lambda _s, y: y[1] - KNOTS[i + 1], lambda _s, y: y[0] - reach]
        ends[0].direction, ends[1].direction, ends[2].direction = -1, 1, 1
        for e in ends:
            e.terminal = True
        run = solve_ivp(along(c, lambda _q: g), (0, 1e5), (x, z, th, t), "DOP853", rtol=1e-12, atol=1e-11, events=ends)
        x, z, th, t = run.y[:, -1]
        if len(run.t_events[2]):
            return z, th, t, surface, bed
        z = KNOTS[i] if len(run.t_events[0]) else KNOTS[i + 1]
        down = th > 0


rows = []
for source, receiver, reach in ((8.0, 70.0, 900.0), (40.0, 22.0, 1500.0)):
    fan = np.radians(np.linspace(-33.0, 33.0, 529) + 0.0123)
    at = [shoot(source, a, reach) for a in fan]
    for k in range(len(fan) - 1):
        a, b = at[k], at[k + 1]
        if a[3:] != b[3:] or (a[0] - receiver) * (b[0] - receiver) > 0:
            continue
        root = brentq(lambda q: shoot(source, q, reach)[0] - receiver, fan[k], fan[k + 1], xtol=1e-14)
        z, th, t, surface, bed = shoot(source, root, reach)
        if abs(z - receiver) > 1e-5 or bed > 3:
            continue
        gaps = [(shoot(source, root + h, reach)[0] - shoot(source, root - h, reach)[0]) / (2 * h) for h in (1e-6, 5e-7)]
        gap = gaps[0] if abs(gaps[1] / gaps[0] - 1) < 1e-3 else np.nan
        speed = np.interp([source, receiver], KNOTS, SPEEDS)
        power = speed[1] / speed[0] * np.cos(root) / (reach * abs(gap) * np.cos(th))
        rows.append((f"{source}", f"{receiver}", f"{reach}", f"{np.degrees(root):.6f}", f"{np.degrees(th):.6f}", f"{t:.9f}",
                     f"{-10 * np.log10(power):.4f}", f"{surface}", f"{bed}"))
write(
    "scipy-ray-paths.csv",
    [
        "Paths of an invented site (depth m 0 15 30 60 90; speed m/s 1508 1508.2 1492 1490.5 1491.2) by shooting 529 rays within 33 degrees,",
        "layer by layer with solve_ivp DOP853, brentq on the depth at the range (scipy 1.17.1); loss of the ray tube from the difference of two neighbours.",
        "At most 3 bounces from the bed. tolerance: 1e-5 degrees, 1e-8 s, 0.01 dB (the difference of neighbours); nan where a ray grazes a boundary so nearly that its neighbours go elsewhere.",
    ],
    ("source_m", "receiver_m", "range_m", "launch_deg", "arrival_deg", "time_s", "spreading_db", "surface", "bed"),
    rows,
)
