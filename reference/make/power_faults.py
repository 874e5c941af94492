"""Shorts and poor contacts with loads that drop out, leaks to the water with both conductors written out, and a leaky line.

Needs numpy 2.4.6 and scipy 1.17.1. Reads the networks of power/scipy-networks.json, writes power/scipy-faults.json beside this
folder.

Shorts, and contacts of random trees that have grown poor: the rule of dropping out (all below their lowest go, at once; none comes back; without an operating point the one goes that comes
to its lowest first as the voltages fall on from the collapse, V - t w, among those that fall at least half as fast as the fastest, with all
at its node) is written once more here, on another solver: node voltages by MINPACK from the voltages without loads, an operating point is
one whose Jacobian by differences has only positive eigenvalues, the share is found by continuation, w is the eigenvector of the least
eigenvalue there. Trees are drawn again where a voltage or the order of falling is closer than CLEAR. Leaks: each conductor is a node of its own (half of each loop resistance), loads
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
    """Node voltages with `share` of the constant powers and how fast each falls there, or None where that is no operating point."""
    n = len(net["nodes"])
    fixed = {} if short is None else {short: 0.0}
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
    values, vectors = np.linalg.eigh((jacobian + jacobian.T) / 2)
    if values.min() <= 0:
        return None
    w = np.zeros(n)
    w[free] = np.abs(vectors[:, 0])
    return whole(x), w


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


CLEAR = 0.03


class TooClose(Exception):
    pass


def below(v, loads, lowests, on, clear):
    if any(o and clear and abs(v[node] / low - 1) < clear for o, (node, _, _), low in zip(on, loads, lowests)):
        raise TooClose
    return [i for i, (node, _, _) in enumerate(loads) if on[i] and v[node] < lowests[i]]


def first_to_fall(v, w, loads, lowests, on, clear):
    """All loads at the node that comes to its lowest first as the voltages fall on from the collapse."""
    powers = {node: lowests[i] for i, (node, k, _) in enumerate(loads) if on[i] and k == "power"}
    fastest = max(w[node] for node in powers)
    if clear and any(abs(w[node] / fastest / 0.5 - 1) < clear for node in powers):
        raise TooClose
    order = sorted(((v[node] - low) / w[node], node) for node, low in powers.items() if w[node] >= 0.5 * fastest)
    if clear and len(order) > 1 and order[1][0] - order[0][0] < clear * abs(order[0][0]):
        raise TooClose
    return [i for i, (node, _, _) in enumerate(loads) if on[i] and node == order[0][1]]


def at_rest(net, short, lowests, limits_a, clear=0.0):
    """Which loads go on, short or none; `clear` as a share."""
    loads = loads_of(net)
    on = [True] * len(loads)
    collapses = 0
    ideal_here = [s["resistance_ohm"] == 0 and s["node"] == short for s in net["sources"]]
    while True:
        at_limit = list(ideal_here)
        low = None
        while low is None:
            no_powers = [o and k != "power" for o, (_, k, _) in zip(on, loads)]
            start = faulted(net, short, limits_a, at_limit, loads, no_powers, 1.0, np.full(len(net["nodes"]), 10.0))
            assert start is not None
            start = start[0]
            low = below(start, loads, lowests, on, 0.0)
            if low:
                break
            low = None
            v, w, share = start, None, 0.0
            step = 0.02
            while share < 1.0 and step > 1e-9:
                following = faulted(net, short, limits_a, at_limit, loads, on, min(1.0, share + step), v)
                if following is None:
                    step /= 2
                else:
                    (v, w), share = following, min(1.0, share + step)
            if share < 1.0:
                low = first_to_fall(v, w, loads, lowests, on, clear)
                collapses += 1
                break
            currents = source_currents(net, v, limits_a, at_limit, loads, on)
            over = [l is not None and not a and bool(c > l) for l, a, c in zip(limits_a, at_limit, currents)]
            if any(over):
                at_limit = [a or o for a, o in zip(at_limit, over)]
                continue
            low = below(v, loads, lowests, on, clear)
            if not low and short is None:
                return {"lowest_v": lowests, "on": on, "collapses": collapses, "voltages_v": digits(v)}
            if not low:
                into = sum(
                    (v[there] - v[here]) / span["resistance_ohm"]
                    for span in net["spans"]
                    for here, there in ((span["a"], span["b"]), (span["b"], span["a"]))
                    if here == short
                )
                into += sum(c for c, s in zip(currents, net["sources"]) if s["node"] == short)
                return {
                    "short": short, "lowest_v": lowests, "limits_a": limits_a, "on": on, "at_limit": at_limit,
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
                told = at_rest(net, short, [lowest] * len(loads_of(net)), limits_a)
                shorts[name].append({**told, "lowest_v": lowest})
for name in ("N1", "N2", "N4"):
    net = NETWORKS[name]
    last = len(net["nodes"]) - 1
    leaks[name] = [leak(net, x, 0, r, 0, True) for x in (1, last) for r in (150.0, 2000.0)] if len(net["sources"]) == 1 else []
    leaks[name] += [leak(net, x, y, 400.0, 250.0, False) for x, y in ((1, last), (last, 1), (last, last), (0, 2))]

def tree(draw):
    """A tree that carries its loads, and the same with one span grown poor; None where the first does not."""
    count = int(draw.integers(3, 8))
    spans = [
        {"a": int(draw.integers(max(0, node - 3), node)), "b": node, "resistance_ohm": round(float(draw.uniform(0.3, 6)), 3)}
        for node in range(1, count)
    ]
    loads = [
        {
            "node": node,
            "power_w": round(float(draw.uniform(0.2, 6)), 3),
            "current_a": round(float(draw.uniform(0.01, 0.05)), 4) if draw.random() < 0.2 else 0.0,
            "resistance_ohm": None,
        }
        for node in range(count)
        if draw.random() < 0.8
    ]
    lowest = [round(float(draw.uniform(9, 40)), 2) for _ in range(count)]
    net = {
        "nodes": list(range(count)), "spans": spans, "loads": loads,
        "sources": [{"node": 0, "voltage_v": 48.0, "resistance_ohm": 0.2}],
    }
    poor = int(draw.integers(0, count - 1))
    grown = [{**span} for span in spans]
    grown[poor]["resistance_ohm"] = round(float(10 ** draw.uniform(1, 3)), 2)
    lowests = [lowest[node] for node, _, _ in loads_of(net)]
    if not loads or not all(at_rest(net, None, lowests, [None], CLEAR)["on"]):
        return None
    return {**net, "spans": grown}, lowests


contacts = []
random = np.random.default_rng(48)
while len(contacts) < 80:
    try:
        drawn_net = tree(random)
        if drawn_net is None:
            continue
        told = at_rest(drawn_net[0], None, drawn_net[1], [None], CLEAR)
    except TooClose:
        continue
    # As many that only fall too low as are of use; the rest collapse.
    if told["collapses"] or len(contacts) % 8 == 0:
        contacts.append({"nodes": len(drawn_net[0]["nodes"]), "spans": drawn_net[0]["spans"], "loads": drawn_net[0]["loads"], **told})

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
                "what": "shorts with loads that drop out, trees of 48 V behind 0.2 ohm with one span grown poor, leaks to the water, a leaky line",
                "source": "scipy 1.17.1 fsolve (MINPACK) and expm, on the networks of scipy-networks.json",
                "script": "reference/make/" + HERE.name,
                "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "tolerance": "1e-6 V, 1e-6 A: resistances are read with ten digits and kept so",
            },
            "shorts": shorts,
            "contacts": contacts,
            "leaks": leaks,
            "lines": lines,
        },
        indent=1,
    )
    + "\n"
)
