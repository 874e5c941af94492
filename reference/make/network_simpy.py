"""A second simulator of the network, written from the rules of docs/method/network.md and not from the Rust.

Python 3.11, simpy==4.1.2. Run with no arguments to write
  reference/network/simpy-line-of-four.json    one small line, read by hand
  reference/network/simpy-random.json          a hundred random networks, a third of them with cuts
Running it again gives the same bytes. All times are integer nanoseconds.

The rules are expressed with processes and event priorities: at one instant faults come first (priority -1), then everything ordinary (0 and 1),
then service starts (5), then the look at the queues (6).
"""

import hashlib
import heapq
import json
import pathlib

import simpy

FAULT, START, LOOK = -1, 5, 6


def at_priority(env, priority, delay=0):
    event = env.event()
    event._ok, event._value = True, None
    env.schedule(event, priority=priority, delay=delay)
    return event


def matches(pattern, name):
    """OASIS MQTT 5.0 section 4.7, by recursion over the levels."""
    if name.startswith("$") and pattern[0] in "+#":
        return False

    def walk(want, have):
        if not want:
            return not have
        if want[0] == "#":
            return True
        return bool(have) and want[0] in ("+", have[0]) and walk(want[1:], have[1:])

    return walk(pattern.split("/"), name.split("/"))


