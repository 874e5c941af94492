"""Where the calls and clicks of four real recordings are, as SciPy sees them.

Needs numpy 2.4.6, scipy 1.17.1, soundfile 0.14.0, and the recordings (reference/fetch.py). Writes
  recording/scipy-calls.csv    calls: band, begin, end, by the level of a band against a fixed threshold
  recording/scipy-clicks.csv   clicks of the dolphin: instants, by the peaks of a smoothed envelope

A call: zero-phase Butterworth band pass (order 4, both ways), mean square over a window, above the threshold; ends at
3 dB below it; holes shorter than `merge` closed, pieces shorter than `shortest` dropped. Begin and end are the middles
of windows. All of it is done again with the threshold 4 dB lower and higher: the spread says how sure begin and end are.

A click: band pass, magnitude of the analytic signal, moving mean, peaks with a prominence. The number is held to be
the same over 24 settings (three bands, two smoothings, four prominences); with a 2 ms mean and 10 dB it is 53 to 58,
since single clicks then show twice.
"""

import hashlib
import pathlib

import numpy as np
import scipy
import soundfile
from scipy import signal

assert np.__version__ == "2.4.6" and scipy.__version__ == "1.17.1" and soundfile.__version__ == "0.14.0"

HERE = pathlib.Path(__file__).resolve()
REFERENCE = HERE.parent.parent
RECORDINGS = REFERENCE.parent / "fetched" / "recordings"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()

# recording, band in Hz, window s, hop s, threshold dB re full scale, merge s, shortest s, calls
CALLS = [
    ("orca.ogg", 400, 6000, 0.020, 0.005, -22.0, 0.030, 0.100, 3),
    ("BM003.wav", 55e3, 85e3, 0.004, 0.001, -29.0, 0.010, 0.015, 3),
    ("deermouse-go.wav", 18e3, 110e3, 0.004, 0.001, -50.0, 0.010, 0.010, 6),
]
SPREAD_DB = 4.0
# BM003's noise lies only 4 dB below its threshold
SPREAD_OF = {"BM003.wav": 1.5}
CLICKS_AFTER_S = 1.34


def read(name):
    x, rate = soundfile.read(RECORDINGS / name, dtype="float64", always_2d=True)
    return x[:, 0], rate


def band(x, rate, low_hz, high_hz):
    return signal.sosfiltfilt(signal.butter(4, [low_hz, high_hz], "bandpass", fs=rate, output="sos"), x)


def levels(y, rate, window_s, hop_s):
    n, hop = round(window_s * rate), round(hop_s * rate)
    start = np.arange(0, len(y) - n + 1, hop)
    total = np.concatenate([[0.0], np.cumsum(y * y)])
    return (start + n / 2) / rate, 10 * np.log10((total[start + n] - total[start]) / n)


def events(t, level, on, merge_s, shortest_s):
    found, begin = [], None
    for at, value in zip(t, level):
        if begin is None and value > on:
            begin = at
        elif begin is not None and value < on - 3:
            if found and begin - found[-1][1] < merge_s:
                found[-1][1] = at
            else:
                found.append([begin, at])
            begin = None
    if begin is not None:
        found.append([begin, t[-1]])
    return [(a, b) for a, b in found if b - a >= shortest_s]


def calls():
    rows = []
    for name, low, high, window, hop, on, merge, shortest, count in CALLS:
        x, rate = read(name)
        y = band(x, rate, low, high)
        t, level = levels(y, rate, window, hop)
        shift = SPREAD_OF.get(name, SPREAD_DB)
        middle = events(t, level, on, merge, shortest)
        lower, upper = (events(t, level, on + d, merge, shortest) for d in (-shift, shift))
        assert len(middle) == len(lower) == len(upper) == count, name
        for number, ((a, b), (a0, b0), (a1, b1)) in enumerate(zip(middle, lower, upper), 1):
            f, p = signal.periodogram(y[int(a * rate):int(b * rate)], rate)
            share = np.cumsum(p) / np.sum(p)
            f05, f95 = (f[np.searchsorted(share, s)] for s in (0.05, 0.95))
            top = level[(t >= a) & (t <= b)].max()
            spread = (max(abs(a - a0), abs(a - a1)), max(abs(b - b0), abs(b - b1)))
            rows.append(f"{name},{number},{low:.0f},{high:.0f},{window:.3f},{on:.1f},{a:.3f},{b:.3f},"
                        f"{spread[0]:.3f},{spread[1]:.3f},{top:.2f},{f05:.0f},{f95:.0f}")
    return rows


