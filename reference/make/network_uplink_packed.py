"""A second model of the uplink with priorities, packing, a growing back-off, limited room, a monthly cap and a module that stops, written from the rules
of docs/method/uplink.md and not from the Rust.

Python 3.11, simpy==4.1.2. Run with no arguments to write reference/network/simpy-uplink-packed.json: a hundred random cases. Running it again gives the
same bytes. All times are whole seconds.
"""

import hashlib
import json
import pathlib

import simpy

from network_simpy import FAULT, START, Draw, at_priority

OFFER = 2


class Shore:
    def __init__(self, case):
        self.case, self.env = case, simpy.Environment()
        self.queue = []  # [priority, number, offered, bytes], kept sorted: the numbers follow the order of the offers
        self.trying = []
        self.attempts, self.told, self.billed = 0, [], {}
        self.works, self.waits, self.failures = True, False, 0
        self.env.process(self.source())
        self.process = self.env.process(self.terminal())
        for stop, start in case["stops"]:
            at_priority(self.env, FAULT, stop).callbacks.append(self.stops)
            at_priority(self.env, FAULT, start).callbacks.append(self.starts)

    def stops(self, _event):
        self.works = False
        if self.waits:
            self.process.interrupt()

    def starts(self, _event):
        self.works, self.failures = True, 0

    def tell(self, *what):
        self.told.append(list(what))

    def source(self):
        for number, (at, size, priority) in enumerate(self.case["offers"]):
            if at > self.env.now:
                # After an attempt that ends at the same instant, before one that begins.
                yield at_priority(self.env, OFFER, at - self.env.now)
            self.queue = sorted(self.queue + [[priority, number, at, size]])
            if self.case["room"] and len(self.queue) + len(self.trying) > self.case["room"]:
                least = [m for m in self.queue if m[0] == max(q[0] for q in self.queue)]
                gone = least[0] if self.case["gives_up"] == "oldest" else least[-1]
                self.queue.remove(gone)
                self.tell(gone[1], self.env.now, "dropped", 0)

    def size(self, message):
        return message[3] + self.case["stamp"]

    def room(self):
        return self.case["message"] - self.case["overhead"]

    def urgent(self, message):
        return self.case["urgent"] is not None and message[0] <= self.case["urgent"]

    def month(self):
        return self.env.now // self.case["month"] if self.case["cap"] else 0

    def spent(self):
        return self.billed.get(self.month(), 0)

    def load(self, urgent_only=False):
        """The messages of the next attempt, and what they cost."""
        first = self.queue[0]
        cost = max(1, -(-self.size(first) // self.room()))
        if self.case["hold"] is None or cost > 1:
            return [first], cost
        taken = []
        for message in self.queue:
            if sum(map(self.size, taken)) + self.size(message) > self.room() or (urgent_only and not self.urgent(message)):
                break
            taken.append(message)
        return taken, 1

    def visible(self):
        t = self.env.now
        if self.case["period"] is not None:
            if t < self.case["first"]:
                return False
            into = (t - self.case["first"]) % self.case["period"]
            if into + self.case["session"] > self.case["width"]:
                return False
        return not any(a <= t < b for a, b in self.case["outages"])

    def may_start(self):
        if not self.works or not self.queue or not self.visible():
            return False
        load, cost = self.load()
        if self.case["hold"] is not None and not self.urgent(load[0]):
            full = len(load) < len(self.queue) or sum(map(self.size, load)) + self.size(load[-1]) > self.room()
            waited = self.env.now - min(m[2] for m in self.queue) >= self.case["hold"]
            if not (full or waited):
                return False
        if self.case["cap"] and self.spent() + cost > self.case["cap"]:
            return self.case["then"] == "urgent" and self.urgent(load[0])
        return True

    def lasts(self, seconds):
        """Lets so many seconds pass; whether the module worked all the while."""
        self.waits = True
        try:
            yield self.env.timeout(seconds)
        except simpy.Interrupt:
            return False
        finally:
            self.waits = False
        return True

    def terminal(self):
        case, env = self.case, self.env
        while True:
            # Second by second on purpose: the slow and obvious way to find the next chance.
            yield at_priority(env, START)
            if not self.may_start():
                yield env.timeout(1)
                continue
            if case["expiry"] is not None:
                for message in [m for m in self.queue if env.now - m[2] > case["expiry"]]:
                    self.queue.remove(message)
                    self.tell(message[1], env.now, "expired", 0)
            if not self.may_start():
                yield env.timeout(1)
                continue
            capped = bool(case["cap"]) and case["then"] == "urgent" and self.spent() >= case["cap"]
            load, cost = self.load(capped)
            self.trying, self.queue = load, [m for m in self.queue if m not in load]
            self.attempts += 1
            start, month, attempt = env.now, self.month(), self.attempts
            if not (yield from self.lasts(case["session"])):
                self.trying, self.queue = [], sorted(self.queue + load)
                self.tell(-1, env.now, "broken off", len(load))
                self.pay_failed(month, cost)
                continue
            touched = any(a < env.now and start < b for a, b in case["outages"])
            self.trying = []
            if touched or (case["fail_every"] and attempt % case["fail_every"] == 0):
                self.failures += 1
                self.queue = sorted(self.queue + load)
                self.pay_failed(month, cost)
                wait = case["backoff"]
                for _ in range(self.failures - 1):
                    wait = min(wait * case["growth"], case["longest"])
                yield from self.lasts(wait)
                continue
            self.failures = 0
            for place, message in enumerate(load):
                self.tell(message[1], env.now, "sent", cost if place == 0 else 0)
            self.pay(month, cost)

    def pay_failed(self, month, cost):
        if self.case["bills_failed"]:
            self.pay(month, cost)

    def pay(self, month, cost):
        before = self.billed.get(month, 0)
        self.billed[month] = before + cost
        if self.case["cap"] and before < self.case["cap"] <= before + cost:
            self.tell(-1, self.env.now, "cap", before + cost)

    def solved(self):
        self.env.run(until=self.case["until"])
        return {"case": self.case, "told": self.told, "attempts": self.attempts, "billed": sum(self.billed.values())}


def random_case(seed):
    draw = Draw(7000 + seed)
    session = 10 + draw.below(50)
    windowed = draw.below(3) > 0
    message = draw.pick([50, 120, 270, 340])
    backoff = draw.below(120)
    capped = draw.below(2) == 0
    urgent = draw.pick([None, 0, 0, 1])
    at, offers = 0, []
    longest_pause = draw.pick([20, 200, 900])
    for _ in range(10 + draw.below(40)):
        at += draw.below(longest_pause)
        offers.append([at, draw.pick([0, 7, 9, 9, 9, 28, 60, 100, 400]), draw.below(3)])
    outages = []
    for _ in range(draw.below(3)):
        begin = draw.below(9000)
        outages.append([begin, begin + 1 + draw.below(2000)])
    return {
        "first": draw.below(1500) if windowed else 0, "period": 1000 + draw.below(2500) if windowed else None,
        "width": session + draw.below(400), "session": session, "message": message, "overhead": draw.pick([0, 0, 2, 11]),
        "stamp": draw.pick([0, 0, 4]), "hold": draw.pick([None, 60, 300, 1200]), "urgent": urgent,
        "room": draw.pick([None, 3, 8, 20]), "gives_up": draw.pick(["oldest", "newest"]), "fail_every": draw.pick([0, 2, 3, 5]),
        "backoff": backoff, "growth": 1 + draw.below(3), "longest": backoff + draw.below(900),
        "cap": 1 + draw.below(8) if capped else None, "month": 5000 + draw.below(4000),
        "then": draw.pick(["stop", "urgent"]) if urgent is not None else "stop",
        "expiry": draw.pick([None, None, 800, 3000, 9000]), "offers": offers, "outages": outages, "until": 40000, "stops": stops(draw),
        "bills_failed": draw.below(2) == 0,
    }


def stops(draw):
    """When its module stops, and when it works again; in half of the cases never."""
    at, spells = 0, []
    for _ in range(draw.pick([0, 6, 0, 20])):
        begin = at + 1 + draw.below(900)
        at = begin + draw.pick([1, 20, 300, 900])
        spells.append([begin, at])
    return spells


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "what became of each message: [number, at_s, how, billed], in the order it happened; -1 is the cap, or an attempt of so many messages that stops with its module",
        "library": "simpy " + simpy.__version__,
        "script": "reference/make/" + here.name + " (with network_simpy.py)",
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "none: whole seconds",
    }
    lines = ",\n".join(json.dumps(Shore(random_case(seed)).solved(), separators=(",", ":")) for seed in range(100))
    text = '{"provenance":%s,\n"cases":[\n%s\n]}\n' % (json.dumps(provenance, indent=1), lines)
    (here.parent.parent / "network" / "simpy-uplink-packed.json").write_text(text)


if __name__ == "__main__":
    main()
