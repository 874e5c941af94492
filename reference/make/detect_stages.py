"""Twin of the further stages of the level path: Teager-Kaiser levels, matched filter, backgrounds of order and mean with a
guard, bridging, k of n, steady trains.

Written from the rules in docs/method/detect.md with numpy 2.4.6 and scipy 1.17.1; no code of the project is used. Sounds and
the band-pass are those of detect_twin.py beside it. Writes reference/detect/scipy-stages.json. Running it again gives the
same bytes.

    python3 reference/make/detect_stages.py
"""

import hashlib
import json
import math
import pathlib

import numpy as np
from scipy.signal import butter, correlate, hilbert, sosfilt

import detect_twin as twin

HERE = pathlib.Path(__file__)
OUT = HERE.parent.parent / "detect" / "scipy-stages.json"
RATE, SECONDS, SEED = 2000, 75, 815
SOUNDS = [  # begin s, length s, from Hz, to Hz, amplitude uPa
    (21.3, 0.9, 90.0, 170.0, 4000.0), (26.1, 0.9, 90.0, 170.0, 3000.0), (31.5, 0.9, 90.0, 170.0, 2400.0),
    (36.2, 0.4, 90.0, 130.0, 3500.0), (36.75, 0.4, 130.0, 170.0, 3500.0), (43.0, 4.0, 120.0, 121.0, 5000.0),
    (52.3, 0.9, 90.0, 170.0, 1900.0), (57.9, 0.25, 90.0, 110.0, 3500.0), (58.35, 0.25, 110.0, 130.0, 3500.0),
    (58.8, 0.25, 130.0, 150.0, 3500.0), (63.1, 0.12, 140.0, 150.0, 5000.0), (66.4, 0.9, 90.0, 170.0, 2400.0),
    (69.5, 0.9, 90.0, 170.0, 2400.0),
]
LOW, HIGH, ORDER = 60.0, 260.0, 4


def sound():
    x = 1000.0 * twin.noise(SEED, RATE * SECONDS)
    for begin, length, f0, f1, amplitude in SOUNDS:
        twin.add_sweep(x, RATE, round(begin * RATE), round(length * RATE), f0, f1, amplitude)
    return x.astype(np.float32).astype(np.float64)


def some(values, step):
    return {str(i): None if math.isnan(values[i]) else float(values[i]) for i in range(0, len(values), step)}