class Direction:
    def __init__(self, net, link, start, end):
        self.net, self.link, self.start, self.end = net, link, start, end
        self.heap, self.wake = [], None
        self.sending, self.since, self.flying = None, 0, set()
        self.busy, self.most_waiting = 0, 0
        self.process = net.env.process(self.transmit())

    def frame_time(self, payload):
        size = max(payload, self.link["min_payload_bytes"]) + self.link["overhead_bytes"]
        return -(-8 * size * 10**9 // self.link["rate_bps"])

    def queue(self, frame):
        env = self.net.env
        message = frame.message
        heapq.heappush(self.heap, (message.prio, env.now, message.stream, message.seq, frame.index, frame))
        if self.wake is not None:
            wake, self.wake = self.wake, None
            wake.succeed()
        if self.net.look:
            at_priority(env, LOOK).callbacks.append(self.look)

    def look(self, _event):
        self.most_waiting = max(self.most_waiting, len(self.heap))

    def transmit(self):
        env = self.net.env
        while True:
            if not self.heap:
                self.wake = env.event()
                yield self.wake
            yield at_priority(env, START)
            if not self.heap:
                continue
            frame = heapq.heappop(self.heap)[-1]
            self.sending, self.since = frame, env.now
            try:
                yield env.timeout(self.frame_time(frame.payload))
            except simpy.Interrupt:
                continue
            self.busy += env.now - self.since
            self.sending = None
            self.flying.add(frame)
            env.process(self.fly(frame))

    def fly(self, frame):
        env = self.net.env
        yield env.timeout(self.link["prop_ns"])
        if frame not in self.flying:
            return
        self.flying.remove(frame)
        yield env.timeout(self.net.proc[self.end])
        self.net.hops += 1
        self.net.land(frame, self.end)

    def cut(self):
        lost = [entry[-1] for entry in self.heap] + list(self.flying)
        if self.sending is not None:
            lost.append(self.sending)
            self.busy += self.net.env.now - self.since
            self.sending = None
            self.process.interrupt()
        self.heap, self.flying = [], set()
        for frame in lost:
            self.net.lose(frame.message, frame.beyond, "link")


class Message:
    def __init__(self, stream, seq, spec, published, fragments):
        self.stream, self.seq, self.prio, self.published = stream, seq, spec["prio"], published
        self.fragments, self.left, self.tree = fragments, {}, {}


class Frame:
    def __init__(self, message, index, payload, beyond):
        self.message, self.index, self.payload, self.beyond = message, index, payload, beyond


class Net:
    def __init__(self, scenario, look=True):
        self.env = simpy.Environment()
        self.look = look
        self.proc, self.mtu = scenario["proc_ns"], scenario["mtu_bytes"]
        self.links, self.subs = scenario["links"], scenario["subs"]
        self.up = [True] * len(self.links)
        self.directions = []
        for link in self.links:
            self.directions.append(Direction(self, link, link["a"], link["b"]))
            self.directions.append(Direction(self, link, link["b"], link["a"]))
        self.trees = {}  # by stream, until the next fault
        self.delivered, self.dropped, self.hops = [], [], 0
        for number, spec in enumerate(scenario["streams"]):
            self.env.process(self.stream(number, spec))
        for fault in scenario.get("faults", []):
            at_priority(self.env, FAULT, fault["at_ns"]).callbacks.append(lambda _event, fault=fault: self.fault(fault))

    def run(self):
        self.env.run()
        return self

    def fault(self, fault):
        self.up[fault["link"]] = fault["up"]
        self.trees = {}
        if not fault["up"]:
            self.directions[2 * fault["link"]].cut()
            self.directions[2 * fault["link"] + 1].cut()

    def stream(self, number, spec):
        readers = sorted({s["node"] for s in self.subs if matches(s["filter"], spec["topic"]) and s["node"] != spec["node"]})
        cuts = [self.mtu] * ((spec["bytes"] - 1) // self.mtu) if spec["bytes"] else []
        cuts.append(spec["bytes"] - sum(cuts))
        yield self.env.timeout(spec["offset_ns"])
        for seq in range(spec["count"]):
            self.publish(number, seq, spec, readers, cuts)
            yield self.env.timeout(spec["period_ns"])

    def publish(self, number, seq, spec, readers, cuts):
        message = Message(number, seq, spec, self.env.now, len(cuts))
        if number not in self.trees:
            self.trees[number] = self.tree(spec["node"], readers)
        message.tree, reached, unreached = self.trees[number]
        for reader in unreached:
            self.dropped.append((number, seq, reader, self.env.now, "path"))
        message.left = dict.fromkeys(reached, len(cuts))
        for index, payload in enumerate(cuts):
            self.spread(message, index, payload, spec["node"])

    def tree(self, source, readers):
        """For each node the directions a frame goes on by, each with the readers beyond; the readers reached, and those not."""
        entered, tree = self.ways(source), {}
        reached = [reader for reader in readers if reader in entered]
        for reader in reached:
            node = reader
            while node != source:
                direction = entered[node]
                node = self.directions[direction].start
                tree.setdefault(node, {}).setdefault(direction, set()).add(reader)
        return tree, reached, [reader for reader in readers if reader not in entered]

    def ways(self, source):
        """By which direction each node is entered: fewest hops, then lowest node before, then lowest link."""
        entered, level, seen = {}, [source], {source}
        while level:
            found = {}
            for node in sorted(level):
                for index, direction in enumerate(self.directions):
                    if self.up[index // 2] and direction.start == node and direction.end not in seen:
                        found.setdefault(direction.end, index)
            entered.update(found)
            seen.update(found)
            level = list(found)
        return entered

    def spread(self, message, index, payload, node):
        for direction, beyond in message.tree.get(node, {}).items():
            if self.up[direction // 2]:
                self.directions[direction].queue(Frame(message, index, payload, beyond))
            else:
                self.lose(message, beyond, "link")

    def land(self, frame, node):
        message = frame.message
        if node in message.left:
            message.left[node] -= 1
            if message.left[node] == 0:
                del message.left[node]
                self.delivered.append((message.stream, message.seq, node, message.published, self.env.now))
        self.spread(message, frame.index, frame.payload, node)

    def lose(self, message, readers, reason):
        for reader in readers:
            if reader in message.left:
                del message.left[reader]
                self.dropped.append((message.stream, message.seq, reader, self.env.now, reason))


class Draw:
    """Our own generator (splitmix64: Steele, Lea and Flood 2014), so that no library version can change a scenario."""

    def __init__(self, seed):
        self.state = seed

    def word(self):
        self.state = (self.state + 0x9E3779B97F4A7C15) % 2**64
        z = self.state
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9 % 2**64
        z = (z ^ (z >> 27)) * 0x94D049BB133111EB % 2**64
        return z ^ (z >> 31)

    def below(self, n):
        return self.word() * n >> 64

    def pick(self, choices):
        return choices[self.below(len(choices))]


def random_scenario(seed):
    draw = Draw(seed)
    nodes = 2 + draw.below(7)
    rates = draw.pick([[10_000_000], [10_000_000, 100_000_000], [1_000_000, 10_000_000], [115_200, 10_000_000], [9_999_991]])
    overhead, least = draw.pick([(86, 0), (38, 46), (42, 42), (1, 0)])
    links = []
    for node in range(1, nodes):
        before = draw.pick([node - 1, draw.below(node)])
        ends = draw.pick([(before, node), (node, before)])
        links.append(ends)
    if seed % 4 == 3 and nodes > 3:
        for _ in range(2):
            a = draw.below(nodes)
            b = (a + 1 + draw.below(nodes - 1)) % nodes
            links.append((a, b))
    props = draw.pick([[0], [250, 500, 1000], [5_000], [700_000]])
    links = [
        {"a": a, "b": b, "rate_bps": draw.pick(rates), "prop_ns": draw.pick(props), "overhead_bytes": overhead, "min_payload_bytes": least}
        for a, b in links
    ]
    procs = draw.pick([[0], [20_000], [5_000, 20_000, 100_000]])
    grid = draw.pick([1, 1_000, 100_000, 500_000])
    streams = []
    for number in range(2 + draw.below(7)):
        node = draw.below(nodes)
        streams.append({
            "node": node,
            "topic": "line/n%d/%s" % (node, draw.pick(["level", "audio", "alert"])),
            "bytes": draw.pick([0, 1, 7, 60, 200, 1400, 2800, 6000]),
            "period_ns": (1 + draw.below(4_000_000 // grid)) * grid,
            "offset_ns": draw.below(1_000_000 // grid) * grid,
            "count": 1 + draw.below(8),
            "prio": draw.below(3),
        })
    subs = []
    for _ in range(1 + draw.below(2 * nodes)):
        subs.append({
            "node": draw.below(nodes),
            "filter": draw.pick(["line/#", "line/+/level", "line/+/alert", "#", "+/n%d/#" % draw.below(nodes), "line/n0/audio", "line/+"]),
        })
    faults = []
    if seed % 3 == 2:
        for _ in range(1 + draw.below(3)):
            link, at = draw.below(len(links)), draw.below(6_000_000 // grid) * grid
            if any(fault["link"] == link for fault in faults):
                continue
            faults.append({"at_ns": at, "link": link, "up": False})
            if draw.below(2):
                faults.append({"at_ns": at + (1 + draw.below(3_000_000 // grid)) * grid, "link": link, "up": True})
        faults.sort(key=lambda fault: fault["at_ns"])
    return {
        "proc_ns": [draw.pick(procs) for _ in range(nodes)], "mtu_bytes": draw.pick([100, 500, 1400]), "links": links, "streams": streams,
        "subs": subs, "faults": faults,
    }


def line_of_four():
    links = [
        {"a": a, "b": a + 1, "rate_bps": 10_000_000, "prop_ns": prop, "overhead_bytes": 86, "min_payload_bytes": 0}
        for a, prop in [(0, 250), (1, 500), (2, 1000)]
    ]

    def stream(node, topic, size, period, offset, count, prio):
        return {"node": node, "topic": topic, "bytes": size, "period_ns": period, "offset_ns": offset, "count": count, "prio": prio}

    return {
        "proc_ns": [20_000] * 4, "mtu_bytes": 1400, "links": links,
        "streams": [
            stream(3, "line/n3/ctd", 60, 1_000_000, 0, 5, 0),
            stream(2, "line/n2/audio", 6000, 5_000_000, 100_000, 2, 1),
            stream(0, "line/cmd", 20, 2_000_000, 50_000, 3, 0),
        ],
        "subs": [
            {"node": 0, "filter": "line/+/ctd"}, {"node": 0, "filter": "line/n2/#"}, {"node": 1, "filter": "line/+/ctd"},
            {"node": 3, "filter": "line/cmd"}, {"node": 2, "filter": "line/cmd"},
        ],
        "faults": [],
    }


def solved(scenario):
    net = Net(scenario).run()
    due = len(net.delivered) + len(net.dropped)
    assert len({(s, q, n) for s, q, n, _, _ in net.delivered + net.dropped}) == due
    return {
        "scenario": scenario,
        "delivered": sorted([s, q, n, at] for s, q, n, _, at in net.delivered),
        "dropped": sorted([s, q, n, at, why] for s, q, n, at, why in net.dropped),
        "busy_ns": [d.busy for d in net.directions],
        "most_waiting": [d.most_waiting for d in net.directions],
        "frame_hops": net.hops,
    }


def main():
    here = pathlib.Path(__file__)
    out = here.parent.parent / "network"
    provenance = {
        "what": "deliveries [stream, seq, node, at_ns], drops [stream, seq, node, at_ns, why] and, by direction (link 0 a to b, back, link 1 ...), "
        "busy time and most frames waiting",
        "library": "simpy " + simpy.__version__,
        "script": "reference/make/" + here.name,
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "none: integer nanoseconds",
    }

    def write(name, cases):
        lines = ",\n".join(json.dumps(case, separators=(",", ":")) for case in cases)
        text = '{"provenance":%s,\n"cases":[\n%s\n]}\n' % (json.dumps(provenance, indent=1), lines)
        (out / name).write_text(text)

    write("simpy-line-of-four.json", [solved(line_of_four())])
    write("simpy-random.json", [solved(random_scenario(seed)) for seed in range(100)])


if __name__ == "__main__":
    main()
