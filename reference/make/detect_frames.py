"""The spectrogram path of detectors a second time: frames, backgrounds, peaks and likenesses, for the crate `detect`.

Written from docs/method/detect.md with scipy.signal.spectrogram, numpy.median, numpy.partition and scipy.signal.correlate.
Needs numpy 2.4.6 and scipy 1.17.1. Writes reference/detect/scipy-frames.json; a second run gives the same bytes.
"""

import hashlib
import json
import pathlib

import numpy as np
import scipy
from scipy import signal

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parents[1] / "detect" / "scipy-frames.json"

RATE_HZ = 1000.0
SECONDS = 60
BAND_HZ = (60.0, 260.0)
# begin s, length s, from Hz, to Hz, amplitude
SWEEPS = [(22.3, 1.0, 80.0, 200.0, 900.0), (35.2, 0.8, 240.0, 110.0, 700.0), (47.0, 1.0, 80.0, 200.0, 500.0)]
TONE = (173.0, 260.0)
CONTOUR = [(0.0, 80.0), (0.5, 130.0), (1.0, 200.0)]
WIDTH_HZ = 24.0
# window s, hop s, kind, over s, guard s, rank
CASES = [
    (0.128, 0.032, "median", 10.0, 0.5, None),
    (0.085, 0.021, "mean", 8.0, 0.3, None),
    (0.085, 0.021, "ordered", 4.9, 0.0, 0.75),
    (0.100, 0.025, "median", 30.0, 1.0, None),
]


def noise(seed, count):
    """Irwin-Hall noise of unit variance, as in detect_twin.py."""
    state, out = seed, np.empty(count)
    for i in range(count):
        total = 0.0
        for _ in range(12):
            state = (state * 6364136223846793005 + 1442695040888963407) & 0xFFFFFFFFFFFFFFFF
            total += (state >> 40) / 16777216.0
        out[i] = total - 6.0
    return out


def add_sweep(x, begin, length, low, high, amplitude):
    n = int(round(length * RATE_HZ))
    t = np.arange(n) / RATE_HZ
    phase = 2 * np.pi * (low * t + 0.5 * (high - low) / length * t * t)
    first = int(round(begin * RATE_HZ))
    x[first : first + n] += amplitude * np.sin(np.pi * t / length) * np.sin(phase)


def sound():
    x = 400.0 * noise(7, int(SECONDS * RATE_HZ))
    x += TONE[1] * np.sin(2 * np.pi * TONE[0] * np.arange(len(x)) / RATE_HZ)
    for sweep in SWEEPS:
        add_sweep(x, *sweep)
    return x.astype(np.float32).astype(float)


def template():
    x = np.zeros(int(RATE_HZ))
    add_sweep(x, 0.0, 1.0, 80.0, 200.0, 1.0)
    return x.astype(np.float32).astype(float)


def frames(x, window_s, hop_s):
    window, hop = int(round(window_s * RATE_HZ)), int(round(hop_s * RATE_HZ))
    points = 1 << (window - 1).bit_length()
    f, _, s = signal.spectrogram(
        x, fs=RATE_HZ, window="hann", nperseg=window, noverlap=window - hop, nfft=points, detrend=False, scaling="spectrum",
    )
    kept = (f >= BAND_HZ[0]) & (f <= BAND_HZ[1])
    return f[kept], s[kept].T, hop / RATE_HZ


