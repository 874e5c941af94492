"""Ladders of power/scipy-inrush.json once more, by a general circuit simulator.

Needs ngspice 39 on the path (Debian package ngspice 39.3). Writes power/ngspice-inrush.json beside this folder.
A lock-out is a switch with hysteresis that gates a constant-power source; a limited supply is the smaller of two currents.
"""

import hashlib
import json
import pathlib
import re
import subprocess
import tempfile

import numpy as np

HERE = pathlib.Path(__file__).resolve()
POWER = HERE.parent.parent / "power"
STEP_S = 2e-6


def deck(case, until_s, data):
    """Cards of a ladder fed at node 0: its first span and the source are one source of current into node 1."""
    (_, first, ohm), *spans = case["spans"]
    source = case["source"]
    volt, limit = source["voltage_v"], source["current_limit_a"]
    free = f"({volt}-v(n{first}))/{ohm!r}"
    cards = [f"b0 0 n{first} i={free if limit is None else f'min({limit},{free})'}"]
    cards += [f"r{i} n{a} n{b} {x!r}" for i, (a, b, x) in enumerate(spans)]
    cards += [f"c{i} n{node} 0 {farad!r} ic=0" for i, (node, farad) in enumerate(case["capacitors"])]
    signals = [f"v(n{node})" for node, _ in case["capacitors"]]
    for i, m in enumerate(case["modules"]):
        at = f"v(n{m['node']})"
        if m["minimum_v"]:
            watt, low = m["running_power_w"], m["minimum_v"]
            cards.append(f"bm{i} n{m['node']} 0 i={at}<{low} ? {at}*{watt / low**2!r} : {watt}/max({at},{low})")
            continue
        middle, half = (m["on_v"] + m["off_v"]) / 2, (m["on_v"] - m["off_v"]) / 2
        cards += [
            f"ve{i} e{i} 0 1", f"sw{i} e{i} g{i} n{m['node']} 0 lock{i}", f"rg{i} g{i} 0 1k",
            f".model lock{i} sw vt={middle} vh={half} ron=1e-3 roff=1e12",
            f"bm{i} n{m['node']} 0 i=v(g{i})>0.5 ? {m['running_power_w']}/max({at},1) : 0",
        ]
        signals.append(f"v(g{i})")
    cards += [
        ".options reltol=1e-8 abstol=1e-12 vntol=1e-10 chgtol=1e-18 method=trap",
        ".control", "set numdgt=14", "set wr_singlescale", f"tran {STEP_S} {until_s} 0 {STEP_S} uic",
        f"wrdata {data} {' '.join(signals)}", ".endc", ".end",
    ]
    return "\n".join(["* start", *cards]) + "\n"


def crossing(time, value, level):
    """First time at which the signal rises through the level, by the straight line between samples."""
    i = int(np.flatnonzero(value >= level)[0])
    return time[i - 1] + (time[i] - time[i - 1]) * (level - value[i - 1]) / (value[i] - value[i - 1])


def simulate(case, until_s):
    with tempfile.TemporaryDirectory() as folder:
        data = pathlib.Path(folder) / "out.txt"
        text = deck(case, until_s, data)
        done = subprocess.run(["ngspice", "-b"], input=text, capture_output=True, text=True)
        if not data.exists():
            raise SystemExit(done.stdout + done.stderr)
        table = np.loadtxt(data)
    time = table[:, 0]
    nodes = [node for node, _ in case["capacitors"]]
    voltages = {node: table[:, 1 + i] for i, node in enumerate(nodes)}
    source = case["source"]
    amp = (source["voltage_v"] - voltages[1]) / case["spans"][0][2]
    limit = source["current_limit_a"]
    result = {"end_v": {str(node): g(v[-1]) for node, v in voltages.items()}}
    mark = 0.9 * source["voltage_v"]
    result["reached_s"] = {str(n): g(crossing(time, v, mark)) for n, v in voltages.items() if v.max() >= mark}
    if limit is not None and amp.min() < limit:
        result["left_limit_s"] = g(crossing(time, -amp, -limit))
    result["switchings"] = []
    gated = [i for i, m in enumerate(case["modules"]) if not m["minimum_v"]]
    for column, i in enumerate(gated):
        on = table[:, 1 + len(nodes) + column] > 0.5
        for k in np.flatnonzero(on[1:] != on[:-1]):
            result["switchings"].append(["on" if on[k + 1] else "off", i, g(time[k + 1])])
    result["switchings"].sort(key=lambda x: x[2])
    return result


def g(x):
    return float(f"{x:.7g}")


cases = json.loads((POWER / "scipy-inrush.json").read_text())["cases"]
# boots and networks with a source resistance are left to SciPy
chosen = [name for name in cases if not name.startswith(("N2", "booting"))]
result = {name: simulate(cases[name], cases[name]["until_s"]) for name in chosen}
version = re.search(r"ngspice-(\d+)", subprocess.run(["ngspice", "--version"], capture_output=True, text=True).stdout)
(POWER / "ngspice-inrush.json").write_text(
    json.dumps(
        {
            "provenance": {
                "what": "start-up of ladders: time to 90 % by node, leaving of the current limit, switchings (kind, "
                        "module, s), voltages at the end",
                "source": f"ngspice {version.group(1)}, transient analysis by the trapezoidal rule, steps of at most "
                          f"{STEP_S * 1e6:.0f} us",
                "script": "reference/make/" + HERE.name,
                "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "tolerance": "10 us of time in cases with switchings, 1e-5 relative in those without; 1e-4 V: "
                             "switchings fall on its steps",
            },
            "cases": result,
        },
        indent=1,
    )
    + "\n"
)
