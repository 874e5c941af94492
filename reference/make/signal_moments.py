"""Kurtosis, mean and variance of three rows of samples by SciPy, for the crate `signal`.

Needs numpy 2.4.6 and scipy 1.17.1. Writes reference/signal/scipy-moments.json; a second run gives the same bytes.
"""

import hashlib
import json
import pathlib

import numpy as np
from scipy import stats

HERE = pathlib.Path(__file__).resolve()


def lcg(count):
    """Uniform numbers in -0.5 to 0.5 on a 16-bit grid: the generator of crates/signal/tests/integration/support.rs."""
    value, out = 1, []
    for _ in range(count):
        value = (value * 6364136223846793005 + 1442695040888963407) & 0xFFFFFFFFFFFFFFFF
        out.append((value >> 48) / 65536.0 - 0.5)
    return np.array(out, dtype=np.float32)


def told(name, x):
    x = x.astype(np.float32).astype(np.float64)
    return {
        "name": name,
        "mean": float(f"{np.mean(x):.13g}"),
        "variance": float(f"{np.var(x):.13g}"),
        "kurtosis": float(f"{stats.kurtosis(x, fisher=False, bias=True):.13g}"),
    }


noise = lcg(10_007)
clicks = noise.copy()
clicks[::500] *= 40
(HERE.parents[1] / "signal" / "scipy-moments.json").write_text(json.dumps({
    "provenance": {
        "what": "mean, variance and kurtosis of 10,007 uniform numbers; of the same with every 500th (from the first) made 40 times as large; of the same with 512 added",
        "source": "numpy 2.4.6 mean, var; scipy 1.17.1 stats.kurtosis(fisher=False, bias=True)",
        "script": "reference/make/signal_moments.py",
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "1e-9 relative: both compute in double precision; mean 1e-12 of the largest sample",
    },
    "rows": [told("noise", noise), told("clicks", clicks), told("offset", noise + np.float32(512))],
}, indent=1) + "\n")
