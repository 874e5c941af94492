"""Single failures of small networks, by brute force.

Python 3.11, numpy==2.4.6. Run with no arguments to write reference/network/numpy-failures.json. Running it again gives the same bytes.

A node reaches a sink if and only if there is a sequence of different nodes from it to the sink in which neighbours share a medium that works and each node between hands on. All
sequences are tried. Two nodes share a link that joins them, a bus that all hear when both are on it, a polled bus when both are on it and one of them asks. A medium that is
broken does not work; nor does a bus on which a broken node sits that holds it, nor a polled one whose asker is broken. Origin and sink are not broken; a broken node between
hands on only where something goes past it. numpy draws the networks.
"""

import hashlib
import itertools
import json
import pathlib

import numpy as np

PAST = ["passes", "stops", "holds"]


def network(draw):
    nodes = int(draw.integers(2, 7))
    links = []
    # A tree with a few links more, or several parts.
    for node in range(1, nodes):
        if draw.random() < 0.75:
            links.append([int(draw.integers(0, node)), node])
    for _ in range(int(draw.integers(0, 3))):
        a, b = (int(n) for n in draw.choice(nodes, 2, replace=False))
        links.append([a, b])
    buses = []
    for _ in range(int(draw.integers(0, 3))):
        stations = [int(n) for n in draw.choice(nodes, int(draw.integers(2, nodes + 1)), replace=False)]
        buses.append({"stations": stations, "asks": stations[int(draw.integers(0, len(stations)))] if draw.random() < 0.5 else None})
    ends = [n for n in range(nodes) if draw.random() < 0.2]
    sinks = sorted(int(n) for n in draw.choice(nodes, min(nodes, int(draw.integers(1, 3))), replace=False))
    passes = [[PAST[int(draw.integers(0, 3))], PAST[int(draw.integers(0, 3))]] for _ in range(nodes)]
    return {"nodes": nodes, "links": links, "buses": buses, "ends": ends, "sinks": sinks, "passes": passes}


def shares(net, a, b, broken_node, past, broken_medium):
    for index, link in enumerate(net["links"]):
        if {a, b} == set(link) and broken_medium != ("link", index):
            return True
    for index, bus in enumerate(net["buses"]):
        if a not in bus["stations"] or b not in bus["stations"] or broken_medium == ("bus", index):
            continue
        if broken_node is not None and (bus["asks"] == broken_node or (past == "holds" and broken_node in bus["stations"])):
            continue
        if bus["asks"] is None or bus["asks"] in (a, b):
            return True
    return False


def reaches(net, broken_node=None, past=None, broken_medium=None):
    told = []
    for origin in range(net["nodes"]):
        found = False
        for sink in net["sinks"]:
            if broken_node in (origin, sink):
                continue
            if origin == sink:
                found = True
                continue
            others = [n for n in range(net["nodes"]) if n not in (origin, sink)]
            for count in range(len(others) + 1):
                for between in itertools.permutations(others, count):
                    hands_on = all(n not in net["ends"] and (n != broken_node or past == "passes") for n in between)
                    way = (origin, *between, sink)
                    if hands_on and all(shares(net, a, b, broken_node, past, broken_medium) for a, b in zip(way, way[1:])):
                        found = True
        told.append(found)
    return told


def failures(net):
    whole = reaches(net)
    told = []
    for node in range(net["nodes"]):
        for how in (0, 1):
            told.append({"broken": ["node", node, ("unpowered", "hung")[how]], "reaches": reaches(net, node, net["passes"][node][how])})
    for kind in ("link", "bus"):
        for index in range(len(net["links" if kind == "link" else "buses"])):
            told.append({"broken": [kind, index], "reaches": reaches(net, broken_medium=(kind, index))})
    for row in told:
        row["lost"] = [n for n in range(net["nodes"]) if whole[n] and not row["reaches"][n]]
    return told


def main():
    here = pathlib.Path(__file__)
    draw = np.random.default_rng(20261126)
    cases = []
    for _ in range(80):
        net = network(draw)
        cases.append({**net, "failures": failures(net)})
    document = {
        "provenance": {
            "what": "networks of 2 to 6 nodes, and for each single failure which nodes reach a sink; passes: past a node without power, past one that hangs",
            "source": f"numpy {np.__version__}, numpy.random for the networks; brute force over all sequences of nodes",
            "script": "reference/make/" + here.name,
            "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
            "tolerance": "exact",
        },
        "cases": cases,
    }
    (here.parent.parent / "network" / "numpy-failures.json").write_text(json.dumps(document) + "\n")


if __name__ == "__main__":
    main()
