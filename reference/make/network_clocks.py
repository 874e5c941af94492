"""Clocks that are set by two-way exchanges over a chain of modules, written from the rules of docs/method/network.md and not from the Rust.

Python 3.11, simpy==4.1.2. Run with no arguments to write reference/network/simpy-clocks.json. Running it again gives the same bytes.

Each exchange is a SimPy process: the request waits at each hop somewhere between the soonest and the latest, the answer too; four times are taken, each wrong by at most the jitter; with
stamps at the wire each module on the way takes two more and tells how long it held the frame, by its own clock, which drifts too. The module sets its clock by what it finds. Written is the
greatest error just before a clock is set again, once it has been set first: over 400 exchanges with everything drawn evenly (`drawn_s`), and over all combinations of everything at its
limits (`worst_s`).
"""

import hashlib
import itertools
import json
import pathlib

import simpy

from network_simpy import Draw

EXCHANGES = 400


class Run:
    def __init__(self, case, exchanges, between, stamp, drift, other_drift):
        self.case, self.between, self.stamp = case, between, stamp
        self.drift, self.other_drift = drift, other_drift
        self.env = simpy.Environment()
        self.offset, self.set_at = 0.25, 0.0
        self.errors = []
        self.env.run(until=self.env.process(self.module(exchanges)))

    def off(self):
        """How far the module's clock is ahead."""
        return self.offset + self.drift * (self.env.now - self.set_at)

    def way(self, which):
        """Goes one way; the time that the modules on the way say they held the frame."""
        held = 0.0
        hops = self.case["hops"] if which == "up" else self.case["hops"][::-1]
        for number, hop in enumerate(hops):
            soonest, latest = hop[which]
            lasts = self.between(which, soonest, latest)
            # The part that is not the same both ways is held before the wire; the first module stamps behind it.
            flight = hop["flight"]
            if self.case["wire"]:
                held_here = lasts - flight
                yield self.env.timeout(held_here)
                if number > 0:
                    held += held_here * (1 + self.other_drift) + self.stamp(which, "out") - self.stamp(which, "in")
                else:
                    self.left = self.env.now
                yield self.env.timeout(flight)
            else:
                yield self.env.timeout(lasts)
        return held

    def module(self, exchanges):
        for number in range(exchanges):
            begin = self.env.now
            self.left = begin
            t1 = begin + self.off() + self.stamp("up", "send")
            off_then = self.off()
            held_up = yield from self.way("up")
            if self.case["wire"]:
                t1 = self.left + off_then + self.drift * (self.left - begin) + self.stamp("up", "send")
            t2 = self.env.now + self.stamp("up", "get") - held_up
            begin_down = self.env.now
            self.left = begin_down
            t3 = begin_down + self.stamp("down", "send")
            held_down = yield from self.way("down")
            if self.case["wire"]:
                t3 = self.left + self.stamp("down", "send")
            t4 = self.env.now + self.off() + self.stamp("down", "get") - held_down
            if number > 0:
                self.errors.append(abs(self.off()))
            theta = ((t2 - t1) + (t3 - t4)) / 2
            self.offset, self.set_at = self.off() + theta, self.env.now
            yield self.env.timeout(begin + self.case["every_s"] - self.env.now)


def drawn(case, seed):
    draw = Draw(seed)

    def even(low, high):
        return low + (high - low) * (draw.word() >> 11) / 2**53

    jitter = case["jitter_s"]
    sign = 1 if draw.below(2) else -1
    run = Run(
        case, EXCHANGES, lambda _way, soonest, latest: even(soonest, latest), lambda _way, _what: even(-jitter, jitter), sign * case["drift"],
        even(-case["drift"], case["drift"]),
    )
    return max(run.errors)


def worst(case):
    most = 0.0
    for late, signs, drift in itertools.product(["up", "down"], itertools.product([-1, 1], repeat=2), [-1, 1]):
        up, down = (sign * case["jitter_s"] for sign in signs)

        def stamp(which, what):
            # Stamps of one way all push its length the same way.
            way = up if which == "up" else down
            return way if what in ("get", "in") else -way

        for other in [-1, 1]:
            run = Run(
                case, 4, lambda way, soonest, latest: latest if way == late else soonest, stamp, drift * case["drift"], other * case["drift"],
            )
            most = max([most] + run.errors)
    return most


def cases():
    def hop(up, down, flight):
        return {"up": up, "down": down, "flight": flight}

    quick = hop([70e-6, 400e-6], [70e-6, 300e-6], 5e-6)
    slow = hop([0.02, 0.35], [0.02, 0.30], 1e-6)
    for wire, jitter, drift, every, hops in [
        (False, 20e-6, 2e-6, 64.0, [quick]),
        (False, 20e-6, 2e-6, 16.0, [quick] * 8),
        (False, 1e-3, 50e-6, 300.0, [quick, slow]),
        (False, 0.0, 0.0, 10.0, [slow, quick, quick]),
        (True, 1e-6, 2e-6, 1.0, [quick] * 8),
        (True, 50e-9, 20e-6, 0.5, [quick] * 3),
        (True, 0.0, 1e-4, 100.0, [slow]),
    ]:
        yield {"wire": wire, "jitter_s": jitter, "drift": drift, "every_s": every, "hops": hops}


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "clocks set by two-way exchanges: soonest and latest time of each hop there (up, from the module) and back, s; greatest error before a clock is set again, s",
        "library": "simpy " + simpy.__version__,
        "script": "reference/make/" + here.name,
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "the bound is above all, by rounding of 1e-9 s at the least, and no more than a tenth above the worst",
    }
    rows = [dict(case, drawn_s=drawn(case, 60 + number), worst_s=worst(case)) for number, case in enumerate(cases())]
    text = json.dumps({"provenance": provenance, "cases": rows}, indent=1) + "\n"
    (here.parent.parent / "network" / "simpy-clocks.json").write_text(text)


if __name__ == "__main__":
    main()
