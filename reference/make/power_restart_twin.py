"""Loads that come back on an empty battery: a second program, stepped in time.

Python 3.11, no library. Run with no arguments to write reference/power/python-restart-twin.json. Running it again gives the same bytes.

Written from the rules of docs/method/energy-year.md ("A load that comes back"), not from the Rust. Steps of STEP_S: the voltage at the terminals from the content at the beginning of the step, by the quadratic; the switch looks at that voltage, and
at how long it has been too low or high enough; then the content moves. Nothing is solved for.
"""

import hashlib
import json
import math
import pathlib
import random

STEP_S = 0.02
LFP = [[0.0, 10.0], [0.05, 12.0], [0.1, 12.6], [0.2, 12.9], [0.9, 13.3], [1.0, 13.8]]
LEAD = [[0.0, 11.4], [1.0, 12.9]]


def open_v(points, share):
    for (x, u), (y, v) in zip(points, points[1:]):
        if share <= y:
            return u + (v - u) * (share - x) / (y - x)
    return points[-1][1]


def follow(c):
    content, on, since, due = c["content_wh"], False, 0.0, None
    spells, taken, given = [], 0.0, 0.0
    now, lights, until = 0.0, list(c["light"]), 0.0
    light_w = 0.0
    steps = round(sum(s for s, _ in lights) / STEP_S)
    for k in range(steps):
        now = k * STEP_S
        while lights and now >= until - 1e-9:
            lasting, light_w = lights.pop(0)
            until += lasting
        # The switch may act several times in one instant; twice there and back is without end.
        for _ in range(4):
            load = 0.0
            if on:
                load, at = c["running_w"], since
                for lasting, watts in c["boot"]:
                    at += lasting
                    if now < at - 1e-9:
                        load = watts
                        break
            net = max(load + c["standing_w"] - light_w, -c["most_charge_w"])
            v0 = open_v(c["open"], content / c["capacity_wh"])
            inside = v0 * v0 - 4 * c["resistance_ohm"] * net
            volts = (v0 + math.sqrt(inside)) / 2 if inside >= 0 else None
            if on:
                dead = volts is None or (content <= 0 and net > 0)
                low = dead or volts < c["off_v"]
                due = (now if due is None else due) if low else None
                act = dead or (low and now - due >= c["off_after_s"] - 1e-9)
            else:
                high = volts is not None and volts >= c["on_v"]
                due = (now if due is None else due) if high else None
                act = high and now - due >= c["on_after_s"] - 1e-9
            if not act:
                break
            due = None
            if on:
                spells[-1][1] = now
                on = False
            else:
                spells.append([now, None, 0.0])
                on, since = True, now
        hours = STEP_S / 3600
        if net > 0:
            part = min(net * hours, content)
            content -= part
            given += part
        else:
            part = min(-net * hours * c["charge_efficiency"], c["capacity_wh"] - content)
            content += part
            taken += part / c["charge_efficiency"]
        if on:
            spells[-1][2] += load * hours
    return {"spells": spells, "content_wh": content, "taken_wh": taken, "given_wh": given}


def dawn(peak_w, hours):
    """Half an hour of dark, then light in steps of ten minutes that rises like a sine to `peak_w`."""
    steps = round(hours * 6)
    return [[1800.0, 0.0]] + [[600.0, round(peak_w * math.sin(math.pi / 2 * (k + 0.5) / steps), 3)] for k in range(steps)]


def cases():
    base = {
        "capacity_wh": 60.0, "open": LFP, "resistance_ohm": 0.06, "charge_efficiency": 0.95, "most_charge_w": 1000.0, "off_v": 11.5, "on_v": 12.4, "off_after_s": 0.0, "on_after_s": 30.0,
        "boot": [[25.0, 26.0]], "running_w": 3.8, "standing_w": 0.3, "content_wh": 2.4, "light": dawn(40.0, 3),
    }
    found = [
        ("holds at once", {}),
        ("a narrow gap and much resistance", {"on_v": 11.7, "resistance_ohm": 0.3}),
        ("the same with a switch that waits longer than the boot", {"on_v": 11.7, "resistance_ohm": 0.3, "off_after_s": 26.0}),
        ("a switch that waits for part of the boot", {"on_v": 11.7, "resistance_ohm": 0.3, "off_after_s": 5.0}),
        ("boots in turn", {"on_v": 11.7, "resistance_ohm": 0.3, "boot": [[25.0, 7.4], [25.0, 8.4], [25.0, 9.4], [25.0, 10.4]]}),
        ("a small battery that its boots run down", {"capacity_wh": 4.0, "content_wh": 0.15, "boot": [[120.0, 26.0]], "on_after_s": 10.0, "resistance_ohm": 0.02}),
        ("light below the load for long", {"light": dawn(8.0, 5), "running_w": 6.0, "capacity_wh": 20.0, "content_wh": 0.8}),
        ("no voltage under the boot", {"resistance_ohm": 1.6, "off_v": 5.5, "on_v": 10.6, "open": [[0.0, 6.0], [1.0, 13.0]], "content_wh": 5.0, "on_after_s": 60.0, "off_after_s": 40.0}),
        ("a charger that takes little", {"most_charge_w": 3.0, "on_v": 11.9, "resistance_ohm": 0.2}),
        ("lead", {"open": LEAD, "off_v": 11.5, "on_v": 12.0, "resistance_ohm": 0.15, "content_wh": 4.0, "capacity_wh": 50.0}),
    ]
    draws = random.Random(20261126)
    for n in range(10):
        off = round(draws.uniform(11.0, 11.8), 2)
        found.append((f"drawn {n}", {
            "off_v": off, "on_v": round(off + draws.uniform(0.1, 1.0), 2), "resistance_ohm": round(draws.uniform(0.01, 0.4), 3), "capacity_wh": round(draws.uniform(10, 200), 1),
            "off_after_s": draws.choice([0.0, 0.0, 2.0, 12.0]), "on_after_s": draws.choice([20.0, 60.0, 180.0]), "boot": [[float(draws.choice([10, 25, 60])), round(draws.uniform(8, 40), 1)]],
            "running_w": round(draws.uniform(1, 8), 2), "light": dawn(round(draws.uniform(10, 80), 1), 2),
        }))
    return [(name, {**base, **own}) for name, own in found]


def main():
    here = pathlib.Path(__file__)
    told = [{"name": name, **case, "told": follow(case)} for name, case in cases()]
    told = json.loads(json.dumps(told), parse_float=lambda x: float(f"{float(x):.9g}"))
    head = {
        "what": "Loads that come back on an empty battery at dawn: when each comes back and is taken off again, s; what it drew, Wh; what the cells hold at the end, took and gave, Wh",
        "source": "a second program written from the rules of docs/method/energy-year.md, stepped in time",
        "script": "reference/make/power_restart_twin.py",
        "script_sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "instants within four steps and a thousandth of the time since the first, energies within 0.2 %: the steps",
    }
    out = here.parents[1] / "power" / "python-restart-twin.json"
    out.write_text(json.dumps({"provenance": head, "step_s": STEP_S, "cases": told}, indent=1) + "\n")


if __name__ == "__main__":
    main()
