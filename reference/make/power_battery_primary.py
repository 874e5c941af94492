"""How long primary cells last under currents with pulses, self-discharge and cold months, by stepping the differential equation.

Needs scipy 1.17.1, numpy 2.4.6. Writes reference/power/scipy-battery-primary.json. The capacity by current is
numpy.interp over the logarithm of the current; the content over the capacity is integrated month by month with
scipy.integrate.solve_ivp, stopped by an event where it meets the share that the cold holds back.
"""

import hashlib
import json
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

HERE = Path(__file__).resolve()
# D cell of lithium thionyl chloride, bobbin, 25 degC: Linden's Handbook of Batteries, figure 14.17, page 14.30; A and Ah.
LINDEN = [(0.0002, 17.0), (0.001, 18.4), (0.002, 18.8), (0.004, 19.0), (0.020, 13.5), (0.035, 7.0)]
DAYS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
WARM = [25.0] * 12
COLD = [2.0, 1.0, 2.0, 4.0, 7.0, 10.0, 12.0, 13.0, 12.0, 9.0, 6.0, 3.0]
LITHIUM = [(-30.0, 0.60), (0.0, 0.85), (25.0, 1.0), (60.0, 1.0)]


def capacity_ah(table, current_a):
    currents, capacities = np.array(table).T
    assert current_a <= currents[-1]
    return float(np.interp(np.log(max(current_a, 1e-12)), np.log(currents), capacities))


def life(table, usable, lost, months, load, start_hour):
    rate = sum(share * current / capacity_ah(table, current) for current, share in load)
    leak = -np.log1p(-lost) / 730
    degc, shares = np.array(usable).T
    ends = np.cumsum([24 * days for days in DAYS])
    month = int(np.searchsorted(ends, start_hour, side="right"))
    content, hours, left = 1.0, 0.0, ends[month] - start_hour
    while hours < 100 * 8760:
        floor = 1 - float(np.interp(months[month], degc, shares))
        if content <= floor:
            return hours, month
        empty = lambda _, s: s[0] - floor
        empty.terminal = True
        run = solve_ivp(lambda _, s: [-rate - leak * s[0]], (0, float(left)), [content], method="DOP853", rtol=1e-12, atol=1e-14, events=empty)
        if run.t_events[0].size:
            return hours + float(run.t_events[0][0]), month
        content, hours, month = float(run.y[0, -1]), hours + float(left), (month + 1) % 12
        left = 24 * DAYS[month]
    return None, None


cases = []
for name, table, cells, usable, lost, months, load, start_hour in (
    ("one cell, 4 mA, warm, no loss", LINDEN, 1, LITHIUM, 0.0, WARM, [(0.004, 1.0)], 0),
    ("one cell, 1 mA, warm, 1 % a year", LINDEN, 1, LITHIUM, 0.01 / 12, WARM, [(0.001, 1.0)], 0),
    ("four in parallel, 1.5 mA with pulses of 100 mA, cold", LINDEN, 4, LITHIUM, 0.01 / 12, COLD, [(0.0015, 0.99), (0.1, 0.01)], 1800),
    ("twenty in parallel, 30 mA, 250 mA and 0.65 A, cold", LINDEN, 20, LITHIUM, 0.01 / 12, COLD, [(0.03, 0.7), (0.25, 0.25), (0.65, 0.05)], 6000),
    ("below the table, five per cent a month", LINDEN, 1, LITHIUM, 0.05, COLD, [(0.00005, 1.0)], 8759),
    ("empty at the turn into a cold month", LINDEN, 1, [(0.0, 0.3), (1.5, 0.3), (2.0, 0.95), (20.0, 1.0)], 0.001, COLD, [(0.0016, 1.0)], 900),
):
    scaled = [(cells * current, cells * capacity) for current, capacity in table]
    hours, month = life(scaled, usable, lost, months, load, start_hour)
    mean = sum(current * share for current, share in load)
    rate = sum(share * current / capacity_ah(scaled, current) for current, share in load)
    cases.append({
        "name": name, "capacity_by_current": scaled, "usable_by_temperature": usable, "self_discharge_per_month": lost,
        "temperature_degc": months, "load": load, "start_hour": start_hour,
        "hours": hours, "month": month, "mean_a": mean, "capacity_ah": mean / rate,
    })
readings = [[current, capacity_ah(LINDEN, current)] for current in (0.0001, 0.0002, 0.0005, 0.001, 0.0015, 0.003, 0.01, 0.03, 0.035)]
(HERE.parents[1] / "power" / "scipy-battery-primary.json").write_text("{\n" + ",\n".join(f' "{key}": ' + (json.dumps(value, indent=2) if key == "provenance" else json.dumps(value).replace("}, {", "},\n  {")) for key, value in {
    "provenance": {
        "what": "life of primary cells: capacity by current, A and Ah; usable share by temperature, degC; share lost in 730 h; months, degC; "
        "load as current, A, and share of the time; hour of the year of the start; hours until empty, its month from 0, mean current, A, and the capacity, Ah, "
        "that counts. readings: current, A, and capacity, Ah, of the first table",
        "source": "scipy 1.17.1 (integrate.solve_ivp DOP853 with events), numpy 2.4.6 (interp); the table: Linden's Handbook of Batteries, figure 14.17, page 14.30, "
        "read from a copy of the figure",
        "tolerance": "1e-8 relative: tolerances of the solver; readings 1e-12 relative",
        "script": f"reference/make/{HERE.name}",
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
    },
    "readings": readings,
    "cases": cases,
}.items()) + "\n}\n")
