"""CAN buses with bit errors, by routes that share nothing with the Rust.

Python 3.11, simpy==4.1.2, scipy==1.17.1, numpy==2.4.6. Run with no arguments to write reference/network/simpy-can-errors.json. Running it again gives the same bytes. Times are
integer nanoseconds.

`cases`: a hundred random buses, stepped in SimPy from the rules of docs/method/network.md. Which frames are hit is drawn from the named streams of `chance_streams`, so that both programs
hit the same ones. Those that are off the bus count silence run by run of eleven bits.

`repeats`: [chance that a sending is hit, mean repeats, their variance] of scipy's geometric law.

`bus_off`: [chance, mean sendings until the transmit error counter passes 255], exactly in fractions: the mean from each level satisfies E_i = 1 + p E_(i+8) + (1-p) E_max(i-1,0), so that
those from 8 on follow from the first eight; that E is 0 from 256 on gives eight equations for these.

`responses`: sets of frames with the least time between errors, and their response times by the recurrence of Tindell, Burns and Wellings (1995), from memory, with the instances in the outer loop.
`worst_seen` is the longest that a stepped bus needed in which errors hit as often as they may, at the ends of frames, from drawn starts: it may not pass the recurrence.
"""

import hashlib
import heapq
import json
import math
import pathlib
from fractions import Fraction

import scipy
import scipy.stats
import simpy

from chance_streams import words
from network_simpy import START, Draw, at_priority, matches

SECOND = 10**9


def frame_bits(bus, payload):
    """At the two rates; those of CAN 2.0 all at the first."""
    size, extended = payload + bus["header_bytes"], bus["ids"] == 29
    if bus["data_rate_bps"] is None:
        stuffed = (54 if extended else 34) + 8 * size
        return stuffed + (stuffed - 1) // 4 + 13, 0
    if size > 8:
        size = min(s for s in (12, 16, 20, 24, 32, 48, 64) if s >= size)
    head = 36 if extended else 17
    slow = (head - 1) // 4
    fast = (head + 5 + 8 * size - 1) // 4 - slow
    check = 17 + 6 if size <= 16 else 21 + 7
    return head + slow + 13, 5 + 8 * size + fast + 4 + check


