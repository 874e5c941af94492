"""Single failures of lines with votes, requests, clocks and shared buses: who still learns of what, by brute force from the rules of docs/method/failures.md.

Python 3.11, numpy==2.4.6. Run with no arguments to write reference/network/python-line-talk.json. Running it again gives the same bytes.

Power and reach over links are those of network_line_failures.py (another program for the same rules, with spans and passes drawn as there). On top of them a line here has behaviours as plain rules, which are followed
by hand: a vote of at least k detectors, a request with what is done when it is answered and when it is not, and a clock for some modules, set by a master or by nobody. Half of the lines are one shared bus from end to
end: any two modules that work reach each other as long as every span of it is whole.
"""

import hashlib
import json
import pathlib

import numpy as np

import network_line_failures as base


def line(draw):
    net = base.line(draw)
    count = len(net["modules"])
    chance = draw.random
    for module in net["modules"]:
        module.update(heartbeat_min=None, hears_heartbeats=False, relays=False, output=None)
        module["hydrophone"] = bool(chance() < 0.7)
    net["bus"] = bool(chance() < 0.5)
    ears = [m for m in range(count) if net["modules"][m]["hydrophone"]]
    if len(ears) < 2:
        return None
    # What outputs and the uplink may wait for.
    said = ["alert/call"]
    net["vote"] = None
    if chance() < 0.6:
        net["vote"] = {"on": int(draw.integers(0, count)), "at_least": int(draw.integers(2, min(len(ears), 3) + 1))}
        said.append("vote/yes")
    net["request"] = None
    if chance() < 0.6:
        asker, asked = (int(m) for m in draw.choice(count, 2, replace=False))
        net["request"] = {"asker": asker, "asked": asked}
        said += ["lamp/yes", "lamp/no"]
    net["master"] = int(draw.integers(0, count)) if chance() < 0.5 else None
    for m, module in enumerate(net["modules"]):
        kinds = [None, "error"] + (["set"] if net["master"] not in (None, m) else [])
        module["clock"] = kinds[int(draw.integers(0, len(kinds)))] if chance() < 0.7 else None
        if chance() < 0.6:
            module["output"] = {"listens_to": said[int(draw.integers(0, len(said)))]}
    net["uplink"] = {"on": said[int(draw.integers(0, len(said)))]} if chance() < 0.8 else None
    return net


def behaviours(net):
    """What modules do: (module, when, what)."""
    all = []
    for m, module in enumerate(net["modules"]):
        if module["hydrophone"]:
            all.append((m, ("heard", m), ("publish", "alert/call")))
        if module["output"]:
            all.append((m, ("told", module["output"]["listens_to"]), ("switch", m)))
    if net["vote"]:
        all.append((net["vote"]["on"], ("voted",), ("publish", "vote/yes")))
    if net["request"]:
        asker = net["request"]["asker"]
        all.append((asker, ("told", "alert/call"), ("ask",)))
        all.append((asker, ("answered",), ("publish", "lamp/yes")))
        all.append((asker, ("unanswered",), ("publish", "lamp/no")))
    if net["uplink"]:
        all.append((0, ("told", net["uplink"]["on"]), ("up",)))
    return all


def follow(net, ear, works, reach, wrong, up, deaf=None):
    """Modules told, outputs switched, and whether the shore learns, of what one hydrophone hears."""
    rules = behaviours(net)
    told, outputs, shore = set(), set(), False
    begun, todo = set(), []

    def begin(module, when):
        for b, (on, starts, _) in enumerate(rules):
            if on == module and starts == when and works[on] and b not in begun:
                begun.add(b)
                todo.append(b)

    if not works[ear] or ear == deaf:
        return told, outputs, shore
    begin(ear, ("heard", ear))
    vote = net["vote"]
    if vote:

        def counts(other):
            if other == deaf:
                return False
            if other == vote["on"]:
                return works[other]
            # Times of two modules are compared.
            return reach(other, vote["on"]) and not wrong[other] and not wrong[vote["on"]]

        ears = [m for m in range(len(net["modules"])) if net["modules"][m]["hydrophone"]]
        if counts(ear) and sum(counts(m) for m in ears) >= vote["at_least"]:
            if ear != vote["on"]:
                told.add(vote["on"])
            begin(vote["on"], ("voted",))
    while todo:
        on, _, what = rules[todo.pop()]
        if what[0] == "publish":
            for m in range(len(net["modules"])):
                hears = any(b[0] == m and b[1] == ("told", what[1]) for b in rules)
                hears = hears or (vote and m == vote["on"] and what[1] == "alert/call")
                if m != on and hears and reach(on, m):
                    told.add(m)
                    begin(m, ("told", what[1]))
        elif what[0] == "ask":
            asked = net["request"]["asked"]
            if reach(on, asked):
                told.add(asked)
                begin(on, ("answered",))
            else:
                begin(on, ("unanswered",))
        elif what[0] == "switch":
            outputs.add(what[1])
        elif what[0] == "up":
            shore = shore or up
    return told, outputs, shore


