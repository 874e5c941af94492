"""Response times on a CAN bus by two routes that share nothing with the Rust: the revised recurrence, and a bus that is stepped.

Python 3.11, simpy==4.1.2. Run with no arguments to write reference/network/simpy-can.json. Running it again gives the same bytes. Times are integer
nanoseconds.

The recurrence (Davis, Burns, Bril, Lukkien 2007) is written with the instances in the outer loop and exact fractions for the utilisation. The stepped
bus is SimPy: one frame at a time, the lowest number of those that wait goes on, releases of an instant before the choice at that instant. For each frame
the worst start is run: the longest later frame has begun one nanosecond before everything else is released at once and as often as it may. It is run for
sets without jitter; its worst must lie within one bit time below the recurrence, which lets a frame released within a bit time after the choice still win.
"""

import hashlib
import json
import pathlib
from fractions import Fraction

import simpy

from network_simpy import Draw, START, at_priority


def bits(extended, size):
    """Counted field by field, with the pattern that stuffs most: after the first five equal bits one more for each four."""
    fields = [1, 11, 1, 1, 1, 4] if not extended else [1, 11, 1, 1, 18, 1, 2, 4]
    stuffable = sum(fields) + 8 * size + 15
    stuffed = 0
    run, last = 0, None
    source = iter(pattern(stuffable))
    for bit in source:
        run = run + 1 if bit == last else 1
        last = bit
        if run == 5:
            stuffed += 1
            last, run = 1 - bit, 1
    delimiter, acknowledge, end, gap = 1, 2, 7, 3
    return stuffable + stuffed + delimiter + acknowledge + end + gap


def pattern(length):
    """Five equal bits, then four of the other kind again and again: each stuff bit begins the next run."""
    bit, made = 0, [0] * 5
    while len(made) < length:
        bit = 1 - bit
        made += [bit] * 4
    return made[:length]


def ceil_div(a, b):
    return -(-a // b)


def recurrence(messages, m, tau):
    own = messages[m]
    before, after = messages[:m], messages[m + 1:]
    if sum(Fraction(x["frame"], x["period"]) for x in messages[:m + 1]) >= 1:
        return None
    blocking = max([x["frame"] for x in after], default=0)

    def rise(start, law):
        now = start
        while True:
            then = law(now)
            if then == now:
                return now
            now = then

    def asked(span, whose, extra):
        return sum(ceil_div(span + x["jitter"] + extra, x["period"]) * x["frame"] for x in whose)

    busy = rise(own["frame"], lambda t: blocking + asked(t, messages[:m + 1], 0))
    worst = 0
    for q in range(ceil_div(busy + own["jitter"], own["period"])):
        start = blocking + q * own["frame"]
        wait = rise(start, lambda w: start + asked(w, before, tau))
        worst = max(worst, own["jitter"] + wait - q * own["period"] + own["frame"])
    return worst


class Bus:
    def __init__(self, messages, m):
        self.env = simpy.Environment()
        self.waiting, self.wake, self.worst = [], None, 0
        self.watched, self.messages = m, messages
        self.env.process(self.serve())
        later = [x["frame"] for x in messages[m + 1:]]
        if later:
            self.ask(0, len(messages), max(later))
        for number, message in enumerate(messages[:m + 1]):
            self.env.process(self.release(number, message, 1 if later else 0))

    def ask(self, at, number, lasts):
        self.waiting.append((number, at, lasts))
        if self.wake is not None:
            wake, self.wake = self.wake, None
            wake.succeed()

    def release(self, number, message, first):
        yield self.env.timeout(first)
        while True:
            self.ask(self.env.now, number, message["frame"])
            yield self.env.timeout(message["period"])

    def serve(self):
        while True:
            if not self.waiting:
                self.wake = self.env.event()
                yield self.wake
            yield at_priority(self.env, START)
            chosen = min(self.waiting)
            self.waiting.remove(chosen)
            number, asked, lasts = chosen
            yield self.env.timeout(lasts)
            if number == self.watched:
                self.worst = max(self.worst, self.env.now - asked)

    def run(self, until):
        self.env.run(until=until)
        return self.worst


def case(name, bit, messages, stepped):
    told = {"name": name, "bit": bit, "messages": messages}
    told["response"] = [recurrence(messages, m, bit) for m in range(len(messages))]
    told["without_bit"] = [recurrence(messages, m, 0) for m in range(len(messages))]
    if stepped:
        until = 40 * max(x["period"] for x in messages)
        told["stepped"] = [
            None if bound is None else Bus(messages, m).run(until)
            for m, bound in enumerate(told["response"])
        ]
        for bound, seen in zip(told["response"], told["stepped"]):
            assert bound is None or 0 <= bound - seen <= bit, (name, bound, seen)
    return told


def message(frame, period, jitter=0):
    return {"frame": frame, "period": period, "jitter": jitter}


def random_set(seed):
    draw = Draw(7000 + seed)
    bit = draw.pick([1000, 2000, 8000, 20000])
    count = 2 + draw.below(7)
    messages = []
    for _ in range(count):
        frame = bits(draw.below(2) == 1, draw.below(9)) * bit
        messages.append(message(frame, frame * (count - 1 + draw.below(5 * count)) + draw.below(1000) * bit))
    return bit, messages


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "bits of frames; response times at worst by the recurrence, by a stepped bus, and by the recurrence without its bit time, ns; null: unbounded",
        "library": "simpy " + simpy.__version__,
        "source": "recurrence: Davis, Burns, Bril, Lukkien 2007, Real-Time Systems 35:239-272; its counter-example with three frames of 1 ms from memory",
        "script": "reference/make/" + here.name + " (with network_simpy.py)",
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "none for the recurrence; the stepped bus lies at most one bit time below it",
    }
    ms = 1_000_000
    published = [message(ms, 2_500_000), message(ms, 3_500_000), message(ms, 3_500_000)]
    made_up = [
        message(bits(False, size) * 8000, period * ms, jitter * 100_000)
        for size, period, jitter in [(1, 5, 0), (8, 10, 1), (4, 10, 0), (8, 20, 5), (2, 50, 0), (8, 100, 0), (8, 100, 0)]
    ]
    full = [message(ms, 2 * ms), message(ms, 2 * ms), message(ms, 9 * ms)]
    cases = [case("published", 8000, published, True), case("made-up", 8000, made_up, False), case("full", 8000, full, False)]
    for seed in range(60):
        bit, messages = random_set(seed)
        cases.append(case("random", bit, messages, True))
    sizes = {"11 bit": [bits(False, s) for s in range(9)], "29 bit": [bits(True, s) for s in range(9)]}
    lines = ",\n".join(json.dumps(c, separators=(",", ":")) for c in cases)
    text = '{"provenance":%s,\n"bits":%s,\n"cases":[\n%s\n]}\n' % (json.dumps(provenance, indent=1), json.dumps(sizes), lines)
    (here.parent.parent / "network" / "simpy-can.json").write_text(text)


if __name__ == "__main__":
    main()