def click_instants(x, rate, low, high, smooth_s, prominence_db):
    n = int(smooth_s * rate)
    envelope = np.convolve(np.abs(signal.hilbert(band(x, rate, low, high))), np.ones(n) / n, "same")
    level = 20 * np.log10(envelope)
    at, about = signal.find_peaks(level, prominence=prominence_db, distance=int(0.010 * rate))
    late = at > CLICKS_AFTER_S * rate
    return at[late] / rate, level[at[late]], about["prominences"][late]


def clicks():
    x, rate = read("dolphin.ogg")
    bands = [(1000, 10000), (2000, 9000), (3000, 9500)]
    settings = [(b, s, p) for b in bands for s in (0.005, 0.006) for p in (10, 11, 12, 14)]
    numbers = {len(click_instants(x, rate, *b, s, p)[0]) for b, s, p in settings}
    assert numbers == {45}, numbers
    short = [len(click_instants(x, rate, *b, 0.002, 10)[0]) for b in bands]
    assert (min(short), max(short)) == (53, 58), short
    found = click_instants(x, rate, 2000, 9000, 0.005, 12)
    return [f"{i},{at:.4f},{level:.2f},{over:.2f}" for i, (at, level, over) in enumerate(zip(*found), 1)]


def write(name, about, columns, rows):
    lines = ["# " + line for line in about]
    lines += ["# script: reference/make/" + HERE.name, "# script-sha256: " + SHA, ",".join(columns), *rows]
    (REFERENCE / "recording" / name).write_text("\n".join(lines) + "\n")


def main():
    write("scipy-calls.csv", [
        "Calls in real recordings, scipy 1.17.1, numpy 2.4.6, soundfile 0.14.0; recordings in recordings.toml.",
        "Level of the band [low_hz, high_hz] over window_s against threshold_db_re_fs (full scale 1.0), off 3 dB lower.",
        "spread: how far begin and end move when the threshold moves 4 dB (BM003.wav: 1.5 dB) either way.",
        "f05_hz, f95_hz: 5 % and 95 % of the energy in the band lie below.",
        "tolerance: the number of calls exact; begin and end one window_s plus the spread (another filter delays, another",
        "averaging shifts the crossing by up to its window); level 1 dB (same band and window length, another filter).",
    ], ["recording", "call", "low_hz", "high_hz", "window_s", "threshold_db_re_fs", "begin_s", "end_s",
        "begin_spread_s", "end_spread_s", "top_level_db_re_fs", "f05_hz", "f95_hz"], calls())
    write("scipy-clicks.csv", [
        "Clicks of dolphin.ogg after 1.34 s, scipy 1.17.1: peaks of the envelope of 2 to 9 kHz, 5 ms moving mean, prominence 12 dB.",
        "The number, 45, is the same for bands from 1-10 to 3-9.5 kHz, means of 5 and 6 ms, prominences of 10 to 14 dB;",
        "with a mean of 2 ms and 10 dB single clicks show twice and 53 to 58 peaks are counted.",
        "tolerance: instant 5 ms (the smoothing); number exact where a detector ignores 10 to 30 ms after each click, since the",
        "clicks are 36 to 221 ms apart and stand at least 17 dB out; another rule of counting needs a reason of its own.",
    ], ["click", "at_s", "level_db_re_fs", "prominence_db"], clicks())


main()
