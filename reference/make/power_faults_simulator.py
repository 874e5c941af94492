"""Leaks and shorts of power/scipy-faults.json once more, by a general circuit simulator.

Needs ngspice 39 on the path (Debian package ngspice 39.3). Writes power/ngspice-faults.json beside this folder. Both conductors are
nodes of their own; the water is node 0. Shorts are those of N1 and N2 without current limits, with the loads that the other
program leaves on. Voltages start near those without load (.nodeset).
"""

import hashlib
import json
import pathlib
import re
import subprocess

HERE = pathlib.Path(__file__).resolve()
POWER = HERE.parent.parent / "power"
NETWORKS = json.loads((POWER / "scipy-networks.json").read_text())["networks"]
FAULTS = json.loads((POWER / "scipy-faults.json").read_text())


def run(cards, printed):
    deck = ["* faults", *cards, ".options reltol=1e-12 abstol=1e-15 vntol=1e-13 gmin=1e-18 itl1=500"]
    deck += [".control", "set numdgt=12", "op", *[f"print {p}" for p in printed], ".endc", ".end"]
    out = subprocess.run(["ngspice", "-b"], input="\n".join(deck) + "\n", capture_output=True, text=True).stdout
    found = dict(re.findall(r"(\S+(?:\(\S+\)|#branch)) = (\S+)", out.lower()))
    return [float(f"{float(found[p]):.10g}") for p in printed]


def both_conductors(net, leak):
    highest = max(s["voltage_v"] for s in net["sources"])
    earthed = len(net["sources"]) == 1 and leak["into"] == net["sources"][0]["node"] and leak["resistance_ohm"] != 650.0
    cards = []
    for i, span in enumerate(net["spans"]):
        for side in "pm":
            cards.append(f"r{side}{i} {side}{span['a']} {side}{span['b']} {span['resistance_ohm'] / 2!r}")
    for i, source in enumerate(net["sources"]):
        at, inner = source["node"], f"e{i}"
        if source["resistance_ohm"] > 0:
            cards += [f"v{i} {inner} m{at} {source['voltage_v']}", f"rs{i} {inner} p{at} {source['resistance_ohm']}"]
        else:
            cards.append(f"v{i} p{at} m{at} {source['voltage_v']}")
    for i, load in enumerate(net["loads"]):
        p, m = f"p{load['node']}", f"m{load['node']}"
        cards.append(f"b{i} {p} {m} i={load['power_w']}/v({p},{m})+{load['current_a']}")
        if load["resistance_ohm"]:
            cards.append(f"rl{i} {p} {m} {load['resistance_ohm']}")
    if earthed:
        cards += [f"vl p{leak['from']} w 0", f"rleak w 0 {leak['resistance_ohm']}", f"vearth m{net['sources'][0]['node']} 0 0"]
    else:
        cards += [f"vl p{leak['from']} w 0", "rleak w 0 400", f"rback m{leak['into']} 0 250"]
    for node in range(len(net["nodes"])):
        cards.append(f".nodeset v(p{node})={highest if earthed else highest / 2} v(m{node})={0 if earthed else -highest / 2}")
    return cards


def shorted(net, short):
    highest = max(s["voltage_v"] for s in net["sources"])
    cards = [f"vshort n{short['short']} 0 0"]
    for i, span in enumerate(net["spans"]):
        cards.append(f"r{i} n{span['a']} n{span['b']} {span['resistance_ohm']!r}")
    for i, source in enumerate(net["sources"]):
        at = f"n{source['node']}"
        if source["resistance_ohm"] > 0:
            cards += [f"v{i} e{i} 0 {source['voltage_v']}", f"rs{i} e{i} {at} {source['resistance_ohm']}"]
        else:
            cards.append(f"v{i} {at} 0 {source['voltage_v']}")
    on = iter(short["on"])
    for i, load in enumerate(net["loads"]):
        at = f"n{load['node']}"
        if next(on):
            cards.append(f"bp{i} {at} 0 i={load['power_w']}/v({at})")
        if load["current_a"] > 0 and next(on):
            cards.append(f"ic{i} {at} 0 {load['current_a']}")
        if load["resistance_ohm"] and next(on):
            cards.append(f"rl{i} {at} 0 {load['resistance_ohm']}")
    nodes = range(len(net["nodes"]))
    return cards + [f".nodeset v(n{node})={highest}" for node in nodes if node != short["short"]]


leaks = {name: [run(both_conductors(NETWORKS[name], leak), ["vl#branch"])[0] for leak in all_leaks] for name, all_leaks in FAULTS["leaks"].items()}
shorts = {
    name: [run(shorted(NETWORKS[name], s), ["vshort#branch"])[0] for s in FAULTS["shorts"][name] if s["limits_a"] == [None]]
    for name in ("N1", "N2")
}
version = re.search(r"ngspice-(\d+)", subprocess.run(["ngspice", "--version"], capture_output=True, text=True).stdout)
(POWER / "ngspice-faults.json").write_text(
    json.dumps(
        {
            "provenance": {
                "what": "current of each leak of scipy-faults.json, and of each short of N1 and N2 there without current limits, A",
                "source": f"ngspice {version.group(1)}, operating point from .nodeset near the voltages without load",
                "script": "reference/make/" + HERE.name,
                "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "tolerance": "1e-6 A: span resistances are read with ten digits",
            },
            "leaks_a": leaks,
            "shorts_a": shorts,
        },
        indent=1,
    )
    + "\n"
)
