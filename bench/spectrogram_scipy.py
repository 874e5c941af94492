"""Spectrograms of a minute of 48 kHz sound: the same frames as crates/detect/benches/spectrogram.rs, in SciPy.

Work: float32 samples -> scipy.signal.spectrogram (Hann window of 1024, one every 256, scaling spectrum, mean not removed) in single
precision, which is the fastest that SciPy offers. Finding anything in it is not part of the work.

    python bench/spectrogram_scipy.py --serve      one run for every line on standard input

Answers with seconds and the mean level of lines 1 to 511 over all frames, dB. Libraries: numpy 2.4.6, scipy 1.17.1.
"""

import os
import sys
import time

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import numpy as np
from scipy import signal

RATE_HZ = 48_000
SECONDS = int(os.environ.get("LISTEN_SECONDS", "60"))


def samples(count):
    """Noise from a 64-bit linear congruential generator (period part repeated) and a sweep from 4 to 12 kHz in every second."""
    value, noise = 1, np.empty(1 << 16)
    for i in range(len(noise)):
        value = (value * 6364136223846793005 + 1442695040888963407) & 0xFFFFFFFFFFFFFFFF
        noise[i] = (value >> 48) / 65536.0 - 0.5
    t = np.arange(RATE_HZ) / RATE_HZ
    sweep = np.sin(2 * np.pi * (4000.0 * t + 4000.0 * t * t))
    return (np.resize(noise, count) + 0.3 * np.resize(sweep, count)).astype(np.float32)


def main():
    x = samples(RATE_HZ * SECONDS)
    print("ready", flush=True)
    for _ in sys.stdin:
        start = time.perf_counter()
        _, _, s = signal.spectrogram(
            x, RATE_HZ, window="hann", nperseg=1024, noverlap=768, detrend=False, scaling="spectrum", mode="psd"
        )
        seconds = time.perf_counter() - start
        assert s.dtype == np.float32
        print(seconds, 10 * np.log10(np.mean(s[1:512], dtype=np.float64)), flush=True)


if __name__ == "__main__":
    main()
