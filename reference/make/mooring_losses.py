"""Partings of a line, drift alarms, growth and anodes.

Python 3.11, scipy==1.17.1, numpy==2.4.6, chemicals==1.5.2. Run with no arguments to write reference/mooring/scipy-losses.json. Running it again gives the same bytes.

Partings: the line is a column of millimetres, each with its weight and its drag along; bodies sit between two of them. The upper piece is the sum above the cut, its speed the root of its
balance of forces (brentq). Slack is counted in millimetres that float and lie further up than the surface.

Drift: quantile of Rayleigh's law (scipy.stats.rayleigh); false alarms counted in 20,000 deployments whose anchor's place is wrong by one draw for all fixes.

Growth: shells of no thickness are integrated outwards (quad). Anodes: used up day by day; capacities by Faraday's law (chemicals, scipy.constants) beside the design ones.
"""

import hashlib
import json
import math
import pathlib
from importlib.metadata import version

import numpy as np
import scipy
from chemicals import periodic_table
from scipy import constants
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import rayleigh

from mooring_lines import rounded

G, RHO = 9.80665, 1025.0
# Ropes: mm, diameter m, N/m, drag along. Bodies: mm from the lower end, N, m2, N that a flood costs. Top: N, m2, N.
LINES = [
    {"ropes": [[40000, 0.012, 0.4, 0.01], [25000, 0.016, -0.6, 0.02], [30000, 0.010, 0.7, 0.01]],
     "bodies": [[2000, 180.0, 0.05, 60.0], [40000, 45.0, 0.04, 90.0], [65000, -120.0, 0.12, 130.0], [80000, 35.0, 0.03, 0.0]], "top": [420.0, 0.25, 200.0]},
    {"ropes": [[18000, 0.020, 2.5, 0.03]], "bodies": [[0, 90.0, 0.06, 0.0], [9000, 60.0, 0.05, 110.0], [9000, 20.0, 0.01, 20.0], [18000, 15.0, 0.02, 70.0]],
     "top": [150.0, 0.10, 0.0]},
    {"ropes": [[12500, 0.008, -0.2, 0.015]], "bodies": [], "top": [0.0, 0.0, 0.0]},
]


def partings(line):
    weights, drags = [], []
    for length, diameter, weight, along in line["ropes"]:
        weights += [weight / 1000.0] * length
        drags += [math.pi * diameter * along / 1000.0] * length
    weights, drags = np.array(weights), np.array(drags)
    joints = np.cumsum([0] + [r[0] for r in line["ropes"]])
    places = sorted(set(int(j) for j in joints) | {b[0] for b in line["bodies"]})
    told = []
    for at in places:
        here = [i for i, b in enumerate(line["bodies"]) if b[0] == at]
        for side in (["below", "above"] if here else ["above"]):
            up = [i for i, b in enumerate(line["bodies"]) if b[0] > at or (b[0] == at and side == "below")]
            net = line["top"][0] - weights[at:].sum() - sum(line["bodies"][i][1] for i in up)
            area = line["top"][1] + drags[at:].sum() + sum(line["bodies"][i][2] for i in up)
            costs = [(line["top"][2], "top")] + [(line["bodies"][i][3], i) for i in up]
            cost, which = max(costs, key=lambda c: c[0])
            left = [i for i in range(len(line["bodies"])) if i not in up]
            row = {"at_mm": at, "side": side, "net_n": float(net), "rises_m_s": speed(net, area), "left": left,
                   "left_n": float(weights[:at].sum() + sum(line["bodies"][i][1] for i in left))}
            if cost > 0.0:
                row["flooded"] = {"what": which, "net_n": float(net - cost), "rises_m_s": speed(net - cost, area)}
            told.append(row)
    slacks = []
    floats = weights < 0.0
    middles = np.arange(len(weights)) + 0.5
    for above_mm in (5000, 11000, 50000, 90000):
        for up_to_mm in (8000, 12000, 60000, 10**7):
            slacks.append([above_mm, up_to_mm, float((floats & (middles > above_mm) & (middles < up_to_mm)).sum() / 1000.0)])
    return {**line, "partings": told, "slacks": slacks}


def speed(net, area):
    if abs(net) < 1e-9 or area == 0.0:
        return 0.0
    return float(math.copysign(brentq(lambda v: 0.5 * RHO * area * v * v - abs(net), 0.0, 100.0, xtol=1e-14, rtol=1e-14), net))


