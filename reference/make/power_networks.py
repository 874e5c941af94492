"""Four networks with constant-power loads, solved by MINPACK's hybrid method: a second program beside the crate.

Needs numpy 2.4.6 and scipy 1.17.1. Writes power/scipy-networks.json beside this folder.

The equations are set up here in another way than in the crate: the unknowns are all node voltages AND all span and
source currents (Ohm's law span by span, Kirchhoff's law node by node), loads as they are, no elimination, no Jacobian
by hand. The collapse is the turning point {F = 0, F_V w = 0, |w| = 1} with a complex-step derivative along w.
"""

import hashlib
import json
import pathlib

import numpy as np
import scipy
from scipy.optimize import brentq, fsolve

assert np.__version__ == "2.4.6" and scipy.__version__ == "1.17.1"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "power" / "scipy-networks.json"

# IEC 60228 tables A.2, A.3, plain copper, ohm/km of one conductor at 20 degC
PLAIN = {
    ("2", 0.75): 24.5, ("2", 1.0): 18.1, ("2", 1.5): 12.1,
    ("5", 1.0): 19.5, ("5", 1.5): 13.3, ("5", 2.5): 7.98, ("5", 4.0): 4.95,
}


def loop_ohm(conductor, length_m, temperature_degc):
    if conductor[0] == "awg":
        diameter_mm = 0.127 * 92 ** ((36 - conductor[1]) / 39)
        per_km = 17.241 / (np.pi * diameter_mm**2 / 4)
    else:
        per_km = PLAIN[conductor]
    return 2 * length_m / 1000 * per_km * (1 + 0.00393 * (temperature_degc - 20))


# nodes: in order. spans: from, to, length, conductor. sources: node, V, ohm. loads: node -> (W, A, ohm or None)
NETWORKS = {
    "N1": dict(
        about="string", temperature_degc=10, minimum_v=24, nodes="S A B".split(),
        spans=[("S", "A", 400, ("5", 1.5)), ("A", "B", 300, ("5", 1.5))],
        sources=[("S", 48, 0)],
        loads={"A": (8, 0, None), "B": (12, 0, None)},
    ),
    "N2": dict(
        about="tree", temperature_degc=4, minimum_v=36, nodes="S J1 A J2 B C D".split(),
        spans=[
            ("S", "J1", 600, ("5", 2.5)), ("J1", "A", 150, ("awg", 18)), ("J1", "J2", 350, ("5", 2.5)),
            ("J2", "B", 200, ("5", 1.0)), ("J2", "C", 250, ("awg", 16)), ("C", "D", 120, ("2", 0.75)),
        ],
        sources=[("S", 60, 0.35)],
        loads={"A": (9.5, 0, None), "B": (6, 0, None), "C": (14, 0.02, None), "D": (4, 0, 2200)},
    ),
    "N3": dict(
        about="tree near its collapse", temperature_degc=12, minimum_v=180,
        nodes="S M1 M2 M3 M4 M5 T1 T2 T3 T4 T5 T6".split(),
        spans=[
            ("S", "M1", 2000, ("5", 4.0)), ("M1", "M2", 1000, ("5", 4.0)), ("M2", "M3", 1000, ("5", 2.5)),
            ("M3", "M4", 1500, ("5", 2.5)), ("M4", "M5", 800, ("5", 1.5)), ("M1", "T1", 200, ("awg", 16)),
            ("M2", "T2", 300, ("awg", 16)), ("M2", "T3", 500, ("2", 1.5)), ("T3", "T4", 400, ("2", 1.0)),
            ("M4", "T5", 250, ("awg", 18)), ("M5", "T6", 150, ("awg", 20)),
        ],
        sources=[("S", 375, 1.2)],
        loads={
            "T1": (120, 0, None), "T2": (85, 0.05, None), "T3": (60, 0, None), "T4": (150, 0, None),
            "M3": (40, 0, 15000), "T5": (200, 0, None), "M5": (30, 0.03, None), "T6": (75, 0, None),
        },
    ),
    "N4": dict(
        about="mesh with two supplies", temperature_degc=8, minimum_v=40, nodes="SA SB 1 2 3 4 5 6".split(),
        spans=[
            ("SA", "1", 500, ("5", 4.0)), ("1", "2", 400, ("5", 4.0)), ("2", "3", 400, ("5", 2.5)),
            ("3", "SB", 600, ("5", 4.0)), ("1", "4", 300, ("5", 1.5)), ("4", "5", 300, ("5", 1.5)),
            ("5", "3", 350, ("5", 1.5)), ("2", "6", 200, ("awg", 18)),
        ],
        sources=[("SA", 58, 0.2), ("SB", 56.5, 0.3)],
        loads={
            "1": (10, 0, None), "2": (25, 0, None), "3": (12, 0, None), "4": (18, 0, None),
            "5": (15, 0.04, None), "6": (20, 0, 1500),
        },
    ),
}


