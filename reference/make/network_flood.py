"""A module in a row of four floods the line, in a simulator written from the rules of docs/method/network.md and docs/method/rehearsal.md, not from the Rust.

Python 3.11, simpy==4.1.2. Run with no arguments to write reference/network/simpy-flood.json: a hundred random cases. Running it again gives the same
bytes. All times are integer nanoseconds.

Modules m0 to m3 stand in a row; all that is published goes to m0 alone. m1 and m2 publish topic t/0 at intervals of their own, m3 topic t/1 at
intervals of its own, and as a broken module besides from `begin` until `end`, the first time at `begin`. A limit of n in a second lets a message
pass if fewer than n have passed in the second before (a message just one second old does not count). It holds for each publisher and topic; the
flood heeds it or not. Messages are one frame. A link serves the frame that is least by priority, instant queued and stream (modules in
order, of each its topics in order), then by number in the stream. A frame is queued onwards, or is delivered, one propagation and one processing time
after its last bit has left. At one instant all frames are queued before one is served.
"""

import hashlib
import heapq
import json
import pathlib

import simpy

from network_simpy import START, Draw, at_priority

SECOND = 10**9
BYTES = 38 + 48 + 200  # IEEE 802.3 with preamble and gap; IPv6 and UDP (RFC 8200, RFC 768); payload
PROPAGATION, PROCESSING = 500, 100_000  # 100 m at 5 ns/m
UNTIL = 3 * SECOND


class Line:
    def __init__(self, case):
        self.case, self.env = case, simpy.Environment()
        self.delivered, self.held_back = [], 0
        self.passed, self.numbers = {}, {}
        # Of module n the link towards m0.
        self.waiting = {n: [] for n in (1, 2, 3)}
        self.wake = {n: None for n in (1, 2, 3)}
        for n in (1, 2, 3):
            self.env.process(self.link(n))
        for n, topic in ((1, 0), (2, 0), (3, 1)):
            self.env.process(self.beat(n, topic))
        self.env.process(self.flood())

    def beat(self, module, topic):
        every = self.case["every_ns"][module - 1]
        while True:
            yield self.env.timeout(every)
            self.publish(module, topic, True)

    def flood(self):
        case = self.case
        yield self.env.timeout(case["begin_ns"])
        while self.env.now < case["end_ns"]:
            self.publish(3, 1, case["limited"])
            yield self.env.timeout(case["flood_ns"])

    def publish(self, module, topic, limited):
        now = self.env.now
        # What goes past the limit does not count to it either.
        if limited:
            passed = self.passed.setdefault((module, topic), [])
            passed[:] = [t for t in passed if now - t < SECOND]
            if len(passed) >= self.case["at_most"][topic]:
                self.held_back += 1
                return
            passed.append(now)
        number = self.numbers.get((module, topic), 0)
        self.numbers[module, topic] = number + 1
        self.queue(module, (self.case["priority"][topic], module * 2 + topic, number, module, topic, now))

    def queue(self, at, frame):
        priority, stream, number, module, topic, published = frame
        heapq.heappush(self.waiting[at], (priority, self.env.now, stream, number, frame))
        if self.wake[at] is not None:
            wake, self.wake[at] = self.wake[at], None
            wake.succeed()

    def link(self, n):
        frame_ns = -(-8 * BYTES * SECOND // self.case["rate_bit_s"])
        while True:
            if not self.waiting[n]:
                self.wake[n] = self.env.event()
                yield self.wake[n]
            yield at_priority(self.env, START)
            frame = heapq.heappop(self.waiting[n])[-1]
            yield self.env.timeout(frame_ns)
            self.env.process(self.arrives(n - 1, frame))

    def arrives(self, at, frame):
        yield self.env.timeout(PROPAGATION + PROCESSING)
        if at > 0:
            self.queue(at, frame)
        else:
            _, _, _, module, topic, published = frame
            self.delivered.append([module, topic, published, self.env.now])

    def solved(self):
        self.env.run(until=UNTIL)
        rows = self.delivered
        took = [[r[3] - r[2] for r in rows if r[1] == topic] for topic in (0, 1)]
        return {
            "case": self.case, "delivered": [len(t) for t in took], "held_back": self.held_back,
            "least_ns": [min(t, default=None) for t in took], "greatest_ns": [max(t, default=None) for t in took],
            "median_ns": [sorted(t)[(len(t) - 1) // 2] if t else None for t in took],
            "sum_ns": [sum(t) for t in took], "took_t0_ns": [[r[0], r[3] - r[2]] for r in rows if r[1] == 0],
        }


def random_case(seed):
    draw = Draw(7000 + seed)
    # Odd nanoseconds keep the flood from meeting another publication of m3 at one instant.
    begin = SECOND // 2 + 2 * draw.below(SECOND // 2) + 1
    return {
        "rate_bit_s": draw.pick([500_000, 1_000_000, 2_000_000, 10_000_000]),
        "every_ns": [1_000_000 * (50 + draw.below(150)), 1_000_000 * (50 + draw.below(150)), 1_000_000 * (600 + draw.below(400))],
        "begin_ns": begin, "end_ns": begin + 1_000_000 * (100 + draw.below(700)),
        "flood_ns": 1_000 * (700 + draw.below(6000)), "limited": draw.below(3) == 0,
        "at_most": [20, 2 + draw.below(8)], "priority": draw.pick([[0, 0], [0, 1], [1, 0]]),
    }


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "a module floods a line of four: messages delivered by topic, held back, least, greatest and lower median time and the sum of all; publisher and time of each on t/0",
        "library": "simpy " + simpy.__version__,
        "script": "reference/make/" + here.name + " (with network_simpy.py)",
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "none: whole nanoseconds",
    }
    lines = ",\n".join(json.dumps(Line(random_case(seed)).solved(), separators=(",", ":")) for seed in range(100))
    text = '{"provenance":%s,\n"cases":[\n%s\n]}\n' % (json.dumps(provenance, indent=1), lines)
    (here.parent.parent / "network" / "simpy-flood.json").write_text(text)


if __name__ == "__main__":
    main()
