"""Single failures of whole lines: power, messages, heartbeats and outputs, by brute force from the rules of docs/method/failures.md.

Python 3.11, numpy==2.4.6. Run with no arguments to write reference/network/numpy-line-failures.json. Running it again gives the same bytes.

A line is a tree of modules with a span more at times. Power: node voltages by numpy.linalg.solve on the conductance matrix, loads left out (they are 5 mW, which moves no voltage by
0.05 V; lines with a voltage within 0.3 V of a lowest voltage are drawn again). A supply over its current limit gives its limit. A module below its lowest voltage is dead and stays so; one
that passes power only while it is powered opens then, and the voltages are found again. Messages: all sequences of different modules are tried; one between hands on while it works, or
where what passes it says so. Detections are followed message by message. A hydrophone that is deaf starts nothing, and all heartbeats go on: only a level of the sea that goes ashore in one
tells it. numpy draws the lines, and with a second stream whose heartbeats hold which levels.
"""

import hashlib
import json
import pathlib

import numpy as np

LOOP_OHM_PER_M = 2 * 19.5 / 1000
LOWEST_V = 9.0
CLEAR_V = 0.3
POWER = ["always", "powered", "running"]
DATA = ["always", "powered", "running", "never"]
LIMIT_A = 1.0


def line(draw):
    count = int(draw.integers(3, 7))
    spans = [[int(draw.integers(max(0, node - 2), node)), node] for node in range(1, count)]
    if draw.random() < 0.3:
        a, b = sorted(int(n) for n in draw.choice(count, 2, replace=False))
        if [a, b] not in spans:
            spans.append([a, b])
    chance = draw.random
    modules = []
    for node in range(count):
        modules.append(
            {
                "power": POWER[int(draw.integers(0, 3))],
                "data": DATA[int(draw.choice(4, p=[0.35, 0.2, 0.35, 0.1]))],
                "through_ohm": round(float(draw.uniform(0.1, 0.6)), 3),
                "hydrophone": bool(chance() < 0.6),
                "heartbeat_min": int(draw.integers(1, 60)) if chance() < 0.6 else None,
                "hears_heartbeats": bool(chance() < 0.6),
                "relays": False,
                "output": None,
            }
        )
    if not any(m["hydrophone"] for m in modules):
        modules[-1]["hydrophone"] = True
    relay = int(draw.integers(0, count)) if chance() < 0.4 else None
    if relay is not None:
        modules[relay]["relays"] = True
    for node in (int(n) for n in draw.choice(count, 2, replace=False)):
        modules[node]["output"] = {
            "listens_to": "relay" if relay is not None and relay != node and chance() < 0.6 else "alert",
            "switch_to": ["off", "on"][int(draw.integers(0, 2))],
            "for_s": int(draw.integers(10, 200)) if chance() < 0.5 else None,
            "starts": ["off", "on"][int(draw.integers(0, 2))],
            "fail_safe": [None, "off", "on", "on"][int(draw.integers(0, 4))],
            "within_s": None,
        }
        if modules[node]["output"]["fail_safe"] and chance() < 0.6:
            modules[node]["output"]["within_s"] = int(draw.integers(60, 7200))
    supplies = [0] + ([count - 1] if chance() < 0.2 else [])
    uplink = None
    if chance() < 0.8:
        uplink = {
            "expiry_s": int(draw.integers(600, 7200)) if chance() < 0.85 else None,
            "heartbeat_h": int(draw.integers(1, 25)) if chance() < 0.6 else None,
            "forwards": bool(chance() < 0.3),
        }
        if uplink["heartbeat_h"]:
            modules[0]["heartbeat_min"] = 60 * uplink["heartbeat_h"]
    return {
        "modules": modules,
        "spans": [[a, b, round(float(draw.uniform(40, 400)), 1)] for a, b in spans],
        "supplies": supplies,
        "uplink": uplink,
    }


def with_levels(net, draw):
    """Which heartbeats hold the level of which hydrophones: of modules their own, of the uplink's module also that of others."""
    ears = [m for m, module in enumerate(net["modules"]) if module["hydrophone"]]
    for m, module in enumerate(net["modules"]):
        beats = module["heartbeat_min"] is not None
        own = [e for e in ears if (e == m or m == 0) and draw.random() < 0.6]
        module["levels"] = own if beats else []
    return net


