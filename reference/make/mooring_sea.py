"""Heave of a hydrophone in an irregular sea.

Python 3.11, scipy==1.17.1, numpy==2.4.6. Run with no arguments to write reference/mooring/scipy-sea.json. Running it again gives the same bytes.

Standard deviations by scipy.integrate.quad over the spectrum (in ln f, from 0.35 of the peak to the larger of 20 times it and 5 times the frequency at which a disc of the buoy's diameter first stands still, in
pieces), the wavenumber by brentq, the Bessel function of scipy.special, the drag that errs least in the mean square by brentq on its own condition, sigma_v = sigma_v(c(sigma_v)).

Drawn: eleven days of a Gaussian pressure with that spectrum, from random phases and amplitudes at 16 Hz; the share beyond a full scale and the crossings are counted.

Followed: 48 seas of 24 minutes each from random phases, the body on its riser followed with drag as the square of its speed through the water (Runge-Kutta, 0.05 s), the first four minutes left out.
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

# Hs, Tp, water, buoy diameter, depth, corner, poles, riser (stiffness, mass, displaced, added, drag area) or None.
CASES = [
    (2.0, 10.0, 160.0, 1.2, 30.0, None, None, None),
    (2.0, 10.0, 160.0, 1.2, 30.0, 10.0, 1, None),
    (2.0, 10.0, 160.0, 1.2, 30.0, 10.0, 2, None),
    (3.5, 8.0, 31.0, 0.8, 12.0, 5.0, 2, None),
    (2.0, 9.0, 160.0, 1.2, 40.0, 10.0, 2, (150.0, 45.0, 30.0, 25.0, 0.20)),
    (1.2, 6.0, 60.0, 0.9, 15.0, 5.0, 1, (60.0, 40.0, 25.0, 20.0, 0.35)),
    (3.0, 11.0, 160.0, 1.5, 30.0, None, None, (20000.0, 80.0, 50.0, 40.0, 0.10)),
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
    return omega, k, fall * (1.0 + back) / (1.0 + bed), fall * (1.0 - back) / (1.0 - bed)


class Case:
    def __init__(self, row):
        self.hs, self.tp, self.water, self.diameter, self.z, self.corner, self.poles, self.riser = row
        stands = math.sqrt(G * 3.831705970207512 / (self.diameter / 2)) / (2 * math.pi)
        self.ends = (0.35 / self.tp, max(20.0 / self.tp, 5.0 * stands))
        self.c = 0.0
        if self.riser:
            each = 0.5 * RHO * self.riser[4] * math.sqrt(8.0 / math.pi)

            def off(sigma):
                self.c = each * sigma
                return math.sqrt(self.total(lambda f: (2 * math.pi * f) ** 2 * abs(self.parts(f)[0] - self.parts(f)[2]) ** 2)) - sigma

            self.c = each * brentq(off, 1e-4, 20.0, xtol=1e-11)

    def parts(self, f):
        """Way of the hydrophone, of the buoy, of the water, pressure as a height; for an amplitude of 1 m."""
        omega, k, pressure, up = wave(f, self.water, self.z)
        kr = k * self.diameter / 2
        buoy = 2.0 * j1(kr) / kr
        if not self.riser:
            return buoy, buoy, up, pressure
        stiffness, mass, displaced, added, _ = self.riser
        # (m + A) x'' + c (x' - w') + s x = s b + (D + A) w''
        x = (stiffness * buoy - omega**2 * (displaced + added) * up + 1j * omega * self.c * up) / (stiffness - omega**2 * (mass + added) + 1j * omega * self.c)
        return x, buoy, up, pressure

    def gain(self, f):
        return 1.0 if self.corner is None else 1.0 / math.sqrt(1.0 + (self.corner / f) ** (2 * self.poles))

    def total(self, of):
        low, high = (math.log(f) for f in self.ends)
        cuts = np.linspace(low, high, 41)
        return sum(quad(lambda u: spectrum(self.hs, self.tp, math.exp(u)) * math.exp(u) * of(math.exp(u)), a, b, epsabs=0, epsrel=1e-9)[0] for a, b in zip(cuts, cuts[1:]))

    def off(self, f):
        x, _, _, pressure = self.parts(f)
        return abs(pressure - x) ** 2

    def sigmas(self):
        stiffness = self.riser[0] if self.riser else 0.0
        heard = self.total(lambda f: self.off(f) * self.gain(f) ** 2)
        fast = self.total(lambda f: self.off(f) * self.gain(f) ** 2 * f * f)
        return {
            "moves_m": math.sqrt(self.total(lambda f: abs(self.parts(f)[0]) ** 2)), "pressure_pa": RHO * G * math.sqrt(self.total(self.off)),
            "heard_pa": RHO * G * math.sqrt(heard), "heard_hz": math.sqrt(fast / heard),
            "pull_n": stiffness * math.sqrt(self.total(lambda f: abs(self.parts(f)[1] - self.parts(f)[0]) ** 2)),
        }


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
    crossings = int(((~beyond[:-1]) & beyond[1:]).sum())
    return {"full_scale_pa": scale, "share": float(beyond.mean()), "an_hour": crossings / (count / rate / 3600.0)}


def followed(case, seed):
    draw = np.random.default_rng(seed)
    stiffness, mass, displaced, added, area = case.riser
    count, seas, dt = 240, 48, 0.05
    # Bins of equal width in ln f, frequencies drawn inside each so that nothing repeats.
    edges = np.linspace(math.log(case.ends[0]), math.log(min(case.ends[1], 1.2)), count + 1)
    u = edges[:-1] + draw.random((seas, count)) * (edges[1] - edges[0])
    f = np.exp(u)
    amplitude = np.empty_like(f)
    buoy, up, pressure = np.empty_like(f), np.empty_like(f), np.empty_like(f)
    for index in np.ndindex(f.shape):
        amplitude[index] = math.sqrt(2 * spectrum(case.hs, case.tp, f[index]) * f[index] * (edges[1] - edges[0]))
        _, k, pressure[index], up[index] = wave(f[index], case.water, case.z)
        kr = k * case.diameter / 2
        buoy[index] = 2 * j1(kr) / kr
    amplitude *= np.sqrt(-np.log(draw.random((seas, count))))
    phase, omega = draw.random((seas, count)) * 2 * math.pi, 2 * math.pi * f

    def water(t):
        turn = omega * t + phase
        c, s = amplitude * np.cos(turn), amplitude * np.sin(turn)
        return (c * buoy).sum(1), -(s * up * omega).sum(1), -(c * up * omega**2).sum(1), (c * pressure).sum(1)

    def slope(x, v, at):
        b, w_v, w_a, _ = at
        through = v - w_v
        return v, (stiffness * (b - x) + (displaced + added) * w_a - 0.5 * RHO * area * np.abs(through) * through) / (mass + added)

    x, v, sums, taken = np.zeros(seas), np.zeros(seas), np.zeros(3), 0
    now = water(0.0)
    for step in range(int(24 * 60 / dt)):
        t = step * dt
        middle, end = water(t + dt / 2), water(t + dt)
        a1 = slope(x, v, now)
        a2 = slope(x + dt / 2 * a1[0], v + dt / 2 * a1[1], middle)
        a3 = slope(x + dt / 2 * a2[0], v + dt / 2 * a2[1], middle)
        a4 = slope(x + dt * a3[0], v + dt * a3[1], end)
        x = x + dt / 6 * (a1[0] + 2 * a2[0] + 2 * a3[0] + a4[0])
        v = v + dt / 6 * (a1[1] + 2 * a2[1] + 2 * a3[1] + a4[1])
        now = end
        if t >= 240.0:
            sums += [(x**2).mean(), ((now[3] - x) ** 2).mean(), ((now[0] - x) ** 2).mean()]
            taken += 1
    rms = np.sqrt(sums / taken)
    return {"moves_m": float(rms[0]), "pressure_pa": float(RHO * G * rms[1]), "pull_n": float(stiffness * rms[2])}


def main():
    here = pathlib.Path(__file__)
    told = []
    for seed, row in enumerate(CASES):
        case = Case(row)
        sigmas = case.sigmas()
        entry = {"significant_m": row[0], "peak_period_s": row[1], "water_m": row[2], "diameter_m": row[3], "depth_m": row[4], "corner_hz": row[5], "poles": row[6],
                 "riser": list(row[7]) if row[7] else None, "sigmas": rounded(sigmas, 9), "drawn": rounded(drawn(case, sigmas["heard_pa"], seed), 6), "followed": None}
        if row[7] and row[7][0] < 1000.0:
            entry["followed"] = rounded(followed(case, seed), 5)
        told.append(entry)
    document = {
        "provenance": {
            "what": "a hydrophone under a buoy in a sea: standard deviations of its way (m), pressure and pressure after a high-pass (Pa), pull (N), mean frequency (Hz); drawn: share of time beyond a full "
                    "scale and crossings an hour; followed: standard deviations with squared drag",
            "library": f"scipy {scipy.__version__}, numpy {np.__version__}",
            "source": "spectrum of Pierson and Moskowitz in the form with significant height and peak period (from memory); equations in the script's header",
            "script": "reference/make/" + here.name,
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "1e-4 of standard deviations: 4000 frequencies; 2 % of what is drawn, eleven days; 10 % of what is followed, in which the linear drag leaves out up to 9 % of the motion at resonance",
        },
        "cases": told,
    }
    (here.parent.parent / "mooring" / "scipy-sea.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
