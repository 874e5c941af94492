"""Decidecade levels, 10 Hz to 20 kHz, of 48 kHz, 16-bit sound: the same work as crates/signal/benches/bank.rs, in SciPy.

Work: 16-bit samples -> float32 -> 34 Butterworth band-passes at the full rate (second-order sections) -> mean square over
the second half -> dB. Place 0 has eight poles a band, as our bank; place 1 the plain six, which do not keep class 1 from
12.5 kHz on. Answers every line on standard input, which names the place, with seconds and the 34 levels.
Libraries: numpy 2.4.6, scipy 1.17.1.
"""

import os
import sys
import time

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import numpy as np
from scipy import signal

RATE_HZ = 48_000
SECONDS = int(os.environ.get("BANK_SECONDS", "60"))
CENTRES_HZ = 10.0 ** (np.arange(10, 44) / 10)
ORDERS = [4, 3]


def samples(count):
    """White noise of 14 bits by hashing the index (the finaliser of splitmix64), without tones: those would be compared by the
    skirts of their neighbours."""
    z = np.arange(1, count + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return ((z >> np.uint64(50)).astype(np.int32) - 8192).astype(np.int16)


def bank(order):
    return [
        signal.butter(order, [f * 10**-0.05, f * 10**0.05], btype="bandpass", fs=RATE_HZ, output="sos")
        for f in CENTRES_HZ
    ]


def levels(x, filters):
    half = len(x) // 2
    found = []
    for sos in filters:
        y = signal.sosfilt(sos, x)[half:]
        found.append(10 * np.log10(np.mean(y * y)))
    return found


def main():
    pcm = samples(RATE_HZ * SECONDS)
    banks = [bank(order) for order in ORDERS]
    print("ready", flush=True)
    for line in sys.stdin:
        start = time.perf_counter()
        x = pcm.astype(np.float32) * np.float32(1.0 / 32768.0)
        found = levels(x, banks[int(line)])
        print(time.perf_counter() - start, *found, flush=True)


if __name__ == "__main__":
    main()