class TooClose(Exception):
    pass


def whether_power_passes(net, node, dead, hung):
    when = net["modules"][node]["power"]
    if when == "always":
        return True
    return not dead[node] and not (when == "running" and hung == node)


def steps(net, shut, cut, supplies):
    """Steps from the nearest supply, through modules that pass power: they say on which side of a module a span hangs."""
    near = {s: 0 for s in supplies}
    todo = list(supplies)
    while todo:
        node = todo.pop(0)
        if node in shut:
            continue
        for s, (a, b, _) in enumerate(net["spans"]):
            for here, there in ((a, b), (b, a)):
                if here == node and s != cut and there not in near:
                    near[there] = near[here] + 1
                    todo.append(there)
    return near


def voltages(net, shut, cut, supplies, short):
    """Inlet voltages; `short` is ("module", m) or ("span", s). None where no supply feeds."""
    near = steps(net, shut, cut, supplies)
    edges = []
    far_end = {}
    for s, (a, b, metres) in enumerate(net["spans"]):
        if s == cut or a not in near or b not in near:
            continue
        inner, outer = (a, b) if near[a] <= near[b] else (b, a)
        ends = (("out", inner), ("in", outer)) if near[a] != near[b] else (("out", a), ("out", b))
        edges.append((*ends, LOOP_OHM_PER_M * metres))
        far_end[s] = ends[1] if near[a] != near[b] else ("out", a)
    for m in near:
        if m not in shut:
            edges.append((("in", m), ("out", m), net["modules"][m]["through_ohm"]))
    # What no source reaches carries nothing.
    fed = {("in", s) for s in supplies}
    while True:
        more = {b for a, b, _ in edges if a in fed} | {a for a, b, _ in edges if b in fed}
        if more <= fed:
            break
        fed |= more
    nodes = sorted(fed)
    at = {n: i for i, n in enumerate(nodes)}
    held = None
    if short is not None:
        held = ("in", short[1]) if short[0] == "module" else far_end.get(short[1])
        if held not in at:
            held = None
    limited = set()
    while True:
        g = np.zeros((len(nodes), len(nodes)))
        i = np.zeros(len(nodes))
        for a, b, ohm in edges:
            if a in at and b in at:
                g[at[a], at[a]] += 1 / ohm
                g[at[b], at[b]] += 1 / ohm
                g[at[a], at[b]] -= 1 / ohm
                g[at[b], at[a]] -= 1 / ohm
        for s in supplies:
            k = at[("in", s)]
            if s in limited:
                i[k] += LIMIT_A
            else:
                g[k, k] += 1 / 0.1
                i[k] += 24 / 0.1
        if held is not None:
            g[at[held], :] = 0
            g[at[held], at[held]] = 1
            i[at[held]] = 0
        v = np.linalg.solve(g, i)
        over = {s for s in supplies if s not in limited and (24 - v[at[("in", s)]]) / 0.1 > LIMIT_A}
        if not over:
            break
        limited |= over
    return {m: float(v[at[("in", m)]]) for m in near if ("in", m) in at}


def power(net, cut=None, supplies=None, short=None, forced=None, hung=None):
    count = len(net["modules"])
    supplies = net["supplies"] if supplies is None else supplies
    dead = [m == forced for m in range(count)]
    if not supplies:
        return [True] * count
    while True:
        shut = {m for m in range(count) if not whether_power_passes(net, m, dead, hung)}
        v = voltages(net, shut, cut, supplies, short)
        now = list(dead)
        for m in range(count):
            if m not in v:
                now[m] = True
                continue
            if abs(v[m] - LOWEST_V) < CLEAR_V:
                raise TooClose
            now[m] = now[m] or v[m] < LOWEST_V
        if now == dead:
            return dead
        dead = now


