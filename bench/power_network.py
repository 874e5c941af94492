"""The peer of crates/power/benches/network.rs: the same trees by Newton with SciPy's sparse matrices.

Arguments: nodes, runs. Needs numpy 2.4.6 and scipy 1.17.1 (other versions run, the figures then differ). Prints one line of JSON: for each way
of solving the linear system the median, 10 % and 90 % quantile of the seconds of one warm solve, then the voltages.
Set-up (pattern of the matrix, order of nodes) is outside the measured part, as it is on the other side.
"""

import json
import statistics
import sys
import time

import numpy as np
import scipy
from scipy.sparse import csc_array, csr_array
from scipy.sparse.linalg import splu, spsolve

NODES = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
RUNS = int(sys.argv[2]) if len(sys.argv) > 2 else 200
# Past this the ways that do not keep the order of the tree take minutes.
ALL_WAYS = 10_000
SOURCE_V, SOURCE_OHM = 375.0, 0.5


def tree():
    """Parent, ohm and watt of each node; the same integers as on the other side."""
    state = 2027

    def draw(below):
        nonlocal state
        state = (state * 6364136223846793005 + 1442695040888963407) % 2**64
        return (state >> 33) % below

    parent, ohm, watt = [0], [0.0], [0.0]
    for i in range(1, NODES):
        parent.append(i - 1 - draw(min(i, 8)))
        ohm.append((50 + draw(101)) / NODES)
        watt.append((800 + draw(3201)) / NODES)
    return np.array(parent), np.array(ohm), np.array(watt)


parent, ohm, watt = tree()
node = np.arange(1, NODES)
g = 1 / ohm[1:]
rows = np.concatenate([node, parent[1:], node, parent[1:], [0]])
columns = np.concatenate([node, parent[1:], parent[1:], node, [0]])
values = np.concatenate([g, g, -g, -g, [1 / SOURCE_OHM]])
inject = np.zeros(NODES)
inject[0] = SOURCE_V / SOURCE_OHM


def by_splu(**options):
    return lambda jacobian, right: splu(jacobian, **options).solve(right)


# name: (matrix format, order of nodes, linear solve)
FASTEST = "splu, leaves first, symmetric"
leaf_first = np.arange(NODES)[::-1]
as_given = np.arange(NODES)
WAYS = {
    "spsolve, csr": (csr_array, as_given, spsolve),
    "splu, COLAMD": (csc_array, as_given, by_splu()),
    "splu, MMD_AT_PLUS_A, symmetric": (
        csc_array, as_given, by_splu(permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}),
    ),
    FASTEST: (
        csc_array, leaf_first, by_splu(permc_spec="NATURAL", diag_pivot_thresh=0.0, options={"SymmetricMode": True}),
    ),
}


class Newton:
    def __init__(self, form, order, linear):
        self.rank = np.empty(NODES, dtype=int)
        self.rank[order] = np.arange(NODES)
        self.jacobian = form((values, (self.rank[rows], self.rank[columns])), shape=(NODES, NODES))
        self.jacobian.sum_duplicates()
        self.jacobian.sort_indices()
        self.base = self.jacobian.data.copy()
        outer = np.repeat(np.arange(NODES), np.diff(self.jacobian.indptr))
        self.diagonal = np.flatnonzero(outer == self.jacobian.indices)
        self.watt, self.inject, self.linear = watt[order], inject[order], linear

    def solve(self):
        """From the source voltage; one linear solve for the new voltages a step, to 1e-13 of it or quadratically so."""
        v = np.full(NODES, SOURCE_V)
        last = np.inf
        for steps in range(1, 50):
            ampere = self.watt / v
            self.jacobian.data[:] = self.base
            self.jacobian.data[self.diagonal] -= ampere / v
            new = self.linear(self.jacobian, self.inject - 2 * ampere)
            step = np.max(np.abs(new - v)) / SOURCE_V
            v = new
            if step <= 1e-13 or (step <= 1e-8 and step * (step / last) ** 2 <= 1e-13):
                return v[self.rank], steps
            last = step
        raise RuntimeError("no convergence")


result = {"scipy": scipy.__version__, "numpy": np.__version__, "ways": {}}
for name, way in WAYS.items():
    if NODES > ALL_WAYS and name != FASTEST:
        continue
    newton = Newton(*way)
    for _ in range(max(1, RUNS // 10)):
        v, steps = newton.solve()
    seconds = []
    for _ in range(RUNS):
        begin = time.perf_counter()
        newton.solve()
        seconds.append(time.perf_counter() - begin)
    tenths = statistics.quantiles(seconds, n=10, method="inclusive")
    result["ways"][name] = {
        "median_s": statistics.median(seconds),
        "low_s": tenths[0],
        "high_s": tenths[-1],
        "steps": steps,
        "voltages_v": v.tolist(),
    }
print(json.dumps(result))
