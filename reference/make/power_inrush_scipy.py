"""Start-up of lines with capacitors, current limits, lock-outs and booting modules, by SciPy.

Needs numpy 2.4.6 and scipy 1.17.1. Writes power/scipy-inrush.json beside this folder.

State: capacitor voltages. Nodes without capacitor are solved for by dense elimination at each evaluation. Between
switchings DOP853 (rtol 1e-11, atol 1e-12), switchings by its terminal events. Cases without limit and modules once more
by the matrix exponential, the single capacitor behind a limit by its closed form.
"""

import hashlib
import json
import pathlib

import numpy as np
import scipy
from scipy.integrate import solve_ivp
from scipy.linalg import expm
from scipy.optimize import brentq, fsolve

HERE = pathlib.Path(__file__).resolve()
POWER = HERE.parent.parent / "power"
# loop resistances of 400 m and 300 m of 1.5 mm2 class 5 at 10 degC, and a third one
LADDER = [10.221848, 7.666386, 5.889174]
FILL = [470e-6, 1000e-6, 330e-6]


def ladder(count, limit_a, modules=(), capacitors=FILL):
    return {
        "spans": [[i, i + 1, LADDER[i]] for i in range(count)],
        "source": {"node": 0, "voltage_v": 48.0, "resistance_ohm": 0.0, "current_limit_a": limit_a},
        "resistors": [],
        "capacitors": [[i + 1, capacitors[i]] for i in range(count)],
        "modules": list(modules),
    }


def module(node, watt, on_v=None, off_v=None, minimum_v=None, boot_w=None, boot_s=0.0, not_before_s=0.0):
    return {
        "node": node, "on_v": on_v, "off_v": off_v, "minimum_v": minimum_v,
        "boot_power_w": watt if boot_w is None else boot_w, "boot_s": boot_s, "running_power_w": watt,
        "not_before_s": not_before_s,
    }


