"""Heave of a hydrophone under a buoy, and strum over a tide.

Python 3.11, scipy==1.17.1, numpy==2.4.6. Run with no arguments to write reference/mooring/scipy-heave.json. Running it again gives the same bytes.

Waves by linear theory, the wavenumber by brentq. What hangs on a spring riser is followed in time (solve_ivp, DOP853) from rest, with drag as the square of its speed
through the water, until it repeats; amplitudes are those of the wave's own frequency, by Fourier sums over the last twelve periods. Beside it the same with the drag that
does the same work: the unknown amplitude by fsolve, the work of |v| v in a cycle by quad.

Strum: a year of two tidal constituents (M2 and S2, 28.9841042 and 30 degrees an hour) is drawn every 20 s over 4 years, counted; single tides at 2,000,000 instants.
"""

import hashlib
import json
import math
import pathlib

import numpy as np
import scipy
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq, fsolve

from mooring_lines import rounded

G = 9.80665
RHO = 1025.0

WAVES = [(2.0, 10.0, 160.0, 30.0), (2.0, 6.0, 160.0, 10.0), (4.0, 12.0, 31.0, 22.0), (1.0, 4.0, 20.0, 5.0), (3.0, 15.0, 800.0, 60.0)]
# Stiffness N/m, mass kg, displaced kg, added kg, drag area m2.
RISERS = [(40000.0, 60.0, 35.0, 25.0, 0.05), (150.0, 45.0, 30.0, 25.0, 0.20), (20.0, 30.0, 25.0, 20.0, 0.5), (400.0, 800.0, 500.0, 400.0, 1.0)]


def linear(height, period, depth, z):
    omega = 2.0 * math.pi / period
    k = brentq(lambda k: G * k * math.tanh(k * depth) - omega**2, 1e-8, 100.0, xtol=1e-16, rtol=1e-15)
    fall, back, bed = math.exp(-k * z), math.exp(-2.0 * k * (depth - z)), math.exp(-2.0 * k * depth)
    return omega, height / 2.0, fall * (1.0 + back) / (1.0 + bed), fall * (1.0 - back) / (1.0 - bed)


def followed(wave, riser):
    omega, a, pressure, up = linear(*wave)
    stiffness, mass, displaced, added, area = riser

    def step(t, state):
        x, v = state
        w_v, w_a = -a * up * omega * math.sin(omega * t), -a * up * omega**2 * math.cos(omega * t)
        through = v - w_v
        force = stiffness * (a * math.cos(omega * t) - x) + (displaced + added) * w_a - 0.5 * RHO * area * abs(through) * through
        return [v, force / (mass + added)]

    period, cycles, each = 2.0 * math.pi / omega, 12, 256
    begin = 80 * period
    times = begin + np.arange(cycles * each) * period / each
    got = solve_ivp(step, (0.0, times[-1]), [a, 0.0], method="DOP853", t_eval=times, rtol=1e-9, atol=1e-11)
    x = got.y[0]
    turn = np.exp(-1j * omega * times)
    moves = 2.0 * np.mean(x * turn)
    return {"moves_m": abs(moves), "pressure_pa": RHO * G * abs(a * pressure - moves), "pull_n": stiffness * abs(a - moves)}


def balanced(wave, riser):
    omega, a, pressure, up = linear(*wave)
    stiffness, mass, displaced, added, area = riser
    w = a * up
    # The linear drag c that does in a cycle the work of 0.5 rho S |v| v, v of amplitude 1.
    work = quad(lambda t: abs(math.cos(t)) * math.cos(t) ** 2, 0.0, 2.0 * math.pi, points=[math.pi / 2, 1.5 * math.pi])[0] / math.pi

    def off(parts):
        x = complex(parts[0], parts[1])
        through = x - w
        c = 0.5 * RHO * area * work * omega * abs(through)
        left = -(omega**2) * (mass + added) * x + 1j * omega * c * through + stiffness * (x - a) + omega**2 * (displaced + added) * w
        return [left.real / (stiffness + mass), left.imag / (stiffness + mass)]

    found = fsolve(off, [w + 0.3 * (a - w), -0.1 * a], xtol=1e-13)
    assert max(abs(v) for v in off(found)) < 1e-10
    x = complex(*found)
    return {"moves_m": abs(x), "pressure_pa": RHO * G * abs(a * pressure - x), "pull_n": stiffness * abs(a - x)}


