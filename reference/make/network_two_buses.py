"""Two CAN buses that delay each other: response times by the holistic analysis, with and without bit errors, by a route that shares nothing with the Rust.

Python 3.11, simpy==4.1.2 (only what network_can.py needs to be read). Run with no arguments to write reference/network/holistic-two-buses.json. Running it again
gives the same bytes. Times are integer nanoseconds.

A gateway joins bus 0 and bus 1. Each stream starts on one of them and ends there or on the other; what crosses comes to the second bus up to its response
time on the first later than the period says, which is its jitter there (Tindell and Clark 1994). The response times of all streams on both buses are worked out
from one set of jitters, beginning with none; these give the next jitters; and so on, until a whole round repeats itself. Where streams cross both ways and one stays longer
than its period on a bus, nothing is promised. With errors, what is sent in a time t is delayed by ceil(t/T) (31 bit times and the longest frame of no lower priority) (Tindell, Burns and Wellings 1995).
"""

import hashlib
import json
import pathlib

import simpy

from network_can import bits, ceil_div
from network_simpy import Draw

RECOVERY_BITS = 31


def response(streams, m, bit, apart):
    """The revised recurrence (Davis and others 2007) for stream m of those on one bus, highest priority first; None when none holds."""
    own = streams[m]
    before, after = streams[:m], streams[m + 1:]
    blocking = max([x["frame"] for x in after], default=0)
    cost = RECOVERY_BITS * bit + max(x["frame"] for x in streams[:m + 1])
    load = sum(x["frame"] / x["period"] for x in streams[:m + 1]) + (cost / apart if apart else 0)
    if load > 0.999:
        return None

    def lost(span):
        return ceil_div(span, apart) * cost if apart else 0

    def asked(span, whose):
        return sum(ceil_div(span + x["jitter"], x["period"]) * x["frame"] for x in whose)

    def rise(now, law):
        while law(now) != now:
            now = law(now)
        return now

    busy = rise(own["frame"], lambda t: blocking + asked(t, streams[:m + 1]) + lost(t))
    found = []
    for q in range(ceil_div(busy + own["jitter"], own["period"])):
        start = blocking + q * own["frame"]
        wait = rise(start, lambda w: start + asked(w + bit, before) + lost(w + own["frame"]))
        found.append(own["jitter"] + wait + own["frame"] - q * own["period"])
    return max(found)


def holistic(case):
    """By stream the response time at its end, ns, or None for all."""
    bit, streams = case["bit"], case["streams"]
    ring = {(0, 1), (1, 0)} <= {(s["from"], s["to"]) for s in streams}
    jitters = [[0, 0] for _ in streams]
    while True:
        responses = [[None, None] for _ in streams]
        for bus in (0, 1):
            here = [s for s, stream in enumerate(streams) if bus in (stream["from"], stream["to"])]
            told = [
                {"frame": streams[s]["frame"], "period": streams[s]["period"], "jitter": jitters[s][bus]}
                for s in here
            ]
            for m, s in enumerate(here):
                responses[s][bus] = response(told, m, bit, case["apart"][bus])
                if responses[s][bus] is None:
                    return None
                if ring and responses[s][bus] - jitters[s][bus] > streams[s]["period"]:
                    return None
        nexts = [[0, 0] for _ in streams]
        for s, stream in enumerate(streams):
            if stream["from"] != stream["to"]:
                nexts[s][stream["to"]] = responses[s][stream["from"]]
        if nexts == jitters:
            return [responses[s][stream["to"]] for s, stream in enumerate(streams)]
        jitters = nexts


def random_case(seed):
    draw = Draw(91_000 + seed)
    bit = draw.pick([2000, 4000, 8000])
    count = 3 + draw.below(6)
    sparse = 1 + draw.below(6)
    streams = []
    for _ in range(count):
        size = 1 + draw.below(8)
        frame = bits(False, size) * bit
        period = frame * (count + draw.below(count * sparse)) + draw.below(100) * bit
        streams.append({"bytes": size, "frame": frame, "period": period, "from": draw.below(2), "to": draw.below(2)})
    apart = [draw.pick([None, None, 40, 200]) for _ in range(2)]
    apart = [a and a * 135 * bit for a in apart]
    case = {"bit": bit, "apart": apart, "streams": streams}
    case["response"] = holistic(case)
    return case


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "two CAN buses at a gateway, streams by falling priority, frames with 11-bit identifiers; least time between two errors of each bus (null: none); response time of each stream at its end, ns (null: none is promised)",
        "library": "simpy " + simpy.__version__,
        "source": "K. Tindell, J. Clark 1994, Microprocessing and Microprogramming 40:117-134 (holistic analysis), and Tindell, Burns, Wellings 1995, Control Engineering Practice 3:1163-1169 (errors), both from memory; recurrence: Davis, Burns, Bril, Lukkien 2007",
        "script": "reference/make/" + here.name + " (with network_can.py)",
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "none",
    }
    cases = [random_case(seed) for seed in range(120)]
    promised = sum(c["response"] is not None for c in cases)
    assert promised > 60, promised
    lines = ",\n".join(json.dumps(c, separators=(",", ":")) for c in cases)
    text = '{"provenance":%s,\n"cases":[\n%s\n]}\n' % (json.dumps(provenance, indent=1), lines)
    (here.parent.parent / "network" / "holistic-two-buses.json").write_text(text)
    print(promised, "of", len(cases))


if __name__ == "__main__":
    main()