def energies(y, window, hop):
    """Mean of y[n]^2 - y[n-1] y[n+1] over windows of n, over 2 sin^2 at the band's centre. The first cell needs y[-1]."""
    psi = y[1:-1] ** 2 - y[:-2] * y[2:]  # psi[0] is that of sample 1
    sums = np.concatenate([[0.0], np.cumsum(psi)])
    warped = [math.tan(math.pi * f / RATE) for f in (LOW, HIGH)]
    centre = 2.0 * math.atan(math.sqrt(warped[0] * warped[1]))
    first = 1  # cell 0 would need the energy of sample 0
    k = np.arange(first, (len(y) - 1 - window) // hop + 1)
    energy = (sums[k * hop + window - 1] - sums[k * hop - 1]) / window
    return first, 10.0 * np.log10(energy / (2.0 * math.sin(centre) ** 2))


def matched(y, sos):
    """Envelope of the correlation with the filtered template, by the sample at which the template would begin."""
    length = round(0.9 * RATE)
    template = np.zeros(length)
    twin.add_sweep(template, RATE, 0, length, 90.0, 170.0, 1.0)
    template = template.astype(np.float32).astype(np.float64)
    padded = np.concatenate([np.zeros(4000), template, np.zeros(8000)])
    h = sosfilt(sos, padded)
    g = np.imag(hilbert(h))
    keep = slice(4000 - 100, 4000 + length + 1000)
    energy = (h[keep] ** 2).sum()
    # Place n: the template would begin at sample n.
    padding = np.concatenate([np.zeros(100), y, np.zeros(1000 + length)])
    power = (correlate(padding, h[keep], "valid") ** 2 + correlate(padding, g[keep], "valid") ** 2) / (length * energy)
    return power, 10.0 * math.log10((template**2).mean())


def backgrounds(level, power, n, guard):
    """Over the n cells that end `guard` cells before each: the ceil(0.75 n)-th smallest, and the mean power."""
    ordered, mean = np.full(len(level), np.nan), np.full(len(level), np.nan)
    for i in range(len(level)):
        before = slice(max(0, i - guard - n), max(0, i - guard))
        held = len(level[before])
        if held >= (n + 1) // 2:
            ordered[i] = np.sort(level[before])[math.ceil(0.75 * held - 1e-9) - 1]
            mean[i] = 10.0 * math.log10(power[before].mean())
    return ordered, mean


def trigger(begin, known, hop, value, on, off, shortest, longest, bridge, k_of, hold_off):
    """Rules of section "Trigger" with confirmation at the end, all times in samples: mark loud cells, then walk sounds."""
    k, of = k_of
    told, number, hold_until = [], 0, 0
    i, count = 0, len(value)
    value = np.where(np.isnan(value), -np.inf, value)
    free_from = 0  # cells before it belong to an earlier sound

    def tell(notice, number, cell, **more):
        told.append(dict(notice=notice, id=number, known_at_sample=int(known[cell]), **more))

    while i < count:
        window = [j for j in range(max(free_from, i - of + 1), i + 1) if value[j] >= on]
        if not (value[i] >= on and len(window) >= k):
            i += 1
            continue
        first, last, number_of, too_long = window[0], i, None, False
        j = i
        while j < count:
            if value[j] >= off:
                last = j
                length = begin[last] + hop - begin[first]
                if length > longest and not too_long:
                    too_long = True
                    if number_of is not None:
                        tell("dropped", number_of, j, reason="too-long")
                if not too_long and number_of is None and begin[j] >= hold_until:
                    number_of = number
                    number += 1
                    tell("onset", number_of, j)
            elif begin[j] + hop - (begin[last] + hop) >= bridge:
                break
            j += 1
        if j < count and number_of is not None and not too_long:
            if begin[last] + hop - begin[first] < shortest:
                tell("dropped", number_of, j, reason="too-short")
            else:
                tell("confirmed", number_of, j)
                tell("ended", number_of, j, begin_sample=int(begin[first]), end_sample=int(begin[last] + hop))
                hold_until = begin[last] + hop + hold_off
        free_from = i = j + 1
    return told


def steady_trains():
    """The clicks of detect_twin.py; trains confirmed at the pulse with which at_least - 1 intervals in a row each differ by
    at most the share `steady` from the one before."""
    case = twin.clicks_case()
    pulses = case["pulse_begin_samples"]
    return [trains_of(pulses, case["rate_hz"], at_least, 0.1, 0.1) for at_least in (6, 7)]


def trains_of(pulses, rate, at_least, steady, most_s):
    most = round(most_s * rate)
    out, train = [], []
    for p in pulses + [None]:
        if train and (p is None or p - train[-1] > most):
            gaps = np.diff(train)
            confirmed = None
            for i in range(at_least - 1, len(train)):
                recent = gaps[i - at_least + 1:i]
                if all(abs(b - a) <= steady * a for a, b in zip(recent[:-1], recent[1:])):
                    confirmed = i + 1
                    break
            if confirmed:
                out.append(dict(begin_sample=train[0], pulses=len(train), confirming_pulse=confirmed,
                                mean_s=float(gaps.mean() / rate), spread=float(gaps.std() / gaps.mean())))
            train = []
        if p is not None:
            train.append(p)
    return dict(at_least=at_least, steady=steady, trains=out)


def main():
    x = sound()
    sos = butter(ORDER, [LOW, HIGH], btype="bandpass", fs=RATE, output="sos")
    y = sosfilt(sos, x).astype(np.float32).astype(np.float64)
    window, hop = 500, 125
    first, energy_db = energies(y, window, hop)
    power, own_db = matched(y, sos)
    power = power[:len(y) - 4000]
    top = int(power.argmax())
    places = list(range(1000, len(power), 1499)) + list(range(top - 40, top + 41, 8))
    row = twin.cells(x, RATE, LOW, HIGH, ORDER, window, hop, 30.0)
    level = np.array([c["level"] for c in row])
    n, guard = round((20.0 - 1.0) * RATE / hop), round(1.0 * RATE / hop)
    ordered, mean = backgrounds(level, 10.0 ** (level / 10.0), n, guard)
    begin = np.array([c["begin"] for c in row])
    known = np.array([c["known"] for c in row])
    rules = dict(on_above_db=7.0, off_below_db=4.0, shortest_s=0.5, longest_s=2.5, bridge_s=0.25, at_least=3, of_last=5,
                 hold_off_s=3.0)
    told = trigger(begin, known, hop, level - ordered, 7.0, 4.0, 1000, 5000, 500, (3, 5), 6000)
    sha = lambda p: hashlib.sha256(p.read_bytes()).hexdigest()
    result = dict(
        provenance=dict(
            what="cells and notices of an invented recording, and trains, by a second program written from the rules",
            source="numpy 2.4.6, scipy 1.17.1 (butter, sosfilt, hilbert, correlate, find_peaks)",
            script="reference/make/detect_stages.py",
            script_sha256=sha(HERE),
            uses="reference/make/detect_twin.py",
            uses_sha256=sha(HERE.parent / "detect_twin.py"),
            tolerance="levels 1e-4 dB (single-precision samples, energies of neighbours that nearly cancel), matched filter "
                      "2e-3 of the template's own power at each place (ends of the template, 2e-4 of its energy), times to the sample",
        ),
        rate_hz=RATE, seconds=SECONDS, seed=SEED, sounds=[list(s) for s in SOUNDS],
        energies=dict(first_cell=first, some_db=some(energy_db, 41), cells=len(energy_db)),
        matched=dict(own_db=own_db, highest=top, some_power=[[n, float(power[n])] for n in places]),
        backgrounds=dict(over_s=20.0, guard_s=1.0, rank=0.75, some_ordered_db=some(ordered, 37), some_mean_db=some(mean, 37)),
        trigger=dict(setting=rules, told=told),
        steady=steady_trains(),
    )
    OUT.write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