def failure(net, before, cut=None, link_cut=None, supplies=None, short=None, forced=None, hung=None, up=True, clock=None, deaf=None):
    count = len(net["modules"])
    dead = base.power(net, cut, supplies, short, forced, hung)
    if hung is not None and dead[hung]:
        hung = None
    works = [not dead[m] and m != hung for m in range(count)]
    broken_link = cut if link_cut is None else link_cut

    def reach(a, b):
        if net["bus"]:
            return works[a] and works[b] and (a == b or broken_link is None)
        return base.reaches(net, a, b, dead, hung, broken_link)

    wrong = [m == clock for m in range(count)]
    if clock is not None and clock == net["master"]:
        wrong = [w or module["clock"] == "set" for w, module in zip(wrong, net["modules"])]
    ears = [m for m in range(count) if net["modules"][m]["hydrophone"]]
    now = {e: follow(net, e, works, reach, wrong, up, deaf) for e in ears}
    if before is None:
        return now
    lost_line = [e for e in ears if not works[e] or e == deaf or ((before[e][0] or before[e][1]) and not (now[e][0] or now[e][1]))]
    lost_shore = [e for e in ears if before[e][2] and not now[e][2]]
    outputs = []
    for m in range(count):
        if net["modules"][m]["output"]:
            asked = sum(m in now[e][1] for e in ears)
            asked_before = sum(m in before[e][1] for e in ears)
            does = "off" if dead[m] else "stays" if m == hung else "unasked" if asked < asked_before else "as-before"
            outputs.append([m, does, asked, "not-needed" if does == "as-before" else "unknown", None])
    sees = "no-shore" if not net["uplink"] else "quiet" if lost_shore else "alerts"
    # No heartbeat here holds a level: whether anything tells a deaf hydrophone is unknown.
    notices = "unknown" if deaf is not None and net["uplink"] and lost_shore else None
    return [[m for m in range(count) if dead[m]], lost_line, lost_shore, outputs, sees, notices, [e for e in ears if wrong[e]]]


def failures(net):
    count = len(net["modules"])
    if any(base.power(net)):
        raise base.TooClose
    before = failure(net, None)
    told = {}
    for s in range(len(net["spans"])):
        told[f"span {s} cut"] = failure(net, before, cut=s)
        told[f"span {s} shorted"] = failure(net, before, link_cut=s, short=("span", s))
    for m, module in enumerate(net["modules"]):
        told[f"module {m} unpowered"] = failure(net, before, forced=m)
        told[f"module {m} hung"] = failure(net, before, hung=m)
        short = None if module["power"] == "always" else ("module", m)
        told[f"module {m} flooded"] = failure(net, before, forced=m, short=short)
        if module["hydrophone"]:
            told[f"module {m} deaf"] = failure(net, before, deaf=m)
        if module["clock"] or m == net["master"]:
            told[f"module {m} wrong-clock"] = failure(net, before, clock=m)
    for s in range(len(net["supplies"])):
        left = [at for i, at in enumerate(net["supplies"]) if i != s]
        told[f"supply {s} no-supply"] = failure(net, before, supplies=left)
    if net["uplink"]:
        told["uplink 0 no-uplink"] = failure(net, before, up=False)
    return told


def main():
    here = pathlib.Path(__file__)
    draw = np.random.default_rng(61)
    cases = []
    while len(cases) < 150:
        net = line(draw)
        if net is None:
            continue
        try:
            cases.append({**net, "failures": failures(net)})
        except base.TooClose:
            continue
    document = {
        "provenance": {
            "what": "lines of 3 to 6 modules with votes, requests, clocks and shared buses, and what comes of each single failure: modules without power, hydrophones lost to the line and to the shore, outputs (module, what it does, hydrophones that ask it, whether it fails safe, within s), what the shore sees, when it can tell, hydrophones whose times are wrong; modules by number",
            "source": "plain Python from docs/method/failures.md; power by numpy.linalg.solve and reach over links by network_line_failures.py; numpy.random 2.4.6 for the lines",
            "script": "reference/make/network_line_talk.py (with network_line_failures.py)",
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "none",
        },
        "cases": cases,
    }
    out = here.parents[1] / "network" / "python-line-talk.json"
    out.write_text(json.dumps(document, separators=(",", ":")).replace('{"modules"', '\n{"modules"') + "\n")


if __name__ == "__main__":
    main()
