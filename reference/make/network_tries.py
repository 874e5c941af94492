"""A message and a burst that are tried again and again through a sea of calm and high spells: a twin of the uplink's waits.

Python 3.11, numpy==2.4.6, scipy==1.17.1. Run with no arguments to write reference/network/numpy-tries.json. Running it again gives the same bytes.

Written from the rules of docs/method/uplink.md and not from the Rust. Calm and high spells follow each other, each of a length drawn from the exponential law; their means follow from the mean high
spell and the share of high sea. A message is offered at any instant of the period of the windows. An attempt takes a session and succeeds with the chance of the sea at its begin; a failure costs the
back-off too, which grows by its factor up to its longest; an attempt begins only where it fits whole into a window; one that would begin at an age above the expiry is given up.

exact: without windows and expiry the chance that k attempts all fail, by scipy.linalg.expm of the generator over each gap between two begins.
drawn: 60,000 messages, each in a sea of its own, spell by spell.
bursts: the number of attempts until m messages are ashore one after another with a steady back-off, 60,000 bursts.
"""

import hashlib
import json
import pathlib

import numpy as np
import scipy
from scipy.linalg import expm

HOUR = 3600.0
DRAWS = 60_000
MOST_TRIES = 4000
# name, session, back-off, growth, longest, windows (period, width), expiry, share of high sea, mean high spell in h, success in calm, in high.
CASES = [
    ("plain", 20, 60, 1, 60, None, None, 0.25, 14.0, 0.97, 0.2),
    ("storms keep all", 20, 300, 2, 1800, None, None, 0.3, 20.0, 1.0, 0.0),
    ("short spells", 40, 120, 1, 120, None, None, 0.5, 0.5, 0.9, 0.1),
    ("expiry", 20, 60, 2, 1800, None, 6 * 3600, 0.4, 10.0, 0.95, 0.05),
    ("windows", 40, 60, 2, 900, (6000, 420), None, 0.25, 8.0, 0.95, 0.15),
    ("windows and expiry", 20, 15, 2, 60, (600, 480), 6 * 3600, 0.2, 12.0, 0.97, 0.4),
    ("equal chances", 20, 60, 1, 60, None, None, 0.4, 10.0, 0.6, 0.6),
    ("wide windows, short spells", 120, 30, 1, 30, (7200, 3600), 30000, 0.6, 1.0, 0.8, 0.02),
]
# messages, session, back-off, share of high sea, mean high spell in h, success in calm, in high.
BURSTS = [(1, 20, 60, 0.25, 14.0, 0.97, 0.2), (6, 20, 60, 0.25, 14.0, 0.97, 0.2), (12, 30, 900, 0.4, 3.0, 0.9, 0.05), (5, 20, 60, 0.4, 10.0, 0.7, 0.7)]
SHARES = [0.5, 0.9, 0.95]


class Sea:
    """A sea for each of many messages."""

    def __init__(self, draw, count, share_high, high_s):
        self.draw, self.means = draw, np.array([high_s * (1 - share_high) / share_high, high_s])
        self.high = draw.random(count) < share_high
        self.ends = self.spell(np.ones(count, dtype=bool))

    def spell(self, which):
        # The exponential law forgets: what is left of a spell is as long as a spell.
        return self.draw.exponential(1.0, which.sum()) * self.means[self.high[which].astype(int)]

    def at(self, instants, alive):
        while True:
            over = alive & (self.ends <= instants)
            if not over.any():
                return self.high
            self.high[over] = ~self.high[over]
            self.ends[over] += self.spell(over)


def begins(wanted, session, windows):
    if windows is None:
        return wanted
    period, width = windows
    window = np.floor(wanted / period) * period
    return np.where(wanted - window <= width - session, wanted, window + period)


def back_off(first, growth, longest, failures):
    return min(first * growth ** min(failures - 1, 60), longest)


