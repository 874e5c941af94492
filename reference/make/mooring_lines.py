"""Lines in a current by an independent road: SciPy's DOP853 and brentq, catenaries by their closed forms, waves by the root of their equation.

Python 3.11, numpy==2.4.6, scipy==1.17.1. Run with no arguments to write reference/mooring/scipy-lines.json: lines under a float and under a buoy at the surface
(named ones and random ones, with bodies, several ropes and turning currents), catenaries between fixed ends, and waves. Running it again gives the
same bytes: results are rounded to twelve significant digits.

Equations, with s the unstretched length from the anchor and F the pull of what lies above a cut on what lies below:
r' = (1 + T/EA) F/T, F' = w z - (1 + T/EA) 0.5 rho d (Cn |Vn| Vn + pi Ct |Vt| Vt); at a body F(below) = F(above) + (drag, -weight).
"""

import hashlib
import json
import math
import pathlib
import random

import numpy as np
import scipy
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, fsolve

RHO = 1025.0
G = 9.80665


def current(case, depth):
    table = case["current"]
    if not table:
        return np.zeros(3)
    depths = [row[0] for row in table]
    return np.array([np.interp(depth, depths, [row[1] for row in table]), np.interp(depth, depths, [row[2] for row in table]), 0.0])


def drag(area, v):
    return 0.5 * RHO * area * np.linalg.norm(v) * v


def descend(case, top, pull, level_stops):
    """Follows the line down; returns s, r, F at its end, whether it became level, and what was met at the bodies."""
    total = sum(rope["length"] for rope in case["ropes"])
    bounds, ropes = [0.0], []
    for rope in case["ropes"]:
        bounds.append(bounds[-1] + rope["length"])
    bodies = sorted(case["bodies"], key=lambda body: -body["at"])
    stops = sorted(set(bounds) | {body["at"] for body in bodies}, reverse=True)
    y = np.concatenate([top, pull]).astype(float)
    met = []
    s = total
    for lower in stops[1:]:
        rope = case["ropes"][max(i for i in range(len(case["ropes"])) if bounds[i] <= lower + 1e-12)]
        ea = rope["stiffness"] if rope["stiffness"] is not None else math.inf

        def rate(u, y, rope=rope, ea=ea):
            force = y[3:]
            tension = np.linalg.norm(force)
            t = force / tension
            stretch = 1.0 + tension / ea
            v = current(case, case["depth"] - y[2])
            vt = np.dot(v, t) * t
            vn = v - vt
            q = stretch * 0.5 * RHO * rope["diameter"] * (rope["normal"] * np.linalg.norm(vn) * vn + math.pi * rope["tangential"] * np.linalg.norm(vt) * vt)
            q[2] -= rope["weight"]
            return np.concatenate([-stretch * t, q])

        def level(u, y):
            return y[5]

        level.terminal, level.direction = True, -1
        found = solve_ivp(rate, (0.0, s - lower), y, method="DOP853", rtol=1e-11, atol=1e-10, events=[level] if level_stops else None)
        y = found.y[:, -1]
        if found.status == 1:
            return s - found.t[-1], y[:3], y[3:], True, met
        s = lower
        for body in bodies:
            if body["at"] == lower:
                above = y[3:].copy()
                v = current(case, case["depth"] - y[2])
                y[3:] += drag(body["drag_area"], v) + np.array([0.0, 0.0, -body["weight"]])
                met.append({"s": lower, "r": y[:3].copy(), "above": above, "below": y[3:].copy()})
    return s, y[:3], y[3:], False, met


