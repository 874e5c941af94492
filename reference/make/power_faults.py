"""Shorts with loads that drop out, leaks to the water with both conductors written out, and a leaky line.

Needs numpy 2.4.6 and scipy 1.17.1. Reads the networks of power/scipy-networks.json, writes power/scipy-faults.json beside this
folder.

Shorts: the rule of dropping out (all below their lowest go, at once; none comes back; without an operating point those below at the
largest share of the powers that has one, or the nearest to its lowest) is written once more here, on another solver: node
voltages by MINPACK from the voltages without loads, an operating point is one whose Jacobian by differences has only positive
eigenvalues, the share is found by continuation. Leaks: each conductor is a node of its own (half of each loop resistance), loads
and sources hang between them, and the water is the reference; nothing is assumed of symmetry. The leaky line is a matrix
exponential.
"""

import hashlib
import json
import pathlib

import numpy as np
import scipy
from scipy.linalg import expm
from scipy.optimize import fsolve

assert np.__version__ == "2.4.6" and scipy.__version__ == "1.17.1"

HERE = pathlib.Path(__file__).resolve()
POWER = HERE.parent.parent / "power"
NETWORKS = json.loads((POWER / "scipy-networks.json").read_text())["networks"]


def digits(values):
    return [float(f"{v:.10g}") for v in np.atleast_1d(values)]


def loads_of(net):
    """(node, kind, value) in the order: power, current where any, resistor where any, node by node."""
    loads = []
    for load in net["loads"]:
        loads.append((load["node"], "power", load["power_w"]))
        if load["current_a"] > 0:
            loads.append((load["node"], "current", load["current_a"]))
        if load["resistance_ohm"]:
            loads.append((load["node"], "resistance", load["resistance_ohm"]))
    return loads


def drawn(kind, value, v, share):
    return {"power": share * value / v, "current": value, "resistance": v / value}[kind]


def faulted(net, short, limits_a, at_limit, loads, on, share, start):
    """Node voltages with `share` of the constant powers, or None where that is no operating point."""
    n = len(net["nodes"])
    fixed = {short: 0.0}
    for i, s in enumerate(net["sources"]):
        if s["resistance_ohm"] == 0 and not at_limit[i]:
            fixed[s["node"]] = s["voltage_v"]
    free = [i for i in range(n) if i not in fixed]

    def whole(x):
        v = np.zeros(n)
        v[free] = x
        for node, value in fixed.items():
            v[node] = value
        return v

    def off(x):
        v = whole(x)
        out = np.zeros(n)
        for span in net["spans"]:
            current = (v[span["a"]] - v[span["b"]]) / span["resistance_ohm"]
            out[span["a"]] += current
            out[span["b"]] -= current
        for i, s in enumerate(net["sources"]):
            if at_limit[i]:
                out[s["node"]] -= limits_a[i]
            elif s["resistance_ohm"] > 0:
                out[s["node"]] -= (s["voltage_v"] - v[s["node"]]) / s["resistance_ohm"]
        for (node, kind, value), is_on in zip(loads, on):
            if is_on and node not in fixed:
                out[node] += drawn(kind, value, v[node], share)
        return out[free]

    x, _, ok, _ = fsolve(off, start[free], xtol=1e-13, full_output=True)
    if ok != 1 and np.abs(off(x)).max() > 1e-9:
        return None
    step = 1e-6
    jacobian = np.array([(off(x + step * e) - off(x - step * e)) / (2 * step) for e in np.eye(len(free))]).T
    if np.linalg.eigvalsh((jacobian + jacobian.T) / 2).min() <= 0:
        return None
    return whole(x)


def source_currents(net, v, limits_a, at_limit, loads, on):
    out = []
    for i, s in enumerate(net["sources"]):
        if at_limit[i]:
            out.append(limits_a[i])
        elif s["resistance_ohm"] > 0:
            out.append((s["voltage_v"] - v[s["node"]]) / s["resistance_ohm"])
        else:
            current = 0.0
            for span in net["spans"]:
                for here, there in ((span["a"], span["b"]), (span["b"], span["a"])):
                    if here == s["node"]:
                        current += (v[here] - v[there]) / span["resistance_ohm"]
            for (node, kind, value), is_on in zip(loads, on):
                if is_on and node == s["node"]:
                    current += drawn(kind, value, v[node], 1.0)
            out.append(current)
    return out


def short_with_loads(net, short, lowest, limits_a):
    loads = loads_of(net)
    on = [True] * len(loads)
    ideal_here = [s["resistance_ohm"] == 0 and s["node"] == short for s in net["sources"]]
    while True:
        at_limit = list(ideal_here)
        low = None
        while low is None:
            no_powers = [o and k != "power" for o, (_, k, _) in zip(on, loads)]
            start = faulted(net, short, limits_a, at_limit, loads, no_powers, 1.0, np.full(len(net["nodes"]), 10.0))
            assert start is not None
            low = [i for i, (node, _, _) in enumerate(loads) if on[i] and start[node] < lowest]
            if low:
                break
            low = None
            v, share = start, 0.0
            step = 0.02
            while share < 1.0 and step > 1e-9:
                following = faulted(net, short, limits_a, at_limit, loads, on, min(1.0, share + step), v)
                if following is None:
                    step /= 2
                else:
                    v, share = following, min(1.0, share + step)
            if share < 1.0:
                low = [i for i, (node, _, _) in enumerate(loads) if on[i] and v[node] < lowest]
                if not low:
                    low = [min((v[node], i) for i, (node, k, _) in enumerate(loads) if on[i] and k == "power")[1]]
                break
            currents = source_currents(net, v, limits_a, at_limit, loads, on)
            over = [l is not None and not a and bool(c > l) for l, a, c in zip(limits_a, at_limit, currents)]
            if any(over):
                at_limit = [a or o for a, o in zip(at_limit, over)]
                continue
            low = [i for i, (node, _, _) in enumerate(loads) if on[i] and v[node] < lowest]
            if not low:
                into = sum(
                    (v[there] - v[here]) / span["resistance_ohm"]
                    for span in net["spans"]
                    for here, there in ((span["a"], span["b"]), (span["b"], span["a"]))
                    if here == short
                )
                into += sum(c for c, s in zip(currents, net["sources"]) if s["node"] == short)
                return {
                    "short": short, "lowest_v": lowest, "limits_a": limits_a, "on": on, "at_limit": at_limit,
                    "voltages_v": digits(v), "source_currents_a": digits(currents), "short_a": digits(into)[0],
                }
        for i in low:
            on[i] = False


