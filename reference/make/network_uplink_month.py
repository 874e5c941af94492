"""Billed messages of a month: compound Poisson sums, and messages that share billed ones.

Python 3.11, scipy==1.17.1, numpy==2.4.6. Run with no arguments to write reference/network/scipy-uplink-month.json. Running it again gives the same bytes.

Sums: for each origin a Poisson count of the month, times what each of its events bills, but no more than a most; independent origins add up.
Retried: each of a Poisson number of messages is billed once for each attempt until one succeeds, a geometric number: given n messages the sum is n and a negative
binomial number of failures.
Shared: events of one Poisson process; the first opens a load, which closes when it has been open for the hold or when it is full; each load is billed once. Where it
is never full the number of loads has a closed form: N >= k if and only if the (k-1)-th load has closed and one more event has come, that is P(N >= k) =
P(Poisson(rate (T - (k-1) hold)) >= k). With a capacity, 20,000 months are drawn.
"""

import hashlib
import json
import pathlib

import numpy
import scipy
from scipy.stats import nbinom, poisson

SHARES = [0.5, 0.9, 0.95, 0.99]


def distribution(origins):
    total = numpy.array([1.0])
    for rate, billed, most in origins:
        last = int(poisson.isf(1e-14, rate)) + 1
        counts = numpy.arange(last + 1)
        worth = billed * numpy.minimum(counts, most if most is not None else last)
        one = numpy.zeros(int(worth.max()) + 1)
        numpy.add.at(one, worth, poisson.pmf(counts, rate))
        total = numpy.convolve(total, one)
    return total


def sums(origins):
    below = numpy.cumsum(distribution(origins))
    return {
        "origins": origins, "quantiles": [[s, int(numpy.searchsorted(below, s))] for s in SHARES],
        "share_up_to": [[int(n), float("%.12g" % below[n])] for n in (numpy.searchsorted(below, s) for s in (0.03, 0.2, 0.6, 0.97))],
    }


def shared(rate, hold_s):
    month_s = 30 * 86400.0
    loads = range(1, int(rate) + 2)
    reached = {k: float(poisson.sf(k - 1, rate * max(0.0, 1 - (k - 1) * hold_s / month_s))) for k in loads}
    return {"rate": rate, "hold_s": hold_s, "share_up_to": [[k - 1, float("%.9g" % (1 - p))] for k, p in reached.items() if 0.02 < p < 0.98]}


def retried(rate, success):
    last = int(poisson.isf(1e-14, rate)) + 1
    most = 4 * last
    total = numpy.zeros(most + 1)
    for n in range(last + 1):
        failures = numpy.arange(most - n + 1)
        total[n:] += poisson.pmf(n, rate) * (nbinom.pmf(failures, n, success) if n else failures == 0)
    below = numpy.cumsum(total)
    shown = [int(numpy.searchsorted(below, s)) for s in (0.05, 0.2, 0.5, 0.8, 0.95)]
    return {"rate": rate, "success": success, "mean": rate / success, "share_up_to": [[n, float("%.9g" % below[n])] for n in shown]}


def drawn(rate, hold_s, capacity, seed):
    draw, month_s, months = numpy.random.default_rng(seed), 30 * 86400.0, 20000
    loads = numpy.zeros(months, dtype=int)
    for month in range(months):
        times = numpy.sort(draw.uniform(0, month_s, draw.poisson(rate)))
        at = 0
        while at < len(times):
            loads[month] += 1
            at = min(at + capacity, int(numpy.searchsorted(times, times[at] + hold_s, side="right")))
    values, counts = numpy.unique(loads, return_counts=True)
    below = numpy.cumsum(counts) / months
    return {
        "rate": rate, "hold_s": hold_s, "capacity": capacity, "mean": float("%.6g" % loads.mean()),
        "share_up_to": [[int(v), float("%.6g" % b)] for v, b in zip(values, below) if 0.02 < b < 0.98],
    }


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "billed messages of a month: quantiles and shares of months with no more than so many",
        "source": "scipy.stats.poisson and numpy.convolve; numpy.random.default_rng for the draws",
        "library": "scipy " + scipy.__version__ + ", numpy " + numpy.__version__,
        "script": "reference/make/" + here.name,
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "quantiles exact, shares 1e-9; shares of drawn months 0.06: three standard errors of the 700 months that are drawn at least, beside 20,000 or a closed form",
    }
    cases = {
        "sums": [
            sums([[12.5, 1, None]]), sums([[180.0, 2, None]]), sums([[0.4, 1, None]]), sums([[90.0, 1, 100]]),
            sums([[30.0, 1, None], [45.0, 3, None]]), sums([[720.0, 1, None], [2.0, 40, None], [60.0, 2, 50]]),
        ],
        "shared": [shared(200.0, 3600.0), shared(400.0, 21600.0), shared(60.0, 86400.0)],
        "retried": [retried(120.0, 0.8), retried(300.0, 0.5), retried(8.0, 0.6)],
        "drawn": [drawn(300.0, 36000.0, 3, 1), drawn(400.0, 43200.0, 5, 2)],
    }
    text = json.dumps({"provenance": provenance, "cases": cases}, indent=1) + "\n"
    (here.parent.parent / "network" / "scipy-uplink-month.json").write_text(text)


if __name__ == "__main__":
    main()
