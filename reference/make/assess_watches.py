"""Limits on the world carried to a hydrophone, with guard bands -> reference/assess/scipy-watches.json

Needs numpy 2.4.6 and scipy 1.17.1; a second run gives the same bytes.

The arithmetic of a level at a second distance is that of ISO 18406:2017 (from memory), the guard band that of a one-sided normal law
(JCGM 106:2012, from memory). Of each watch the share of missed sounds is drawn besides: calibration, variation, spreading and distance
each from their own law, the level by the formula itself.
"""
import hashlib
import json
import pathlib

import numpy as np
from scipy import stats

HERE = pathlib.Path(__file__).resolve()
DRAWS = 200_000
# limit, at, hydrophone (value, half width, law), spreading (value, half width, law), calibration (k = 2), varies (95 %), missed
WATCHES = [
    (160.0, 750.0, (720.0, 40.0, "normal"), (15.0, 3.0, "normal"), 1.0, 2.0, 0.025),
    (160.0, 750.0, (320.0, 20.0, "normal"), (15.0, 3.0, "normal"), 1.0, 3.0, 0.05),
    (160.0, 750.0, (1500.0, 60.0, "uniform"), (18.0, 2.0, "uniform"), 1.5, 2.5, 0.01),
    (145.0, 500.0, (500.0, 0.0, "normal"), (20.0, 0.0, "normal"), 1.0, 1.0, 0.025),
    (120.0, 2000.0, (400.0, 30.0, "uniform"), (12.0, 4.0, "normal"), 2.0, 4.0, 0.10),
    (155.0, 750.0, (740.0, 10.0, "normal"), (15.0, 1.0, "normal"), 0.8, 1.2, 0.5),
]


def rounded(value):
    return float(f"{value:.12g}")


def deviation(half, law):
    return half / 2 if law == "normal" else half / np.sqrt(3)


def drawn(rng, value, half, law):
    if law == "normal":
        return value + half / 2 * rng.standard_normal(DRAWS)
    return rng.uniform(value - half, value + half, DRAWS)


def watch(number, limit, at, hydrophone, spreading, calibration, varies, missed):
    r, n = hydrophone[0], spreading[0]
    level = limit + n * np.log10(at / r)
    parts = [
        calibration / 2,
        deviation(*spreading[1:]) * abs(np.log10(at / r)),
        n * deviation(*hydrophone[1:]) / (r * np.log(10)),
        varies / 2,
    ]
    u = float(np.sqrt(np.sum(np.square(parts))))
    guard = float(stats.norm.ppf(1 - missed)) * u
    rng = np.random.default_rng(number)
    # A sound that just reaches the limit, as it is read at the hydrophone.
    read = (
        limit + drawn(rng, *spreading) * np.log10(at / drawn(rng, *hydrophone))
        + calibration / 2 * rng.standard_normal(DRAWS) + varies / 2 * rng.standard_normal(DRAWS)
    )
    return {
        "limit_db": limit, "at_m": at,
        "hydrophone_m": r, "hydrophone_half_m": hydrophone[1], "hydrophone_law": hydrophone[2],
        "spreading": n, "spreading_half": spreading[1], "spreading_law": spreading[2],
        "calibration_db": calibration, "varies_db": varies, "missed": missed,
        "level_db": rounded(level), "parts_db": [rounded(p) for p in parts], "deviation_db": rounded(u), "guard_db": rounded(guard),
        "missed_of_draws": rounded(float(np.mean(read < level - guard))),
    }


(HERE.parents[1] / "assess" / "scipy-watches.json").write_text(json.dumps({
    "provenance": {
        "what": "levels of limits at a hydrophone, their uncertainty in parts, guard bands, and the share of sounds at the limit that are missed with them",
        "source": "numpy 2.4.6 random.default_rng; scipy 1.17.1 stats.norm.ppf; arithmetic of ISO 18406:2017, JCGM 100:2008 and JCGM 106:2012 from memory; the watches are invented",
        "script": "reference/make/assess_watches.py",
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "1e-9 dB (digits printed); missed 0.2 points (four sampling errors of 200,000 draws are 0.4 points at a half, 0.1 at 1 %; uniform parts are not normal)",
    },
    "watches": [watch(i, *w) for i, w in enumerate(WATCHES)],
}, indent=1) + "\n")
