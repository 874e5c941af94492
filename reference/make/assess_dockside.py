"""What a meter reads on the quay of two lines of plans/, by a circuit simulator.

Needs ngspice 39 on the path (Debian package ngspice 39.3). Writes assess/ngspice-dockside.json beside this folder.
The two lines are typed in here from plans/harrow-sound and plans/kelp-gate. Each cable is a resistor of go, return and its mated contacts as new, each module a resistor
onwards and a load of constant power, drawn by a source whose current is power over voltage from 5 V up and that is a resistor of the same power below, so that
nothing is divided by zero at the start. Copper by IEC 60228, class 5, at 15 degC with 0.393 % a kelvin from 20 degC.
A line is read joined as far as each module, with nothing drawn, as it starts, and with each module at its heaviest that has a heavier state than that.
"""

import hashlib
import json
import pathlib
import re
import subprocess

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "assess" / "ngspice-dockside.json"
KNEE_V = 5.0
DEGC = 15.0
CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3}

# A module: ohm onwards, efficiency, standing W, W as it starts, W at its heaviest (None: not heavier).
# A span: from, to, metres, mm2, mated pins; each pin 8 mohm. Modules stand in the order in which they are joined.
LINES = {
    "harrow-sound": dict(
        supply=("sun", "buoy", 24.0, 0.12),
        modules={
            "buoy": (0.2, 0.9, 0.06, 0.35 + 0.3, 4.2 + 0.3),
            "marker": (0.4, 0.88, 0.04, 0.2, 0.2 + 6.0),
            "upper": (0.4, 0.88, 0.04, 0.55, 1.4),
            "probe": (0.4, 0.85, 0.02, 0.15, None),
            "lower": (0.4, 0.88, 0.04, 0.55, 1.4),
        },
        spans={
            "buoy-marker": ("buoy", "marker", 6.0 * 1.02, 1.0, 4),
            "marker-upper": ("marker", "upper", 16.0 * 1.02, 1.0, 4),
            "upper-probe": ("upper", "probe", 8.0 * 1.02, 1.0, 4),
            "probe-lower": ("probe", "lower", 28.0 * 1.02, 1.0, 4),
        },
    ),
    "kelp-gate": dict(
        supply=("mains", "hut", 48.0, 0.2),
        modules={
            "hut": (0.05, 0.9, 0.3, 4.0, 9.0 + 5.0),
            "frame": (0.05, 0.88, 0.2, 1.6, None),
            "ear": (0.1, 0.85, 0.03, 0.4, None),
            "meter": (0.0, 0.8, 0.02, 0.6, None),
            "probe-near": (0.2, 0.8, 0.01, 0.1, None),
            "beacon": (0.0, 0.85, 0.02, 0.1, 0.1 + 3.0),
            "probe-far": (0.0, 0.8, 0.01, 0.1, None),
        },
        spans={
            "trunk": ("hut", "frame", 420.0, 1.5, 4),
            "to-ear": ("frame", "ear", 60.0, 0.75, 4),
            "to-beacon": ("ear", "beacon", 90.0, 0.75, 4),
            "to-meter": ("frame", "meter", 25.0, 0.75, 4),
            "to-near": ("frame", "probe-near", 8.0, 0.5, 4),
            "to-far": ("probe-near", "probe-far", 15.0, 0.5, 2),
        },
    ),
}


def loop_ohm(length_m, area_mm2, pins):
    warmth = 1 + 0.00393 * (DEGC - 20)
    return 2 * length_m / 1000 * CLASS_5[area_mm2] * warmth + pins * 0.008


def solve(line, joined, watts):
    """Voltages at the joined modules and the current of the supply, each drawing so many watts behind its converter."""
    _, at, volts, ohm = line["supply"]
    node = lambda name: name.replace("-", "_")
    cards = [f"v0 e0 0 {volts}", f"rs0 e0 in_{node(at)} {ohm}"]
    for name, (a, b, length_m, area, pins) in line["spans"].items():
        if a in joined and b in joined:
            cards.append(f"r_{node(name)} out_{node(a)} in_{node(b)} {loop_ohm(length_m, area, pins)!r}")
    onwards = {span[0] for span in line["spans"].values()}
    for name in joined:
        through, efficiency, standing, *_ = line["modules"][name]
        v = f"v(in_{node(name)})"
        if name in onwards:
            cards.append(f"rt_{node(name)} in_{node(name)} out_{node(name)} {through!r}")
            cards.append(f"rx_{node(name)} out_{node(name)} 0 1e15")
            cards.append(f".nodeset v(out_{node(name)})={volts}")
        if watts is not None:
            drawn = watts[name] / efficiency + standing
            cards.append(f"b_{node(name)} in_{node(name)} 0 i={v}<{KNEE_V} ? {v}*{drawn / KNEE_V**2!r} : {drawn!r}/{v}")
        else:
            cards.append(f"ro_{node(name)} in_{node(name)} 0 1e15")
        cards.append(f".nodeset {v}={volts}")
    deck = ["* line", *cards, ".options reltol=1e-12 abstol=1e-15 vntol=1e-13 gmin=1e-18 itl1=500"]
    deck += [".control", "set numdgt=12", "op", *[f"print v(in_{node(n)})" for n in joined], "print i(v0)", ".endc", ".end"]
    out = subprocess.run(["ngspice", "-b"], input="\n".join(deck) + "\n", capture_output=True, text=True).stdout
    found = dict(re.findall(r"(v\(in_\w+\)|i\(v0\)) = (\S+)", out.lower()))
    keep = lambda text: float(f"{float(text):.9g}")
    return {n: keep(found[f"v(in_{node(n)})"]) for n in joined}, -keep(found["i(v0)"])


def readings(line):
    supply = line["supply"][0]
    modules = line["modules"]
    usual = {name: m[3] for name, m in modules.items()}
    told = {f"loop.{name}": float(f"{loop_ohm(*span[2:]):.9g}") for name, span in line["spans"].items()}
    told[f"open.{supply}"] = line["supply"][2]
    joined = []
    for name in modules:
        joined.append(name)
        volts, _ = solve(line, joined, usual)
        told[f"joined.{name}"] = volts[name]
    for word, watts in (("off", None), ("usual", usual)):
        volts, amps = solve(line, joined, watts)
        told |= {f"volts.{word}.{name}": v for name, v in volts.items()}
        told[f"amps.{word}.{supply}"] = amps if watts is not None else 0.0
    for name, m in modules.items():
        if m[4] is None:
            continue
        volts, amps = solve(line, joined, usual | {name: m[4]})
        told[f"volts.heaviest-{name}.{name}"] = volts[name]
        told[f"amps.heaviest-{name}.{supply}"] = amps
    return told


version = re.search(r"ngspice-(\d+)", subprocess.run(["ngspice", "--version"], capture_output=True, text=True).stdout)
OUT.write_text(
    json.dumps(
        {
            "provenance": {
                "what": "voltages in V, supply currents in A and loops in ohm on a quay of 15 degC, by the ids of the steps of a dockside sheet",
                "source": f"ngspice {version.group(1)}, operating point from .nodeset at the supply's voltage; copper by IEC 60228 class 5",
                "script": "reference/make/" + HERE.name,
                "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "tolerance": "1e-6 V, 1e-7 A, 1e-8 ohm: nine digits are kept, and 1e15 ohm hold nodes that nothing else does",
            },
            "temperature_degc": DEGC,
            "lines": {name: readings(line) for name, line in LINES.items()},
        },
        indent=1,
    )
    + "\n"
)