def reaches(net, frm, to, dead, hung, cut):
    if dead[frm] or dead[to] or hung in (frm, to):
        return False
    if frm == to:
        return True

    def hands_on(m):
        when = net["modules"][m]["data"]
        if when == "never":
            return False
        if dead[m]:
            return when == "always"
        if hung == m:
            return when in ("always", "powered")
        return True

    def joined(a, b):
        return any({a, b} == {x, y} and s != cut for s, (x, y, _) in enumerate(net["spans"]))

    count = len(net["modules"])

    def walk(way):
        if way[-1] == to:
            return True
        if len(way) > 1 and not hands_on(way[-1]):
            return False
        return any(walk(way + [n]) for n in range(count) if n not in way and joined(way[-1], n))

    return walk([frm])


def follow(net, ear, reach, up):
    """Who is told, which outputs are switched, whether the shore learns, and by which modules each output is asked."""
    told, outputs, asked_by = set(), set(), {}
    shore = False
    for m in range(len(net["modules"])):
        if m == ear or not reach(ear, m):
            continue
        own = net["modules"][m]
        listens = own["output"] and own["output"]["listens_to"] == "alert"
        if listens or own["relays"] or (m == 0 and net["uplink"]):
            told.add(m)
        if listens:
            outputs.add(m)
            asked_by.setdefault(m, set()).add(ear)
        if m == 0 and net["uplink"] and up:
            shore = True
        if own["relays"]:
            for o, other in enumerate(net["modules"]):
                if o != m and other["output"] and other["output"]["listens_to"] == "relay" and reach(m, o):
                    told.add(o)
                    outputs.add(o)
                    asked_by.setdefault(o, set()).update({ear, m})
    if net["uplink"] and ear == 0 and reach(0, 0) and up:
        shore = True
    return told, outputs, shore, {o: a - {o} for o, a in asked_by.items()}


def heard(net, frm, at, whole):
    """Whether a module hears another's heartbeat while all is whole."""
    forwards = at == 0 and net["uplink"] and net["uplink"]["forwards"]
    wants = net["modules"][at]["hears_heartbeats"] or forwards
    return frm != at and net["modules"][frm]["heartbeat_min"] is not None and wants and whole(frm, at)


def level_ashore(net, ear, whole):
    """Seconds until a level of the sea that goes ashore in a heartbeat tells a deaf hydrophone; None where none does or its message may wait for ever."""
    uplink = net["uplink"]
    own = net["modules"][0]
    theirs = net["modules"][ear]
    told = ear != 0 and ear in theirs["levels"] and heard(net, ear, 0, whole)
    times = []
    if uplink["heartbeat_h"] and ear in own["levels"] and (ear == 0 or told):
        times.append(own["heartbeat_min"] + (0 if ear == 0 else theirs["heartbeat_min"]))
    if uplink["forwards"] and told:
        times.append(theirs["heartbeat_min"])
    if not times or uplink["expiry_s"] is None:
        return None
    return 60 * min(times) + uplink["expiry_s"] + 20


