"""Wire gauges and the temperature law of copper, worked out with 30 digits.

Needs mpmath 1.4.1. Writes power/mpmath-conductors.csv beside this folder.
"""

import hashlib
import pathlib

import mpmath
from mpmath import mpf

assert mpmath.__version__ == "1.4.1"
mpmath.mp.dps = 30

HERE = pathlib.Path(__file__).resolve()
rows = []
for gauge in range(-3, 41):
    diameter = mpf("0.127") * mpf(92) ** (mpf(36 - gauge) / 39)
    area = mpmath.pi * diameter**2 / 4
    rows.append(("awg", gauge, diameter, mpf("17.241") / area))
for degc in (-40, -2, 0, 4, 5, 10, 20, 30, 60, 120):
    rows.append(("copper", degc, 1 + mpf("0.00393") * (degc - 20), (mpf("234.5") + degc) / mpf("254.5")))

(HERE.parent.parent / "power" / "mpmath-conductors.csv").write_text(
    "# awg: gauge (-3 is 4/0), diameter in mm, ohm/km of one solid conductor at 20 degC with 17.241 ohm mm2/km.\n"
    "# copper: temperature in degC, resistance over that at 20 degC by 0.00393 per kelvin, and by the other common form (234.5 + T)/254.5.\n"
    "# source: ASTM B258 and 100 % IACS copper (rule and figures from memory; held to a printed table by floyd-awg.csv), mpmath 1.4.1 with 30 digits\n"
    "# tolerance: 1e-12 relative: rounding of a power\n"
    f"# script: reference/make/{HERE.name}\n"
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}\n"
    "kind,at,first,second\n" + "".join(f"{kind},{at},{mpmath.nstr(a, 16)},{mpmath.nstr(b, 16)}\n" for kind, at, a, b in rows)
)