def solve(case):
    top = case["top"]
    heavy = all(rope["weight"] > 0 for rope in case["ropes"]) and all(body["weight"] >= 0 for body in case["bodies"])
    total = sum(rope["length"] for rope in case["ropes"])
    if top["kind"] == "float":
        def start(z):
            v = current(case, case["depth"] - z)
            return np.array([0.0, 0.0, z]), drag(top["drag_area"], v) + np.array([0.0, 0.0, top["buoyancy"]])

        def miss(z):
            return descend(case, *start(z), heavy)[1][2]

        root = brentq(miss, 0.0, 1.2 * total, xtol=1e-11, rtol=1e-14)
    else:
        def start(v):
            return np.array([0.0, 0.0, case["depth"]]), np.array([top["force"][0], top["force"][1], v])

        def miss(v):
            return descend(case, *start(v), heavy)[1][2]

        high = 1.0
        while miss(high) > 0:
            high *= 2.0
        root = brentq(miss, 1e-6 if heavy else high / 2, high, xtol=1e-10, rtol=1e-14)
    at, pull = start(root)
    s, r, force, level, met = descend(case, at, pull, heavy)
    anchor = r.copy()
    if level:
        force[2] = 0.0
        tension = np.linalg.norm(force)
        along = force / tension
        bounds = [0.0]
        for rope in case["ropes"]:
            bounds.append(bounds[-1] + rope["length"])
        for i, rope in enumerate(case["ropes"]):
            low, high = bounds[i], min(bounds[i + 1], s)
            if high > low:
                ea = rope["stiffness"] if rope["stiffness"] is not None else math.inf
                anchor = anchor - along * (high - low) * (1.0 + tension / ea)
    anchor[2] = 0.0
    moved = -anchor
    return {
        "top": (at + moved).tolist(),
        "top_n": pull.tolist(),
        "anchor_n": force.tolist(),
        "touch": s if level else None,
        "bodies": [{"s": m["s"], "r": (m["r"] + moved).tolist(), "above": m["above"].tolist(), "below": m["below"].tolist()} for m in met],
    }


def rope(length, diameter, weight, stiffness, normal=1.2, tangential=0.01):
    return {"length": length, "diameter": diameter, "weight": weight, "stiffness": stiffness, "normal": normal, "tangential": tangential}


def named():
    iv_bodies = [{"at": 40.0, "weight": 60.0, "drag_area": 0.05}, {"at": 75.0, "weight": 120.0, "drag_area": 0.08}]
    iv_top = {"kind": "float", "buoyancy": 1200.0, "drag_area": 0.25}
    turning = []
    for depth, speed, degrees in [(0.0, 0.9, 0.0), (40.0, 0.5, 30.0), (120.0, 0.1, 90.0)]:
        turning.append([depth, speed * math.cos(math.radians(degrees)), speed * math.sin(math.radians(degrees))])
    slack = {"kind": "surface", "force": [600.0, 0.0]}
    return [
        {"name": "taut float", "depth": 100.0, "current": [[0.0, 0.5, 0.0]], "ropes": [rope(80.0, 0.012, 0.5, 1e6)], "bodies": [],
         "top": {"kind": "float", "buoyancy": 1500.0, "drag_area": 0.30}},
        {"name": "float with bodies in a sheared current", "depth": 120.0, "current": [[0.0, 0.9, 0.0], [40.0, 0.5, 0.0], [120.0, 0.1, 0.0]],
         "ropes": [rope(95.0, 0.014, 0.9, 8e5)], "bodies": iv_bodies, "top": iv_top},
        {"name": "the same in a turning current", "depth": 120.0, "current": turning, "ropes": [rope(95.0, 0.014, 0.9, 8e5)], "bodies": iv_bodies, "top": iv_top},
        {"name": "slack, stiff, still water", "depth": 60.0, "current": [], "ropes": [rope(150.0, 0.02, 8.0, None)], "bodies": [], "top": slack},
        {"name": "slack, still water", "depth": 60.0, "current": [], "ropes": [rope(150.0, 0.02, 8.0, 4e5)], "bodies": [], "top": slack},
        {"name": "slack in a current", "depth": 60.0, "current": [[0.0, 0.4, 0.0]], "ropes": [rope(150.0, 0.02, 8.0, 4e5)], "bodies": [], "top": slack},
    ]


def drawn(count):
    draw = random.Random(20261126)
    cases = []
    for number in range(count):
        depth = draw.uniform(40.0, 300.0)
        table, at = [], 0.0
        for _ in range(draw.randint(1, 4)):
            speed, towards = draw.uniform(0.0, 0.8), draw.uniform(0.0, 2.0 * math.pi)
            table.append([at, speed * math.cos(towards), speed * math.sin(towards)])
            at += draw.uniform(5.0, 60.0)
        under_float = number % 2 == 0
        share = draw.uniform(0.5, 0.9) if under_float else draw.uniform(1.15, 2.2)
        pieces = draw.randint(1, 3)
        ropes = [rope(depth * share / pieces, draw.uniform(0.006, 0.03), draw.uniform(0.3, 6.0) if not under_float else draw.uniform(0.2, 1.5),
                      draw.choice([None, draw.uniform(2e5, 2e6)]), draw.uniform(1.0, 2.0), draw.uniform(0.005, 0.03)) for _ in range(pieces)]
        total = sum(r["length"] for r in ropes)
        bodies = [{"at": draw.uniform(0.3, 0.95) * total, "weight": draw.uniform(5.0, 80.0), "drag_area": draw.uniform(0.0, 0.1)} for _ in range(draw.randint(0, 4))]
        if under_float:
            load = sum(r["length"] * r["weight"] for r in ropes) + sum(b["weight"] for b in bodies)
            top = {"kind": "float", "buoyancy": draw.uniform(1.5, 4.0) * load + 200.0, "drag_area": draw.uniform(0.05, 0.4)}
        else:
            force, towards = draw.uniform(50.0, 900.0), draw.uniform(0.0, 2.0 * math.pi)
            top = {"kind": "surface", "force": [force * math.cos(towards), force * math.sin(towards)]}
        cases.append({"name": f"drawn {number}", "depth": depth, "current": table, "ropes": ropes, "bodies": bodies, "top": top})
    return cases


