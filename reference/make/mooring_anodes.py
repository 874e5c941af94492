"""Resistance of anodes in water, new and used up.

Python 3.11, scipy==1.17.1. Run with no arguments to write reference/mooring/hand-anodes.csv. Running it again gives the same bytes.

Slender ones by what Dwight's formula stands for: the mean potential along a bar that gives its current evenly along its axis, with its image in the plane that its end touches (a rod of twice the length in free water with twice
the current), integrated twice numerically. From four radii on the practice takes the leading terms of that, which are printed beside it. Flat ones and bracelets by the arithmetic of Lloyd's and McCoy's formulas, written
out with the worn sizes of each. Formulas and rules of wear as the recommended practice DNV-RP-B401 has them, from memory.
"""

import hashlib
import math
import pathlib

from scipy.integrate import quad

AL, ZN = 2750.0, 7130.0


def bar(length, radius, rho):
    """Mean potential per ampere of a bar of 2 L with 2 A spread over its length."""

    def potential(x):
        return quad(lambda s: rho / (4 * math.pi) / math.hypot(x - s, radius), 0, 2 * length, points=[x], limit=400, epsabs=0, epsrel=1e-12)[0] / length

    return quad(potential, 0, 2 * length, limit=400, epsabs=0, epsrel=1e-11)[0] / (2 * length)


def slender(length, radius, rho):
    if length >= 4 * radius:
        return rho * (math.log(4 * length) - math.log(radius) - 1) / (2 * math.pi * length)
    return bar(length, radius, rho)


def rows():
    # kind, metal, sizes (length, girth, core | length, width, thickness | outer, inner), mass, usable, resistivity
    for length, girth, core, mass, metal, usable, rho in (
        (0.6, 0.2, 0.012, 4.6, "aluminium", 0.9, 0.25),
        (1.2, 0.4, 0.03, 36.0, "aluminium", 0.9, 0.30),
        (0.15, 0.12, 0.0, 1.1, "zinc", 0.85, 0.22),
        (0.08, 0.2, 0.01, 1.6, "zinc", 0.5, 0.25),
        (0.03, 0.3, 0.0, 1.5, "zinc", 0.2, 0.25),
    ):
        dense = AL if metal == "aluminium" else ZN
        left = length * (1 - usable / 10)
        radius = math.sqrt((1 - usable) * mass / dense / left / math.pi + (core / 2) ** 2)
        yield "slender", metal, (length, girth, core), mass, usable, rho, slender(length, girth / 2 / math.pi, rho), slender(left, radius, rho)
    for length, width, thickness, mass, metal, usable, rho in (
        (0.4, 0.06, 0.03, 1.9, "aluminium", 0.85, 0.25),
        (0.2, 0.05, 0.02, 1.4, "zinc", 0.85, 0.22),
        (0.15, 0.06, 0.02, 1.28, "zinc", 0.8, 0.25),
        (0.1, 0.1, 0.03, 0.8, "aluminium", 0.8, 0.30),
    ):
        dense = AL if metal == "aluminium" else ZN
        if length >= 4 * max(width, thickness):
            left = length * (1 - usable / 10)
            # Half a disc of the section that is left.
            wide = 2 * math.sqrt(2 * (1 - usable) * mass / dense / left / math.pi)
            new, worn = rho / 2 / ((length + width) / 2), rho / 2 / ((left + wide) / 2)
        else:
            new = 0.315 * rho / math.sqrt(length * width + 2 * length * thickness + 2 * width * thickness)
            worn = 0.315 * rho / math.sqrt(length * width)
        yield "flat", metal, (length, width, thickness), mass, usable, rho, new, worn
    for outer, inner, mass, metal, usable, rho in ((0.02, 0.016, 1.2, "aluminium", 0.8, 0.25), (0.012, 0.009, 0.9, "zinc", 0.8, 0.20)):
        yield "bracelet", metal, (outer, inner, 0.0), mass, usable, rho, 0.315 * rho / math.sqrt(outer), 0.315 * rho / math.sqrt(inner)


def main():
    here = pathlib.Path(__file__)
    head = [
        "# Resistance of anodes in water, ohm, new and used up, and of slender ones the mean potential of a bar for each ampere, which their formula stands for.",
        "# source: scipy 1.17.1 quad for bars; arithmetic of Lloyd's and McCoy's formulas; rules of DNV-RP-B401, from memory",
        "# script: reference/make/" + here.name,
        "# script-sha256: " + hashlib.sha256(here.read_bytes()).hexdigest(),
        "# tolerance: 1e-9 of the resistance; the formula of long bars within 5 % of the mean potential, from 4 radii on",
        "kind,metal,one,two,three,mass_kg,usable,resistivity_ohm_m,new_ohm,worn_ohm,bar_ohm",
    ]
    lines = []
    for kind, metal, sizes, mass, usable, rho, new, worn in rows():
        of_bar = bar(sizes[0], sizes[1] / 2 / math.pi, rho) if kind == "slender" else 0.0
        lines.append(",".join([kind, metal, *("%.12g" % v for v in (*sizes, mass, usable, rho, new, worn, of_bar))]))
    out = here.parents[1] / "mooring" / "hand-anodes.csv"
    out.write_text("\n".join(head + lines) + "\n")


if __name__ == "__main__":
    main()
