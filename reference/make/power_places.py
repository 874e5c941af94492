"""Voltages of a line with one more module at each of its places, by a circuit simulator.

Needs ngspice 39 on the path (Debian package ngspice 39.3). Writes power/ngspice-places.json beside this folder.
A string base - near - far on a stiff 48 V supply: each cable a resistor of go and return, each module a load of constant power, drawn by a source whose
current is power over voltage from 5 V up and that is a resistor of the same power below, so that nothing is divided by zero at the start.
The added module hangs beside a module on a stub, or in the middle of a cable of which both halves keep all mated contacts.
"""

import hashlib
import json
import pathlib
import re
import subprocess

HERE = pathlib.Path(__file__).resolve()
POWER = HERE.parent.parent / "power"
KNEE_V = 5.0
SUPPLY_V, SUPPLY_OHM = 48.0, 0.4
# Class 5 copper of 1.0 mm2 at 20 degC, IEC 60228, table 3: 19.5 ohm/km.
LOOP_OHM_PER_M = 2 * 19.5e-3
CONTACTS_OHM = 4 * 0.08
LENGTHS_M = {"upper": 120.0, "lower": 80.0}
STUB_M = 2.0
LOADS_W = {"near": 6.0, "far": 9.0}
ADDED_W = 5.0


def cable(length_m):
    return LOOP_OHM_PER_M * length_m + CONTACTS_OHM


def solve(spans, loads):
    """Spans (name, name, ohm) and loads by name: the voltage of each."""
    cards = [f"v0 e0 0 {SUPPLY_V}", f"rs0 e0 base {SUPPLY_OHM}"]
    cards += [f"r{i} {a} {b} {ohm!r}" for i, (a, b, ohm) in enumerate(spans)]
    for i, (name, watt) in enumerate(sorted(loads.items())):
        at = f"v({name})"
        cards.append(f"b{i} {name} 0 i={at}<{KNEE_V} ? {at}*{watt / KNEE_V**2!r} : {watt!r}/{at}")
        # The operating point is looked for from the supply's voltage downwards.
        cards.append(f".nodeset {at}={SUPPLY_V}")
    deck = ["* places", *cards, ".options reltol=1e-12 abstol=1e-15 vntol=1e-13 gmin=1e-18 itl1=500"]
    deck += [".control", "set numdgt=12", "op", *[f"print v({n})" for n in sorted(loads)], ".endc", ".end"]
    done = subprocess.run(["ngspice", "-b"], input="\n".join(deck) + "\n", capture_output=True, text=True)
    found = dict(re.findall(r"v\((\w+)\) = (\S+)", done.stdout.lower()))
    assert sorted(found) == sorted(loads), done.stdout + done.stderr
    return {f"module.{name}": float(f"{float(volt):.10g}") for name, volt in sorted(found.items())}


whole = {name: ("base" if name == "upper" else "near", "near" if name == "upper" else "far", cable(m)) for name, m in LENGTHS_M.items()}
places = {}
for module in ("base", "near", "far"):
    spans = [*whole.values(), (module, "added", cable(STUB_M))]
    places[f"module.{module}"] = solve(spans, {**LOADS_W, "added": ADDED_W})
for name, (a, b, _) in whole.items():
    half = cable(LENGTHS_M[name] / 2)
    spans = [span for other, span in whole.items() if other != name] + [(a, "added", half), ("added", b, half)]
    places[f"span.{name}"] = solve(spans, {**LOADS_W, "added": ADDED_W})

version = re.search(r"ngspice-(\d+)", subprocess.run(["ngspice", "--version"], capture_output=True, text=True).stdout)
out = {
    "provenance": {
        "what": "voltages, V, of a string of two loads of constant power with a third beside each module and in the middle of each cable",
        "source": f"ngspice {version[1]}, operating point",
        "script": "reference/make/power_places.py",
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "1e-6 V: both solve the same equations; lengths are written to the micrometre",
    },
    "supply": {"voltage_v": SUPPLY_V, "resistance_ohm": SUPPLY_OHM},
    "lengths_m": LENGTHS_M,
    "stub_m": STUB_M,
    "loads_w": LOADS_W,
    "added_w": ADDED_W,
    "without": solve(list(whole.values()), LOADS_W),
    "places": places,
}
(POWER / "ngspice-places.json").write_text(json.dumps(out, indent=1) + "\n")
