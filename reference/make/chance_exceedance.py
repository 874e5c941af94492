"""How long what goes by the ranks of a Gaussian sequence stays above a level: the correlation of "above" with "above a step later".

Python 3.11, scipy==1.17.1, numpy==2.4.6. Run with no arguments to write reference/chance/scipy-exceedance.csv. Running it again gives the same bytes.

exact: scipy.integrate.quad over the conditional law of the neighbour, P(both above) = int_h^inf phi(x) Phi((r x - h) / sqrt(1 - r^2)) dx.
drawn: 2,000,000 steps of x' = r x + sqrt(1 - r^2) e.
"""

import hashlib
import math
import pathlib

import numpy as np
import scipy
from scipy.integrate import quad
from scipy.signal import lfilter
from scipy.stats import norm

SHARES = [0.001, 0.02, 0.1, 0.25, 0.5, 0.8, 0.97]
CORRELATIONS = [0.1, 0.5, math.exp(-1 / 6), math.exp(-1 / 24), 0.999]
STEPS = 2_000_000


def exact(share, r):
    h = norm.isf(share)
    both = quad(lambda x: norm.pdf(x) * norm.cdf((r * x - h) / math.sqrt(1 - r * r)), h, h + 40, points=[h + 1, h + 3], limit=400, epsabs=1e-14, epsrel=1e-12)[0]
    return (both - share**2) / (share * (1 - share))


def drawn(share, r, seed):
    e = np.random.default_rng(seed).standard_normal(STEPS)
    e[1:] *= math.sqrt(1 - r * r)
    above = lfilter([1.0], [1.0, -r], e) > norm.isf(share)
    return float((np.mean(above[1:] & above[:-1]) - share**2) / (share * (1 - share)))


def main():
    here = pathlib.Path(__file__)
    rows, seed = [], 0
    for share in SHARES:
        for r in CORRELATIONS:
            rows.append(f"{share},{r!r},{exact(share, r):.10g},{drawn(share, r, seed):.5g}")
            seed += 1
    head = [
        "# Correlation of being above a level with being above it a step later, of ranks of a Gaussian sequence.",
        f"# source: scipy {scipy.__version__} (integrate.quad, stats.norm), numpy {np.__version__}",
        "# script: reference/make/" + here.name,
        "# script-sha256: " + hashlib.sha256(here.read_bytes()).hexdigest(),
        "# tolerance: 1e-8 of exact; drawn: 0.02 for shares from 0.1 to 0.8 and correlations up to that of a day, whose effective number of draws is smallest",
        "share_above,correlation,exact,drawn",
    ]
    (here.parent.parent / "chance" / "scipy-exceedance.csv").write_text("\n".join(head + rows) + "\n")


if __name__ == "__main__":
    main()
