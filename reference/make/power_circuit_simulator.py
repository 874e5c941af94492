"""The networks of power/scipy-networks.json once more, by a general circuit simulator.

Needs ngspice 39 on the path (Debian package ngspice 39.3). Writes power/ngspice-networks.json beside this folder.
Voltages start at the source voltage (.nodeset): without it the operating-point search of a circuit simulator may end
on the collapsed root without a word. Both roots of the two-node line are solved as well.
"""

import hashlib
import json
import pathlib
import re
import subprocess

HERE = pathlib.Path(__file__).resolve()
POWER = HERE.parent.parent / "power"


def run(cards, nodes):
    deck = ["* network", *cards, ".options reltol=1e-12 abstol=1e-15 vntol=1e-13 gmin=1e-18 itl1=500"]
    deck += [".control", "set numdgt=12", "op", *[f"print v({n})" for n in nodes], ".endc", ".end"]
    text = "\n".join(deck) + "\n"
    out = subprocess.run(["ngspice", "-b"], input=text, capture_output=True, text=True).stdout
    found = dict(re.findall(r"v\((\w+)\) = (\S+)", out.lower()))
    return [float(f"{float(found[n]):.10g}") for n in nodes]


def cards(net):
    lines = []
    highest = max(s["voltage_v"] for s in net["sources"])
    for i, span in enumerate(net["spans"]):
        lines.append(f"r{i} n{span['a']} n{span['b']} {span['resistance_ohm']!r}")
    for i, source in enumerate(net["sources"]):
        if source["resistance_ohm"] > 0:
            lines.append(f"v{i} e{i} 0 {source['voltage_v']}")
            lines.append(f"rs{i} e{i} n{source['node']} {source['resistance_ohm']}")
        else:
            lines.append(f"v{i} n{source['node']} 0 {source['voltage_v']}")
    for i, load in enumerate(net["loads"]):
        at = f"n{load['node']}"
        lines.append(f"b{i} {at} 0 i={load['power_w']}/v({at})+{load['current_a']}")
        if load["resistance_ohm"]:
            lines.append(f"rl{i} {at} 0 {load['resistance_ohm']}")
    lines += [f".nodeset v(n{node})={highest}" for node in range(len(net["nodes"]))]
    return lines


networks = json.loads((POWER / "scipy-networks.json").read_text())["networks"]
result = {}
for name, net in networks.items():
    nodes = [f"n{node}" for node in range(len(net["nodes"]))]
    result[name] = {"voltages_v": run(cards(net), nodes)}

two_bus = ["v1 s 0 48", "r1 s a 20", "b1 a 0 i=25/v(a)"]
result["two-bus"] = {
    "high_v": run(two_bus + [".nodeset v(a)=40"], ["a"])[0],
    "low_v": run(two_bus + [".nodeset v(a)=12"], ["a"])[0],
}
version = re.search(r"ngspice-(\d+)", subprocess.run(["ngspice", "--version"], capture_output=True, text=True).stdout)
(POWER / "ngspice-networks.json").write_text(
    json.dumps(
        {
            "provenance": {
                "what": "node voltages of the networks of scipy-networks.json; both roots of 48 V, 20 ohm, 25 W",
                "source": f"ngspice {version.group(1)}, operating point from .nodeset at the highest source voltage",
                "script": "reference/make/" + HERE.name,
                "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "tolerance": "1e-6 V: span resistances are read with ten digits",
            },
            "networks": result,
        },
        indent=1,
    )
    + "\n"
)