class Line:
    def __init__(self, case):
        self.case = case
        nodes = 1 + max(max(a, b) for a, b, _ in case["spans"])
        self.laplacian = np.zeros((nodes, nodes))
        for a, b, ohm in case["spans"]:
            self.laplacian[[a, b], [a, b]] += 1 / ohm
            self.laplacian[[a, b], [b, a]] -= 1 / ohm
        for node, ohm in case["resistors"]:
            self.laplacian[node, node] += 1 / ohm
        self.c = np.zeros(nodes)
        for node, farad in case["capacitors"]:
            self.c[node] += farad
        self.has = np.flatnonzero(self.c)
        self.modules = case["modules"]
        self.phase = ["low" if m["minimum_v"] else "off" for m in self.modules]
        self.boot_end = [np.inf] * len(self.modules)
        self.limited = False

    def voltages(self, vc):
        """All node voltages and the source current; modules hang on capacitor nodes only."""
        s = self.case["source"]
        n = len(self.c)
        g = self.laplacian.copy()
        j = np.zeros(n)
        fixed = {int(i): v for i, v in zip(self.has, vc)}
        if self.limited:
            j[s["node"]] += s["current_limit_a"]
        elif s["resistance_ohm"] > 0:
            g[s["node"], s["node"]] += 1 / s["resistance_ohm"]
            j[s["node"]] += s["voltage_v"] / s["resistance_ohm"]
        else:
            fixed[s["node"]] = s["voltage_v"]
        v = np.zeros(n)
        known = sorted(fixed)
        v[known] = [fixed[i] for i in known]
        free = [i for i in range(n) if i not in fixed]
        if free:
            v[free] = np.linalg.solve(g[np.ix_(free, free)], j[free] - g[np.ix_(free, known)] @ v[known])
        out = g @ v - j
        if self.limited:
            amp = s["current_limit_a"]
        elif s["resistance_ohm"] > 0:
            amp = (s["voltage_v"] - v[s["node"]]) / s["resistance_ohm"]
        else:
            amp = out[s["node"]]
        return v, amp, out

    def slope(self, _t, vc):
        v, _, out = self.voltages(vc)
        draw = np.zeros(len(self.c))
        for m, phase in zip(self.modules, self.phase):
            at = v[m["node"]]
            if phase == "low":
                draw[m["node"]] += at * m["boot_power_w"] / m["minimum_v"] ** 2
            elif phase == "booting":
                draw[m["node"]] += m["boot_power_w"] / at
            elif phase == "running":
                draw[m["node"]] += m["running_power_w"] / at
        return (-out - draw)[self.has] / self.c[self.has]

    def past(self):
        """Functions of (t, vc) that rise through zero when something switches."""
        s = self.case["source"]
        tests = []
        limit = s["current_limit_a"]
        if limit is not None and self.limited:
            top = s["voltage_v"] - limit * s["resistance_ohm"]
            tests.append(("left", 0, lambda t, vc: self.voltages(vc)[0][s["node"]] - top))
        elif limit is not None:
            tests.append(("reached", 0, lambda t, vc: self.voltages(vc)[1] - limit))
        for i, m in enumerate(self.modules):
            where = int(np.flatnonzero(self.has == m["node"])[0])
            high = m["on_v"] or m["minimum_v"]
            low = m["off_v"] or m["minimum_v"]
            if self.phase[i] in ("off", "low"):
                tests.append(("on", i, lambda t, vc, w=where, x=high: vc[w] - x))
            else:
                tests.append(("off", i, lambda t, vc, w=where, x=low: x - vc[w]))
        return tests

    def run(self, until_s, most=200):
        events, t, vc = [], 0.0, np.zeros(len(self.has))
        v, amp, _ = self.voltages(vc)
        limit = self.case["source"]["current_limit_a"]
        self.limited = limit is not None and amp > limit
        peak = min(amp, limit) if limit is not None else amp
        reached = {}
        pending = sorted(m["not_before_s"] for m in self.modules if m["not_before_s"] > 0)
        while t < until_s and len(events) < most:
            held = [i for i, m in enumerate(self.modules) if self.phase[i] == "off" and m["not_before_s"] > t]
            tests = [x for x in self.past() if not (x[0] == "on" and x[1] in held)]
            functions = []
            for _, _, f in tests:
                functions.append(f)
                f.terminal, f.direction = True, 1
            waiting = [self.modules[i]["not_before_s"] for i in held]
            stop = min([until_s, *self.boot_end, *waiting])
            run = solve_ivp(self.slope, (t, stop), vc, "DOP853", events=functions, rtol=1e-11, atol=1e-12,
                            dense_output=True)
            peak = max(peak, *(self.voltages(run.y[:, k])[1] for k in range(run.y.shape[1])))
            for k, node in enumerate(self.has):
                mark = 0.9 * self.case["source"]["voltage_v"]
                over = np.flatnonzero(run.y[k] >= mark)
                if int(node) not in reached and len(over):
                    i = over[0]
                    reached[int(node)] = run.t[i] if i == 0 else brentq(
                        lambda x: run.sol(x)[k] - mark, run.t[i - 1], run.t[i], xtol=1e-14)
            t, vc = run.t[-1], run.y[:, -1].copy()
            hit = [k for k in range(len(tests)) if len(run.t_events[k])]
            for k in hit:
                kind, i, _ = tests[k]
                if kind in ("left", "reached"):
                    self.limited = kind == "reached"
                    events.append([kind, 0, t])
                elif kind == "on":
                    self.turn_on(i, t, events)
                else:
                    events.append(["off", i, t])
                    self.phase[i] = "low" if self.modules[i]["minimum_v"] else "off"
                    self.boot_end[i] = np.inf
            if not hit:
                for i, m in enumerate(self.modules):
                    if self.boot_end[i] <= t:
                        self.phase[i], self.boot_end[i] = "running", np.inf
                        events.append(["boot end", i, t])
                    if i in held and m["not_before_s"] <= t and vc[list(self.has).index(m["node"])] >= m["on_v"]:
                        self.turn_on(i, t, events)
        v, amp, _ = self.voltages(vc)
        return events, peak, reached, v, amp

    def turn_on(self, i, t, events):
        events.append(["on", i, t])
        boots = self.modules[i]["boot_s"] > 0
        self.phase[i] = "booting" if boots else "running"
        self.boot_end[i] = t + self.modules[i]["boot_s"] if boots else np.inf


def n2(boot, delays=(0.0,) * 4, on_v=42.0, off_v=36.0):
    net = json.loads((POWER / "scipy-networks.json").read_text())["networks"]["N2"]
    s = net["sources"][0]
    modules, capacitors, resistors = [], [], []
    for load in net["loads"]:
        node, watt = load["node"], load["power_w"]
        if load["resistance_ohm"]:
            resistors.append([node, load["resistance_ohm"]])
        if watt:
            modules.append(module(node, watt, on_v, off_v, boot_w=boot * watt, boot_s=0.25,
                                  not_before_s=delays[len(modules)]))
            capacitors.append([node, 220e-6])
    return {
        "spans": [[x["a"], x["b"], x["resistance_ohm"]] for x in net["spans"]],
        "source": {"node": s["node"], "voltage_v": s["voltage_v"], "resistance_ohm": s["resistance_ohm"],
                   "current_limit_a": None},
        "resistors": resistors, "capacitors": capacitors, "modules": modules,
    }


def single(limit_a, **of_module):
    return {
        "spans": [[0, 1, 20.0]],
        "source": {"node": 0, "voltage_v": 48.0, "resistance_ohm": 0.0, "current_limit_a": limit_a},
        "resistors": [], "capacitors": [[1, 470e-6]], "modules": [module(1, 25.0, **of_module)],
    }


