"""Sounds in two channels with noise of their own, and the time between them, for `time_difference` of the crate `signal`.

Needs numpy 2.4.6 and scipy 1.17.1. Writes reference/signal/scipy-delays.json; a second run gives the same bytes.
"""

import hashlib
import json
import pathlib

import numpy as np
import scipy
from scipy import signal

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parents[1] / "signal" / "scipy-delays.json"

# name, rate, samples of the piece and on either side of it, band, delay in s, amplitude of the noise, kind of sound
CASES = [
    ("a sweep without noise", 8000, 4000, 240, (100.0, 400.0), 0.0123456, 0.0, "sweep"),
    ("a sweep in noise", 8000, 4000, 240, (100.0, 400.0), -0.0071234, 0.6, "sweep"),
    ("a sweep in loud noise", 8000, 4000, 240, (100.0, 400.0), 0.0200001, 2.0, "sweep"),
    ("a click", 48000, 960, 400, (500.0, 2800.0), 0.00314159, 0.05, "click"),
    ("a sound that is cut off by the piece", 8000, 1600, 160, (100.0, 400.0), 0.00987, 0.2, "long"),
]


def noise(count, seed):
    value, x = seed, np.empty(count)
    for i in range(count):
        value = (value * 6364136223846793005 + 1442695040888963407) & 0xFFFFFFFFFFFFFFFF
        x[i] = (value >> 48) / 65536.0 - 0.5
    return x


def sound(kind, t):
    """A sound at times t, s, of which the piece begins at 0."""
    if kind == "sweep":
        u = t - 0.1
        inside = (u >= 0) & (u <= 0.3)
        shape = np.where(inside, np.sin(np.pi * np.clip(u, 0, 0.3) / 0.3) ** 2, 0.0)
        return shape * np.sin(2 * np.pi * (120.0 * u + 0.5 * (260.0 / 0.3) * u * u))
    if kind == "click":
        u = t - 0.008
        return np.where(u >= 0, np.exp(-np.maximum(u, 0) / 0.0006) * np.sin(2 * np.pi * 1500.0 * u), 0.0)
    u = t + 1.0
    return np.sin(2 * np.pi * (150.0 * u + 0.5 * 90.0 * u * u)) * (1.0 + 0.5 * np.sin(2 * np.pi * 3.0 * u))


def case(name, rate, length, most, band, later, loud, kind):
    here = sound(kind, np.arange(length) / rate) + loud * noise(length, 7)
    there = sound(kind, np.arange(-most, length + most) / rate - later) + loud * noise(length + 2 * most, 11)
    here, there = here.astype(np.float32).astype(float), there.astype(np.float32).astype(float)
    points = 1 << (len(there) - 1).bit_length()
    f = np.fft.rfftfreq(points, 1 / rate)
    keep = (f >= band[0]) & (f <= band[1])
    own = np.fft.irfft(np.where(keep, np.fft.rfft(here, points), 0), points)
    other = np.fft.irfft(np.where(keep, np.fft.rfft(there, points), 0), points)[: len(there)]
    product = signal.correlate(other, here, mode="valid", method="direct")
    energy = signal.correlate(other**2, np.ones(length), mode="valid", method="direct")
    height = product / np.sqrt(np.sum(own**2) * energy)
    at = int(np.argmax(height))
    a, b, c = height[at - 1 : at + 2]
    shift = 0.5 * (a - c) / (a - 2 * b + c)
    return {
        "name": name, "kind": kind, "rate_hz": rate, "length": length, "most": most, "low_hz": band[0], "high_hz": band[1],
        "made_later_s": later, "noise": loud,
        "later_s": float(f"{(at + shift - most) / rate:.9g}"),
        "likeness": float(f"{b - 0.25 * (a - c) * shift:.6g}"),
    }


def main():
    document = {
        "provenance": {
            "what": "time between two channels by scipy.signal.correlate (mode valid) of the second, cut to a band, with a piece of the first, over the root of both energies, with a parabola through the highest point and its neighbours; delays in s, positive where the second hears it later",
            "source": f"scipy {scipy.__version__}, numpy {np.__version__}",
            "script": "reference/make/signal_delays.py",
            "script-sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
            "tolerance": "1e-6 s and 2e-3 of likeness: a parabola through points of a sixteenth of the shortest period is wrong by up to 1.5e-4 of it, here and there on different grids",
        },
        "cases": [case(*c) for c in CASES],
    }
    OUT.write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
