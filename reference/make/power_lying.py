"""A battery that lies before it is deployed -> reference/power/scipy-lying.csv

Python 3.11 or later; scipy 1.17.1.

dE/dt = ln(1 - m)/730 h * E - P/eta from a full battery, integrated numerically; nothing below empty. The usable charge is (E - (1 - f) cap)/(f cap).
"""
import hashlib
import math
import pathlib

import scipy
from scipy.integrate import solve_ivp

HERE = pathlib.Path(__file__)
rows = []
for capacity_wh, usable in ((2560.0, 1.0), (2560.0, 0.85), (60.0, 0.9)):
    for lost in (0.0, 0.03, 0.2):
        for draw_w, hours in ((0.0, 480.0), (0.35, 480.0), (0.35, 2000.0), (1.2, 720.0), (0.02, 0.0)):
            eta = 0.9
            end = solve_ivp(lambda t, e: math.log(1 - lost) / 730.0 * e - draw_w / eta, (0.0, hours), [capacity_wh], method="DOP853", rtol=1e-12, atol=1e-9)
            left = max(0.0, float(end.y[0][-1]))
            charge = max(0.0, (left - (1 - usable) * capacity_wh) / (usable * capacity_wh))
            rows.append((capacity_wh, usable, lost, draw_w, eta, hours, f"{charge:.12g}"))
lines = [
    "# Usable charge of a full battery after lying: capacity, usable share, self-discharge a month of 730 h, draw, efficiency on the way out, hours.",
    f"# source: scipy {scipy.__version__}, scipy.integrate.solve_ivp (DOP853)",
    "# script: reference/make/power_lying.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: 1e-9: what the integrator leaves",
    "capacity_wh,usable,self_discharge,draw_w,efficiency,hours,charge",
]
lines += [",".join(str(value) for value in row) for row in rows]
(HERE.parents[1] / "power" / "scipy-lying.csv").write_text("\n".join(lines) + "\n")
