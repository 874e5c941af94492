"""Margins of a voltage over the very draws of a plan, their quantiles and the share met -> reference/report/numpy-margins.csv

Python 3.11 or later; numpy 2.4.6, scipy 1.17.1. Streams are those of chance_streams.py, a second program; strata and law are written from
docs/method/certainty.md: one stream for each value, named for its path, whose first words shuffle the strata (from the last to the first, by the high
half of a word times the choices that are left, words in the uneven rest rejected) and whose next ones place each draw in its stratum (53 bits).
"""
import hashlib
import pathlib

import numpy
import scipy
from scipy.stats import binomtest, norm

from chance_streams import words

HERE = pathlib.Path(__file__)
FILE = HERE.parents[1] / "report" / "numpy-margins.csv"
DRAWS, SEED = 200, 1
# The plan: 48 V ± 1.2 V (normal), 0.5 A through 3.9 ohm of cable and contacts of 16.1 ohm ± 3.2 ohm (uniform); at least 36.7 V.
CURRENT_A, CABLE_OHM, LEAST_V = 0.5, 3.9, 36.7


def strata(path):
    stream = words(SEED, f"certainty/{path}", 0)
    order = list(range(DRAWS))
    for last in range(DRAWS - 1, 0, -1):
        limit = last + 1
        for word in stream:
            product = word * limit
            if product % 2**64 >= 2**64 % limit:
                break
        other = product >> 64
        order[last], order[other] = order[other], order[last]
    return [(stratum + (word >> 11) * 2.0**-53) / DRAWS for stratum, word in zip(order, stream)]


supply_v = 48 + 0.6 * norm.ppf(strata("supply.bench.output.voltage"))
contacts_ohm = 16.1 + 3.2 * (2 * numpy.array(strata("span.cable.contacts.aged")) - 1)
margins_v = supply_v - CURRENT_A * (CABLE_OHM + contacts_ohm) - LEAST_V
met = int((margins_v >= 0).sum())
limits = binomtest(met, DRAWS).proportion_ci(0.95, method="exact")
one_sided = binomtest(met, DRAWS, alternative="greater").proportion_ci(0.95, method="exact")
rows = [("margin_v", share, float(numpy.quantile(margins_v, share))) for share in (0.05, 0.25, 0.5, 0.75, 0.95)]
rows += [("met", "", met), ("low", 0.95, float(limits.low)), ("high", 0.95, float(limits.high))]
rows += [("low_one_sided", 0.95, float(one_sided.low))]
one_sided = binomtest(met, DRAWS, alternative="less").proportion_ci(0.95, method="exact")
rows += [("high_one_sided", 0.95, float(one_sided.high))]
lines = [
    f"# Margins of a voltage over {DRAWS} draws, seed {SEED}: below which a share of them lies; draws in which it is met, limits of that share.",
    f"# source: numpy {numpy.__version__} (quantile, method linear); scipy {scipy.__version__}, scipy.stats (norm.ppf, binomtest, exact)",
    "# script: reference/make/report_margins.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: 1e-9 V of a margin, what solving the network leaves; 1e-12 of a share",
    "what,share,value",
]
lines += [",".join(str(value) for value in row) for row in rows]
FILE.write_text("\n".join(lines) + "\n")
