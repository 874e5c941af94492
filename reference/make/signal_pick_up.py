"""Lines of a switching converter in samples, and ticks in windows, for the crate `signal`.

Needs numpy 2.4.6 and scipy 1.17.1. Writes reference/signal/numpy-pick-up.json; a second run gives the same bytes.

Lines: a square wave as the sum of its odd harmonics behind an analogue Butterworth low-pass is taken at the sample rate for one second
and looked at by an FFT with lines of 1 Hz: where each harmonic is seen, and at which level. The fold is not used.
Ticks: a train of ticks of constant power, cut at the steps of a clock; the largest mean over all windows by running sums, and the mean
power of bursts of noise from their spectrum (Parseval), by thirds of half the rate.
"""

import hashlib
import json
import pathlib

import numpy as np
from scipy import signal

HERE = pathlib.Path(__file__).resolve()

WAVES = [
    # rate, fundamental, highest harmonic, low-pass (corner, poles) or None
    (96_000, 95_000, 9, None),
    (96_000, 283_001, 7, (60_000.0, 4)),
    (48_000, 150_017, 9, (24_000.0, 2)),
    (16_000, 1_301, 5, None),
    (250_000, 409_993, 5, (200_000.0, 3)),
]
TICKS = [
    # every, lasts, windows, in steps of the clock
    (10_000, 30, [10, 30, 45, 1_000, 10_000, 10_015, 25_000, 30_020]),
    (500, 200, [100, 200, 350, 500, 777, 1_100, 1_600]),
]

REPEATS = 64


def rounded(value):
    return float(f"{value:.10g}")


def wave(rate, fundamental, highest, low_pass):
    t = np.arange(rate) / rate
    x = np.zeros(rate)
    orders = range(1, highest + 1, 2)
    seen = []
    for n in orders:
        f = n * fundamental
        amplitude = np.sqrt(2) / n  # fundamental of rms 1
        phase = 0.3 * n
        gain = 1.0
        if low_pass:
            b, a = signal.butter(low_pass[1], 2 * np.pi * low_pass[0], analog=True)
            _, response = signal.freqs(b, a, [2 * np.pi * f])
            gain = abs(response[0])
        x = x + gain * amplitude * np.cos(2 * np.pi * f * t + phase)
    power = 2 * np.abs(np.fft.rfft(x) / rate) ** 2
    strongest = np.argsort(power)[::-1][: len(list(orders))]
    # Every harmonic stands on a line of its own, and nothing else does.
    left = np.delete(power, strongest).max()
    assert power[strongest].min() > 1e9 * left, (rate, fundamental, left)
    for line in sorted(strongest):
        seen.append({"heard_hz": int(line), "level_db": rounded(10 * np.log10(power[line]))})
    return {
        "rate_hz": rate, "fundamental_hz": fundamental, "highest": highest,
        "corner_hz": low_pass[0] if low_pass else None, "poles": low_pass[1] if low_pass else 0, "seen": seen,
    }


def ticks(every, lasts, windows):
    length = 8 * every
    on = (np.arange(length) % every) < lasts
    total = np.concatenate([[0], np.cumsum(on)])
    shares = [{"window": w, "share": rounded((total[w:] - total[:-w]).max() / w)} for w in windows]
    rng = np.random.default_rng(20_260_717)
    x = rng.standard_normal(length * REPEATS) * np.tile(on, REPEATS)
    spectrum = np.abs(np.fft.rfft(x)) ** 2 * 2 / (length * REPEATS) ** 2
    spectrum[0] /= 2
    third = len(spectrum) // 3
    bands = [rounded(spectrum[i * third:(i + 1) * third].sum()) for i in range(3)]
    return {"every": every, "lasts": lasts, "windows": shares, "thirds_of_power": bands}


def main():
    found = {
        "provenance": {
            "what": "where samples of a square wave show its harmonics, and at which level re that of its fundamental; the largest share of windows that ticks take; mean power of bursts of noise by thirds of half the rate",
            "source": "numpy 2.4.6 fft.rfft, cumsum, random.default_rng; scipy 1.17.1 signal.butter, signal.freqs; the waves are invented",
            "script": "reference/make/signal_pick_up.py",
            "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
            "tolerance": "frequencies to the line of 1 Hz; levels 1e-6 dB (rounding of an FFT over 250,000 samples); shares 1e-9; thirds 8 % (four standard errors of 15,360 samples of noise)",
        },
        "waves": [wave(*w) for w in WAVES],
        "ticks": [ticks(*t) for t in TICKS],
    }
    out = HERE.parent.parent / "signal" / "numpy-pick-up.json"
    out.write_text(json.dumps(found, indent=1) + "\n")


main()