def catenaries():
    """Lines between an anchor at the origin and a fixed end, in still water; w and EA as given. Closed forms (Irvine 1981, from memory)."""
    told = []
    for name, across, rise, length, weight, stiffness in [
        ("stiff", 80.0, 20.0, 100.0, 10.0, None),
        ("elastic", 80.0, 20.0, 100.0, 10.0, 5e4),
        ("nearly stiff", 80.0, 20.0, 100.0, 10.0, 1e9),
        ("nearly taut", 99.0, 20.0, 100.0, 10.0, 1e5),
        ("little slack, at both ends pulled up", 20.0, 5.0, 20.7, 1.0, None),
    ]:
        flexible = 0.0 if stiffness is None else 1.0 / stiffness

        def off(unknown):
            level, bottom = unknown
            upper = bottom + weight * length
            x = level * length * flexible + level / weight * (math.asinh(upper / level) - math.asinh(bottom / level))
            z = (upper**2 - bottom**2) / (2.0 * weight) * flexible + (math.hypot(level, upper) - math.hypot(level, bottom)) / weight
            return [x - across, z - rise]

        level, bottom = fsolve(off, [weight * across, -0.3 * weight * length], xtol=1e-12)
        told.append({"name": name, "across": across, "rise": rise, "length": length, "weight": weight, "stiffness": stiffness,
                     "level_n": level, "bottom_n": bottom, "top_n": bottom + weight * length})
    return told


def waves():
    told = []
    for period, depth, z in [(8.0, 30.0, 10.0), (8.0, 100.0, 10.0), (5.0, 30.0, 10.0), (12.0, 60.0, 20.0), (15.0, 8.0, 4.0), (3.0, 500.0, 2.0)]:
        omega = 2.0 * math.pi / period
        k = brentq(lambda k: G * k * math.tanh(k * depth) - omega**2, 1e-8, 100.0, xtol=1e-16, rtol=1e-15)
        # Written with falling exponentials, so that deep water does not overflow.
        fall, back, bed = math.exp(-k * z), math.exp(-2.0 * k * (depth - z)), math.exp(-2.0 * k * depth)
        told.append({"period": period, "depth": depth, "z": z, "length": 2.0 * math.pi / k, "up": fall * (1.0 - back) / (1.0 - bed),
                     "across": fall * (1.0 + back) / (1.0 - bed), "pressure": fall * (1.0 + back) / (1.0 + bed)})
    return told


def rounded(value, digits=12):
    """Every number of a document with so many significant digits, and no negative zero."""
    if isinstance(value, float):
        return float(f"{value:.{digits}g}") + 0.0
    if isinstance(value, dict):
        return {key: rounded(part, digits) for key, part in value.items()}
    if isinstance(value, list):
        return [rounded(part, digits) for part in value]
    return value


def main():
    here = pathlib.Path(__file__)
    lines = []
    for case in named() + drawn(16):
        case = rounded(case)
        lines.append({"case": case, "found": rounded(solve(case))})
    document = {
        "provenance": {
            "what": "lines under a float or a buoy: inputs, and top (m), pulls at top and anchor (N), length on the seabed (m), bodies from the top down; "
                    "catenaries between fixed ends (N); waves: length (m) and amplitudes at a depth z for an amplitude of 1 m",
            "library": f"scipy {scipy.__version__}, numpy {np.__version__}",
            "source": "equations in the script's header; catenary with stretch: Irvine 1981, from memory; waves: linear theory",
            "script": "reference/make/mooring_lines.py",
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "1e-4 m, 1e-3 N: far above what either integration leaves",
        },
        "lines": lines,
        "catenaries": rounded(catenaries()),
        "waves": rounded(waves()),
    }
    target = here.parent.parent / "mooring" / "scipy-lines.json"
    target.write_text(json.dumps(document, indent=1) + "\n")


main()
