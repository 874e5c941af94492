"""A hydrophone that rises with its buoy in an irregular sea.

Python 3.11, scipy==1.17.1, numpy==2.4.6. Run with no arguments to write reference/mooring/scipy-sea.json. Running it again gives the same bytes.

Standard deviations by scipy.integrate.quad over the spectrum (in ln f, from 0.35 of the peak to the larger of 20 times it and 5 times the frequency at which a disc of the buoy's diameter first stands still, in
pieces), the wavenumber by brentq, the Bessel function of scipy.special.

Drawn: eleven days of a Gaussian pressure with that spectrum, from random phases and amplitudes at 16 Hz; the share beyond a full scale is counted.
"""

import hashlib
import json
import math
import pathlib

import numpy as np
import scipy
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import j1

from mooring_lines import rounded

G, RHO = 9.80665, 1025.0

# Hs, Tp, water, buoy diameter, depth, corner, poles.
CASES = [
    (2.0, 10.0, 160.0, 1.2, 30.0, None, None),
    (2.0, 10.0, 160.0, 1.2, 30.0, 10.0, 1),
    (2.0, 10.0, 160.0, 1.2, 30.0, 10.0, 2),
    (3.5, 8.0, 31.0, 0.8, 12.0, 5.0, 2),
]


def spectrum(hs, tp, f):
    ratio = (1.0 / (tp * f)) ** 4
    return 5.0 / 16.0 * hs**2 / f * ratio * math.exp(-1.25 * ratio)


def wave(f, water, z):
    omega = 2.0 * math.pi * f
    k = omega**2 / G
    if k * water < 30.0:
        k = brentq(lambda k: G * k * math.tanh(k * water) - omega**2, 1e-9, max(1e-3, 3 * k + 3 * omega / math.sqrt(G * water)), xtol=1e-16, rtol=1e-14)
    fall, back, bed = math.exp(-k * z), math.exp(-2.0 * k * (water - z)), math.exp(-2.0 * k * water)
    return k, fall * (1.0 + back) / (1.0 + bed)


class Case:
    def __init__(self, row):
        self.hs, self.tp, self.water, self.diameter, self.z, self.corner, self.poles = row
        stands = math.sqrt(G * 3.831705970207512 / (self.diameter / 2)) / (2 * math.pi)
        self.ends = (0.35 / self.tp, max(20.0 / self.tp, 5.0 * stands))

    def gain(self, f):
        return 1.0 if self.corner is None else 1.0 / math.sqrt(1.0 + (self.corner / f) ** (2 * self.poles))

    def total(self, of):
        low, high = (math.log(f) for f in self.ends)
        cuts = np.linspace(low, high, 41)
        return sum(quad(lambda u: spectrum(self.hs, self.tp, math.exp(u)) * math.exp(u) * of(math.exp(u)), a, b, epsabs=0, epsrel=1e-9)[0] for a, b in zip(cuts, cuts[1:]))

    def off(self, f):
        """Square of the pressure as a height, for an amplitude of 1 m."""
        k, pressure = wave(f, self.water, self.z)
        kr = k * self.diameter / 2
        return (pressure - 2.0 * j1(kr) / kr) ** 2

    def heard(self):
        return RHO * G * math.sqrt(self.total(lambda f: self.off(f) * self.gain(f) ** 2))


def drawn(case, sigma, seed):
    draw = np.random.default_rng(seed)
    rate, count = 16.0, 2**24
    f = np.fft.rfftfreq(count, 1 / rate)
    inside = (f >= case.ends[0]) & (f <= min(case.ends[1], rate / 2 * 0.98))
    # The transfer is smooth: taken at 3000 frequencies and joined by straight lines.
    grid = np.exp(np.linspace(math.log(case.ends[0]), math.log(case.ends[1]), 3000))
    density = np.interp(f[inside], grid, [spectrum(case.hs, case.tp, g) * case.off(g) * case.gain(g) ** 2 for g in grid])
    spectrum_of = np.zeros(len(f), dtype=complex)
    size = np.sqrt(density / 2 * f[1])
    spectrum_of[inside] = size * (draw.normal(size=size.size) + 1j * draw.normal(size=size.size))
    x = RHO * G * np.fft.irfft(spectrum_of, count) * count / math.sqrt(2)
    scale = 1.5 * sigma
    beyond = np.abs(x) > scale
    return {"full_scale_pa": scale, "share": float(beyond.mean())}


def main():
    here = pathlib.Path(__file__)
    told = []
    for seed, row in enumerate(CASES):
        case = Case(row)
        heard_pa = case.heard()
        entry = {"significant_m": row[0], "peak_period_s": row[1], "water_m": row[2], "diameter_m": row[3], "depth_m": row[4], "corner_hz": row[5], "poles": row[6],
                 "heard_pa": rounded(heard_pa, 9), "drawn": rounded(drawn(case, heard_pa, seed), 6)}
        told.append(entry)
    document = {
        "provenance": {
            "what": "a hydrophone that rises with its buoy in a sea: standard deviation of its pressure after a high-pass (Pa); drawn: share of time beyond a full scale",
            "library": f"scipy {scipy.__version__}, numpy {np.__version__}",
            "source": "spectrum of Pierson and Moskowitz in the form with significant height and peak period (from memory); equations in the script's header",
            "script": "reference/make/" + here.name,
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "1e-4 of standard deviations: 3000 frequencies; 2 % of what is drawn, eleven days",
        },
        "cases": told,
    }
    (here.parent.parent / "mooring" / "scipy-sea.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
