"""Streams that a network sends of itself, in a second simulator written from the rules of docs/method/network.md (The machine, Streams) and not from the Rust.

Python 3.11, simpy==4.1.2. Run with no arguments to write reference/network/simpy-streams.json: a hundred random networks with topics and streams, a third
of them with cuts. Running it again gives the same bytes. All times are integer nanoseconds.

A stream sends `burst` packets at its first instant f and at ceil(f + k num/den) for k = 1, 2 ... until it is stopped; one that is stopped at an instant sends nothing at it. It may be
started anew, when its beats count from the new first instant and its packets are numbered on; that instant is no sooner than a beat, rounded up, after its last packets.
"""

import pathlib

from network_post import write
from network_simpy import Draw, Net, random_scenario


class Streams(Net):
    def __init__(self, scenario):
        super().__init__(scenario)
        self.seqs = [0] * len(scenario["sources"])
        for number, spec in enumerate(scenario["sources"]):
            self.env.process(self.source(number, spec))

    def source(self, number, spec):
        cuts = [self.mtu] * ((spec["bytes"] - 1) // self.mtu)
        cuts.append(spec["bytes"] - sum(cuts))
        soonest = 0
        for run in spec["runs"]:
            first, beat = max(run["first_ns"], soonest), 0
            while True:
                at = first - (-beat * spec["beat_num_ns"] // spec["beat_den"])
                if at >= run["stop_ns"]:
                    break
                yield self.env.timeout(at - self.env.now)
                for _ in range(spec["burst"]):
                    self.publish(1000 + number, self.seqs[number], spec, [spec["to"]], cuts)
                    self.seqs[number] += 1
                soonest = at - (-spec["beat_num_ns"] // spec["beat_den"])
                beat += 1


def scenario(seed):
    case = random_scenario(40_000 + seed)
    draw = Draw(90_000 + seed)
    nodes = len(case["proc_ns"])
    case["sources"] = []
    for _ in range(1 + draw.below(3)):
        node = draw.below(nodes)
        den = draw.pick([1, 3, 7, 1000])
        grid = draw.pick([1, 1_000, 100_000])
        runs, at = [], 0
        for _ in range(1 + draw.below(2)):
            first = at + draw.below(draw.pick([1, 3_000_000 // grid])) * grid
            at = first + (1 + draw.below(3_000_000 // grid)) * grid
            runs.append({"first_ns": first, "stop_ns": at})
        case["sources"].append({
            "node": node,
            "to": (node + 1 + draw.below(nodes - 1)) % nodes,
            "bytes": draw.pick([1, 60, 188, 1400, 1500, 2800]),
            "burst": draw.pick([1, 1, 2, 5]),
            "beat_num_ns": den * draw.pick([120_000, 250_000, 700_000, 2_000_000]) + draw.below(den),
            "beat_den": den,
            "prio": draw.below(3),
            "runs": runs,
        })
    return case


def solved(case):
    net = Streams(case).run()
    return {
        "scenario": case,
        "sent": net.seqs,
        "delivered": sorted([s, q, n, at] for s, q, n, _, at in net.delivered),
        "dropped": sorted([s, q, n, at, why] for s, q, n, at, why in net.dropped),
        "busy_ns": [d.busy for d in net.directions],
        "most_waiting": [d.most_waiting for d in net.directions],
        "frame_hops": net.hops,
    }


def main():
    what = (
        "packets sent by each stream; deliveries [stream, seq, node, at_ns] and drops [stream, seq, node, at_ns, why], streams numbered from 1000; by direction "
        "(link 0 a to b, back, link 1 ...) busy time and most frames waiting"
    )
    write(pathlib.Path(__file__), "simpy-streams.json", what, (solved(scenario(seed)) for seed in range(100)))


if __name__ == "__main__":
    main()