def heaves():
    told = []
    for wave in WAVES:
        omega, a, pressure, _ = linear(*wave)
        stiff = RHO * G * a * (1.0 - pressure)
        for riser in RISERS:
            told.append({"height_m": wave[0], "period_s": wave[1], "water_m": wave[2], "depth_m": wave[3], "stiff_pa": stiff,
                         "stiffness_n_m": riser[0], "mass_kg": riser[1], "displaced_kg": riser[2], "added_mass_kg": riser[3], "drag_area_m2": riser[4],
                         "balanced": rounded(balanced(wave, riser), 9), "followed": rounded(followed(wave, riser), 5)})
    return told


def gains():
    told = []
    for corner, poles in [(10.0, 1), (10.0, 2), (5.0, 4), (0.5, 3)]:
        b, a = scipy.signal.butter(poles, 2.0 * math.pi * corner, "highpass", analog=True)
        for f in (0.05, 0.1, 0.25, 1.0, 10.0, 40.0):
            _, h = scipy.signal.freqs(b, a, [2.0 * math.pi * f])
            told.append([corner, poles, f, float(abs(h[0]))])
    return told


ROPES = [(0.012, 1.3e-6, 15.0, 30.0), (0.020, 1.3e-6, 10.0, 20.0), (0.006, 1.4e-6, 20.0, 200.0), (0.030, 1.2e-6, 0.0, 3.0)]
TIDES = [(1.2, 0.6, 0.0), (0.8, 0.5, 0.1), (0.5, 0.2, -0.3), (2.5, 1.0, 0.2)]


def counted(speeds, rope):
    diameter, viscosity, low, high = rope
    speeds = np.abs(speeds)
    reynolds = speeds * diameter / viscosity
    said = (reynolds >= 300.0) & (reynolds <= 2e5)
    f = 0.2 * speeds / diameter
    one = said & (f >= low) & (f <= high)
    two = said & (2 * f >= low) & (2 * f <= high)
    return {"vortices": float(one.mean()), "doubled": float(two.mean()), "either": float((one | two).mean()), "unsaid": float((~said).mean())}


def strums():
    told = []
    hours = np.arange(0.0, 4 * 365.25 * 24, 20.0 / 3600.0)
    one = (np.arange(2_000_000) + 0.5) / 2_000_000 * 2.0 * math.pi
    for spring, neap, steady in TIDES:
        first, second = (spring + neap) / 2, (spring - neap) / 2
        fortnights = steady + first * np.cos(np.radians(28.9841042) * hours) + second * np.cos(np.radians(30.0) * hours)
        tide = steady + spring * np.cos(one)
        for rope in ROPES:
            told.append({"spring_m_s": spring, "neap_m_s": neap, "steady_m_s": steady, "diameter_m": rope[0], "viscosity_m2_s": rope[1], "low_hz": rope[2],
                         "high_hz": rope[3], "tide": counted(tide, rope), "fortnight": counted(fortnights, rope)})
    return told


def main():
    here = pathlib.Path(__file__)
    document = {
        "provenance": {
            "what": "a hydrophone under a heaving buoy: amplitudes of its way (m), its pressure (Pa) and the pull of its riser (N) on a stiff riser and on springs; gains of high-passes "
                    "[corner Hz, poles, Hz, gain]; shares of time with a rope's vortices in a band",
            "library": f"scipy {scipy.__version__}, numpy {np.__version__}",
            "source": "equations in the script's header: linear waves, Morison's force on a body that moves (from memory); scipy.signal.butter",
            "script": "reference/make/" + here.name,
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "1e-7 of what is balanced; 5 % of what is followed with the drag as a square, whose higher harmonics the balance leaves out; 1e-9 of gains; "
                         "1e-5 of the time in a tide, 1e-3 in a fortnight: four years are not for ever",
        },
        "heaves": rounded(heaves(), 9),
        "gains": rounded(gains(), 12),
        "strums": rounded(strums(), 6),
    }
    (here.parent.parent / "mooring" / "scipy-heave.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