def backgrounds(s, hop_s, kind, over_s, guard_s, rank):
    """The background of every frame and cell by its definition, NaN where it is not known."""
    over, guard = int(round((over_s - guard_s) / hop_s)), int(round(guard_s / hop_s))
    step = -(-over // (32 if kind == "mean" else 256))
    most = over // step
    out = np.full(s.shape, np.nan)
    for k in range(len(s)):
        last = k - 1 - guard
        if kind == "mean":
            groups = [g for g in range(0, last + 1, step) if g + step - 1 <= last][-most:]
            held, rows = len(groups), [i for g in groups for i in range(g, g + step)]
        else:
            rows = list(range(0, last + 1, step))[-most:]
            held = len(rows)
        if 2 * held < most:
            continue
        if kind == "mean":
            out[k] = s[rows].mean(axis=0)
        elif kind == "median":
            out[k] = 10 ** (np.median(10 * np.log10(s[rows]), axis=0) / 10)
        else:
            place = int(np.ceil(rank * held)) - 1
            out[k] = np.partition(s[rows], place, axis=0)[place]
    return out


def peaks(f, power, excess_db):
    """Frequency, level and excess of the four strongest peaks."""
    inner = [
        i for i in range(1, len(power) - 1) if excess_db[i] > excess_db[i - 1] and excess_db[i] >= excess_db[i + 1]
    ]
    found = []
    for i in sorted(inner, key=lambda i: -excess_db[i])[:4]:
        a, b, c = excess_db[i - 1 : i + 2]
        offset = 0.5 * (a - c) / (a - 2 * b + c)
        found.append([f[i] + offset * (f[1] - f[0]), 10 * np.log10(power[i]), b])
    return found


def contour_kernel(f, hop_s):
    t = np.array([p[0] for p in CONTOUR])
    span = int(round(t[-1] / hop_s)) + 1
    at = np.interp(np.minimum(np.arange(span) * hop_s, t[-1]), t, [p[1] for p in CONTOUR])
    away = np.abs(f[None, :] - at[:, None])
    on, flank = away <= WIDTH_HZ / 2, (away > WIDTH_HZ / 2) & (away <= 1.5 * WIDTH_HZ)
    return on / on.sum() - flank / flank.sum()


def recorded_kernel(window_s, hop_s):
    _, s, _ = frames(template(), window_s, hop_s)
    level = 10 * np.log10(np.maximum(s, s.max() * 1e-3))
    w = level - level.mean()
    return np.where(w > 0, w / w[w > 0].sum(), -w / w[w < 0].sum())


def likeness(excess_db, power, kernel):
    """Value and mean power under the kernel, of the frame with which it ends; NaN before a whole kernel is known."""
    values = signal.correlate(excess_db, kernel, mode="valid", method="direct")[:, 0]
    means = signal.correlate(power, np.maximum(kernel, 0), mode="valid", method="direct")[:, 0]
    ahead = np.full(len(kernel) - 1, np.nan)
    return np.concatenate([ahead, values]), np.concatenate([ahead, means])


def short(values):
    return [None if np.isnan(v) else float(f"{v:.9g}") for v in values]


def case(x, window_s, hop_s, kind, over_s, guard_s, rank):
    f, s, step_s = frames(x, window_s, hop_s)
    excess_db = 10 * np.log10(s / backgrounds(s, step_s, kind, over_s, guard_s, rank))
    known = ~np.isnan(excess_db[:, 0])
    loud = {int((b + 0.5 * n) / step_s) for b, n, *_ in SWEEPS}
    at = sorted(set(range(3, len(s), 37)) | {k + d for k in loud for d in range(-3, 4)})
    out = {
        "window_s": window_s, "hop_s": hop_s, "kind": kind, "over_s": over_s, "guard_s": guard_s, "rank": rank,
        "frames": len(s), "cells": len(f), "first_known": int(np.argmax(known)), "at": at,
        "peaks": [[short(p) for p in peaks(f, s[k], excess_db[k])] if known[k] else [] for k in at],
    }
    for name, kernel in [("contour", contour_kernel(f, step_s)), ("recorded", recorded_kernel(window_s, hop_s))]:
        values, means = likeness(excess_db, s, kernel)
        best = int(np.nanargmax(values))
        near = sorted(set(at) | set(range(best - 3, best + 4)))
        out[name] = {
            "span": len(kernel), "best": best, "at": near, "value_db": short(values[near]),
            "level_db": short(10 * np.log10(means[near])),
        }
    return out


def main():
    x = sound()
    document = {
        "provenance": {
            "what": "frames, backgrounds, peaks and likenesses of sweeps and a tone in noise, each by its definition",
            "source": f"scipy {scipy.__version__}, numpy {np.__version__}",
            "script": "reference/make/detect_frames.py",
            "script-sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
            "tolerance": "levels and excesses 1e-3 dB, frequencies 1e-3 Hz, likenesses 1e-3 dB: frames in single precision, some 1e-6 of the root of a frame's power",
        },
        "rate_hz": RATE_HZ, "seconds": SECONDS, "band_hz": BAND_HZ, "sweeps": SWEEPS, "tone": TONE,
        "contour": CONTOUR, "width_hz": WIDTH_HZ,
        "cases": [case(x, *c) for c in CASES],
    }
    OUT.write_text(json.dumps(document, separators=(",", ":")).replace('},{"window_s"', '},\n{"window_s"') + "\n")


if __name__ == "__main__":
    main()