def failure(net, before, cut=None, link_cut=None, supplies=None, short=None, forced=None, hung=None, up=True, deaf=None):
    dead = power(net, cut, supplies, short, forced, hung)
    if hung is not None and dead[hung]:
        hung = None
    count = len(net["modules"])
    broken_link = cut if link_cut is None else link_cut

    def reach(a, b):
        return reaches(net, a, b, dead, hung, broken_link)

    stopped = [dead[m] or m == hung for m in range(count)]
    ears = [m for m in range(count) if net["modules"][m]["hydrophone"]]
    now = {e: follow(net, e, reach, up) if not stopped[e] and e != deaf else (set(), set(), False, {}) for e in ears}
    lost_line = [
        e
        for e in ears
        if not before["dead"][e]
        and (stopped[e] or e == deaf or ((before["led"][e][0] or before["led"][e][1]) and not (now[e][0] or now[e][1])))
    ]
    lost_shore = [e for e in ears if before["led"][e][2] and not now[e][2]]
    outputs = []
    for m in range(count):
        own = net["modules"][m]["output"]
        if not own:
            continue
        asked = sum(m in now[e][1] for e in ears)
        asked_before = sum(m in before["led"][e][1] for e in ears)
        askers = set().union(*[before["led"][e][3].get(m, set()) for e in ears])
        does = "off" if dead[m] else "stays" if m == hung else "unasked" if asked < asked_before else "as-before"
        safe, within = None, None
        away = own["switch_to"] != own["fail_safe"]
        rests = own["starts"] == own["fail_safe"]
        if does == "as-before":
            safe = "not-needed"
        elif own["fail_safe"] is None:
            safe = "unknown"
        elif does == "off":
            safe, within = ("within", 0) if own["fail_safe"] == "off" else ("never", None)
        else:
            times = []
            if own["within_s"] and does == "stays":
                times.append(own["within_s"])
            elif own["within_s"] and not any(heard(net, a, m, before["reach"]) for a in askers):
                # Nobody winds it up: it has run out, or will have by then.
                times.append(own["within_s"])
            elif own["within_s"]:
                if any(heard(net, a, m, before["reach"]) and not reach(a, m) for a in askers):
                    times.append(own["within_s"])
            if rests and not away:
                times.append(0)
            if rests and away and own["for_s"] and does == "unasked":
                times.append(own["for_s"])
            safe, within = ("within", min(times)) if times else ("never", None)
        outputs.append([m, does, asked, safe, within])
    sees, notices, unknown = "no-shore", None, False
    if net["uplink"]:
        uplink = net["uplink"]
        times = []
        own_min = net["modules"][0]["heartbeat_min"]
        gone = stopped[0] or not up
        if uplink["heartbeat_h"] and gone:
            times.append(60 * own_min)
        elif uplink["heartbeat_h"]:
            for m in range(1, count):
                if heard(net, m, 0, before["reach"]) and not reach(m, 0):
                    times.append(60 * (own_min + net["modules"][m]["heartbeat_min"]))
        if uplink["forwards"]:
            for m in range(1, count):
                if heard(net, m, 0, before["reach"]) and (gone or not reach(m, 0)):
                    times.append(60 * net["modules"][m]["heartbeat_min"])
        if times and uplink["expiry_s"] is None:
            unknown = True
        elif times:
            notices = min(times) + uplink["expiry_s"] + 20
        sees = "alerts" if not lost_shore else "unknown" if times else "quiet"
        if deaf is not None and lost_shore:
            notices = level_ashore(net, deaf, before["reach"])
            unknown = notices is None
            sees = "quiet" if unknown else "unknown"
    without = [m for m in range(count) if dead[m] and not before["dead"][m]]
    return [without, lost_line, lost_shore, outputs, sees, "unknown" if unknown else notices]


def failures(net):
    count = len(net["modules"])
    dead = power(net)
    if any(dead):
        raise TooClose

    def whole(a, b):
        return reaches(net, a, b, dead, None, None)

    ears = [m for m in range(count) if net["modules"][m]["hydrophone"]]
    before = {"dead": dead, "reach": whole, "led": {e: follow(net, e, whole, True) for e in ears}}
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
    for s in range(len(net["supplies"])):
        left = [at for i, at in enumerate(net["supplies"]) if i != s]
        told[f"supply {s} no-supply"] = failure(net, before, supplies=left)
    if net["uplink"]:
        told["uplink 0 no-uplink"] = failure(net, before, up=False)
    return told


def main():
    here = pathlib.Path(__file__)
    draw = np.random.default_rng(20)
    levels = np.random.default_rng(21)
    cases = []
    while len(cases) < 100:
        net = with_levels(line(draw), levels)
        try:
            cases.append({**net, "failures": failures(net)})
        except TooClose:
            continue
    document = {
        "provenance": {
            "what": "lines of 3 to 6 modules, and what comes of each single failure: modules without power, hydrophones lost to the line and to the shore, outputs (module, what it does, hydrophones that ask it, whether it fails safe, within s), what the shore sees, and when it can tell, s; modules by number, times on links left out",
            "source": "numpy 2.4.6: numpy.linalg.solve for the voltages, numpy.random for the lines; brute force over all sequences of modules, from docs/method/failures.md",
            "script": "reference/make/network_line_failures.py",
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "exact; times within 1 s above, as heartbeats take less on their way",
        },
        "cases": cases,
    }
    out = here.parents[1] / "network" / "numpy-line-failures.json"
    out.write_text(json.dumps(document, separators=(",", ":")).replace('{"modules"', '\n{"modules"') + "\n")


if __name__ == "__main__":
    main()
