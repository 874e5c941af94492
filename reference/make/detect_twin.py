"""Twin of the detector pipeline: band-pass, level, running median, trigger; and clicks, envelope, peaks, trains.

Written from the rules in docs/method/detect.md with numpy 2.4.6 and scipy 1.17.1; no code of the project is used.
Writes reference/detect/scipy-events.json. Running it again gives the same bytes.

    python3 reference/make/detect_twin.py
"""

import hashlib
import json
import math
import pathlib

import numpy as np
from scipy.signal import butter, find_peaks, group_delay, sosfilt

HERE = pathlib.Path(__file__)
OUT = HERE.parent.parent / "detect" / "scipy-events.json"


def noise(seed, count):
    """Irwin-Hall noise (sum of 12 uniforms less 6, unit variance) from a 64-bit linear congruential generator.

    Knuth's multiplier for 2^64; the top 24 bits of each state make one uniform, so every sum is exact in a double.
    """
    a, c, mask = 6364136223846793005, 1442695040888963407, (1 << 64) - 1
    need = 12 * count
    # Jump ahead in powers of two so that numpy can fill the array: x[n+s] = A x[n] + C modulo 2^64.
    states = np.empty(need, dtype=np.uint64)
    states[0] = (a * seed + c) & mask
    filled, jump_a, jump_c = 1, a, c
    while filled < need:
        take = min(filled, need - filled)
        states[filled:filled + take] = states[:take] * np.uint64(jump_a) + np.uint64(jump_c)
        jump_a, jump_c = (jump_a * jump_a) & mask, (jump_a * jump_c + jump_c) & mask
        filled += take
    uniform = (states >> np.uint64(40)).astype(np.float64) / 2.0**24
    return uniform.reshape(count, 12).sum(axis=1) - 6.0


def add_sweep(x, rate, begin, length, f0, f1, amplitude):
    """Linear upsweep with a raised-sine amplitude, begin and length in samples."""
    t = np.arange(length) / rate
    total = length / rate
    phase = 2.0 * math.pi * (f0 * t + 0.5 * (f1 - f0) / total * t * t)
    x[begin:begin + length] += amplitude * np.sin(math.pi * t / total) * np.sin(phase)


def add_click(x, rate, centre, f, width_s, amplitude):
    """Tone burst under a Gaussian, cut at five widths."""
    half = int(round(5 * width_s * rate))
    n = np.arange(-half, half + 1)
    t = n / rate
    x[centre - half:centre + half + 1] += amplitude * np.exp(-0.5 * (t / width_s) ** 2) * np.cos(2 * math.pi * f * t)


def delay_samples(sos, rate, low, high):
    """Group delay of the band-pass at its centre, where the warped edges have their geometric mean."""
    centre = 2.0 * math.atan(math.sqrt(math.tan(math.pi * low / rate) * math.tan(math.pi * high / rate)))
    return round(sum(float(group_delay((s[:3], s[3:]), w=[centre])[1][0]) for s in sos))


