"""Waves on a hydrophone that rises with its buoy, gains of high-passes, and strum over a tide.

Python 3.11, scipy==1.17.1, numpy==2.4.6. Run with no arguments to write reference/mooring/scipy-heave.json. Running it again gives the same bytes.

Waves by linear theory, the wavenumber by brentq; a hydrophone on a stiff riser reads rho g a (1 - K).

Strum: a year of two tidal constituents (M2 and S2, 28.9841042 and 30 degrees an hour) is drawn every 20 s over 4 years, counted; single tides at 2,000,000 instants.
"""

import hashlib
import json
import math
import pathlib

import numpy as np
import scipy
from scipy.optimize import brentq

from mooring_lines import rounded

G = 9.80665
RHO = 1025.0

WAVES = [(2.0, 10.0, 160.0, 30.0), (2.0, 6.0, 160.0, 10.0), (4.0, 12.0, 31.0, 22.0), (1.0, 4.0, 20.0, 5.0), (3.0, 15.0, 800.0, 60.0)]


def stiff():
    told = []
    for height, period, depth, z in WAVES:
        omega = 2.0 * math.pi / period
        k = brentq(lambda k: G * k * math.tanh(k * depth) - omega**2, 1e-8, 100.0, xtol=1e-16, rtol=1e-15)
        pressure = math.exp(-k * z) * (1.0 + math.exp(-2.0 * k * (depth - z))) / (1.0 + math.exp(-2.0 * k * depth))
        told.append({"height_m": height, "period_s": period, "water_m": depth, "depth_m": z, "stiff_pa": RHO * G * height / 2.0 * (1.0 - pressure)})
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
            "what": "amplitude of the pressure (Pa) at a hydrophone that rises with its buoy; gains of high-passes "
                    "[corner Hz, poles, Hz, gain]; shares of time with a rope's vortices in a band",
            "library": f"scipy {scipy.__version__}, numpy {np.__version__}",
            "source": "equations in the script's header: linear waves; scipy.signal.butter",
            "script": "reference/make/" + here.name,
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "1e-7 of pressures; 1e-9 of gains; "
                         "1e-5 of the time in a tide, 1e-3 in a fortnight: four years are not for ever",
        },
        "stiff": rounded(stiff(), 9),
        "gains": rounded(gains(), 12),
        "strums": rounded(strums(), 6),
    }
    (here.parent.parent / "mooring" / "scipy-heave.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