UVLO = {"on_v": 36.0, "off_v": 30.0}
pair = [module(1, 8.0, **UVLO), module(2, 12.0, **UVLO)]
booting = [module(1, 8.0, boot_w=14.0, boot_s=0.06, **UVLO), module(2, 12.0, boot_w=15.0, boot_s=0.11, **UVLO)]
CASES = {
    "two nodes, no limit": (ladder(2, None), 0.8),
    "three nodes, no limit": (ladder(3, None), 0.8),
    "two nodes, 0.8 A": (ladder(2, 0.8), 0.8),
    "three nodes, 0.5 A": (ladder(3, 0.5), 0.9),
    "one node, 1470 uF, 0.8 A": (ladder(1, 0.8, capacitors=[1470e-6]), 0.5),
    "lock-out, 0.8 A": (ladder(2, 0.8, pair), 1.0),
    "lock-out, 0.45 A": (ladder(2, 0.45, pair), 1.2),
    "lock-out 44/39, 20 W": (ladder(2, None, [module(1, 8.0, on_v=44.0, off_v=39.0), module(2, 20.0, on_v=44.0, off_v=39.0)]), 0.4),
    "booting, 0.8 A": (ladder(2, 0.8, booting), 1.5),
    "latch": (single(0.9, minimum_v=8.0), 0.5),
    "latch cured by a lock-out": (single(0.9, on_v=36.0, off_v=26.0), 1.5),
    "N2 at once": (n2(1.8), 3.0),
    "N2 in turn": (n2(1.8, (0.1, 0.5, 0.9, 1.3)), 3.0),
}


def g10(x):
    return float(f"{x:.12g}")


result = {}
for name, (case, until_s) in CASES.items():
    line = Line(case)
    events, peak, reached, v, amp = line.run(until_s)
    result[name] = {
        **case, "until_s": until_s,
        "events": [[kind, i, g10(t)] for kind, i, t in events],
        "peak_a": g10(peak),
        "reached_s": {str(node): g10(t) for node, t in sorted(reached.items())},
        "end_v": [g10(x) for x in v], "end_a": g10(amp),
    }



def collapse_factor(case):
    """Largest common factor on the running powers with an operating point: F = 0, J w = 0, w'w = 1."""
    line, source = Line(case), case["source"]
    n = len(line.c)
    g, p, j = line.laplacian.copy(), np.zeros(n), np.zeros(n)
    g[source["node"], source["node"]] += 1 / source["resistance_ohm"]
    j[source["node"]] = source["voltage_v"] / source["resistance_ohm"]
    for m in case["modules"]:
        p[m["node"]] += m["running_power_w"]

    def equations(x):
        v, w, k = x[:n], x[n:-1], x[-1]
        return np.concatenate([g @ v + k * p / v - j, g @ w - k * p / v**2 * w, [w @ w - 1]])

    start = np.concatenate([np.linalg.solve(g, j) * np.linspace(0.95, 0.55, n), np.full(n, n**-0.5), [1.7]])
    x, _, status, _ = fsolve(equations, start, xtol=1e-13, full_output=True)
    assert status == 1 and abs(equations(x)).max() < 1e-9 and (x[:n] > 0).all() and (x[n:-1] > 0).all()
    return x[-1]


result["N2 at once"]["collapse_factor"] = g10(collapse_factor(CASES["N2 at once"][0]))

# second routes
for name in ("two nodes, no limit", "three nodes, no limit"):
    line = Line(CASES[name][0])
    n = len(line.has)
    a = np.column_stack([line.slope(0, np.eye(n)[k]) - line.slope(0, np.zeros(n)) for k in range(n)])
    rest = np.full(n, 48.0)
    for k, node in enumerate(line.has):
        at = brentq(lambda t: (rest - expm(a * t) @ rest)[k] - 43.2, 1e-4, 0.3, xtol=1e-15)
        assert abs(at / result[name]["reached_s"][str(int(node))] - 1) < 1e-9
c, r, amp, volt = 1470e-6, LADDER[0], 0.8, 48.0
closed = c * (volt - r * amp) / amp + r * c * np.log(r * amp / (0.1 * volt))
assert abs(closed / result["one node, 1470 uF, 0.8 A"]["reached_s"]["1"] - 1) < 1e-9

(POWER / "scipy-inrush.json").write_text(
    json.dumps(
        {
            "provenance": {
                "what": "start-up from empty capacitors: switchings (kind, module, s), largest source current, time "
                        "to 90 % of the source voltage by node, voltages and current at the end",
                "source": f"scipy {scipy.__version__} solve_ivp DOP853 with events, numpy {np.__version__}; "
                          "matrix exponential and closed form agree to 1e-9",
                "script": "reference/make/" + HERE.name,
                "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "tolerance": "1e-7 s, 1e-6 V, 1e-6 A: both integrators are set to about 1e-9 of the source voltage",
            },
            "cases": result,
        },
        indent=1,
    )
    + "\n"
)