def cells(x, rate, low, high, order, window, hop, over, factor=1):
    """Levels of windows of the filtered sound, and the median of the n levels before each.

    No decimation here: where the detector keeps every factor-th sample, each stands for the factor (odd) samples around it,
    so windows begin (factor - 1) / 2 earlier.
    """
    early = (factor - 1) // 2
    sos = butter(order, [low, high], btype="bandpass", fs=rate, output="sos")
    y = sosfilt(sos, x.astype(np.float64))
    total = np.concatenate([np.zeros(early + 1), np.cumsum(y * y)])
    k = np.arange((len(total) - 1 - window) // hop + 1)
    level = 10.0 * np.log10((total[k * hop + window] - total[k * hop]) / window)
    n = int(round(over * rate / hop))
    background = np.full(len(level), np.nan)
    for i in range(len(level)):
        before = level[max(0, i - n):i]
        if len(before) >= (n + 1) // 2:
            background[i] = np.median(before)
    begin = k * hop + (window - hop) // 2 - delay_samples(sos, rate, low, high) - early
    assert begin[0] >= 0
    return [dict(begin=int(b), end=int(b) + hop, known=int(j) * hop + window - 1 - early, level=float(v), background=float(m))
            for j, b, v, m in zip(k, begin, level, background)]


def mean_db(levels):
    return 10.0 * math.log10(sum(10.0 ** (v / 10.0) for v in levels) / len(levels))


def trigger(cells, rate, on, off, shortest, longest, hold_off, confirm):
    """The rules of section "Trigger", cell by cell."""
    shortest, longest, hold_off = round(shortest * rate), round(longest * rate), round(hold_off * rate)
    told, events, number, hold_until = [], [], 0, 0
    sound, overlong = None, None

    def tell(notice, number, cell, **more):
        told.append(dict(notice=notice, id=number, known_at_sample=cell["known"], **more))

    for cell in cells:
        known = not math.isnan(cell["background"])
        value = cell["level"] - cell["background"] if known else -math.inf
        if overlong is not None:
            if value < off:
                if overlong["confirmed"]:
                    hold_until = overlong["end"] + hold_off
                overlong = None
            else:
                overlong["end"] = cell["end"]
            continue
        if sound is None:
            if value < on:
                continue
            sound = dict(id=None, confirmed=False, cells=[], values=[])
        elif value < off:
            length = sound["cells"][-1]["end"] - sound["cells"][0]["begin"]
            if sound["id"] is not None:
                if length < shortest:
                    tell("dropped", sound["id"], cell, reason="too-short")
                else:
                    if not sound["confirmed"]:
                        tell("confirmed", sound["id"], cell)
                    tell("ended", sound["id"], cell)
                    first, last = sound["cells"][0], sound["cells"][-1]
                    levels = [c["level"] for c in sound["cells"]]
                    events.append(dict(id=sound["id"], begin_sample=first["begin"], end_sample=last["end"],
                                       peak_level_db=max(levels), mean_level_db=mean_db(levels),
                                       background_db=first["background"], score_db=max(sound["values"])))
                    hold_until = last["end"] + hold_off
            sound = None
            continue
        sound["cells"].append(cell)
        sound["values"].append(value)
        length = cell["end"] - sound["cells"][0]["begin"]
        if length > longest:
            if sound["id"] is not None:
                tell("dropped", sound["id"], cell, reason="too-long")
            overlong = dict(end=cell["end"], confirmed=sound["confirmed"])
            sound = None
            continue
        if sound["id"] is None and cell["begin"] >= hold_until:
            sound["id"] = number
            number += 1
            tell("onset", sound["id"], cell)
        if sound["id"] is not None and not sound["confirmed"] and confirm == "early" and length >= shortest:
            sound["confirmed"] = True
            tell("confirmed", sound["id"], cell)
    return told, events


def trains(cells, rate, rise, prominence, least, most, at_least, within):
    """The rules of section "Pulses" after the fact: scipy finds the peaks, then intervals part them into trains."""
    level = np.array([c["level"] for c in cells])
    background = np.array([c["background"] for c in cells])
    # A stretch begins in a valley: the first cell can never be a peak, and neither can one on the last slope.
    peaks, _ = find_peaks(level, prominence=prominence)
    peaks = [int(p) for p in peaks if not math.isnan(background[p]) and level[p] - background[p] >= rise]
    least, most, within = round(least * rate), round(most * rate), round(within * rate)
    pulses, out = [], []
    for p in peaks:
        if pulses and cells[p]["begin"] - cells[pulses[-1]]["begin"] < least:
            continue
        pulses.append(p)
    train = []
    for p in pulses + [None]:
        if train and (p is None or cells[p]["begin"] - cells[train[-1]]["begin"] > most):
            begins = [cells[q]["begin"] for q in train]
            confirmed = [i for i in range(at_least - 1, len(train)) if begins[i] - begins[i - at_least + 1] <= within]
            if confirmed:
                levels = [cells[q]["level"] for q in train]
                out.append(dict(begin_sample=begins[0], end_sample=cells[train[-1]]["end"], pulses=len(train),
                                confirming_pulse=confirmed[0] + 1, peak_level_db=max(levels),
                                mean_level_db=mean_db(levels), background_db=cells[train[0]]["background"],
                                score_db=max(float(level[q] - background[q]) for q in train)))
            train = []
        if p is not None:
            train.append(p)
    return [cells[p]["begin"] for p in pulses], out


def trains_with_missed(cells, rate, rise, prominence, least, most, at_least, of_last):
    """The same where pulses may be missed: the train is laid out first, each gap as a whole number of intervals, and looked through for a confirmation afterwards."""
    level = np.array([c["level"] for c in cells])
    background = np.array([c["background"] for c in cells])
    peaks, _ = find_peaks(level, prominence=prominence)
    begins = [(int(p), cells[p]["begin"]) for p in peaks
              if not math.isnan(background[p]) and level[p] - background[p] >= rise]
    least, most = round(least * rate), round(most * rate)
    trains = []
    for peak, begin in begins:
        if trains:
            gap = begin - trains[-1][-1][1]
            # Whole numbers of intervals that a gap may be, the least first.
            fits = [m for m in range(1, of_last - at_least + 2) if (m - 1) * most < gap <= m * most or m == 1 and gap <= most]
            if fits:
                if gap >= fits[0] * least:
                    trains[-1].append((peak, begin, trains[-1][-1][2] + fits[0]))
                continue
        trains.append([(peak, begin, 0)])
    out = []
    for train in trains:
        for last in range(at_least - 1, len(train)):
            if train[last][2] - train[last - at_least + 1][2] < of_last:
                out.append(dict(begin_sample=train[0][1], end_sample=cells[train[-1][0]]["end"], pulses=len(train),
                                confirmed_begin_sample=train[last][1]))
                break
    return out


def calls_case(rate, seconds, seed, confirm, factor=1):
    """Up-calls of falling strength, a click, a hum of six seconds and calls close together, in invented noise."""
    x = 1000.0 * noise(seed, rate * seconds)
    sounds = [  # begin s, length s, from Hz, to Hz, amplitude uPa
        (21.3, 1.0, 90.0, 170.0, 4000.0), (33.7, 1.0, 90.0, 170.0, 3000.0), (37.2, 1.0, 90.0, 170.0, 4000.0),
        (46.1, 0.9, 80.0, 200.0, 2500.0), (58.4, 0.12, 150.0, 160.0, 6000.0), (61.9, 1.2, 70.0, 210.0, 2000.0),
        (72.0, 6.0, 120.0, 121.0, 4500.0), (93.3, 1.0, 90.0, 170.0, 1750.0), (102.6, 2.0, 100.0, 140.0, 3300.0),
        (112.9, 2.6, 100.0, 140.0, 3300.0), (117.5, 1.0, 90.0, 170.0, 1400.0),
    ]
    scale = math.sqrt(rate / 2000.0)  # keeps the ratio to the noise in the band
    for begin, length, f0, f1, amplitude in sounds:
        amplitude /= scale
        if begin + length < seconds:
            add_sweep(x, rate, round(begin * rate), round(length * rate), f0, f1, amplitude)
    x = x.astype(np.float32)
    # Window and hop as the detector has them: nearest whole samples.
    setting = dict(low_hz=60.0, high_hz=260.0, order=4, window_s=0.25, hop_s=0.0625, over_s=30.0, on_above_db=9.0,
                   off_below_db=6.0, shortest_s=0.4, longest_s=2.5, hold_off_s=10.0, confirm=confirm)
    window, hop = factor * round(0.25 * rate / factor), factor * round(0.0625 * rate / factor)
    row = cells(x, rate, 60.0, 260.0, 4, window, hop, 30.0, factor)
    told, events = trigger(row, rate, 9.0, 6.0, 0.4, 2.5, 10.0, confirm)
    kept = {str(i): [row[i]["level"], None if math.isnan(row[i]["background"]) else row[i]["background"]]
            for i in range(0, len(row), 97)}
    return dict(rate_hz=rate, seconds=seconds, seed=seed, setting=setting, amplitude_scale=scale,
                sounds=[list(s) for s in sounds], cells=len(row), some_cells_db=kept, told=told, events=events)


def clicks_case():
    """Two click trains, a lone click, an echo and a slow pair, in invented noise."""
    rate, seconds, seed = 96000, 5, 77
    x = 100.0 * noise(seed, rate * seconds)
    clicks = []
    t = 1.2
    for i in range(20):
        clicks.append((t, 3000.0 * (0.6 + 0.02 * i)))
        clicks.append((t + 0.0024, 1500.0))  # echo
        t += 0.030 + 0.001 * (i % 5)
    clicks.append((2.6, 3000.0))
    clicks += [(3.0, 2500.0), (3.24, 2500.0)]
    t = 3.9
    for i in range(9):
        clicks.append((t, 2000.0))
        t += 0.055
    clicks = [(round(t * rate), a) for t, a in clicks]
    for centre, amplitude in clicks:
        add_click(x, rate, centre, 24000.0, 60e-6, amplitude)
    x = x.astype(np.float32)
    setting = dict(low_hz=10000.0, high_hz=40000.0, order=2, window_s=0.001, hop_s=0.00025, over_s=0.5, rise_db=10.0,
                   prominence_db=10.0, min_interval_s=0.008, max_interval_s=0.1, at_least=5, within_s=0.3,
                   hold_off_s=0.0)
    row = cells(x, rate, 10000.0, 40000.0, 2, 96, 24, 0.5)
    pulses, events = trains(row, rate, 10.0, 10.0, 0.008, 0.1, 5, 0.3)
    kept = {str(i): [row[i]["level"], None if math.isnan(row[i]["background"]) else row[i]["background"]]
            for i in range(0, len(row), 997)}
    # Intervals of 30 to 34 ms and of 55 ms as one, two or three of what is allowed, or off the beat.
    missed = [dict(min_interval_s=least, max_interval_s=most, at_least=k, of_last=n,
                   events=trains_with_missed(row, rate, 10.0, 10.0, least, most, k, n))
              for least, most, k, n in [(0.008, 0.1, 5, 8), (0.02, 0.04, 5, 8), (0.02, 0.04, 4, 8), (0.014, 0.02, 5, 8),
                                        (0.014, 0.02, 5, 9), (0.02, 0.026, 3, 8), (0.02, 0.026, 3, 6), (0.01, 0.06, 2, 6)]]
    return dict(rate_hz=rate, seconds=seconds, seed=seed, setting=setting, missed=missed,
                clicks=[[c, a] for c, a in clicks], click_hz=24000.0, click_width_s=60e-6, cells=len(row),
                some_cells_db=kept, pulse_begin_samples=pulses, events=events)


def main():
    result = dict(
        provenance=dict(
            what="cells, notices and events of two invented recordings, by a second program written from the rules",
            source="numpy 2.4.6, scipy 1.17.1 (butter, sosfilt, find_peaks)",
            script="reference/make/detect_twin.py",
            script_sha256=hashlib.sha256(HERE.read_bytes()).hexdigest(),
            tolerance="without decimation 1e-5 dB (single-precision samples) and times to the sample; after decimation "
                      "0.01 dB in a cell (bilinear transform at 5333 Hz against 48 kHz) and times one cell",
        ),
        calls_early=calls_case(2000, 120, 4711, "early"),
        calls_at_end=calls_case(2000, 120, 4711, "at-end"),
        calls_48k=calls_case(48000, 60, 1234, "early", factor=9),
        clicks=clicks_case(),
    )
    OUT.parent.mkdir(parents=True, exist_ok=True)
    OUT.write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
