"""A tree and a mesh of a hundred nodes with a load at nearly every node, solved by MINPACK's hybrid method.

Needs numpy 2.4.6 and scipy 1.17.1. Writes power/scipy-networks-large.json beside this folder. Networks are drawn with fixed seeds; their
resistances and loads are rounded before they are solved. Unknowns are the node voltages; the collapse is the turning point
{F = 0, J w = 0, |w| = 1}, each by fsolve, and lies above the last of the factors at which the voltages were followed there.
"""

import hashlib
import json
import pathlib

import numpy as np
import scipy
from scipy.optimize import fsolve

assert np.__version__ == "2.4.6" and scipy.__version__ == "1.17.1"

HERE = pathlib.Path(__file__).resolve()
NODES = 100


def drawn(seed, loops, sources):
    random = np.random.default_rng(seed)
    spans = [[int(random.integers(max(0, node - 4), node)), node] for node in range(1, NODES)]
    while len(spans) < NODES - 1 + loops:
        a, b = (int(x) for x in random.integers(0, NODES, 2))
        if a != b:
            spans.append([a, b])
    spans = [[a, b, round(float(random.uniform(0.3, 3.0)), 3)] for a, b in spans]
    loads = [[node, round(float(random.uniform(2.0, 9.0)), 2), round(float(random.choice([0.0, 0.005])), 3),
              None if random.uniform() < 0.8 else round(float(random.uniform(4e3, 2e4)), 0)] for node in range(1, NODES)]
    return {"nodes": NODES, "spans": spans, "sources": sources, "loads": loads}


class Net:
    def __init__(self, plan):
        n = plan["nodes"]
        self.g, self.j, self.p = np.zeros((n, n)), np.zeros(n), np.zeros(n)
        for a, b, ohm in plan["spans"]:
            self.g[[a, b], [a, b]] += 1 / ohm
            self.g[[a, b], [b, a]] -= 1 / ohm
        for node, volt, ohm in plan["sources"]:
            self.g[node, node] += 1 / ohm
            self.j[node] += volt / ohm
        for node, watt, ampere, ohm in plan["loads"]:
            self.p[node] += watt
            self.j[node] -= ampere
            if ohm:
                self.g[node, node] += 1 / ohm
        self.start = np.linalg.solve(self.g, self.j)

    def leftover(self, v, factor=1.0):
        return self.g @ v + factor * self.p / v - self.j

    def jacobian(self, v, factor=1.0):
        return self.g - np.diag(factor * self.p / v**2)

    def solve(self, factor, start):
        v, info, flag, _ = fsolve(self.leftover, start, factor, fprime=lambda v, k: self.jacobian(v, k), xtol=1e-14, full_output=True)
        good = np.max(np.abs(info["fvec"])) < 1e-9 and v.min() > 0 and np.linalg.eigvalsh(self.jacobian(v, factor)).min() > 0
        return v if good else None

    def collapse(self):
        v, low, step = self.solve(1.0, self.start), 1.0, 0.5
        while step > 1e-4:
            further = self.solve(low + step, v)
            if further is None:
                step /= 2
            else:
                v, low = further, low + step
        w = np.linalg.eigh(self.jacobian(v, low))[1][:, 0]

        def turning(x):
            v, w, factor = x[:NODES], x[NODES:-1], x[-1]
            return np.concatenate([self.leftover(v, factor), self.jacobian(v, factor) @ w, [w @ w - 1]])

        x, info, flag, why = fsolve(turning, np.concatenate([v, w, [low]]), xtol=1e-14, full_output=True)
        assert np.max(np.abs(info["fvec"])) < 1e-9 and low - 1e-9 < x[-1] < low + 4e-4, (why, low, x[-1])
        return x[-1]


def ten(value):
    return float(f"{value:.10g}")


result = {}
for name, plan in {
    "tree": drawn(7, 0, [[0, 375.0, 0.5]]),
    "mesh": drawn(11, 6, [[0, 120.0, 0.4], [NODES - 1, 118.0, 0.6]]),
}.items():
    net = Net(plan)
    v = net.solve(1.0, net.start)
    result[name] = {**plan, "voltages_v": [ten(x) for x in v], "collapse_factor": ten(net.collapse()), "lowest_v": ten(v.min())}

(HERE.parent.parent / "power" / "scipy-networks-large.json").write_text(
    json.dumps(
        {
            "provenance": {
                "what": "operating point and collapse factor of a tree with one source and a mesh with two, a hundred nodes each. spans: a, b, ohm; sources: node, V, "
                        "ohm; loads: node, W, A, ohm or null",
                "source": "scipy 1.17.1 (fsolve: MINPACK hybrj), numpy 2.4.6",
                "script": "reference/make/" + HERE.name,
                "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "tolerance": "1e-6 V, collapse factor 1e-6: ten digits are kept",
            },
            "networks": result,
        },
    )
    + "\n"
)
