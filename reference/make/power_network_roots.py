"""The collapsed solutions of the networks of power/scipy-networks.json: all roots of the string, and where a circuit simulator ends when nothing
tells it where to begin.

Needs numpy 2.4.6 and ngspice 39 on the path (Debian package ngspice 39.3). Writes power/ngspice-collapsed.json beside this folder.
The string's two voltages are the roots of one polynomial of fourth degree in the last of them. For the simulator a load draws constant power
from 5 V up and is a resistor of the same power at 5 V below: nothing is divided by zero at its start from zero volts.
"""

import hashlib
import json
import pathlib
import re
import subprocess

import numpy as np

assert np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
POWER = HERE.parent.parent / "power"
KNEE_V = 5.0


def ten(value):
    return float(f"{value:.10g}")


def unguided(net):
    cards = [f"r{i} n{span['a']} n{span['b']} {span['resistance_ohm']!r}" for i, span in enumerate(net["spans"])]
    for i, source in enumerate(net["sources"]):
        if source["resistance_ohm"] > 0:
            cards += [f"v{i} e{i} 0 {source['voltage_v']}", f"rs{i} e{i} n{source['node']} {source['resistance_ohm']}"]
        else:
            cards.append(f"v{i} n{source['node']} 0 {source['voltage_v']}")
    for i, load in enumerate(net["loads"]):
        at, watt = f"v(n{load['node']})", load["power_w"]
        cards.append(f"b{i} n{load['node']} 0 i=({at}<{KNEE_V} ? {at}*{watt / KNEE_V**2!r} : {watt}/{at})+{load['current_a']}")
        if load["resistance_ohm"]:
            cards.append(f"rl{i} n{load['node']} 0 {load['resistance_ohm']}")
    nodes = [f"n{node}" for node in range(len(net["nodes"]))]
    deck = ["* network", *cards, ".options reltol=1e-12 abstol=1e-15 vntol=1e-13 gmin=1e-18 itl1=500"]
    deck += [".control", "set numdgt=12", "op", *[f"print v({n})" for n in nodes], ".endc", ".end"]
    done = subprocess.run(["ngspice", "-b"], input="\n".join(deck) + "\n", capture_output=True, text=True)
    found = dict(re.findall(r"v\((\w+)\) = (\S+)", done.stdout.lower()))
    if not found:
        return {"ends": "fails"}
    return {"ends": "without a word" if "warning" not in (done.stdout + done.stderr).lower() else "with a warning",
            "voltages_v": [ten(float(found[n])) for n in nodes]}


networks = json.loads((POWER / "scipy-networks.json").read_text())["networks"]
string = networks["N1"]
first, second = (span["resistance_ohm"] for span in string["spans"])
near, far = (load["power_w"] for load in string["loads"])
volt = string["sources"][0]["voltage_v"]
# With U at the end, U + second far/U before it, and the same current on both sides of that.
c = second * far
ends = np.roots([-1, volt, -(2 * c + first * (near + far)), volt * c, -(c * c + first * far * c)])
roots = sorted((float(u.real) for u in ends if abs(u.imag) < 1e-9), reverse=True)
version = re.search(r"ngspice-(\d+)", subprocess.run(["ngspice", "--version"], capture_output=True, text=True).stdout)
(POWER / "ngspice-collapsed.json").write_text(
    json.dumps(
        {
            "provenance": {
                "what": "voltages of all real solutions of the string N1, highest first; voltages of the four networks where no start is given and loads are "
                        "resistors below 5 V",
                "source": f"numpy 2.4.6 (roots); ngspice {version.group(1)}, operating point without .nodeset",
                "script": "reference/make/" + HERE.name,
                "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "tolerance": "1e-6 V for the highest solution: resistances are read with ten digits; the others must fail",
            },
            "string_v": [[volt, ten(u + c / u), ten(u)] for u in roots],
            "unguided": {name: unguided(net) for name, net in networks.items()},
        },
        indent=1,
    )
    + "\n"
)
