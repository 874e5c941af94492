"""Capacitors through bursts of constant power, by small steps of the differential equation.

Needs scipy 1.17.1, numpy 2.4.6. Writes reference/power/scipy-battery-capacitor.csv. The load's voltage U is found from the
power through the resistance, C dV/dt = -P/U with V = U + P R/U; the capacitance that ends a burst at a wanted U by a
search over whole bursts.
"""

import hashlib
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

HERE = Path(__file__).resolve()


def load_v(v, power, ohm):
    # Below the least voltage the search goes on with its value there; no burst of the table ends so low.
    v = max(v, 2 * np.sqrt(power * ohm))
    return v / 2 + np.sqrt(max(v * v / 4 - power * ohm, 0))


def after(power, seconds, before, farad, ohm):
    burst = solve_ivp(lambda _, v: -power / max(load_v(v[0], power, ohm), 0.1) / farad, (0, seconds), [before], method="DOP853", rtol=1e-13, atol=1e-13)
    return load_v(burst.y[0, -1], power, ohm)


lines = []
for power, seconds, before, wanted, farad, ohm in (
    (12.0, 10.0, 14.0, 10.0, 2.5, 0.0), (12.0, 10.0, 14.0, 10.0, 2.5, 0.08), (12.0, 10.0, 14.0, 10.0, 4.0, 1.0),
    (2.0, 0.4, 5.4, 3.3, 0.3, 0.25), (40.0, 0.02, 28.0, 20.0, 0.01, 0.5), (0.5, 3600.0, 16.0, 8.0, 25.0, 3.0),
):
    needed = brentq(lambda c: after(power, seconds, before, c, ohm) - wanted, farad / 8, 8 * farad, xtol=1e-13, rtol=1e-13)
    assert after(power, seconds, before, farad, ohm) > 1.01 * np.sqrt(power * ohm)
    lines.append(f"{power},{seconds},{before},{wanted},{farad},{ohm},{after(power, seconds, before, farad, ohm):.9f},{needed:.9f}")
(HERE.parents[1] / "power" / "scipy-battery-capacitor.csv").write_text(
    "# Bursts of constant power from a capacitor behind a resistance: power, W; time, s; voltage before, V; capacitance, F; resistance, ohm;\n"
    "# voltage at the load after the burst, V; capacitance, F, that ends it at the wanted voltage, V.\n"
    "# source: scipy 1.17.1 (integrate.solve_ivp DOP853, optimize.brentq)\n"
    "# tolerance: 1e-8 relative: digits printed here and tolerances of the solver\n"
    f"# script: reference/make/{HERE.name}\n"
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}\n"
    "power_w,seconds,before_v,wanted_v,capacitance_f,resistance_ohm,after_v,needed_f\n" + "\n".join(lines) + "\n"
)
