"""Butterworth sections, responses, delays and outputs, and one Welch spectrum, for the crate `signal`.

Needs numpy 2.4.6 and scipy 1.17.1. Writes reference/signal/scipy-filters.json; a second run gives the same bytes.
"""

import hashlib
import json
import pathlib

import numpy as np
import scipy
from scipy import signal

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parents[1] / "signal" / "scipy-filters.json"

CASES = [
    ("bandpass", 4, [5_000.0, 40_000.0], 96_000.0),
    ("bandpass", 4, [60.0, 260.0], 96_000.0),
    ("bandpass", 4, [60.0, 260.0], 48_000.0),
    ("bandpass", 3, [891.2509381337456, 1122.018454301963], 48_000.0),
    ("bandpass", 5, [90.0, 170.0], 2_000.0),
    ("bandpass", 1, [10.0, 20_000.0], 48_000.0),
    ("highpass", 2, 10.0, 48_000.0),
    ("highpass", 3, 100.0, 16_000.0),
    ("lowpass", 4, 1_000.0, 48_000.0),
    ("lowpass", 5, 7_000.0, 16_000.0),
]


def lcg(count):
    """Uniform numbers in -0.5 to 0.5 on a 16-bit grid, exact in single precision."""
    value, out = 1, np.empty(count)
    for i in range(count):
        value = (value * 6364136223846793005 + 1442695040888963407) & 0xFFFFFFFFFFFFFFFF
        out[i] = (value >> 48) / 65536.0 - 0.5
    return out


def digits(values, n=15):
    return [float(f"{v:.{n}g}") for v in np.asarray(values, dtype=float)]


def group_delay(kind, order, corners_hz, rate_hz, frequencies):
    """From poles and zeros, in samples; scipy.signal.group_delay loses too many digits near 0 Hz."""
    zeros, poles, _ = signal.butter(order, corners_hz, btype=kind, fs=rate_hz, output="zpk")
    turn = np.exp(-2j * np.pi * frequencies / rate_hz)

    def of(root):
        return np.real(root * turn / (1 - root * turn))

    return sum(of(p) for p in poles) - sum(of(z) for z in zeros)


def filter_case(kind, order, corners_hz, rate_hz):
    sos = signal.butter(order, corners_hz, btype=kind, fs=rate_hz, output="sos")
    x = lcg(4096)
    y = signal.sosfilt(sos, x)
    edges = np.atleast_1d(corners_hz)
    frequencies = np.unique(np.concatenate([edges, edges * 0.7, np.minimum(edges * 1.3, 0.45 * rate_hz), [np.sqrt(edges[0] * edges[-1])]]))
    _, response = signal.sosfreqz(sos, worN=frequencies, fs=rate_hz)
    delay = group_delay(kind, order, corners_hz, rate_hz, frequencies)
    denominators = sorted([[s[5], s[4]] for s in sos])
    return {
        "kind": kind,
        "order": order,
        "corners_hz": digits(edges, 17),
        "rate_hz": rate_hz,
        "a2_a1_sorted": [digits(d) for d in denominators],
        "frequencies_hz": digits(frequencies, 17),
        "response_re": digits(response.real),
        "response_im": digits(response.imag),
        "group_delay_samples": digits(delay),
        "output_at": list(range(0, 32)) + list(range(4064, 4096)),
        "output": digits(np.concatenate([y[:32], y[4064:]])),
        "output_mean_square": digits([np.mean(y * y)])[0],
    }


def main():
    x = lcg(8192)
    f, psd = signal.welch(x, fs=8_000.0, window="hann", nperseg=256, noverlap=128, detrend=False, scaling="density")
    document = {
        "provenance": {
            "what": "scipy.signal.butter (output sos), sosfilt, sosfreqz and welch; group delay from the poles and zeros of butter (output zpk) on a linear congruential sequence",
            "source": f"scipy {scipy.__version__}, numpy {np.__version__}",
            "script": "reference/make/signal_filters.py",
            "script-sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
            "tolerance": "1e-9 of the largest value: double precision through poles within 1e-3 of the unit circle loses about six digits; coefficients 1e-12; Welch 1e-9 relative",
        },
        "filters": [filter_case(*case) for case in CASES],
        "welch": {"rate_hz": 8000.0, "segment": 256, "hop": 128, "samples": 8192, "density": digits(psd)},
    }
    OUT.parent.mkdir(parents=True, exist_ok=True)
    OUT.write_text(json.dumps(document, indent=None, separators=(",", ":")).replace('},{"kind"', '},\n{"kind"') + "\n")


if __name__ == "__main__":
    main()
