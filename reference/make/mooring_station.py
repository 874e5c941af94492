"""How far from its planned place a buoy is seen.

Python 3.11, scipy==1.17.1. Run with no arguments to write reference/mooring/scipy-station.json. Running it again gives the same bytes.

Errors of laying and of fixes are Gaussian in two directions alike, each with its own circle that holds 95 %. The radius that is judged is the watch circle and the quantile of Rayleigh's law of both (scipy.stats.rayleigh); beside it
the share within a limit while the buoy lies at the rim, by Rice's law (scipy.stats.rice).
"""

import hashlib
import json
import math
import pathlib
from importlib.metadata import version

from scipy.stats import rayleigh, rice

from mooring_lines import rounded

# Watch circle m, circle of laying m, circle of fixes m (95 % each), share, limit m.
CASES = [[13.069065, 20.0, 5.0, 0.95, 40.0], [13.069065, 20.0, 5.0, 0.99, 40.0], [60.0, 0.0, 8.0, 0.999, 70.0], [25.0, 30.0, 0.0, 0.5, 50.0], [0.0, 10.0, 10.0, 0.9, 12.0]]
UNIT = float(rayleigh.ppf(0.95))


def case(row):
    circle_m, laying_m, fix_m, share, limit_m = row
    sigma_m = math.hypot(laying_m / UNIT, fix_m / UNIT)
    return {"circle_m": circle_m, "laying_m": laying_m, "fix_m": fix_m, "share": share, "limit_m": limit_m,
            "seen_m": circle_m + sigma_m * float(rayleigh.ppf(share)), "within_at_rim": float(rice.cdf(limit_m / sigma_m, circle_m / sigma_m))}


def main():
    script = pathlib.Path(__file__)
    document = {
        "provenance": {
            "what": "radius within which a buoy is seen (m) and the share within a limit at the rim of its circle",
            "library": f"scipy {version('scipy')}",
            "source": "scipy.stats.rayleigh, scipy.stats.rice",
            "script": "reference/make/mooring_station.py",
            "script-sha256": hashlib.sha256(script.read_bytes()).hexdigest(),
            "tolerance": "1e-8 of each figure: eleven digits are printed",
        },
        "cases": [case(row) for row in CASES],
    }
    path = script.parents[1] / "mooring" / "scipy-station.json"
    path.write_text(json.dumps(rounded(document), indent=1) + "\n")


if __name__ == "__main__":
    main()
