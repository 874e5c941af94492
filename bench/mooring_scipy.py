"""The line of crates/mooring/benches/hang.rs in SciPy: a float over two bodies in a sheared current.

Place 0: shooting, `solve_ivp` (DOP853) and `brentq`, with tolerances at which the top lies within 1e-4 m. Place 1: `solve_bvp` over the three pieces at once (the
pieces are put side by side on a common parameter), to the same error. Answers every line on standard input, which names the place, with seconds and
the top's x and z, m. Libraries: numpy 2.4.6, scipy 1.17.1.
"""

import math
import os
import sys
import time

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import numpy as np
from scipy.integrate import solve_bvp, solve_ivp
from scipy.optimize import brentq

RHO = 1025.0
DEPTH = 120.0
W, D, EA, CN, CT = 0.9, 0.014, 8e5, 1.2, 0.01
CUTS = [0.0, 40.0, 75.0, 95.0]
BODIES = [(60.0, 0.05), (120.0, 0.08)]
BUOYANCY, FLOAT_AREA = 1200.0, 0.25


def speed(depth):
    return np.interp(depth, [0.0, 40.0, 120.0], [0.9, 0.5, 0.1])


def rate(s, y):
    """d/ds of (x, z, Fx, Fz); y may have many columns."""
    x, z, fx, fz = y
    tension = np.hypot(fx, fz)
    tx, tz = fx / tension, fz / tension
    stretch = 1.0 + tension / EA
    v = speed(DEPTH - z)
    along = v * tx
    vtx, vtz = along * tx, along * tz
    vnx, vnz = v - vtx, -vtz
    across = np.hypot(vnx, vnz)
    k = stretch * 0.5 * RHO * D
    qx = k * (CN * across * vnx + math.pi * CT * np.abs(along) * vtx)
    qz = k * (CN * across * vnz + math.pi * CT * np.abs(along) * vtz) - W
    return np.array([stretch * tx, stretch * tz, -qx, -qz])


def drag(area, z):
    v = speed(DEPTH - z)
    return 0.5 * RHO * area * v * v


def shoot():
    def down(z_top, tolerance):
        y = np.array([0.0, z_top, drag(FLOAT_AREA, z_top), BUOYANCY])
        for piece in (2, 1, 0):
            y = solve_ivp(rate, (CUTS[piece + 1], CUTS[piece]), y, method="DOP853", rtol=tolerance, atol=tolerance).y[:, -1]
            if piece:
                weight, area = BODIES[piece - 1]
                y[2] += drag(area, y[1])
                y[3] -= weight
        return y

    z = brentq(lambda z: down(z, 1e-7)[1], 60.0, 96.0, xtol=1e-6)
    return -down(z, 1e-7)[0], z


def boundary():
    """Three pieces on u from 0 to 1, twelve unknowns."""
    lengths = [CUTS[i + 1] - CUTS[i] for i in range(3)]

    def rates(u, y):
        return np.vstack([lengths[i] * rate(u, y[4 * i : 4 * i + 4]) for i in range(3)])

    def ends(a, b):
        off = [a[0], a[1]]
        for i in (0, 1):
            weight, area = BODIES[i]
            below, above = b[4 * i : 4 * i + 4], a[4 * i + 4 : 4 * i + 8]
            off += [below[0] - above[0], below[1] - above[1], below[2] - above[2] - drag(area, below[1]), below[3] - above[3] + weight]
        top = b[8:12]
        return np.array(off + [top[2] - drag(FLOAT_AREA, top[1]), top[3] - BUOYANCY])

    u = np.linspace(0.0, 1.0, 9)
    guess = np.vstack([np.vstack([0.1 * (CUTS[i] + u * lengths[i]), CUTS[i] + u * lengths[i], np.full(9, 100.0), np.full(9, 1000.0)]) for i in range(3)])
    found = solve_bvp(rates, ends, u, guess, tol=3e-6, max_nodes=5000)
    return found.y[8, -1], found.y[9, -1]


def main():
    print("ready", flush=True)
    for line in sys.stdin:
        start = time.perf_counter()
        x, z = boundary() if int(line) else shoot()
        print(time.perf_counter() - start, x, z, flush=True)


if __name__ == "__main__":
    main()
