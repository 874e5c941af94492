"""How late messages are ashore that come by chance and wait for each other: a third model of the uplink, event by event and with times in seconds.

Python 3.11, simpy==4.1.2, numpy==2.4.6. Run with no arguments to write reference/network/simpy-uplink-load.json. Running it again gives the same bytes.

Written from the rules of docs/method/uplink.md and not from the Rust: messages of two origins, each a Poisson process or at equal intervals, each passed on no more often than its limit
lets; one at a time, the more urgent first; an attempt only where it fits into a window; by chance it fails, and then the back-off follows. Each message is a load by itself. `within` are
[origin, time in s, share of its messages that are ashore by then], counted over so many months of 30 d, each begun with an empty queue.
"""

import hashlib
import heapq
import json
import pathlib

import numpy
import simpy

MONTH_S = 30 * 86400.0
MONTHS = 10


class Month:
    def __init__(self, case, draw):
        self.case, self.draw, self.env = case, draw, simpy.Environment()
        self.queue, self.wake, self.late, self.number = [], None, [[] for _ in case["origins"]], 0
        for place, origin in enumerate(case["origins"]):
            self.env.process(self.source(place, origin))
        self.env.process(self.terminal())
        self.env.run(until=2 * MONTH_S)

    def source(self, place, origin):
        passed = []
        while True:
            mean = MONTH_S / origin["per_month"]
            yield self.env.timeout(self.draw.exponential(mean) if origin["chance"] else mean)
            if self.env.now >= MONTH_S:
                return
            count, per = origin["at_most"]
            passed = [t for t in passed if t > self.env.now - per]
            if len(passed) >= count:
                continue
            passed.append(self.env.now)
            self.number += 1
            heapq.heappush(self.queue, (origin["priority"], self.number, self.env.now, place))
            if self.wake is not None:
                wake, self.wake = self.wake, None
                wake.succeed()

    def terminal(self):
        case, env = self.case, self.env
        while True:
            if not self.queue:
                self.wake = env.event()
                yield self.wake
            if case["period"] is not None:
                into = env.now % case["period"]
                if into + case["session"] > case["width"]:
                    yield env.timeout(case["period"] - into)
            priority, number, offered, place = heapq.heappop(self.queue)
            yield env.timeout(case["session"])
            if self.draw.random() < case["success"]:
                self.late[place].append(env.now - offered)
                continue
            heapq.heappush(self.queue, (priority, number, offered, place))
            yield env.timeout(case["back_off"])


def solved(seed, case, times):
    draw = numpy.random.default_rng(seed)
    late = [[] for _ in case["origins"]]
    for _ in range(MONTHS):
        for all_of, of in zip(late, Month(case, draw).late):
            all_of.extend(of)
    within = [[place, t, float("%.5g" % numpy.mean(numpy.array(of) <= t))] for place, of in enumerate(late) for t in times]
    return dict(case, messages=[len(of) for of in late], within=within)


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "queues of an uplink under load: shares of messages that are ashore within times",
        "library": f"simpy {simpy.__version__}, numpy {numpy.__version__}",
        "script": "reference/make/" + here.name,
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "0.03 of a share: both are counted over tens of thousands of messages, which wait for each other and so count for about a tenth of as many",
    }

    def origin(per_month, priority, at_most, chance=True):
        return {"per_month": per_month, "priority": priority, "at_most": at_most, "chance": chance}

    free = [1000, 1.0]
    cases = [
        solved(1, {"session": 20.0, "period": None, "width": None, "success": 1.0, "back_off": 0.0, "origins": [origin(90_000, 1, free)]}, [20, 40, 80, 160]),
        solved(2, {"session": 20.0, "period": None, "width": None, "success": 0.8, "back_off": 60.0, "origins": [origin(20_000, 0, free), origin(10_000, 2, free)]}, [20, 60, 150, 400, 1500]),
        solved(3, {"session": 20.0, "period": 600.0, "width": 480.0, "success": 0.85, "back_off": 60.0,
                   "origins": [origin(2000, 0, [4, 3600.0]), origin(8640, 2, [6, 3600.0], False)]}, [20, 60, 150, 300, 600]),
        solved(4, {"session": 40.0, "period": 6000.0, "width": 420.0, "success": 0.9, "back_off": 30.0, "origins": [origin(1500, 1, free), origin(600, 0, [10, 86400.0])]}, [600, 1500, 3000, 5000, 8000]),
    ]
    text = json.dumps({"provenance": provenance, "cases": cases}, indent=1) + "\n"
    (here.parent.parent / "network" / "simpy-uplink-load.json").write_text(text)


if __name__ == "__main__":
    main()
