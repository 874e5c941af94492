"""Delivery on terms: at least once, retained, kept. A second simulator written from the rules of docs/method/network.md ("Delivery") and not from the Rust.

Python 3.11, simpy==4.1.2. Run with no arguments to write
  reference/network/simpy-post.json    a hundred random trees with cuts and stopped nodes, of which a third goes on as taps
Running it again gives the same bytes. All times are integer nanoseconds. The generator of scenarios and the topic filters are those of
network_simpy.py beside this file.

At one instant faults come first (priority -1), then arrivals and publications (0 and 1), then what receivers make of the arrivals (2), then what
publishers learn of ways (3), what else they do of themselves (4) and send (5), then service starts (6).
"""

import hashlib
import heapq
import json
import pathlib

import simpy

from network_simpy import Draw, at_priority, matches

FAULT, TAKE, LOOK, OWN, SENT, START = -1, 2, 3, 4, 5, 6
ANSWERS = 2**31


class Way:
    """One direction of a link."""

    def __init__(self, net, link, start, end):
        self.net, self.link, self.start, self.end = net, link, start, end
        self.heap, self.wake, self.sending, self.since = [], None, None, 0
        self.flying, self.busy = set(), 0
        self.process = net.env.process(self.transmit())

    def usable(self):
        return self.link["up"] and self.net.passes(self.start) and self.net.passes(self.end)

    def why(self):
        return "node" if self.link["up"] else "link"

    def frame_time(self, payload):
        return -(-8 * (payload + self.link["overhead_bytes"]) * 10**9 // self.link["rate_bps"])

    def queue(self, frame):
        sending = frame[0]
        heapq.heappush(self.heap, (sending.prio, self.net.env.now, sending.stream, sending.seq, frame[1], self.net.count(), frame))
        if self.wake is not None:
            wake, self.wake = self.wake, None
            wake.succeed()

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
                yield env.timeout(self.frame_time(frame[2]))
            except simpy.Interrupt:
                continue
            self.busy += env.now - self.since
            self.sending = None
            key = self.net.count()
            self.flying.add(key)
            self.net.flights[key] = frame
            env.process(self.fly(key, frame))

    def fly(self, key, frame):
        """The frame's last bit travels, then the far node takes its time."""
        env = self.net.env
        yield env.timeout(self.link["prop_ns"])
        if key not in self.flying:
            return
        self.flying.remove(key)
        inside = self.net.inside[self.end]
        inside.add(key)
        yield env.timeout(self.net.proc[self.end])
        if key not in inside:
            return
        inside.remove(key)
        del self.net.flights[key]
        self.net.hops += 1
        self.net.land(frame, self.end)

    def cut(self):
        """All that has not wholly crossed."""
        lost = [entry[-1] for entry in self.heap]
        lost += [self.net.flights.pop(key) for key in sorted(self.flying)]
        if self.sending is not None:
            lost.append(self.sending)
            self.busy += self.net.env.now - self.since
            self.sending = None
            self.process.interrupt()
        self.heap, self.flying = [], set()
        return [(frame, self.why()) for frame in lost]

    def unsent(self):
        """What the node before it published itself and has not sent, of a node that stops and goes on as a tap."""
        own = [entry for entry in self.heap if entry[-1][0].source == self.start]
        self.heap = [entry for entry in self.heap if entry not in own]
        heapq.heapify(self.heap)
        lost = [entry[-1] for entry in own]
        if self.sending is not None and self.sending[0].source == self.start:
            lost.append(self.sending)
            self.busy += self.net.env.now - self.since
            self.sending = None
            self.process.interrupt()
        return [(frame, "node") for frame in lost]


class Sending:
    """A message on the wire: of a letter to some of its readers, or an answer."""

    def __init__(self, letter, source, readers, prio, stream, seq, cuts, ways):
        self.letter, self.source, self.prio, self.stream, self.seq = letter, source, prio, stream, seq
        self.left = dict.fromkeys(readers, len(cuts))
        self.tree = {}
        for reader in readers:
            node = reader
            while node != source:
                way = ways[node]
                node = way.start
                self.tree.setdefault(node, {}).setdefault(way, set()).add(reader)


class Copy:
    def __init__(self):
        self.fate, self.flying, self.answers, self.sendings = None, 0, 0, 0
        self.acknowledged, self.waits, self.turn = False, False, 0
        self.due = False

    def done(self):
        return self.fate and not self.flying and not self.answers and not self.waits and not self.due


class Letter:
    def __init__(self, net, number, seq, spec):
        self.stream, self.seq, self.node, self.prio, self.bytes = number, seq, spec["node"], spec["prio"], spec["bytes"]
        self.topic, self.terms = spec["topic"], spec["terms"]
        self.published, self.copies = net.env.now, {}
        self.start, self.number = net.starts[self.node], 0


class Net:
    def __init__(self, scenario):
        self.env = simpy.Environment()
        self.proc, self.mtu = scenario["proc_ns"], scenario["mtu_bytes"]
        self.links = [dict(link, up=True) for link in scenario["links"]]
        self.subs = scenario["subs"]
        nodes = len(self.proc)
        self.up, self.starts, self.answered = [True] * nodes, [0] * nodes, [0] * nodes
        self.taps = scenario["taps"]
        self.inside, self.flights = [set() for _ in range(nodes)], {}
        self.ways = []
        for link in self.links:
            self.ways += [Way(self, link, link["a"], link["b"]), Way(self, link, link["b"], link["a"])]
        self.delivered, self.dropped, self.notes, self.hops = [], [], [], 0
        self.arrived, self.own = [], None
        self.numbers, self.memory, self.kept, self.held, self.letters = {}, {}, {}, {}, []
        self.looks, self.counted = False, 0
        for number, spec in enumerate(scenario["streams"]):
            self.env.process(self.stream(number, spec))
        for fault in scenario["faults"]:
            at_priority(self.env, FAULT, fault["at_ns"]).callbacks.append(lambda _event, fault=fault: self.fault(fault))

    def count(self):
        self.counted += 1
        return self.counted

    # The wire.

    def passes(self, node):
        return self.up[node] or self.taps[node]

    def reaches(self, source, reader):
        return self.up[reader] and reader in self.routes(source)

    def routes(self, source):
        """By which way each node is entered: fewest hops, then lowest node before, then lowest link."""
        if not self.up[source]:
            return {}
        entered, level, seen = {}, [source], {source}
        while level:
            found = {}
            for node in sorted(level):
                for way in self.ways:
                    if way.usable() and way.start == node and way.end not in seen:
                        found.setdefault(way.end, way)
            entered.update(found)
            seen.update(found)
            level = list(found)
        return entered

    def cuts(self, size):
        cuts = [self.mtu] * ((size - 1) // self.mtu) if size else []
        return cuts + [size - sum(cuts)]

    def send(self, letter, source, readers, prio, stream, seq, size):
        routes = self.routes(source)
        reached = [reader for reader in readers if self.reaches(source, reader)]
        cuts = self.cuts(size)
        sending = Sending(letter, source, reached, prio, stream, seq, cuts, routes)
        for reader in readers:
            if reader not in reached:
                self.lose(sending, reader, "path" if self.up[source] and self.up[reader] else "node")
        for index, payload in enumerate(cuts):
            self.spread((sending, index, payload, None), source)

    def spread(self, frame, node):
        sending = frame[0]
        for way, beyond in sending.tree.get(node, {}).items():
            onward = (sending, frame[1], frame[2], beyond)
            if way.usable():
                way.queue(onward)
            else:
                self.lost([(onward, way.why())])

    def lost(self, frames):
        for frame, why in frames:
            for reader in sorted(frame[3]):
                if reader in frame[0].left:
                    del frame[0].left[reader]
                    self.lose(frame[0], reader, why)

    def land(self, frame, node):
        sending = frame[0]
        if node in sending.left and not self.up[node]:
            del sending.left[node]
            self.lose(sending, node, "node")
        elif node in sending.left:
            sending.left[node] -= 1
            if sending.left[node] == 0:
                del sending.left[node]
                if not self.arrived:
                    at_priority(self.env, TAKE).callbacks.append(self.take)
                self.arrived.append((node, sending.stream, sending.seq, sending))
        self.spread(frame, node)

    def fault(self, fault):
        if "link" in fault:
            link = self.links[fault["link"]]
            if link["up"] == fault["up"]:
                return
            was = [way.usable() for way in self.ways]
            link["up"] = fault["up"]
            self.look()
            self.lost(self.broken(was))
            return
        node = fault["node"]
        if self.up[node] == fault["up"]:
            return
        was = [way.usable() for way in self.ways]
        self.up[node] = fault["up"]
        self.look()
        lost = []
        if not fault["up"] and self.taps[node]:
            lost += [entry for way in self.ways if way.start == node for entry in way.unsent()]
        elif not fault["up"]:
            for key in sorted(self.inside[node]):
                lost.append((self.flights.pop(key), "node"))
            self.inside[node].clear()
        lost += self.broken(was)
        if not fault["up"]:
            self.forget(node)
        self.lost(lost)

    def broken(self, was):
        return [entry for way, before in zip(self.ways, was) if before and not way.usable() for entry in way.cut()]

    # Publishers and receivers.

    def stream(self, number, spec):
        readers = sorted({s["node"] for s in self.subs if matches(s["filter"], spec["topic"]) and s["node"] != spec["node"]})
        yield self.env.timeout(spec["offset_ns"])
        for seq in range(spec["count"]):
            self.publish(Letter(self, number, seq, spec), readers)
            yield self.env.timeout(spec["period_ns"])

    def publish(self, letter, readers):
        node, terms, key = letter.node, letter.terms, (letter.node, letter.topic)
        letter.number = self.numbers.get(key, 0)
        self.numbers[key] = letter.number + 1
        self.letters.append(letter)
        reached = [reader for reader in readers if self.reaches(node, reader)]
        if terms["retained"] and self.up[node]:
            self.held[key] = (letter, {reader for reader in readers if reader not in reached}, readers)
        at_once = []
        for reader in readers:
            letter.copies[reader] = Copy()
        for reader in readers:
            if terms["keep"] and self.up[node] and (self.kept.get(key + (reader,)) or reader not in reached):
                self.keep(letter, reader)
            else:
                at_once.append(reader)
        self.transmit(letter, at_once)

    def transmit(self, letter, readers):
        if not readers:
            return
        for reader in readers:
            copy = letter.copies[reader]
            copy.flying += 1
            copy.sendings += 1
            if letter.terms["retry"] and self.up[letter.node]:
                self.timer(letter, reader, self.env.now + letter.terms["retry"]["after_ns"], self.unanswered)
                copy.due = True
        self.send(letter, letter.node, readers, letter.prio, letter.stream, letter.seq, letter.bytes)

    def timer(self, letter, reader, at, what):
        """Calls back among what publishers do of themselves, unless the copy's turn is over by then."""
        copy = letter.copies[reader]
        copy.turn += 1
        turn = copy.turn

        def ring(_event):
            if copy.turn == turn and (copy.due or copy.waits):
                what(letter, reader, copy)

        at_priority(self.env, OWN, at - self.env.now).callbacks.append(ring)

    def look(self):
        """Who can be reached has changed: publishers look once everything before is done."""
        if not self.looks:
            self.looks = True
            at_priority(self.env, LOOK).callbacks.append(self.looked)

    def own_sending(self, letter, reader):
        """All that a publisher sends of one message at one instant goes as one."""
        if self.own is None:
            self.own = {}
            at_priority(self.env, SENT).callbacks.append(self.sent)
        self.own.setdefault(letter, set()).add(reader)

    def sent(self, _event):
        own, self.own = self.own, None
        for letter in sorted(own, key=lambda letter: (letter.published, letter.stream, letter.seq)):
            self.transmit(letter, sorted(own[letter]))

    def looked(self, _event):
        self.looks = False
        for key in sorted(self.kept):
            node, _topic, reader = key
            if self.kept[key] and self.reaches(node, reader):
                for letter in self.kept.pop(key):
                    copy = letter.copies[reader]
                    copy.waits = False
                    self.note("released", letter, reader)
                    self.own_sending(letter, reader)
        for (node, _topic), (letter, away, readers) in sorted(self.held.items()):
            for reader in readers:
                if not self.reaches(node, reader):
                    away.add(reader)
                elif reader in away:
                    away.remove(reader)
                    going = reader in (self.own or {}).get(letter, ())
                    if not going and (reader not in letter.copies or letter.copies[reader].done()):
                        letter.copies[reader] = Copy()
                        self.note("retained", letter, reader)
                        self.own_sending(letter, reader)

    def keep(self, letter, reader):
        copy, keep = letter.copies[reader], letter.terms["keep"]
        copy.waits, copy.due, copy.sendings = True, False, 0
        self.note("kept", letter, reader)
        queue = self.kept.setdefault((letter.node, letter.topic, reader), [])
        queue.append(letter)
        queue.sort(key=lambda letter: (letter.published, letter.stream, letter.seq))
        if len(queue) > keep["messages"]:
            oldest = queue.pop(0)
            self.waited(oldest, reader, "too many")
            if oldest is letter:
                return
        self.timer(letter, reader, max(self.env.now, letter.published + keep["longest_ns"]), self.stale)

    def stale(self, letter, reader, _copy):
        self.kept[(letter.node, letter.topic, reader)].remove(letter)
        self.waited(letter, reader, "too long")

    def waited(self, letter, reader, why):
        copy = letter.copies[reader]
        copy.waits = False
        if copy.fate:
            self.note("unconfirmed", letter, reader)
        elif not copy.flying:
            self.drop(letter, reader, why)

    def unanswered(self, letter, reader, copy):
        copy.due = False
        if copy.sendings > letter.terms["retry"]["at_most"]:
            if copy.fate == "delivered":
                self.note("unconfirmed", letter, reader)
            elif not copy.fate and not copy.flying:
                self.drop(letter, reader, "unanswered")
        elif letter.terms["keep"] and not self.reaches(letter.node, reader):
            self.keep(letter, reader)
        else:
            self.note("again", letter, reader)
            self.own_sending(letter, reader)

    def forget(self, node):
        self.starts[node] += 1
        self.numbers = {key: value for key, value in self.numbers.items() if key[0] != node}
        self.kept = {key: value for key, value in self.kept.items() if key[0] != node}
        self.held = {key: value for key, value in self.held.items() if key[0] != node}
        self.memory = {key: value for key, value in self.memory.items() if key[0] != node}
        for letter in self.letters:
            if letter.node != node:
                continue
            for reader, copy in letter.copies.items():
                copy.waits = copy.due = False
                if not copy.fate and not copy.flying:
                    self.drop(letter, reader, "forgotten")

    def take(self, _event):
        arrived, self.arrived = sorted(self.arrived, key=lambda entry: entry[:3]), []
        for node, _stream, _seq, sending in arrived:
            if sending.stream >= ANSWERS:
                self.acknowledged(sending.letter, sending.stream - ANSWERS)
            else:
                self.received(sending.letter, node)

    def acknowledged(self, letter, reader):
        copy = letter.copies[reader]
        copy.answers -= 1
        if letter.start == self.starts[letter.node] and not copy.acknowledged:
            copy.acknowledged, copy.due = True, False
            self.note("acknowledged", letter, reader)
            if copy.waits:
                copy.waits = False
                self.kept[(letter.node, letter.topic, reader)].remove(letter)

    def received(self, letter, node):
        terms, copy = letter.terms, letter.copies[node]
        copy.flying -= 1
        new, old = True, False
        if terms["retry"] or terms["retained"]:
            remembers = terms["retry"]["remembers"] if terms["retry"] else 64
            start, had = self.memory.get((node, letter.node, letter.topic), (letter.start, []))
            if letter.start > start:
                start, had = letter.start, []
            if letter.start < start or (had and letter.number <= max(had) - remembers):
                new, old = False, True
            elif letter.number in had:
                new = False
            else:
                had = had + [letter.number]
            self.memory[(node, letter.node, letter.topic)] = (start, had)
        if new:
            self.delivered.append((letter.stream, letter.seq, node, self.env.now))
            if copy.fate:
                self.note("repeated", letter, node)
            else:
                copy.fate = "delivered"
        elif copy.fate:
            self.note("duplicate", letter, node)
        elif old:
            self.drop(letter, node, "too old")
        else:
            copy.fate = "had"
            self.note("duplicate", letter, node)
        if terms["retry"] and not old:
            copy.answers += 1
            seq = self.answered[node]
            self.answered[node] += 1
            self.send(letter, node, [letter.node], letter.prio, ANSWERS + node, seq, terms["retry"]["acknowledgement_bytes"])

    def lose(self, sending, reader, why):
        """A copy, or an answer, was lost on its way."""
        letter = sending.letter
        if sending.stream >= ANSWERS:
            reader = sending.stream - ANSWERS
            letter.copies[reader].answers -= 1
            self.note("answer lost", letter, reader)
            return
        copy = letter.copies[reader]
        copy.flying -= 1
        if copy.fate:
            return
        if copy.due or copy.waits:
            self.note("missed", letter, reader)
        elif not copy.flying:
            self.drop(letter, reader, why)

    def drop(self, letter, reader, why):
        letter.copies[reader].fate = "dropped"
        self.dropped.append((letter.stream, letter.seq, reader, self.env.now, why))

    def note(self, kind, letter, reader):
        self.notes.append((kind, letter.stream, letter.seq, reader, self.env.now))


def scenario(seed):
    draw = Draw(0x706F7374 + seed)
    nodes = 2 + draw.below(6)
    rates = draw.pick([[10_000_000], [1_000_000, 10_000_000], [115_200, 1_000_000], [9_999_991]])
    props, overhead = draw.pick([[0], [250, 500, 1000], [700_000]]), draw.pick([86, 38, 1])
    links = [
        {"a": draw.pick([node - 1, draw.below(node)]), "b": node, "rate_bps": draw.pick(rates), "prop_ns": draw.pick(props), "overhead_bytes": overhead}
        for node in range(1, nodes)
    ]
    procs = draw.pick([[0], [20_000], [5_000, 20_000, 100_000]])
    grid = draw.pick([1, 1_000, 100_000, 500_000])

    def time(most):
        return (1 + draw.below(most // grid)) * grid

    streams = []
    for number in range(2 + draw.below(4)):
        node, style = draw.below(nodes), draw.below(8)
        retry = {"after_ns": time(6_000_000), "at_most": draw.below(4), "acknowledgement_bytes": draw.pick([4, 12]), "remembers": draw.pick([2, 64])}
        keep = {"messages": 1 + draw.below(5), "longest_ns": time(20_000_000)}
        streams.append({
            "node": node,
            "topic": "line/n%d/%s/%d" % (node, draw.pick(["level", "alert"]), number),
            "bytes": draw.pick([0, 7, 60, 200, 1400, 2800]),
            "period_ns": time(4_000_000),
            "offset_ns": draw.below(1_000_000 // grid) * grid,
            "count": 4 + draw.below(12),
            "prio": draw.below(3),
            "terms": {"retry": retry if style & 1 else None, "retained": bool(style & 2), "keep": keep if style & 4 else None},
        })
    subs = [
        {"node": draw.below(nodes), "filter": draw.pick(["line/#", "line/+/level/+", "line/+/alert/#", "#", "+/n%d/#" % draw.below(nodes)])}
        for _ in range(2 + draw.below(2 * nodes))
    ]
    faults = []
    for _ in range(2 + draw.below(5)):
        at = draw.below(20_000_000 // grid) * grid
        what = {"node": draw.below(nodes)} if draw.below(3) == 0 else {"link": draw.below(nodes - 1)}
        faults += [dict(what, at_ns=at, up=False), dict(what, at_ns=at + time(9_000_000), up=True)]
    faults.sort(key=lambda fault: fault["at_ns"])
    return {"proc_ns": [draw.pick(procs) for _ in range(nodes)], "mtu_bytes": draw.pick([100, 500, 1400]), "links": links, "streams": streams,
            "subs": subs, "faults": faults, "taps": [draw.below(3) == 0 for _ in range(nodes)]}


def solved(case):
    net = Net(case)
    net.env.run()
    for letter in net.letters:
        assert all(copy.fate and not copy.flying and not copy.answers and not copy.due and not copy.waits for copy in letter.copies.values())
    return {
        "scenario": case,
        "delivered": sorted(net.delivered),
        "dropped": sorted(net.dropped),
        "notes": sorted(net.notes),
        "busy_ns": [way.busy for way in net.ways],
        "frame_hops": net.hops,
    }


def write(here, name, what, cases):
    """The file of a script's cases, with where it comes from."""
    provenance = {
        "what": what,
        "library": "simpy " + simpy.__version__,
        "script": "reference/make/" + here.name,
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "none: integer nanoseconds",
    }
    lines = ",\n".join(json.dumps(case, separators=(",", ":")) for case in cases)
    text = '{"provenance":%s,\n"cases":[\n%s\n]}\n' % (json.dumps(provenance, indent=1), lines)
    (here.parent.parent / "network" / name).write_text(text)


def main():
    what = (
        "deliveries [stream, seq, node, at_ns], drops [stream, seq, node, at_ns, why], what else became of copies [what, stream, seq, node, at_ns], "
        "busy time by direction (link 0 a to b, back, link 1 ...), frames that crossed a link"
    )
    write(pathlib.Path(__file__), "simpy-post.json", what, (solved(scenario(seed)) for seed in range(100)))


if __name__ == "__main__":
    main()
