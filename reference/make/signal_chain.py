"""The noise budget of sensor chains, worked out in volts at the converter, for the crate `signal`.

Needs numpy 2.4.6 and scipy 1.17.1. Writes reference/signal/scipy-chain.json; a second run gives the same bytes.
"""

import hashlib
import json
import pathlib

import numpy as np
from scipy import integrate, signal, stats

HERE = pathlib.Path(__file__).resolve()

CHAINS = [
    # The worked example: 24 bit, 18 effective, 5 nV/rtHz, no high-pass, no table.
    {"sensitivity_db": -180.0, "gain_db": 20.0, "full_scale_v": 2.5, "bits": 24, "rate_hz": 96_000.0,
     "effective_bits": 18.0, "amplifier_v": 5e-9, "corner_hz": None, "poles": 0, "table": []},
    # A table with a knee inside bands, a high-pass, an ideal converter.
    {"sensitivity_db": -168.0, "gain_db": 26.0, "full_scale_v": 1.25, "bits": 16, "rate_hz": 16_000.0,
     "effective_bits": None, "amplifier_v": None, "corner_hz": 30.0, "poles": 2,
     "table": [(10.0, 58.0), (100.0, 44.0), (1000.0, 41.0), (8000.0, 40.0)]},
    # All of it.
    {"sensitivity_db": -190.5, "gain_db": 32.0, "full_scale_v": 2.0, "bits": 16, "rate_hz": 48_000.0,
     "effective_bits": 13.7, "amplifier_v": 2.2e-9, "corner_hz": 100.0, "poles": 3,
     "table": [(50.0, 45.0), (2000.0, 20.0)]},
]
BANDS_HZ = [(8.912509381, 11.22018454), (60.0, 260.0), (891.2509381, 1122.018454), (2000.0, 7500.0)]


def rounded(value):
    return float(f"{value:.10g}")


def powers_v2(chain, f_hz):
    """Densities at the converter in V^2/Hz of table, amplifier and converter, and the gain from uPa^2 to V^2."""
    volts = 10 ** ((chain["sensitivity_db"] + chain["gain_db"]) / 20)
    passed = 1.0
    if chain["corner_hz"]:
        b, a = signal.butter(chain["poles"], 2 * np.pi * chain["corner_hz"], btype="highpass", analog=True)
        _, response = signal.freqs(b, a, [2 * np.pi * f_hz])
        passed = float(abs(response[0]) ** 2)
    gain = volts**2 * passed
    table = chain["table"]
    own = None
    if table:
        level = np.interp(np.log10(f_hz), [np.log10(f) for f, _ in table], [db for _, db in table])
        own = float(10 ** (level / 10)) * gain
    amplifier = None
    if chain["amplifier_v"]:
        amplifier = (chain["amplifier_v"] * 10 ** (chain["gain_db"] / 20)) ** 2 * passed
    half = chain["rate_hz"] / 2
    if chain["effective_bits"]:
        sine_v2 = chain["full_scale_v"] ** 2 / 2
        converter = sine_v2 / (1.5 * 4 ** chain["effective_bits"]) / half
    else:
        converter = (2 * chain["full_scale_v"] / 2 ** chain["bits"]) ** 2 / 12 / half
    return [own, amplifier, converter], gain


def at_the_input(chain, f_hz):
    powers, gain = powers_v2(chain, f_hz)
    return [None if p is None else p / gain for p in powers]


def told(powers):
    """Of self-noise, amplifier, converter and their sum, in dB."""
    known = [p for p in powers if p is not None]
    return [None if p is None else rounded(10 * np.log10(p)) for p in powers] + [rounded(10 * np.log10(sum(known)))]


def band(chain, low_hz, high_hz):
    knees = sorted(f for f, _ in chain["table"] if low_hz < f < high_hz)
    sums = []
    for part in range(3):
        if at_the_input(chain, low_hz)[part] is None:
            sums.append(None)
            continue
        edges = [low_hz, *knees, high_hz]
        total = 0.0
        for a, b in zip(edges, edges[1:]):
            total += integrate.quad(lambda f, part=part: at_the_input(chain, f)[part], a, b, epsrel=1e-10, limit=200)[0]
        sums.append(total)
    return told(sums)


cases = []
for chain in CHAINS:
    cases.append({
        "chain": {k: v for k, v in chain.items()},
        "densities": [{"f_hz": f, "db": told(at_the_input(chain, f))} for f in (3.0, 10.0, 75.0, 1000.0, 7000.0)],
        "bands": [{"low_hz": low, "high_hz": high, "db": band(chain, low, high)} for low, high in BANDS_HZ],
    })

(HERE.parents[1] / "signal" / "scipy-chain.json").write_text(json.dumps({
    "provenance": {
        "what": "noise at the input of three sensor chains: self-noise, amplifier, converter and their sum, as densities (dB re 1 uPa^2/Hz) and in bands (dB re 1 uPa); share of Gaussian samples beyond full scale",
        "source": "numpy 2.4.6; scipy 1.17.1 signal.butter, signal.freqs, integrate.quad, stats.norm.sf; the chains are invented but for the first",
        "script": "reference/make/signal_chain.py",
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "densities 1e-7 dB (digits printed); bands 1e-5 dB (Simpson's rule); shares 1e-7 relative",
    },
    "cases": cases,
    "clipped": [{"headroom_db": h, "share": rounded(2 * stats.norm.sf(10 ** (h / 20)))} for h in (-6.0, 0.0, 6.0, 12.0, 15.0)],
}, indent=1) + "\n")
