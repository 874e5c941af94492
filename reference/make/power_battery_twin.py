"""A second battery, written from the rules of docs/method/energy-year.md and from nothing else, through invented years.

Needs numpy 2.4.6 (sums only). Writes reference/power/numpy-battery-twin.json: five systems that meet cold, blocked charging, a
falling charging power, a battery that runs out, primary cells and a year that repeats itself. Yields and loads are whole
numbers of a linear congruential generator over powers of ten, made again by the check.
"""

import hashlib
import json
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
HOURS = 8760
DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MONTH = [m for m, days in enumerate(DAYS) for _ in range(24 * days)]
# Thousandths of a Wh per watt at the most, by month.
SEASON = (120, 220, 400, 600, 750, 800, 780, 650, 480, 300, 160, 100)


def years(seed):
    state = seed

    def draw(below):
        nonlocal state
        state = (state * 6364136223846793005 + 1442695040888963407) % 2**64
        return (state >> 33) % below

    yields, extra = [], []
    for hour in range(HOURS):
        yields.append(draw(SEASON[MONTH[hour]] + 1) / 1000 if 8 <= hour % 24 < 16 else 0.0)
        extra.append(draw(400) / 100)
    return yields, extra


def table(points, x):
    for (x0, y0), (x1, y1) in zip(points, points[1:]):
        if x0 <= x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    raise ValueError(x)


def run(case, yields, extra, start, stored, on):
    capacity = case["capacity_wh"] * (1 - case["yearly_loss"] * case["age_years"])
    base = sum(power * share for power, share in case["states"])
    names = ("gained", "charge_loss", "discharge_loss", "self_discharge", "clipped", "blocked", "delivered", "standby")
    book = {name: [] for name in names}
    off, unserved, asked_all, disconnections = 0, [], [], 0
    charge = np.empty(HOURS)
    lowest = [np.inf] * 12
    for turn in range(HOURS):
        hour = (start + turn) % HOURS
        degc = case["battery_degc"][MONTH[hour]]
        usable = table(case["usable"], degc)
        frozen = (1 - usable) * capacity
        soc = (stored - frozen) / (usable * capacity)
        off_at, on_at = case["cutoff"] or (-1.0, 0.0)
        if on and soc <= off_at:
            on = False
            disconnections += 1
        elif not on and soc >= on_at:
            on = True
        gain = yields[hour] * case["peak_power_w"]
        load = base + extra[hour]
        want = load if on else 0.0
        leak = stored * -np.expm1(np.log1p(-case["self_discharge_per_month"]) / 730)
        net = gain - want - case["standby_w"]
        flow = dict.fromkeys(names, 0.0)
        flow |= {"gained": gain, "self_discharge": leak, "delivered": want, "standby": case["standby_w"]}
        if net >= 0:
            charging = case["charging"]
            if charging is None:
                flow["clipped"] = net
                after = stored - leak
            elif not charging["lowest_degc"] <= degc <= charging["highest_degc"]:
                flow["blocked"] = net
                after = stored - leak
            else:
                most = np.inf
                if charging["limit"]:
                    rate, begin, left = charging["limit"]
                    most = rate * capacity
                    full = stored / capacity
                    if full > begin:
                        most *= 1 - (1 - left) * (full - begin) / (1 - begin)
                taken = min(net, most, (capacity - stored + leak) / charging["efficiency"])
                flow["clipped"] = net - taken
                flow["charge_loss"] = taken * (1 - charging["efficiency"])
                after = stored - leak + taken * charging["efficiency"]
        else:
            can = max(stored - leak - frozen, 0.0)
            taken = min(-net / case["discharge_efficiency"], can)
            flow["discharge_loss"] = taken * (1 - case["discharge_efficiency"])
            after = stored - leak - taken
            short = max(-net - taken * case["discharge_efficiency"], 0.0)
            if taken < can:
                short = 0.0
            cut = min(short, want)
            flow["delivered"] -= cut
            flow["standby"] -= short - cut
        missing = load - flow["delivered"]
        if not on or missing > 0:
            off += 1
        unserved.append(missing)
        asked_all.append(load)
        for name in names:
            book[name].append(flow[name])
        stored = after
        charge[hour] = max((stored - frozen) / (usable * capacity), 0.0)
        lowest[MONTH[hour]] = min(lowest[MONTH[hour]], charge[hour])
    in_order = np.roll(charge, -start)
    weeks = [in_order[24 * day:24 * day + 168].mean() for day in range(365 - 6)]
    if case["start"] == "repeating":
        twice = np.concatenate([in_order, in_order])
        weeks = [twice[24 * day:24 * day + 168].mean() for day in range(365)]
    return {
        "hours_off": off, "disconnections": disconnections, "asked_wh": float(np.sum(asked_all)), "unserved_wh": float(np.sum(unserved)),
        "lowest_charge": float(charge.min()), "mean_charge": float(charge.mean()), "lowest_charge_by_month": [float(low) for low in lowest],
        "worst_week_hour": int((start + 24 * np.argmin(weeks)) % HOURS),
        "ledger": {name: float(np.sum(values)) for name, values in book.items()},
    }, stored, on