def drawn(case, seed):
    _, session, first, growth, longest, windows, expiry, share, high_h, calm, high = case
    draw = np.random.default_rng(seed)
    period = windows[0] if windows else 1.0
    offered = draw.random(DRAWS) * period
    took = np.full(DRAWS, np.inf)
    given_up = np.zeros(DRAWS, dtype=bool)
    alive = np.ones(DRAWS, dtype=bool)
    tries = np.zeros(DRAWS)
    sea, wanted = None, offered.copy()
    for failures in range(MOST_TRIES):
        at = begins(wanted, session, windows)
        if expiry is not None:
            old = alive & (at - offered > expiry)
            given_up |= old
            alive &= ~old
        if not alive.any():
            break
        if sea is None:
            sea = Sea(draw, DRAWS, share, high_h * HOUR)
            sea.ends += at
        is_high = sea.at(at, alive)
        tries += alive
        lands = alive & (draw.random(DRAWS) < np.where(is_high, high, calm))
        took[lands] = (at + session - offered)[lands]
        alive &= ~lands
        wanted = at + session + back_off(first, growth, longest, failures + 1)
    # Times at which nothing steps: a tenth of a second beside.
    grid = [float(f"{q:.3g}") + 0.1 for q in np.quantile(took[np.isfinite(took)], [0.02, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99])]
    return {
        "times_s": grid,
        "ashore": [float((took <= t).mean()) for t in grid],
        "given_up": float(given_up.mean()),
        "waiting": float(alive.mean()),
        "ashore_at_last": float(np.isfinite(took).mean()),
        "attempts": float(tries.mean()),
    }


def exact(case):
    _, session, first, growth, longest, windows, expiry, share, high_h, calm, high = case
    if windows is not None or expiry is not None:
        return []
    leaves_high = 1 / (high_h * HOUR)
    leaves_calm = leaves_high * share / (1 - share)
    rates = np.array([[-leaves_calm, leaves_calm], [leaves_high, -leaves_high]])
    v, fails = np.array([1 - share, share]), []
    for failures in range(40):
        v = v * [1 - calm, 1 - high]
        fails.append(float(f"{v.sum():.12g}"))
        v = v @ expm(rates * (session + back_off(first, growth, longest, failures + 1)))
    return fails


def burst(case, seed):
    messages, session, pause, share, high_h, calm, high = case
    draw = np.random.default_rng(seed)
    sea = Sea(draw, DRAWS, share, high_h * HOUR)
    at, done, tries, alive = np.zeros(DRAWS), np.zeros(DRAWS), np.zeros(DRAWS), np.ones(DRAWS, dtype=bool)
    while alive.any():
        is_high = sea.at(at, alive)
        tries += alive
        lands = alive & (draw.random(DRAWS) < np.where(is_high, high, calm))
        done += lands
        at = at + session + np.where(lands, 0.0, pause)
        alive &= done < messages
    quantile = lambda q: int(np.quantile(tries, min(max(q, 0.0), 1.0), method="inverted_cdf"))
    return [[share_of, quantile(share_of - 0.008), quantile(share_of + 0.008)] for share_of in SHARES]


def main():
    here = pathlib.Path(__file__)
    keys = ["name", "session_s", "back_off_s", "grows", "longest_s", "windows_s", "expiry_s", "high_share", "high_lasts_h", "calm_succeeds", "high_succeeds"]
    cases = [dict(zip(keys, case)) | drawn(case, seed) | {"all_fail": exact(case)} for seed, case in enumerate(CASES)]
    bursts = [dict(zip(["messages", "session_s", "back_off_s", "high_share", "high_lasts_h", "calm_succeeds", "high_succeeds"], case))
              | {"share_least_most": burst(case, 100 + seed)} for seed, case in enumerate(BURSTS)]
    document = {
        "provenance": {
            "what": "shares of messages ashore within times, given up, and attempts, in a sea of calm and high spells; attempts of bursts",
            "source": f"numpy {np.__version__} (random), scipy {scipy.__version__} (linalg.expm)",
            "script": "reference/make/" + here.name,
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "1e-10 of exact; 0.01 of drawn shares and 2 % of attempts, five standard errors of 60,000 messages; attempts of bursts between the quantiles 0.008 to each side",
        },
        "cases": cases,
        "bursts": bursts,
    }
    (here.parent.parent / "network" / "numpy-tries.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
