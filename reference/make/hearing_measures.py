"""Sound measures by minute of 130 s of noise with clicks, by NumPy and SciPy, for the crate `hearing`.

The sound is 16-bit at 8 kHz and begins at 04:15:30.25, so that the first minute holds 29.75 s of it and the last one 40.25 s.
Sample i is a quarter of a hashed number of 14 bits, and every 56,123rd one is 20,000.
Needs numpy 2.4.6 and scipy 1.17.1. Writes reference/hearing/scipy-measures.json; a second run gives the same bytes.
"""

import hashlib
import json
import pathlib

import numpy as np
from scipy import signal, stats

HERE = pathlib.Path(__file__).resolve()
RATE = 8000
SAMPLES = 130 * RATE
FULL_SCALE_UPA = 1e6
CENTRES_HZ = 10.0 ** (np.arange(10, 36) / 10)


def samples():
    z = np.arange(1, SAMPLES + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    x = ((z >> np.uint64(50)).astype(np.int64) - 8192) // 4
    x[::56_123] = 20_000
    return x / 32768.0 * FULL_SCALE_UPA


def lg(x):
    return float(f"{10 * np.log10(x):.10g}")


def cut(density, low, high):
    """Integral of a density with lines every hertz, edge lines cut in proportion."""
    k = np.arange(len(density))
    inside = np.clip(np.minimum(k + 0.5, high) - np.maximum(k - 0.5, low), 0, None)
    return np.sum(density * inside)


def percentiles(x, first):
    """By band and by every 97th line, of segments of a second every half second that lie wholly in the period, from a whole second
    on."""
    found, lines = [], []
    for begin in range(first, len(x) - RATE + 1, RATE // 2):
        _, density = signal.periodogram(x[begin:begin + RATE], RATE, window="hann", detrend=False)
        found.append([cut(density, f * 10**-0.05, f * 10**0.05) / (f * (10**0.05 - 10**-0.05)) for f in CENTRES_HZ])
        lines.append(density[::97])

    def ranked(values):
        values = np.array(values)
        return [
            [lg(v) for v in np.percentile(values[:, k], [1, 5, 10, 50, 90, 95, 99], method="inverted_cdf")]
            for k in range(values.shape[1])
        ]

    return len(found), ranked(found), ranked(lines)


X = samples()
BANDS = []
for f in CENTRES_HZ:
    sos = signal.butter(4, [f * 10**-0.05, f * 10**0.05], btype="bandpass", fs=RATE, output="sos")
    # The delay at the centre, from the phase to both sides; then the filter is let ring out.
    w, h = signal.sosfreqz(sos, worN=[f * 0.999, f * 1.001], fs=RATE)
    delay = -np.diff(np.unwrap(np.angle(h)))[0] / (2 * np.pi * 0.002 * f) * RATE
    ringing = np.concatenate([X, np.zeros(RATE * 5)])
    BANDS.append((int(np.round(delay)), signal.sosfilt(sos, ringing)))

PERIODS = []
for begin, end, first in ((0, 238_000, 6000), (238_000, 718_000, 0), (718_000, SAMPLES, 0)):
    x = X[begin:end]
    # The last quarter of a second is no whole second of the clock.
    whole = x[: first + (len(x) - first) // RATE * RATE]
    segments, density, lines = percentiles(whole, first)
    PERIODS.append({
        "listened_s": len(x) / RATE,
        "level_db": lg(np.mean(x**2)),
        "level_without_mean_db": lg(np.var(x)),
        "exposure_level_db": lg(np.sum(x**2) / RATE),
        "peak_level_db": 2 * lg(np.max(np.abs(x))),
        "peak_to_peak_level_db": 2 * lg(np.max(x) - np.min(x)),
        "kurtosis": float(f"{stats.kurtosis(x, fisher=False):.10g}"),
        "band_levels_db": [lg(np.mean(y[begin + d:end + d] ** 2)) for d, y in BANDS],
        "segments": segments,
        "density_percentiles_db": density,
        "every_97th_line_percentiles_db": lines,
    })

(HERE.parents[1] / "hearing" / "scipy-measures.json").write_text(json.dumps({
    "provenance": {
        "what": "levels re 1 uPa, exposure re 1 uPa2 s, densities re 1 uPa2/Hz of the three minutes that 130 s of sound touch; full scale is 1e6 uPa; bands 10 Hz to 3.15 kHz; percentiles 1, 5, 10, 50, 90, 95, 99, by band and by line of 1 Hz (every 97th from 0 Hz on)",
        "source": "numpy 2.4.6; scipy 1.17.1 stats.kurtosis, signal.butter (order 4), sosfilt at the full rate, periodogram; numpy percentile by inverted_cdf",
        "script": "reference/make/hearing_measures.py",
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "broad figures and densities of bands 1e-6 dB, of lines 1e-4 dB (samples are single precision, which shows in lines that are nearly empty); band levels 0.03 dB in a whole minute, 0.1 dB in a part: decimated bands have slightly other skirts, and delays are rounded to samples",
    },
    "periods": PERIODS,
}, indent=1) + "\n")