def lasts(bits, rate_bps):
    return -(-bits * SECOND // rate_bps)


class Message:
    def __init__(self, stream, seq, spec, readers, fragments):
        self.stream, self.seq, self.prio = stream, seq, spec["prio"]
        self.left = dict.fromkeys(readers, fragments)


class Frame:
    def __init__(self, message, station, index, size, now, beyond):
        self.message, self.station, self.rest, self.beyond = message, station, size, beyond
        self.key = (message.prio, now, message.stream, message.seq, index)

    def __lt__(self, other):
        return self.key < other.key


class Bus:
    def __init__(self, scenario):
        self.env, self.scenario, self.bus = simpy.Environment(), scenario, scenario["bus"]
        nodes = range(len(scenario["proc_ns"]))
        self.counter, self.seen = [0] * len(nodes), [None] * len(nodes)
        self.draws = [words(scenario["seed"], f"bit errors/bus-0/node-{n}/all", 0) for n in nodes]
        self.waiting, self.flying, self.wake, self.held, self.silence = [], set(), None, None, 0
        self.delivered, self.dropped, self.busy, self.frames, self.hit, self.offs = [], [], 0, 0, 0, 0
        self.env.process(self.serve())
        for number, spec in enumerate(scenario["streams"]):
            self.env.process(self.stream(number, spec))
        self.env.run()

    def bits(self, count):
        return lasts(count, self.bus["rate_bps"])

    def drop(self, message, readers, why):
        for reader in readers:
            if reader in message.left:
                del message.left[reader]
                self.dropped.append([message.stream, message.seq, reader, self.env.now, why])

    def stream(self, number, spec):
        readers = sorted({s["node"] for s in self.scenario["subs"] if matches(s["filter"], spec["topic"]) and s["node"] != spec["node"]})
        mtu = self.scenario["mtu_bytes"]
        cuts = [mtu] * ((spec["bytes"] - 1) // mtu) if spec["bytes"] else []
        cuts.append(spec["bytes"] - sum(cuts))
        yield self.env.timeout(spec["offset_ns"])
        for seq in range(spec["count"]):
            message = Message(number, seq, spec, readers, len(cuts))
            gone = [r for r in readers if self.seen[r] is not None or self.seen[spec["node"]] is not None]
            self.drop(message, gone, "path")
            beyond = list(message.left)
            for index, size in enumerate(cuts if beyond else []):
                heapq.heappush(self.waiting, Frame(message, spec["node"], index, size, self.env.now, beyond))
            if beyond and self.wake is not None and not self.wake.triggered:
                self.wake.succeed()
            yield self.env.timeout(spec["period_ns"])

    def choose(self):
        """Of those that may go the first; a station that holds back is passed over."""
        may = [f for f in self.waiting if self.held is None or self.env.now >= self.held[1] or f.station != self.held[0]]
        if not may:
            return None
        frame = min(may)
        self.waiting.remove(frame)
        heapq.heapify(self.waiting)
        return frame

    def is_hit(self, frame, payload):
        if self.scenario["rate"] == 0.0:
            return False
        loss = -math.expm1(sum(frame_bits(self.bus, payload)) * math.log1p(-self.scenario["rate"]))
        return next(self.draws[frame.station]) >> 11 < round(loss * 2**53)

    def serve(self):
        env, bus = self.env, self.bus
        while True:
            yield at_priority(env, START)
            frame = self.choose()
            if frame is None:
                self.wake = env.event()
                until = [self.wake]
                if self.waiting:
                    until.append(env.timeout(self.held[1] - env.now))
                yield env.any_of(until)
                self.wake = None
                continue
            self.held = None
            self.silence += 1
            payload = min(frame.rest, bus["payload_bytes"])
            slow, fast = frame_bits(bus, payload)
            hit = self.is_hit(frame, payload)
            time = self.bits(slow) + (lasts(fast, bus["data_rate_bps"]) if fast else 0) + (self.bits(20) if hit else 0)
            self.frames, self.hit, self.busy = self.frames + 1, self.hit + hit, self.busy + time
            yield env.timeout(time)
            for station, seen in enumerate(self.seen):
                if seen is not None:
                    self.see(station)
            station = frame.station
            if hit:
                self.counter[station] += 8
                heapq.heappush(self.waiting, frame)
            else:
                self.counter[station] = max(self.counter[station] - 1, 0)
                frame.rest -= payload
                if frame.rest > 0:
                    heapq.heappush(self.waiting, frame)
                else:
                    env.process(self.fly(frame))
            if self.counter[station] >= 256:
                self.leave(station)
            elif self.counter[station] >= 128:
                self.held = (station, env.now + self.bits(8))
            self.silence += 1
            env.process(self.silent(self.silence))

    def silent(self, turn):
        """As long as nobody speaks those that are off see one run of recessive bits after another."""
        while any(seen is not None for seen in self.seen):
            yield self.env.timeout(self.bits(11))
            if self.silence != turn:
                return
            for station, seen in enumerate(self.seen):
                if seen is not None:
                    self.see(station)

    def see(self, station):
        self.seen[station] += 1
        if self.seen[station] >= 128:
            self.counter[station], self.seen[station] = 0, None

    def leave(self, station):
        self.offs += 1
        self.seen[station] = 0
        for frame in sorted(f for f in self.waiting if f.station == station):
            self.drop(frame.message, frame.beyond, "bus off")
        self.waiting = [f for f in self.waiting if f.station != station]
        heapq.heapify(self.waiting)

    def fly(self, frame):
        yield self.env.timeout(self.bus["prop_ns"])
        for reader in frame.beyond:
            if self.seen[reader] is not None:
                self.drop(frame.message, [reader], "bus off")
            else:
                self.env.process(self.land(frame.message, reader))

    def land(self, message, reader):
        yield self.env.timeout(self.scenario["proc_ns"][reader])
        if reader in message.left:
            message.left[reader] -= 1
            if message.left[reader] == 0:
                del message.left[reader]
                self.delivered.append([message.stream, message.seq, reader, self.env.now])


def random_scenario(seed):
    draw = Draw(910_000 + seed)
    nodes = 2 + draw.below(5)
    rate, prop = draw.pick([125_000, 500_000, 1_000_000]), draw.pick([50, 450])
    fd = draw.below(3) == 0
    bus = {
        "can": True, "stations": list(range(nodes)), "rate_bps": rate, "prop_ns": prop, "ids": draw.pick([11, 29]), "header_bytes": draw.pick([0, 1]),
        "data_rate_bps": 2_000_000 if fd else None, "payload_bytes": draw.pick([4, 7]) if not fd else draw.pick([7, 48]),
    }
    unit = 60 * SECOND // rate
    streams = [
        {
            "node": draw.below(nodes), "topic": "line/n%d/%s" % (number % nodes, draw.pick(["level", "audio"])), "bytes": draw.pick([0, 1, 7, 20, 60]),
            "prio": draw.below(3), "period_ns": (2 + draw.below(60)) * unit, "offset_ns": draw.below(12) * unit + 137 + number, "count": 5 + draw.below(30),
        }
        for number in range(2 + draw.below(5))
    ]
    subs = [{"node": draw.below(nodes), "filter": draw.pick(["line/#", "line/+/level", "#"])} for _ in range(1 + draw.below(nodes))]
    return {
        "seed": seed, "rate": draw.pick([0.0003, 0.001, 0.002, 0.004, 0.02]), "proc_ns": [draw.pick([0, 20_000]) for _ in range(nodes)], "mtu_bytes": draw.pick([16, 1000]),
        "links": [], "bus": bus, "streams": streams, "subs": subs, "faults": [],
    }


def solved(scenario):
    bus = Bus(scenario)
    rows = bus.delivered + bus.dropped
    assert len({tuple(row[:3]) for row in rows}) == len(rows)
    return {
        "scenario": scenario, "delivered": sorted(bus.delivered), "dropped": sorted(bus.dropped), "bus_busy_ns": bus.busy, "bus_frames": bus.frames, "bus_hit": bus.hit, "bus_offs": bus.offs,
    }


def bus_off(hit):
    """Each level as a sum of the first eight and 1, in fractions."""
    p = Fraction(hit)
    rows = [[Fraction(int(i == k)) for k in range(9)] for i in range(8)]
    while len(rows) < 264:
        i = len(rows) - 8
        below, here = rows[max(i - 1, 0)], rows[i]
        rows.append([(a - (1 - p) * b - (k == 8)) / p for k, (a, b) in enumerate(zip(here, below))])
    system = [row[:8] + [-row[8]] for row in rows[256:]]
    for column in range(8):
        pivot = next(r for r in range(column, 8) if system[r][column] != 0)
        system[column], system[pivot] = system[pivot], system[column]
        for r in range(8):
            if r != column:
                factor = system[r][column] / system[column][column]
                system[r] = [a - factor * b for a, b in zip(system[r], system[column])]
    return float(system[0][8] / system[0][0])


def response(frames, m, bit, apart):
    """With the instances in the outer loop; None where the bus is full."""
    first, (own, period, jitter) = frames[:m], frames[m]
    cost = 31 * bit + max(c for c, _, _ in frames[: m + 1])
    if sum(Fraction(c, t) for c, t, _ in frames[: m + 1]) + Fraction(cost, apart) >= 1:
        return None
    blocking = max((c for c, _, _ in frames[m + 1 :]), default=0)
    worst, q, end = 0, 0, None
    busy = own
    while True:
        more = blocking - (-busy // apart) * cost + sum(-(-(busy + j) // t) * c for c, t, j in frames[: m + 1])
        if more == busy:
            break
        busy = more
    while q * period < busy + jitter:
        wait = blocking + q * own
        while True:
            more = blocking + q * own - (-(wait + own) // apart) * cost + sum(-(-(wait + j + bit) // t) * c for c, t, j in first)
            if more == wait:
                break
            wait = more
        worst = max(worst, jitter + wait + own - q * period)
        q += 1
    return worst


def stepped(frames, bit, apart, draw):
    """The longest that each frame needs on a bus where an error hits the end of a frame as soon as it may."""
    worst = [0] * len(frames)
    for _ in range(40):
        offsets = [draw.below(t) for _, t, _ in frames] if draw.below(2) else [0] * len(frames)
        horizon = 40 * max(t for _, t, _ in frames)
        coming = sorted((at, k) for k, (_, t, _) in enumerate(frames) for at in range(offsets[k] + (1 if draw.below(2) and k < len(frames) - 1 else 0), horizon, t))
        now, waiting, next_error, at = 0, [], draw.below(apart), 0
        while at < len(coming) or waiting:
            while at < len(coming) and coming[at][0] <= now:
                heapq.heappush(waiting, (coming[at][1], coming[at][0]))
                at += 1
            if not waiting:
                now = coming[at][0]
                continue
            k, since = waiting[0]
            end = now + frames[k][0]
            if end - 3 * bit > next_error:
                # Hit in its last bit: flag, delimiter, gap and what an error-passive station waits longer.
                next_error = max(next_error, end - 3 * bit) + apart
                now = end - 3 * bit + 31 * bit
                continue
            heapq.heappop(waiting)
            now = end
            worst[k] = max(worst[k], now - since)
    return worst


def responses():
    rows = []
    for seed in range(40):
        draw = Draw(33_000 + seed)
        rate = draw.pick([125_000, 500_000])
        bit = SECOND // rate
        frames = [[(55 + 10 * draw.below(9)) * bit, (6 + draw.below(60)) * 100 * bit, 0] for _ in range(2 + draw.below(4))]
        jitters = [draw.below(30) * 10 * bit for _ in frames] if draw.below(2) else [0] * len(frames)
        apart = (4 + draw.below(40)) * 150 * bit
        plain = [response(frames, m, bit, apart) for m in range(len(frames))]
        late = [[c, t, j] for (c, t, _), j in zip(frames, jitters)]
        row = {"bit_ns": bit, "apart_ns": apart, "frames": late, "responses": [response(late, m, bit, apart) for m in range(len(late))]}
        if jitters == [0] * len(frames) and all(r is not None for r in plain):
            row["worst_seen"] = stepped(frames, bit, apart, draw)
            assert all(seen <= told for seen, told in zip(row["worst_seen"], plain)), (seed, row)
        rows.append(row)
    return rows


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "CAN buses with bit errors: deliveries [stream, seq, node, at_ns], drops [stream, seq, node, at_ns, why], busy time, sendings, sendings hit and how often a controller left; "
        "repeats [chance, mean, variance]; bus_off [chance, mean sendings]; response times with errors",
        "library": f"simpy {simpy.__version__}, scipy {scipy.__version__}; Python fractions",
        "script": "reference/make/" + here.name,
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "cases and responses: none, integer nanoseconds; repeats and bus_off: 1e-11 of the value, rounding of a few hundred products",
    }
    chances = [1e-6, 1e-3, 0.01, 0.05, 0.1, 1 / 9, 0.2, 0.5, 0.9]
    geometric = [scipy.stats.geom(1 - p, loc=-1) for p in chances]
    document = {
        "repeats": [[p, float(g.mean()), float(g.var())] for p, g in zip(chances, geometric)],
        "bus_off": [[p, bus_off(p)] for p in chances[1:]],
        "responses": responses(),
    }
    cases = ",\n".join(json.dumps(solved(random_scenario(seed)), separators=(",", ":")) for seed in range(100))
    rest = ",\n".join(f"{json.dumps(key)}:{json.dumps(value, separators=(',', ':'))}" for key, value in document.items())
    text = '{"provenance":%s,\n%s,\n"cases":[\n%s\n]}\n' % (json.dumps(provenance, indent=1), rest, cases)
    (here.parent.parent / "network" / "simpy-can-errors.json").write_text(text)


if __name__ == "__main__":
    main()