def drifts():
    told = []
    draw = np.random.default_rng(7)
    for circle, fix, place, fixes, chance in [(25.0, 2.5, 0.0, 1, 0.05), (25.0, 2.5, 3.0, 5760, 0.01), (80.0, 8.0, 5.0, 200, 0.05), (0.0, 4.0, 0.0, 300, 0.2)]:
        each = 1.0 - (1.0 - chance) ** (1.0 / fixes)
        error = rayleigh.isf(each, scale=math.sqrt(fix**2 + place**2))
        false = None
        if fixes <= 300:
            off = draw.normal(0.0, 1.0, (20000, 2))[:, None, :] * place
            false = 0
            for begin in range(0, 20000, 2000):
                at = off[begin:begin + 2000] + draw.normal(0.0, fix, (2000, fixes, 2)) if fix else off
                false += int((np.hypot(at[..., 0], at[..., 1]) > error).any(axis=1).sum())
            false /= 20000
        told.append({"circle_m": circle, "fix_m": fix, "place_m": place, "fixes": fixes, "chance": chance, "radius_m": circle + error, "drawn_false": false})
    circles = [[r, share, float(brentq(lambda s: rayleigh.cdf(r, scale=s) - share, 1e-3, 1e3, xtol=1e-13))] for r, share in [(2.5, 0.5), (5.0, 0.95), (10.0, 0.683)]]
    return {"alarms": told, "circles": circles}


def growths():
    told = []
    for rate, most, density, rougher, months, water in [(0.003, math.inf, 1300.0, 1.3, 8.0, 1025.0), (0.010, 0.04, 1100.0, 1.0, 9.0, 1026.5), (0.0, math.inf, 1300.0, 1.5, 6.0, 1025.0)]:
        t = min(rate * months, most)
        rough = rougher if t > 0 else 1.0
        unit = G * (density - water)
        rope = {"diameter_m": 0.012 + 2 * t, "weight_n_m": 0.4 + unit * quad(lambda x: math.pi * (0.012 + 2 * x), 0, t)[0], "normal_drag": 1.4 * rough, "tangential_drag": 0.02 * rough}
        d, l = 0.11, 0.8
        shell = lambda x: math.pi * (d + 2 * x) * (l + 2 * x) + 2 * math.pi / 4 * (d + 2 * x) ** 2
        cylinder = {"weight_n": 30.0 + unit * quad(shell, 0, t)[0], "drag_area_m2": 0.09 * rough * ((d + 2 * t) * (l + 2 * t)) / (d * l)}
        s = 0.36
        sphere = {"weight_n": -180.0 + unit * quad(lambda x: math.pi * (s + 2 * x) ** 2, 0, t)[0], "drag_area_m2": 0.05 * rough * ((s + 2 * t) / s) ** 2}
        told.append({"rate": rate, "most": None if math.isinf(most) else most, "density": density, "rougher": rougher, "months": months, "water": water,
                     "thickness_m": t, "rope": rope, "cylinder": cylinder, "sphere": sphere})
    return told


def anodes():
    told = []
    for areas, days, capacity, usable in [([[1.2, 0.09, 1.0], [0.8, 0.11, 0.2]], 240, 2000.0, 0.8), ([[0.35, 0.15, 0.5]], 365, 780.0, 0.85)]:
        current = sum(a * i * f for a, i, f in areas)
        used = 0.0
        for _ in range(days):
            used += current * 24.0 / capacity
        told.append({"areas": areas, "days": days, "capacity_ah_kg": capacity, "usable": usable, "current_a": current, "mass_kg": used / usable})
    faraday = {s: z * constants.e * constants.N_A / (periodic_table[s].MW / 1000.0) / 3600.0 for s, z in (("Al", 3), ("Zn", 2))}
    return {"anodes": told, "faraday_ah_kg": faraday}


def main():
    here = pathlib.Path(__file__)
    document = {
        "provenance": {
            "what": "partings of lines (N, m/s), rope that can lie at the surface (m), drift alarms (m), growth on ropes and bodies, anode masses (kg)",
            "library": f"scipy {scipy.__version__}, numpy {np.__version__}, chemicals {version('chemicals')}",
            "source": "sums over millimetres, scipy.stats.rayleigh, scipy.integrate.quad; coefficients of growth and anodes are inputs without a claim",
            "script": "reference/make/" + here.name,
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "1e-8 of each figure: eleven digits are printed and a sum of 100,000 millimetres rounds; 0.008 of drawn false alarms, three standard errors, or less of them",
        },
        "lines": rounded([partings(line) for line in LINES], 11),
        "drift": rounded(drifts(), 11),
        "growths": rounded(growths(), 11),
        "anodes": rounded(anodes(), 11),
    }
    (here.parent.parent / "mooring" / "scipy-losses.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
