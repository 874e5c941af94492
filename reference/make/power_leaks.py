"""Leaks to the water: metal that a current dissolves, and voltages of both conductors of a leaking line.

Python 3.11, scipy==1.17.1, numpy==2.4.6, chemicals==1.5.2. Run with no arguments to write reference/power/scipy-leaks.json. Running it again gives the same bytes.

Metal: atoms are counted. A mass holds so many atoms (atomic weights by chemicals, the Avogadro constant of scipy.constants); each carries off its charge in elementary
charges; the time is that in which a current of so many elementary charges a second has carried them all. Densities and charges are from memory.

Conductors: nodal analysis. Each part of both conductors is a resistor of its own to the water, at its temperature; the supply is one more unknown, and the water is the
reference node. A pole in the water is a resistor of 1 uohm.
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

from mooring_lines import rounded

METALS = [("copper in sea water", "Cu", 1, 8960.0), ("copper", "Cu", 2, 8960.0), ("nickel", "Ni", 2, 8908.0), ("iron", "Fe", 2, 7874.0),
          ("zinc", "Zn", 2, 7140.0), ("aluminium", "Al", 3, 2700.0), ("silver", "Ag", 1, 10490.0)]
DAY_S = 86400.0


def metal(name, symbol, charge, density, diameter_mm, length_mm, days, volts):
    mass_kg = density * math.pi * (diameter_mm / 2000.0) ** 2 * length_mm / 1000.0
    atoms = mass_kg * 1000.0 / periodic_table[symbol].MW * constants.N_A
    charges_each_s = atoms * charge / (days * DAY_S)
    current_a = charges_each_s * constants.e
    return {"metal": name, "diameter_mm": diameter_mm, "length_mm": length_mm, "days": days, "volts": volts,
            "mass_mg": mass_kg * 1e6, "current_ua": current_a * 1e6, "floor_ohm": volts / current_a}


def conductors(volts, positive, negative, degc, pole):
    """Parts: [ohm of one piece or of a kilometre, degC at which it was read, m or None]."""
    matrix, right = np.zeros((3, 3)), np.zeros(3)
    to_water = []
    for node, parts in enumerate((positive, negative)):
        siemens = 0.0
        for ohm, read_degc, metres in parts:
            at = ohm
            # Step by step, a tenth of the law each degree.
            steps = 1000
            for _ in range(steps):
                at *= 0.5 ** ((degc - read_degc) / 10.0 / steps)
            siemens += 1.0 / at if metres is None else metres / (1000.0 * at)
        to_water.append(siemens)
        matrix[node, node] = siemens
    for node, name in enumerate(("positive", "negative")):
        if pole == name:
            matrix[node, node] += 1e6
    # The supply's current enters the positive conductor and leaves the negative one.
    matrix[0, 2], matrix[1, 2] = -1.0, 1.0
    matrix[2, 0], matrix[2, 1], right[2] = 1.0, -1.0, volts
    up, down, _ = np.linalg.solve(matrix, right)
    return {"volts": volts, "degc": degc, "pole": pole, "positive": positive, "negative": negative,
            "positive_ohm": 1.0 / to_water[0], "negative_ohm": 1.0 / to_water[1], "positive_v": up, "negative_v": down,
            "positive_a": up * to_water[0], "negative_a": -down * to_water[1]}


def main():
    here = pathlib.Path(__file__)
    pins = [(1.0, 8.0, 240.0, 24.0), (2.0, 12.0, 365.0, 48.0), (0.5, 5.0, 90.0, 12.0)]
    good, soaked, bad = [500e6, 20.0, 600.0], [40e6, 15.0, None], [0.4e6, 8.0, None]
    lines = [([good, soaked], [good, soaked]), ([good, bad], [good, soaked]), ([good], [soaked, soaked, bad]), ([bad], [bad])]
    document = {
        "provenance": {
            "what": "metal dissolved by leaks (mg, uA that consumes a pin in so many days, ohm of the least insulation), and both conductors of a line against the water "
                    "(ohm, V, A); densities and charges of the metals from memory",
            "source": f"scipy {scipy.__version__}, scipy.constants (CODATA); numpy {np.__version__}, numpy.linalg; chemicals {version('chemicals')}, atomic weights",
            "script": "reference/make/" + here.name,
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "1e-8 of each figure: ten digits are printed; 1e-6 V where a pole is in the water by a microhm",
        },
        "metals": rounded([metal(*row, *pin) for row in METALS for pin in pins], 10),
        "lines": rounded([conductors(24.0, up, down, degc, pole) for up, down in lines for degc in (4.0, 20.0, 31.0) for pole in ("neither", "positive", "negative")], 10),
    }
    (here.parent.parent / "power" / "scipy-leaks.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
