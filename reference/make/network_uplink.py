"""A second model of the uplink, written from the rules of docs/method/network.md and not from the Rust.

Python 3.11, simpy==4.1.2. Run with no arguments to write reference/network/simpy-uplink.json: two cases read by hand (a queue that copes, one that is
overloaded) and forty random ones, half of them with outages. Running it again gives the same bytes. All times are whole seconds.
"""

import hashlib
import json
import pathlib

import simpy

from network_simpy import START, Draw, at_priority


class Uplink:
    def __init__(self, case):
        self.case, self.env = case, simpy.Environment()
        self.queue, self.arrived = [], None
        self.attempts, self.told = 0, []
        self.env.process(self.source())
        self.env.process(self.terminal())

    def source(self):
        for number in range(self.case["count"]):
            self.queue.append((number, self.env.now))
            if self.arrived is not None:
                arrived, self.arrived = self.arrived, None
                arrived.succeed()
            yield self.env.timeout(self.case["every"])

    def visible_until(self, t):
        """End of the window that t lies in, or None."""
        if self.case["period"] is None:
            return float("inf")
        k = (t - self.case["first"]) // self.case["period"]
        begin = self.case["first"] + k * self.case["period"]
        return begin + self.case["width"] if k >= 0 and t < begin + self.case["width"] else None

    def may_start(self, t):
        end = self.visible_until(t)
        return end is not None and t + self.case["session"] <= end and not any(a <= t < b for a, b in self.case["outages"])

    def terminal(self):
        case, env = self.case, self.env
        while True:
            if not self.queue:
                self.arrived = env.event()
                yield self.arrived
            # Second by second on purpose: the slow and obvious way to find the next chance.
            while not self.may_start(env.now):
                yield env.timeout(1)
            yield at_priority(env, START)
            while self.queue and case["expiry"] is not None and env.now - self.queue[0][1] > case["expiry"]:
                number, offered = self.queue.pop(0)
                self.told.append([number, offered, env.now, "expired"])
            if not self.queue:
                continue
            self.attempts += 1
            attempt, start = self.attempts, env.now
            yield env.timeout(case["session"])
            touched = any(a < env.now and start < b for a, b in case["outages"])
            if touched or (case["fail_every"] and attempt % case["fail_every"] == 0):
                yield env.timeout(case["backoff"])
                continue
            number, offered = self.queue.pop(0)
            self.told.append([number, offered, env.now, "sent"])

    def solved(self):
        self.env.run(until=self.case["until"])
        return {"case": self.case, "told": self.told, "attempts": self.attempts}


def by_hand(width, expiry):
    return {
        "first": 1800, "period": 6000, "width": width, "session": 40, "count": 20, "every": 900, "fail_every": 4, "backoff": 60, "expiry": expiry,
        "outages": [], "until": 60000,
    }


def random_case(seed):
    draw = Draw(1000 + seed)
    session = 10 + draw.below(60)
    windowed = draw.below(4) > 0
    outages = []
    if seed % 2:
        for _ in range(1 + draw.below(3)):
            begin = draw.below(12000)
            outages.append([begin, begin + 1 + draw.below(4000)])
    return {
        "first": draw.below(3000) if windowed else 0, "period": 2000 + draw.below(4000) if windowed else None,
        "width": session + draw.below(400), "session": session, "count": 5 + draw.below(25), "every": 1 + draw.below(900),
        "fail_every": draw.pick([0, 2, 3, 5]), "backoff": draw.below(200), "expiry": draw.pick([None, 1000, 5000, 12000]), "outages": outages,
        "until": 60000,
    }


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "what became of each message: [number, offered_s, at_s, how], in the order it happened",
        "library": "simpy " + simpy.__version__,
        "script": "reference/make/" + here.name + " (with network_simpy.py)",
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "none: whole seconds",
    }
    cases = [by_hand(420, 14400), by_hand(130, 7000)] + [random_case(seed) for seed in range(40)]
    lines = ",\n".join(json.dumps(Uplink(case).solved(), separators=(",", ":")) for case in cases)
    text = '{"provenance":%s,\n"cases":[\n%s\n]}\n' % (json.dumps(provenance, indent=1), lines)
    (here.parent.parent / "network" / "simpy-uplink.json").write_text(text)


if __name__ == "__main__":
    main()
