"""Latin hypercubes, correlation by rank, quantiles of the normal law and of lists -> reference/chance/scipy-sampling.csv

Python 3.11 or later; scipy 1.17.1, numpy 2.4.6.
"""
import hashlib
import math
import pathlib

import numpy
import scipy
from scipy.stats import multivariate_normal, norm, qmc, spearmanr

HERE = pathlib.Path(__file__)
FILE = HERE.parents[1] / "chance" / "scipy-sampling.csv"
HYPERCUBES = 200
DRAWS, DIMENSIONS = 64, 5


def wave(i, k):
    """Lists that a reader can write down: whole numbers without and with ties, from a fixed recurrence."""
    return (i * k + (i * i) % 7) % 101


rows = []
for share in [1e-300, 1e-17, 1e-9, 1e-4, 0.001, 0.025, 0.05, 0.3, 0.4999, 0.5, 0.5001, 0.7, 0.975, 0.9999, 1 - 1e-9]:
    rows.append(("normal", share, "", float(norm.ppf(share))))
for count in (5, 20, 100, 1000):
    for k in (3, 37, 50):
        a = [wave(i, k) for i in range(count)]
        b = [wave(i, 11) // 5 - i // 3 for i in range(count)]
        rows.append(("spearman", count, k, float(spearmanr(a, b).statistic)))
# Of the bivariate normal law: 12 E[F(X) F(Y)] - 3, and the mean is the probability that two independent normal draws lie below X and Y.
for r in (0.6, 0.8):
    below = multivariate_normal.cdf([0, 0], cov=[[1, r / 2], [r / 2, 1]])
    rows.append(("spearman-of-law", r, "", float(12 * below - 3)))
for count in (1, 2, 10, 1000):
    values = [wave(i, 37) for i in range(count)]
    for share in (0.0, 0.05, 0.5, 0.95, 1.0):
        rows.append(("share", count, share, float(numpy.quantile(values, share))))
grid = [[(wave(i, 3 + 10 * d) + 0.5) / 101 for d in range(DIMENSIONS)] for i in range(DRAWS)]
rows.append(("discrepancy", DRAWS, DIMENSIONS, float(qmc.discrepancy(grid, method="CD"))))
found = []
for seed in range(HYPERCUBES):
    sample = qmc.LatinHypercube(d=DIMENSIONS, rng=numpy.random.default_rng(seed)).random(DRAWS)
    for column in sample.T:
        assert sorted(math.floor(DRAWS * u) for u in column) == list(range(DRAWS))
    found.append(float(qmc.discrepancy(sample, method="CD")))
mean = sum(found) / HYPERCUBES
spread = math.sqrt(sum((x - mean) ** 2 for x in found) / (HYPERCUBES - 1))
rows.append(("hypercubes-mean", DRAWS, DIMENSIONS, mean))
rows.append(("hypercubes-deviation", DRAWS, DIMENSIONS, spread))

lines = [
    "# Values of the normal law at a share; Spearman's correlation of the lists of the script, and of the bivariate normal law; values at a share of such a list;",
    "# centred discrepancy of a point set of the script; mean and standard deviation of it over Latin hypercubes.",
    f"# source: scipy {scipy.__version__}, scipy.stats (norm.ppf, spearmanr, multivariate_normal.cdf, qmc); numpy {numpy.__version__} (quantile, method linear)",
    "# script: reference/make/chance_sampling.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: 1e-12 of the value; mean over hypercubes: four standard errors of the difference of two such means",
    "kind,first,second,value",
]
lines += [",".join(str(value) for value in row) for row in rows]
FILE.write_text("\n".join(lines) + "\n")
