"""Which conductors let four modules without lock-outs start at once, and the ohms before the last of them.

Python 3.11, scipy==1.17.1, numpy==2.4.6. Run with no arguments to write reference/power/scipy-boot-sizes.csv. Running it again gives the same bytes.

A source of 24 V behind 0.3 ohm, limited to 20 A, feeds four modules in a row over 30, 40, 40 and 40 m; each has a capacitor of 10 uF, boots and runs with 7.5 W, and a resistance on the way onwards. Below its
lowest voltage of 9 V a converter draws like the resistor 9^2 / 7.5 = 10.8 ohm, above it constant power. scipy.integrate.solve_ivp follows the voltages from nothing for 50 ms, a thousand time
constants; the line starts if all are then above 9 V. Resistances at 20 degC of IEC 60228 class 5 (0.75: 26, 1: 19.5, 1.5: 13.3, 2.5: 7.98, 4: 4.95 ohm/km).
"""

import hashlib
import pathlib

import numpy as np
from scipy.integrate import solve_ivp

SIZES = {"0.75": 26.0, "1": 19.5, "1.5": 13.3, "2.5": 7.98, "4": 4.95}
LENGTHS_M = [30.0, 40.0, 40.0, 40.0]
SOURCE_V, SOURCE_OHM, LIMIT_A = 24.0, 0.3, 20.0
BOOT_W, LOWEST_V, FARAD = 7.5, 9.0, 10e-6


def ways(size, through_ohm):
    """Resistance before each module, the source's left out: the way through the module before it, and the loop of the cable."""
    return [(0.0 if k == 0 else through_ohm) + 2 * m / 1000 * SIZES[size] for k, m in enumerate(LENGTHS_M)]


def end_v(ways_ohm):
    """Voltage of each module at rest."""

    def slope(_, v):
        draws = np.where(v < LOWEST_V, v * BOOT_W / LOWEST_V**2, BOOT_W / np.maximum(v, LOWEST_V))
        first = min(LIMIT_A, (SOURCE_V - v[0]) / (SOURCE_OHM + ways_ohm[0]))
        into = np.array([first] + [(v[k - 1] - v[k]) / ways_ohm[k] for k in range(1, 4)])
        onwards = np.append(into[1:], 0.0)
        return (into - onwards - draws) / FARAD

    return solve_ivp(slope, (0.0, 0.05), np.zeros(4), method="LSODA", rtol=1e-9, atol=1e-9, max_step=1e-4).y[:, -1]


def main():
    here = pathlib.Path(__file__)
    rows = []
    for through_ohm in (0.0, 0.6):
        for size in SIZES:
            own = ways(size, through_ohm)
            v = end_v(own)
            assert min(abs(v - LOWEST_V)) > 0.2, (through_ohm, size, v)
            rows.append(f"{through_ohm},{size},{SOURCE_OHM + sum(own):.6f},{min(v):.4f},{int(min(v) > LOWEST_V)}")
    head = [
        "# Four modules without lock-outs that boot at once behind a resistance: through-resistance of each, ohm; conductors, mm2; ohms before the last module, the source's with them; lowest",
        "# voltage while they boot, V; whether all are above the 9 V that they need.",
        "# source: scipy 1.17.1, scipy.integrate.solve_ivp from empty capacitors; resistances of IEC 60228 as in iec60228-resistance.csv",
        "# script: reference/make/power_boot_sizes.py",
        f"# script-sha256: {hashlib.sha256(here.read_bytes()).hexdigest()}",
        "# tolerance: whether it starts, exactly; ohms within the two decimals that are told",
    ]
    out = here.parents[1] / "power" / "scipy-boot-sizes.csv"
    out.write_text("\n".join(head + ["through_ohm,size_mm2,ohm,lowest_v,starts", *rows]) + "\n")


if __name__ == "__main__":
    main()