COLD = [-4, -6, -2, 3, 8, 13, 17, 18, 14, 9, 3, -1]
COOL = [4, 3, 4, 6, 9, 12, 14, 15, 13, 10, 7, 5]
TABLE = [(-20.0, 0.5), (0.0, 0.8), (25.0, 1.0), (50.0, 1.0)]
CASES = [
    {"name": "lead, falling charging power", "seed": 1, "peak_power_w": 120.0, "capacity_wh": 2400.0, "age_years": 2.5, "yearly_loss": 0.04, "standby_w": 0.3,
     "states": [(4.0, 0.75), (9.0, 0.25)], "battery_degc": COOL, "usable": TABLE, "self_discharge_per_month": 0.03, "cutoff": (0.4, 0.55), "discharge_efficiency": 0.95,
     "charging": {"efficiency": 0.9, "lowest_degc": -20.0, "highest_degc": 50.0, "limit": (0.02, 0.6, 0.05)}, "start": (6000, 0.7)},
    {"name": "lithium, blocked in the frost", "seed": 2, "peak_power_w": 160.0, "capacity_wh": 2600.0, "age_years": 0.0, "yearly_loss": 0.0, "standby_w": 0.5,
     "states": [(5.0, 1.0)], "battery_degc": COLD, "usable": TABLE, "self_discharge_per_month": 0.05, "cutoff": (0.2, 0.3), "discharge_efficiency": 0.96,
     "charging": {"efficiency": 0.96, "lowest_degc": 0.0, "highest_degc": 45.0, "limit": (0.5, 0.95, 0.05)}, "start": (0, 1.0)},
    {"name": "runs out", "seed": 3, "peak_power_w": 60.0, "capacity_wh": 150.0, "age_years": 0.0, "yearly_loss": 0.0, "standby_w": 1.0,
     "states": [(3.0, 1.0)], "battery_degc": COLD, "usable": TABLE, "self_discharge_per_month": 0.03, "cutoff": (0.0, 0.1), "discharge_efficiency": 0.9,
     "charging": {"efficiency": 0.92, "lowest_degc": -20.0, "highest_degc": 45.0, "limit": None}, "start": (3000, 0.5)},
    {"name": "primary cells", "seed": 4, "peak_power_w": 10.0, "capacity_wh": 40000.0, "age_years": 1.0, "yearly_loss": 0.02, "standby_w": 0.0,
     "states": [(4.0, 1.0)], "battery_degc": COOL, "usable": TABLE, "self_discharge_per_month": 0.001, "cutoff": None, "discharge_efficiency": 1.0, "charging": None, "start": (2000, 1.0)},
    {"name": "lithium, repeating", "seed": 5, "peak_power_w": 110.0, "capacity_wh": 3000.0, "age_years": 1.0, "yearly_loss": 0.03, "standby_w": 0.5,
     "states": [(5.0, 1.0)], "battery_degc": COOL, "usable": TABLE, "self_discharge_per_month": 0.05, "cutoff": (0.2, 0.3), "discharge_efficiency": 0.96,
     "charging": {"efficiency": 0.96, "lowest_degc": 0.0, "highest_degc": 45.0, "limit": (0.5, 0.95, 0.05)}, "start": "repeating"},
]

for case in CASES:
    yields, extra = years(case["seed"])
    capacity = case["capacity_wh"] * (1 - case["yearly_loss"] * case["age_years"])
    if case["start"] == "repeating":
        stored, on = capacity, True
        for _ in range(60):
            before, before_on = stored, on
            case["expected"], stored, on = run(case, yields, extra, 0, stored, on)
            if abs(stored - before) <= 1e-9 * capacity and on == before_on:
                break
        else:
            raise RuntimeError("does not repeat")
    else:
        hour, charge = case["start"]
        usable = table(case["usable"], case["battery_degc"][MONTH[hour]])
        stored = (1 - usable) * capacity + charge * usable * capacity
        case["expected"], _, _ = run(case, yields, extra, hour, stored, True)

(HERE.parents[1] / "power" / "numpy-battery-twin.json").write_text(json.dumps({
    "provenance": {
        "what": "five invented systems through invented years of 8760 hours: outage, lowest and mean usable state of charge, worst week, where the energy went (Wh)",
        "source": "a second program written from the rules of docs/method/energy-year.md; numpy 2.4.6 for the sums",
        "script": "reference/make/" + HERE.name,
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "1e-9 relative: order of sums; counts exact",
    },
    "season_thousandths": SEASON, "cases": CASES,
}, indent=1) + "\n")
