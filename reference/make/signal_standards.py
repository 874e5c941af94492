"""What the formulas of the standards give, and the sensor chain of the worked example, for the crate `signal`.

Needs numpy 2.4.6 and scipy 1.17.1. Writes reference/signal/numpy-standards.json; a second run gives the same bytes.
"""

import hashlib
import json
import pathlib

import numpy as np
from scipy import signal

HERE = pathlib.Path(__file__).resolve()
G = 10**0.3


def lg(ratio):
    return float(np.log10(ratio))


def rounded(value):
    return float(f"{value:.12g}")


# IEC 61260-1:2014, base ten, one-third octaves: exact centre 1000 G^(x/3), edges G^(1/6) to each side.
DECADES = [
    {"index": 30 + x, "centre_hz": rounded(1000 * G ** (x / 3)), "low_hz": rounded(1000 * G ** (x / 3) / G ** (1 / 6))}
    for x in range(-20, 30)
]

# IEC 61672-1: a mean square under exp(-t/tau), fed with a steady one for a time T, and left alone for a second.
def bursts(tau_s, durations_ms):
    return [{"duration_ms": t, "largest_less_steady_db": rounded(10 * lg(1 - np.exp(-t / 1000.0 / tau_s)))} for t in durations_ms]


# The durations of its table 4: twelve under F, nine under S.
BURSTS_F = bursts(0.125, (1000, 500, 200, 100, 50, 20, 10, 5, 2, 1, 0.5, 0.25))
BURSTS_S = bursts(1.0, (1000, 500, 200, 100, 50, 20, 10, 5, 2))
DECAYS = [{"time_constant_s": tau, "db_per_s": rounded(-10 * lg(np.exp(-1 / tau)))} for tau in (0.125, 1.0)]

# The analogue band-pass of six poles between the edges of a one-third octave, at the breakpoints of IEC 61260-1 table 1 moved
# from octaves by the formula of its clause on fractional bands.
BREAKPOINTS = (0.0, 0.125, 0.25, 0.375, 0.5, 1.0, 2.0, 3.0, 4.0)
zeros, poles, gain = signal.butter(3, [G ** (-1 / 6), G ** (1 / 6)], btype="bandpass", analog=True, output="zpk")
ATTENUATIONS = []
for power in BREAKPOINTS:
    omega = 1 + (G ** (1 / 6) - 1) / (G**0.5 - 1) * (G**power - 1)
    _, response = signal.freqs_zpk(zeros, poles, gain, [omega])
    ATTENUATIONS.append({"power_of_g": power, "attenuation_db": rounded(-20 * lg(abs(response[0])) + 0.0)})


def chain(sensitivity_db, gain_db, full_scale_v, bits, rate_hz, preamplifier_v):
    """By volts: what one uPa becomes, what the converter's steps are, what a quantiser of uniform steps leaves."""
    volts_per_upa = 10 ** (sensitivity_db / 20) * 10 ** (gain_db / 20)
    full_upa = full_scale_v / volts_per_upa
    step_upa = 2 * full_upa / 2**bits
    # The error of rounding to a step, measured on a million uniform pressures.
    pressures = np.random.default_rng(1).uniform(-0.9 * full_upa, 0.9 * full_upa, 1_000_000)
    measured = np.mean((np.round(pressures / step_upa) * step_upa - pressures) ** 2)
    noise = step_upa**2 / 12
    assert abs(10 * lg(measured / noise)) < 0.02
    sine = full_upa**2 / 2
    effective = []
    for n in (18.0, 16.0, 20.0):
        # A full-scale sine over the error of a quantiser of n bits: 2^(2n) 3/2.
        left = sine / (1.5 * 4**n)
        effective.append({"bits": n, "level_db": rounded(10 * lg(left)), "density_db": rounded(10 * lg(left / (rate_hz / 2)))})
    return {
        "overload_peak_level_db": rounded(20 * lg(full_upa)),
        "overload_sine_level_db": rounded(10 * lg(sine)),
        "full_scale_upa": rounded(full_upa),
        "quantisation_level_db": rounded(10 * lg(noise)),
        "quantisation_density_db": rounded(10 * lg(noise / (rate_hz / 2))),
        "sine_dynamic_range_db": rounded(10 * lg(sine / noise)),
        "effective_bits": effective,
        "preamplifier_v_per_root_hz": preamplifier_v,
        "preamplifier_density_db": rounded(20 * lg(preamplifier_v / 10 ** (sensitivity_db / 20))),
    }


(HERE.parents[1] / "signal" / "numpy-standards.json").write_text(json.dumps({
    "provenance": {
        "what": "one-third octaves base ten; white noise in one of them; bursts under weightings F and S and decays; attenuation of the six-pole analogue band-pass; a sensor chain of -180 dB re 1 V/uPa, 20 dB, 2.5 V peak, 24 bit, 96 kHz; the two references of level",
        "source": "formulas of IEC 61260-1:2014 and IEC 61672-1:2013 (from transcriptions), evaluated by numpy 2.4.6; scipy 1.17.1 signal.butter, freqs_zpk",
        "script": "reference/make/signal_standards.py",
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "closed forms 1e-9 relative, 1e-9 dB; bursts 0.01 dB and decays 1e-4 dB (sampled time); attenuation 0.002 dB in the band, 0.15 dB beside it (bilinear transform)",
    },
    "one_third_octaves": DECADES,
    "white_noise_band_less_centre_db": rounded(10 * lg(G ** (1 / 6) - G ** (-1 / 6))),
    "bursts_f": BURSTS_F,
    "bursts_s": BURSTS_S,
    "decays": DECAYS,
    "six_poles": ATTENUATIONS,
    "water_less_air_reference_db": rounded(20 * lg(20.0 / 1.0)),
    "chain": chain(-180.0, 20.0, 2.5, 24, 96_000.0, 5e-9),
}, indent=1) + "\n")
