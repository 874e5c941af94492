"""Band level of ten minutes of 96 kHz, 16-bit sound: the same work as crates/signal/benches/front.rs, in SciPy.

Work: 16-bit samples -> float32 -> Butterworth band-pass (order 4, second-order sections) -> mean square over 10 ms -> dB.
The samples come from the same generator as in the Rust bench, or from a WAV file given as argument (then reading it with
soundfile as float32 is part of the time, as a user would do it).

Prints one JSON line per band: median and spread of the time in seconds, and levels to compare.
Libraries: numpy 2.4.6, scipy 1.17.1 (and soundfile 0.14.0 for files).
"""

import json
import os
import sys
import time

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import numpy as np
from scipy import signal

RATE_HZ = 96_000
SECONDS = int(os.environ.get("LISTEN_SECONDS", "600"))
BANDS_HZ = [(5_000.0, 40_000.0), (60.0, 260.0)]
REPEATS = int(os.environ.get("LISTEN_REPEATS", "5"))
CELL = RATE_HZ // 100


def samples(count):
    """Noise from a 64-bit linear congruential generator (period part repeated) with tones at 150 Hz and 12 kHz."""
    period = 1 << 16
    noise = np.empty(period, dtype=np.float64)
    value = 1
    for i in range(period):
        value = (value * 6364136223846793005 + 1442695040888963407) & 0xFFFFFFFFFFFFFFFF
        noise[i] = (value >> 48) / 65536.0 - 0.5
    x = 6000.0 * np.resize(noise, count)
    # Both tones have a period of 640 samples, so one table serves.
    k = np.arange(640, dtype=np.float64)
    tones = 2000.0 * np.sin(2 * np.pi * k / 640.0) + 1000.0 * np.sin(2 * np.pi * 80 * k / 640.0)
    x += np.resize(tones, count)
    return np.round(x).astype(np.int16)


def listen(x, band):
    sos = signal.butter(4, band, btype="bandpass", fs=RATE_HZ, output="sos")
    y = signal.sosfilt(sos, x)
    cells = len(y) // CELL
    y = y[: cells * CELL].reshape(cells, CELL)
    mean_square = np.mean(y * y, axis=1)
    return 10 * np.log10(mean_square)


def once(pcm, path, band):
    """One timed run: seconds and levels."""
    start = time.perf_counter()
    if path:
        import soundfile

        x, rate = soundfile.read(path, dtype="float32")
        assert rate == RATE_HZ
    else:
        x = pcm.astype(np.float32) * np.float32(1.0 / 32768.0)
    level = listen(x, band)
    return time.perf_counter() - start, level


def summary(band, times, level):
    late = level[len(level) // 2 :]
    return {
        "band_hz": band,
        "median_s": float(np.median(times)),
        "fastest_s": min(times),
        "slowest_s": max(times),
        "cells": len(level),
        "mean_level_db_re_full_scale": float(10 * np.log10(np.mean(10 ** (late / 10)))),
    }


def main():
    arguments = sys.argv[1:]
    if arguments[:1] == ["--serve"]:
        # One run for every line on standard input, which names the band by its place; answers with seconds and mean level.
        # With a WAV file named, each run reads it anew.
        path = arguments[1] if len(arguments) > 1 else None
        pcm = None if path else samples(RATE_HZ * SECONDS)
        print("ready", flush=True)
        for line in sys.stdin:
            band = BANDS_HZ[int(line)]
            seconds, level = once(pcm, path, band)
            print(seconds, summary(band, [seconds], level)["mean_level_db_re_full_scale"], flush=True)
        return
    path = arguments[0] if arguments else None
    pcm = None if path else samples(RATE_HZ * SECONDS)
    for band in BANDS_HZ:
        runs = [once(pcm, path, band) for _ in range(REPEATS)]
        print(json.dumps(summary(band, [r[0] for r in runs], runs[-1][1])), flush=True)


if __name__ == "__main__":
    main()
