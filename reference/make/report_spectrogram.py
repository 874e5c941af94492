# Power spectral density of two synthesised signals by scipy.signal.
# Pinned: numpy 2.4.6, scipy 1.17.1.
# Run: python reference/make/report_spectrogram.py (writes reference/report/scipy-spectrogram.csv)
"""Signals are made sample by sample from the formulas below, rounded to single precision, so that
any program can make the same ones:

    s <- (1664525 s + 1013904223) mod 2^32, s starts at 12345      (one step for each sample)
    noise[i] = (s / 2^32 - 0.5) * noise_upa
    x[i] = float32(sum_k a_k sin(2 pi f_k i / rate) + noise[i])
"""
import hashlib
import pathlib

import numpy as np
import scipy.signal

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parents[1] / "report" / "scipy-spectrogram.csv"

CASES = [
    # name, rate_hz, samples, window, hop, noise_upa, [(amplitude_upa, frequency_hz)]
    ("even", 8000.0, 16000, 1024, 512, 1.0e5, [(1.0e6 * np.sqrt(2.0), 1000.0), (3.0e5, 2345.6)]),
    ("odd", 300000.0, 9000, 1001, 300, 2.0e6, [(5.0e7, 120000.0), (8.0e6, 149800.0)]),
]


def noise(count, peak_upa):
    state = 12345
    out = np.empty(count)
    for i in range(count):
        state = (1664525 * state + 1013904223) % 2**32
        out[i] = (state / 2**32 - 0.5) * peak_upa
    return out


def main():
    digest = hashlib.sha256(HERE.read_bytes()).hexdigest()
    lines = [
        "# Power spectral density, dB re 1 uPa2/Hz, of synthesised tones in noise.",
        "# Source: scipy 1.17.1 (scipy.signal.spectrogram and scipy.signal.welch, window 'hann',",
        "#   detrend=False, scaling='density', one-sided) with numpy 2.4.6.",
        "# Script: reference/make/report_spectrogram.py (signals and cases are stated there)",
        f"# script-sha256: {digest}",
        "# Tolerance: 0.01 dB; four decimals are printed, levels are held in single precision.",
        "# column is the number of the window, or 'mean' for the mean of all windows (welch).",
        "case,column,row,frequency_hz,level_db_re_1upa2_per_hz",
    ]
    for name, rate, count, window, hop, noise_upa, tones in CASES:
        i = np.arange(count)
        x = noise(count, noise_upa)
        for amplitude, frequency in tones:
            x = x + amplitude * np.sin(2.0 * np.pi * frequency * i / rate)
        x = x.astype(np.float32).astype(np.float64)
        settings = dict(fs=rate, window="hann", nperseg=window, noverlap=window - hop,
                        detrend=False, scaling="density")
        f, _, columns = scipy.signal.spectrogram(x, mode="psd", **settings)
        _, mean = scipy.signal.welch(x, **settings)
        near = {int(round(t[1] * window / rate)) + d for t in tones for d in range(-3, 4)}
        rows = sorted(r for r in near | set(range(0, len(f), 23)) | {0, 1, len(f) - 1} if r < len(f))
        last = columns.shape[1] - 1
        for column in (0, 7, last):
            for row in rows:
                level = 10.0 * np.log10(columns[row, column])
                lines.append(f"{name},{column},{row},{f[row]:.6f},{level:.4f}")
        for row in rows:
            lines.append(f"{name},mean,{row},{f[row]:.6f},{10.0 * np.log10(mean[row]):.4f}")
    OUT.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
