"""A second simulator of buses on which stations have turns, written from the rules of docs/method/network.md and not from the Rust.

Python 3.11, simpy==4.1.2. Run with no arguments to write reference/network/simpy-polled.json: a hundred random networks, each with one bus that is polled or has
rounds and with full-duplex links beside it; in a third of them the bus is cut and mended and modules stop and start. Running it again gives the same bytes. Times are
integer nanoseconds.

Every turn is stepped, also those in which nobody has anything to send. At one instant faults come first, then everything ordinary, then choices of what is sent next.
"""

import hashlib
import heapq
import itertools
import json
import pathlib

import simpy

from network_simpy import FAULT, START, Draw, at_priority, matches


def wire_time(wire, rate_bps, payload):
    size = max(payload, wire["min_payload_bytes"]) + wire["overhead_bytes"]
    return wire["lead_ns"] - (-wire["bits_per_byte"] * size * 10**9 // rate_bps)


class Way:
    """From one node to the next, or on a bus with rounds from a station to the wire and from the wire to a station."""

    def __init__(self, start, end, medium):
        self.start, self.end, self.medium = start, end, medium
        self.heap, self.flying, self.arrived = [], set(), set()
        self.sending, self.since, self.busy, self.frames = None, 0, 0, 0
        self.wake = self.process = None


class Message:
    def __init__(self, number, seq, spec, now):
        self.stream, self.seq, self.prio, self.published = number, seq, spec["prio"], now
        self.left, self.tree = {}, {}


class Frame:
    """A fragment on one way, with the readers beyond it and what has not yet crossed the bus."""

    def __init__(self, message, index, size, beyond):
        self.message, self.index, self.size, self.beyond, self.rest = message, index, size, beyond, size


class Net:
    def __init__(self, scenario):
        self.env, self.scenario = simpy.Environment(), scenario
        self.proc, self.mtu, self.bus = scenario["proc_ns"], scenario["mtu_bytes"], scenario["bus"]
        self.link_up, self.bus_up, self.node_up = [True] * len(scenario["links"]), True, [True] * len(self.proc)
        self.wire, self.hub = len(self.proc), len(self.proc)
        self.ways = []
        for index, link in enumerate(scenario["links"]):
            for start, end in [(link["a"], link["b"]), (link["b"], link["a"])]:
                self.ways.append(Way(start, end, index))
        self.turns = []
        for station in self.bus["stations"]:
            if self.bus["by"] is None:
                pairs = [(station, self.hub), (self.hub, station)]
            elif station == self.bus["by"]:
                continue
            else:
                pairs = [(self.bus["by"], station), (station, self.bus["by"])]
            for start, end in pairs:
                way = Way(start, end, "bus")
                self.ways.append(way)
                if start != self.hub:
                    self.turns.append(way)
        self.delivered, self.dropped, self.hops, self.trees = [], [], 0, {}
        self.frames, self.streams, self.done, self.mended = 0, len(scenario["streams"]), self.env.event(), None
        for way in self.ways:
            if way.medium != "bus":
                way.process = self.env.process(self.transmit(way))
        self.turning = self.env.process(self.take_turns())
        for number, spec in enumerate(scenario["streams"]):
            self.env.process(self.stream(number, spec))
        for fault in scenario["faults"]:
            at_priority(self.env, FAULT, fault["at_ns"]).callbacks.append(lambda _event, fault=fault: self.fault(fault))
        self.env.run(until=self.done)

    def works(self, way):
        whole = self.bus_up if way.medium == "bus" else self.link_up[way.medium]
        return whole and all(self.node_up[n] for n in (way.start, way.end) if n != self.hub)

    def why(self, way):
        whole = self.bus_up if way.medium == "bus" else self.link_up[way.medium]
        return "node" if whole else "link"

    def gone(self, frames):
        self.frames -= frames
        if self.frames == 0 and self.streams == 0 and not self.done.triggered:
            self.done.succeed()

    def stream(self, number, spec):
        readers = sorted({s["node"] for s in self.scenario["subs"] if matches(s["filter"], spec["topic"]) and s["node"] != spec["node"]})
        cuts = [self.mtu] * ((spec["bytes"] - 1) // self.mtu) if spec["bytes"] else []
        cuts.append(spec["bytes"] - sum(cuts))
        yield self.env.timeout(spec["offset_ns"])
        for seq in range(spec["count"]):
            self.publish(number, seq, spec, readers, cuts)
            if seq + 1 < spec["count"]:
                yield self.env.timeout(spec["period_ns"])
        self.streams -= 1
        self.gone(0)

    def publish(self, number, seq, spec, readers, cuts):
        message, node = Message(number, seq, spec, self.env.now), spec["node"]
        entered = self.reach(node)
        for reader in readers:
            if not self.node_up[node] or not self.node_up[reader]:
                self.dropped.append((number, seq, reader, self.env.now, "node"))
            elif reader not in entered:
                self.dropped.append((number, seq, reader, self.env.now, "path"))
            else:
                message.left[reader] = len(cuts)
                at = reader
                while at != node:
                    way = entered[at]
                    at = self.ways[way].start
                    message.tree.setdefault(at, {}).setdefault(way, set()).add(reader)
        for index, size in enumerate(cuts):
            self.spread(message, index, size, node)

    def reach(self, source):
        entered, level = {}, [source]
        while level:
            found = {}
            for node in sorted(level):
                for index, way in enumerate(self.ways):
                    if way.start == node and way.end != source and way.end not in entered and self.works(way):
                        found.setdefault(way.end, index)
            entered.update(found)
            level = list(found)
        return entered

    def spread(self, message, index, size, node):
        for number, beyond in message.tree.get(node, {}).items():
            way = self.ways[number]
            self.frames += 1
            frame = Frame(message, index, size, beyond)
            if not self.works(way):
                self.lose(frame, self.why(way))
            elif node == self.hub:
                way.arrived.add(frame)
                self.env.process(self.process(way, frame))
            else:
                heapq.heappush(way.heap, (message.prio, self.env.now, message.stream, message.seq, index, frame))
                if way.wake is not None:
                    wake, way.wake = way.wake, None
                    wake.succeed()

    def transmit(self, way):
        env, link = self.env, self.scenario["links"][way.medium]
        while True:
            if not way.heap:
                way.wake = env.event()
                yield way.wake
            yield at_priority(env, START)
            if not way.heap:
                continue
            frame = heapq.heappop(way.heap)[-1]
            way.sending, way.since = frame, env.now
            way.frames += 1
            try:
                yield env.timeout(-(-8 * (frame.size + link["overhead_bytes"]) * 10**9 // link["rate_bps"]))
            except simpy.Interrupt:
                continue
            way.busy += env.now - way.since
            way.sending = None
            self.fly(way, frame, link["prop_ns"])

    def take_turns(self):
        env, bus = self.env, self.bus
        while True:
            if not any(self.works(way) for way in self.turns):
                self.mended = env.event()
                yield self.mended
                self.mended = None
            try:
                for way in itertools.cycle(self.turns):
                    yield at_priority(env, START)
                    yield env.timeout(self.turn(way))
            except simpy.Interrupt:
                continue

    def turn(self, way):
        """Sends what is to be sent on a way of the bus; how long until the next turn."""
        bus = self.bus
        request = bus["by"] == way.start
        wire = bus["request"] if request else bus["wire"]
        beside = bus["prop_ns"] + (bus["gap_ns"] if bus["by"] is None else bus["turnaround_ns"])
        if not way.heap:
            if bus["by"] is None:
                return bus["gap_ns"]
            return beside + (wire_time(wire, bus["rate_bps"], 0) if request or self.works(way) else 0)
        entry = heapq.heappop(way.heap)
        frame = entry[-1]
        payload = min(frame.rest, bus["payload_bytes"])
        frame.rest -= payload
        lasts = wire_time(wire, bus["rate_bps"], payload)
        way.sending, way.since = frame, self.env.now
        way.frames += 1
        self.env.process(self.sent(way, frame, entry, lasts))
        return lasts + beside

    def sent(self, way, frame, entry, lasts):
        since = self.env.now
        yield self.env.timeout(lasts)
        if way.sending is not frame or way.since != since:
            return
        way.busy += lasts
        way.sending = None
        if frame.rest > 0:
            heapq.heappush(way.heap, entry)
        else:
            self.fly(way, frame, self.bus["prop_ns"])

    def fly(self, way, frame, prop_ns):
        way.flying.add(frame)
        self.env.process(self.arrive(way, frame, prop_ns))

    def arrive(self, way, frame, prop_ns):
        yield self.env.timeout(prop_ns)
        if frame not in way.flying:
            return
        way.flying.remove(frame)
        if way.end == self.hub:
            self.spread(frame.message, frame.index, frame.size, self.hub)
            self.gone(1)
            return
        way.arrived.add(frame)
        yield from self.process(way, frame)

    def process(self, way, frame):
        yield self.env.timeout(self.proc[way.end])
        if frame not in way.arrived:
            return
        way.arrived.remove(frame)
        self.hops += 1
        message = frame.message
        if way.end in message.left:
            message.left[way.end] -= 1
            if message.left[way.end] == 0:
                del message.left[way.end]
                self.delivered.append((message.stream, message.seq, way.end, self.env.now))
        self.spread(message, frame.index, frame.size, way.end)
        self.gone(1)

    def lose(self, frame, why):
        message = frame.message
        for reader in frame.beyond:
            if reader in message.left:
                del message.left[reader]
                self.dropped.append((message.stream, message.seq, reader, self.env.now, why))
        self.gone(1)

    def fault(self, fault):
        before = [self.works(way) for way in self.ways]
        turned = any(self.works(way) for way in self.turns)
        if fault["what"] == "bus":
            self.bus_up = fault["up"]
        elif fault["what"] == "link":
            self.link_up[fault["which"]] = fault["up"]
        else:
            self.node_up[fault["which"]] = fault["up"]
            if not fault["up"]:
                for way in self.ways:
                    if way.end == fault["which"]:
                        for frame in way.flying | way.arrived:
                            self.lose(frame, "node")
                        way.flying, way.arrived = set(), set()
        for way, worked in zip(self.ways, before):
            if worked and not self.works(way):
                self.stop(way)
        turns = any(self.works(way) for way in self.turns)
        if turned and not turns:
            self.turning.interrupt()
        elif turns and not turned and self.mended is not None:
            self.mended.succeed()

    def stop(self, way):
        lost = [entry[-1] for entry in way.heap] + list(way.flying)
        if way.sending is not None:
            lost.append(way.sending)
            way.busy += self.env.now - way.since
            way.sending = None
            if way.process is not None:
                way.process.interrupt()
        way.heap, way.flying = [], set()
        for frame in lost:
            self.lose(frame, self.why(way))


def random_bus(draw, stations):
    """Kinds of bus, each with its grid of instants."""
    kind = draw.pick(["characters", "characters", "sdi-12", "modem", "rounds", "grid", "grid-rounds"])

    def wire(lead, bits, overhead, least=0):
        return {"lead_ns": lead, "bits_per_byte": bits, "overhead_bytes": overhead, "min_payload_bytes": least}

    order = list(stations)
    for last in range(len(order) - 1, 0, -1):
        other = draw.below(last + 1)
        order[last], order[other] = order[other], order[last]
    bus = {"stations": order, "by": draw.pick(order), "turnaround_ns": 0, "gap_ns": 0}
    if kind == "characters":
        rate = draw.pick([9600, 115_200])
        bus.update(rate_bps=rate, prop_ns=draw.pick([0, 6000]), turnaround_ns=draw.pick([500_000, 2_000_000]), payload_bytes=draw.pick([16, 1000]))
        bus.update(request=wire(0, 10, 8), wire=wire(0, 10, 8))
        unit = 200 * 10**9 // rate
    elif kind == "sdi-12":
        bus.update(rate_bps=1200, prop_ns=300, turnaround_ns=15_000_000, payload_bytes=75, request=wire(20_333_334, 12, 4), wire=wire(0, 12, 3))
        unit = 100_000_000
    elif kind == "modem":
        bus.update(rate_bps=1000, prop_ns=draw.pick([50_000_000, 671_140_940]), turnaround_ns=250_000_000, payload_bytes=64)
        bus.update(request=wire(300_000_000, 8, 6), wire=wire(300_000_000, 8, 6))
        unit = 1_000_000_000
    elif kind == "rounds":
        bus.update(by=None, rate_bps=10_000_000, prop_ns=125, gap_ns=5200, payload_bytes=1400, request=wire(0, 8, 38, 46), wire=wire(0, 8, 38, 46))
        unit = 20_000
    else:
        # Everything in steps of 100 us, so that arrivals fall on the instants of choice.
        bus.update(rate_bps=1_000_000, prop_ns=draw.pick([0, 100_000]), payload_bytes=draw.pick([20, 60]), request=wire(0, 10, 10), wire=wire(0, 10, 10))
        if kind == "grid-rounds":
            bus.update(by=None, gap_ns=100_000)
        else:
            bus.update(turnaround_ns=100_000)
        unit = 100_000
    return kind, bus, unit


def random_scenario(seed):
    draw = Draw(700_000 + seed)
    nodes = 3 + draw.below(5)
    on_bus = 2 + draw.below(nodes - 1)
    kind, bus, unit = random_bus(draw, range(on_bus))
    grid = kind.startswith("grid")
    links = [
        {"a": draw.below(node), "b": node, "rate_bps": 10_000_000 if not grid else 8_000_000, "prop_ns": 500 if not grid else 0,
         "overhead_bytes": 86 if not grid else 100, "min_payload_bytes": 0}
        for node in range(on_bus, nodes)
    ]
    streams = []
    for _ in range(2 + draw.below(6)):
        node = draw.below(nodes)
        streams.append({
            "node": node,
            "topic": "line/n%d/%s" % (node, draw.pick(["level", "audio"])),
            "bytes": draw.pick([0, 1, 9, 40, 150] if not grid else [0, 10, 20, 40, 100]),
            "prio": draw.below(3),
            "period_ns": (3 + draw.below(60)) * unit,
            "offset_ns": draw.below(12) * unit,
            "count": 1 + draw.below(8),
        })
    subs = [
        {"node": draw.below(nodes), "filter": draw.pick(["line/#", "line/+/level", "line/n%d/#" % draw.below(nodes)])}
        for _ in range(1 + draw.below(nodes))
    ]
    faults = []
    if seed % 3 == 2:
        for _ in range(2 + draw.below(3)):
            at, lasts = draw.below(200) * unit, (1 + draw.below(60)) * unit
            what, which = draw.pick([("bus", 0), ("node", draw.below(nodes)), ("node", draw.below(on_bus))])
            if any((f["what"], f["which"]) == (what, which) for f in faults):
                continue
            faults.append({"at_ns": at, "what": what, "which": which, "up": False})
            faults.append({"at_ns": at + lasts, "what": what, "which": which, "up": True})
        faults.sort(key=lambda f: f["at_ns"])
    procs = draw.pick([[0], [20_000, 100_000]]) if not grid else [0, 100_000]
    return {
        "kind": kind, "proc_ns": [draw.pick(procs) for _ in range(nodes)], "mtu_bytes": draw.pick([60, 100, 1400]), "links": links, "bus": bus,
        "streams": streams, "subs": subs, "faults": faults,
    }


def solved(scenario):
    net = Net(scenario)
    due = net.delivered + net.dropped
    assert len({(row[0], row[1], row[2]) for row in due}) == len(due)
    links = 2 * len(scenario["links"])
    return {
        "scenario": scenario,
        "delivered": sorted(map(list, net.delivered)),
        "dropped": sorted(map(list, net.dropped)),
        "busy_ns": [way.busy for way in net.ways[:links]],
        "bus_busy_ns": sum(way.busy for way in net.turns),
        "bus_frames": sum(way.frames for way in net.turns),
        "frame_hops": net.hops,
    }


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "networks with a bus on which stations have turns: deliveries [stream, seq, node, at_ns], drops [stream, seq, node, at_ns, why], busy time by "
        "direction of the links and of the bus, frames on the bus",
        "library": "simpy " + simpy.__version__,
        "script": "reference/make/" + here.name,
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "none: integer nanoseconds",
    }
    cases = [solved(random_scenario(seed)) for seed in range(100)]
    lines = ",\n".join(json.dumps(case, separators=(",", ":")) for case in cases)
    text = '{"provenance":%s,\n"cases":[\n%s\n]}\n' % (json.dumps(provenance, indent=1), lines)
    (here.parent.parent / "network" / "simpy-polled.json").write_text(text)


if __name__ == "__main__":
    main()
