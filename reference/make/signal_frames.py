"""Spectrograms of a linear congruential sequence with two tones and a sweep, for `Frames` of the crate `signal`.

Needs numpy 2.4.6 and scipy 1.17.1. Writes reference/signal/scipy-frames.json; a second run gives the same bytes.
"""

import hashlib
import json
import pathlib

import numpy as np
import scipy
from scipy import signal

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parents[1] / "signal" / "scipy-frames.json"

# window and hop in samples, rate, lowest and highest frequency kept
CASES = [
    (1024, 256, 48_000.0, 0.0, 24_000.0),
    (1024, 256, 48_000.0, 2_000.0, 20_000.0),
    (453, 112, 16_000.0 / 3.0, 60.0, 1_000.0),
    (96, 96, 1_000.0, 40.0, 410.0),
]
SAMPLES = 8192


def sound(count, rate_hz):
    """The sequence of signal_filters.py, with tones 60 dB apart and a sweep, rounded to single precision."""
    value, x = 1, np.empty(count)
    for i in range(count):
        value = (value * 6364136223846793005 + 1442695040888963407) & 0xFFFFFFFFFFFFFFFF
        x[i] = (value >> 48) / 65536.0 - 0.5
    t = np.arange(count) / rate_hz
    x = 0.02 * x + 3.0 * np.sin(2 * np.pi * 0.11 * rate_hz * t) + 0.003 * np.sin(2 * np.pi * 0.31 * rate_hz * t)
    x = x + 0.2 * np.sin(2 * np.pi * (0.02 * rate_hz * t + 0.5 * 0.3 * rate_hz**2 / count * t * t))
    return x.astype(np.float32)


def case(window, hop, rate_hz, low_hz, high_hz):
    points = 1 << (window - 1).bit_length()
    f, _, s = signal.spectrogram(
        sound(SAMPLES, rate_hz).astype(float), fs=rate_hz, window="hann", nperseg=window, noverlap=window - hop,
        nfft=points, detrend=False, scaling="spectrum", mode="psd",
    )
    kept = np.flatnonzero((f >= low_hz) & (f <= high_hz) & (f > 0) & (f < rate_hz / 2))
    frames = sorted({0, 1, 2, 3, 4, 5, s.shape[1] // 2, s.shape[1] - 1})
    rows = np.unique(np.concatenate([kept[::17], kept[-1:]]))
    return {
        "window": window, "hop": hop, "rate_hz": rate_hz, "low_hz": low_hz, "high_hz": high_hz,
        "points": points, "frames": s.shape[1], "first_line": int(kept[0]), "cells": len(kept),
        "at_frames": frames, "at_cells": (rows - kept[0]).tolist(),
        "total": [float(f"{v:.9g}") for v in s[:, frames].sum(axis=0)],
        "mean_square": [[float(f"{v:.9g}") for v in s[rows, k]] for k in frames],
    }


def main():
    document = {
        "provenance": {
            "what": "scipy.signal.spectrogram (window hann, detrend False, scaling spectrum, mode psd, one-sided) in double precision of a sequence with tones and a sweep, rounded to single precision",
            "source": f"scipy {scipy.__version__}, numpy {np.__version__}",
            "script": "reference/make/signal_frames.py",
            "script-sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
            "tolerance": "amplitude of a cell within 1e-6 of the root of the frame's sum: single precision has 24 bits, and rounding adds up over ten passes; so 0.001 dB for cells down to 80 dB below it",
        },
        "samples": SAMPLES,
        "cases": [case(*c) for c in CASES],
    }
    OUT.write_text(json.dumps(document, separators=(",", ":")).replace('},{"window"', '},\n{"window"') + "\n")


if __name__ == "__main__":
    main()