class Net:
    def __init__(self, plan):
        self.names = plan["nodes"]
        at = {name: i for i, name in enumerate(self.names)}
        self.spans = [
            (at[a], at[b], loop_ohm(conductor, length, plan["temperature_degc"]))
            for a, b, length, conductor in plan["spans"]
        ]
        self.sources = [(at[n], v, r) for n, v, r in plan["sources"]]
        self.loads = [(at[n], *load) for n, load in plan["loads"].items()]
        self.n, self.m, self.k = len(self.names), len(self.spans), len(self.sources)

    def equations(self, x, scale=1.0, extra=None, fault=None):
        """x = voltages, span currents, source currents (and the fault's current)."""
        v, i, j = x[: self.n], x[self.n : self.n + self.m], x[self.n + self.m : self.n + self.m + self.k]
        into = np.zeros(self.n, dtype=x.dtype)
        rest = []
        for (a, b, r), amp in zip(self.spans, i):
            into[a] -= amp
            into[b] += amp
            rest.append(v[a] - v[b] - r * amp)
        for (node, volt, r), amp in zip(self.sources, j):
            into[node] += amp
            rest.append(volt - r * amp - v[node])
        if fault is None:
            for node, watt, ampere, ohm in self.loads:
                into[node] -= scale * watt / v[node] + ampere + (v[node] / ohm if ohm else 0)
        else:
            into[fault] -= x[-1]
            rest.append(v[fault])
        if extra:
            into[extra[0]] -= extra[1] / v[extra[0]]
        return np.concatenate([into, rest])

    def solve(self, scale=1.0, extra=None):
        start = np.concatenate([np.full(self.n, max(s[1] for s in self.sources)), np.zeros(self.m + self.k)])
        for step in (0.25, 0.5, 0.75, 0.9, 1.0):  # walk up, so that the branch of high voltage is kept
            e = (extra[0], extra[1] * step) if extra else None
            start, info, flag, why = fsolve(self.equations, start, (scale * step, e), full_output=True, xtol=1e-14)
            if np.max(np.abs(info["fvec"])) > 1e-9:
                return None
        return start

    def nose(self):
        low, high = 1.0, 4.0
        for _ in range(12):
            middle = (low + high) / 2
            low, high = (middle, high) if self.solve(middle) is not None else (low, middle)
        x = self.solve(low)
        size = len(x)
        w = np.concatenate([np.ones(self.n), np.zeros(size - self.n)])
        for _ in range(20):  # inverse iteration
            jacobian = np.array([self.equations(x + 1e-30j * e, low).imag / 1e-30 for e in np.eye(size)]).T
            w = np.linalg.solve(jacobian, np.concatenate([w[: self.n], np.zeros(size - self.n)]))
            w /= np.linalg.norm(w)

        def turning(y):
            x, w, scale = y[:size], y[size : 2 * size], y[-1]
            along = self.equations(x + 1e-30j * w, scale).imag / 1e-30
            return np.concatenate([self.equations(x, scale), along, [w @ w - 1]])

        y, info, flag, why = fsolve(turning, np.concatenate([x, w, [low]]), full_output=True, xtol=1e-14)
        assert np.max(np.abs(info["fvec"])) < 1e-9, why
        assert low * (1 - 1e-6) <= y[-1] <= high * (1 + 1e-6), (low, y[-1], high)
        return y[-1]

    def headroom(self, node, minimum_v):
        def spare(watt):
            x = self.solve(1.0, (node, watt))
            return -1.0 if x is None else x[: self.n].min() - minimum_v

        most = 8.0
        while spare(most) > 0:
            most *= 2
        return brentq(spare, 0.0, most, xtol=1e-10, rtol=1e-14)

    def short(self, node):
        x = np.zeros(self.n + self.m + self.k + 1)
        y, info, flag, why = fsolve(self.equations, x, (1.0, None, node), full_output=True, xtol=1e-14)
        assert np.max(np.abs(info["fvec"])) < 1e-9, why
        return y[-1]


def digits(value):
    return float(f"{value:.10g}")


networks = {}
for name, plan in NETWORKS.items():
    net = Net(plan)
    x = net.solve()
    current = x[net.n : net.n + net.m]
    ideal = {node for node, _, r in net.sources if r == 0}
    networks[name] = {
        "about": plan["about"],
        "temperature_degc": plan["temperature_degc"],
        "minimum_v": plan["minimum_v"],
        "nodes": plan["nodes"],
        "spans": [
            {"a": a, "b": b, "length_m": length, "conductor": list(conductor), "resistance_ohm": digits(r)}
            for (_, _, length, conductor), (a, b, r) in zip(plan["spans"], net.spans)
        ],
        "sources": [{"node": n, "voltage_v": v, "resistance_ohm": r} for n, v, r in net.sources],
        "loads": [
            {"node": n, "power_w": p, "current_a": i, "resistance_ohm": r} for n, p, i, r in net.loads
        ],
        "voltages_v": [digits(v) for v in x[: net.n]],
        "branch_currents_a": [digits(i) for i in current],
        "source_currents_a": [digits(i) for i in x[net.n + net.m :]],
        "span_loss_w": digits(sum(r * i * i for (_, _, r), i in zip(net.spans, current))),
        "collapse_factor": digits(net.nose()),
        "headroom_w": [None if n in ideal else digits(net.headroom(n, plan["minimum_v"])) for n in range(net.n)],
        "short_circuit_a": [None if n in ideal else digits(net.short(n)) for n in range(net.n)],
    }

OUT.parent.mkdir(exist_ok=True)
OUT.write_text(
    json.dumps(
        {
            "provenance": {
                "what": "operating point, collapse factor, headroom and short-circuit currents of four invented networks",
                "source": "scipy 1.17.1 (fsolve: MINPACK hybrd; brentq), numpy 2.4.6; conductors by IEC 60228 and ASTM B258",
                "script": "reference/make/" + HERE.name,
                "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "tolerance": "1e-6 V, 1e-6 A, collapse factor 1e-6, headroom 1e-5 W: the solvers agree to 1e-8, ten digits are kept",
            },
            "networks": networks,
        },
        indent=1,
    )
    + "\n"
)