def leak(net, x, y, r_from, r_into, earthed):
    """Both conductors written out; water is the reference. `earthed`: the negative pole of source 0 is in the water."""
    n, m = len(net["nodes"]), len(net["sources"])
    loads = loads_of(net)

    def off(z):
        plus, minus, given = z[:n], z[n : 2 * n], z[2 * n :]
        out = np.zeros(2 * n)
        for span in net["spans"]:
            half = span["resistance_ohm"] / 2
            for side, v in ((0, plus), (n, minus)):
                current = (v[span["a"]] - v[span["b"]]) / half
                out[side + span["a"]] += current
                out[side + span["b"]] -= current
        for node, kind, value in loads:
            current = drawn(kind, value, plus[node] - minus[node], 1.0)
            out[node] += current
            out[n + node] -= current
        ends = []
        for i, s in enumerate(net["sources"]):
            out[s["node"]] -= given[i]
            out[n + s["node"]] += given[i]
            ends.append(plus[s["node"]] - minus[s["node"]] - s["voltage_v"] + s["resistance_ohm"] * given[i])
        out[x] += plus[x] / r_from
        if earthed:
            at = net["sources"][0]["node"]
            out[n + at] = minus[at]
        else:
            out[n + y] += minus[y] / r_into
        return np.concatenate([out, ends])

    highest = max(s["voltage_v"] for s in net["sources"])
    start = np.concatenate([np.full(n, 0.98 * highest if earthed else highest / 2), np.full(n, 0.0 if earthed else -highest / 2), np.zeros(m)])
    z, _, _, message = fsolve(off, start, xtol=1e-14, full_output=True)
    assert np.abs(off(z)).max() < 1e-9, message
    plus, minus, given = z[:n], z[n : 2 * n], z[2 * n :]
    return {
        "from": x, "into": net["sources"][0]["node"] if earthed else y,
        "resistance_ohm": r_from if earthed else r_from + r_into,
        "current_a": digits(plus[x] / r_from)[0], "voltages_v": digits(plus - minus), "source_currents_a": digits(given),
    }


shorts, leaks = {}, {}
for name, lowests, limits in (
    ("N1", (24.0,), ([None], [3.0])),
    ("N2", (20.0, 36.0), ([None], [3.0])),
    ("N4", (20.0, 40.0), ([None, None], [6.0, None], [6.0, 5.0])),
):
    net = NETWORKS[name]
    shorts[name] = []
    for lowest in lowests:
        for limits_a in limits:
            for short in range(len(net["nodes"])):
                if net["sources"][0]["resistance_ohm"] == 0 and short == net["sources"][0]["node"] and limits_a[0] is None:
                    continue
                shorts[name].append(short_with_loads(net, short, lowest, limits_a))
for name in ("N1", "N2", "N4"):
    net = NETWORKS[name]
    last = len(net["nodes"]) - 1
    leaks[name] = [leak(net, x, 0, r, 0, True) for x in (1, last) for r in (150.0, 2000.0)] if len(net["sources"]) == 1 else []
    leaks[name] += [leak(net, x, y, 400.0, 250.0, False) for x, y in ((1, last), (last, 1), (last, last), (0, 2))]

lines = []
for sent, series, shunt, end in ((375.0, 12.0, 4000.0, None), (375.0, 12.0, 900.0, 150.0), (48.0, 400.0, 100.0, 60.0), (48.0, 20.0, 5e6, None)):
    a = expm(np.array([[0, -series], [-1 / shunt, 0]]))  # (V, I) from one end to the other
    # V_e = a00 V_s + a01 I_s, I_e = a10 V_s + a11 I_s, I_e = V_e / end
    s = 0.0 if end is None else 1 / end
    current = sent * (s * a[0, 0] - a[1, 0]) / (a[1, 1] - s * a[0, 1])
    lines.append({"sent_v": sent, "series_ohm": series, "shunt_ohm": shunt, "end_ohm": end, "sent_a": digits(current)[0], "end_v": digits(a[0, 0] * sent + a[0, 1] * current)[0]})

(POWER / "scipy-faults.json").write_text(
    json.dumps(
        {
            "provenance": {
                "what": "shorts with loads that drop out, leaks to the water, a leaky line",
                "source": "scipy 1.17.1 fsolve (MINPACK) and expm, on the networks of scipy-networks.json",
                "script": "reference/make/" + HERE.name,
                "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "tolerance": "1e-6 V, 1e-6 A: resistances are read with ten digits and kept so",
            },
            "shorts": shorts,
            "leaks": leaks,
            "lines": lines,
        },
        indent=1,
    )
    + "\n"
)
