"""The peer of crates/power/benches/year.rs: the same hourly years with NumPy, many years side by side.

Reads a JSON object from standard input: the site's hours and days, the system, and the daily clearness of some years. Works
those out and prints what came of them; then draws years of its own by the same law and times weather, panels and battery
together, for each of the batch sizes given. Beside ours it keeps no ledger, no months and no worst week.
Needs numpy 2.4.6 and scipy 1.17.1.
"""

import json
import sys
import time

import numpy as np
from scipy.special import ndtr

HOURS, DAYS = 8760, 365
given = json.load(sys.stdin)
site = {name: np.array(values) for name, values in given["site"].items()}
system = given["system"]
month = site["month_of_day"]
PERSISTENCE = given["persistence"]
TILT = np.radians(60.0)


def yaw_mean(zenith):
    a, c = np.cos(TILT) * np.cos(zenith), np.sin(TILT) * np.sin(zenith)
    p = np.arccos(np.clip(-a / c, -1, 1))
    return np.where(a >= c, a, (a * p + c * np.sin(p)) / np.pi)


zenith = np.radians(site["apparent_zenith_deg"])
beam_factor = np.where(site["hidden"], 0.0, yaw_mean(zenith))
beam_per = np.where(np.cos(zenith) < np.cos(np.radians(87.0)), 0.0, 1 / np.cos(zenith))
SKY, GROUND = (1 + np.cos(TILT)) / 2, system["albedo"] * (1 - np.cos(TILT)) / 2

gamma, highest = np.array(given["gamma"])[month], np.array(given["highest"])[month]
LOW = 0.05
bottom, top = np.exp(gamma * LOW), np.exp(gamma * highest)


def draw(count, rng):
    """Clearness, days by years."""
    fresh = rng.standard_normal((DAYS, count))
    x = fresh[0].copy()
    k = np.empty((DAYS, count))
    for day in range(DAYS):
        if day:
            x *= PERSISTENCE
            x += np.sqrt(1 - PERSISTENCE**2) * fresh[day]
        k[day] = np.log(bottom[day] + ndtr(x) * (top[day] - bottom[day])) / gamma[day]
    return k


def per_watt(k):
    """Energy of each hour in Wh per watt, hours by years."""
    ws = site["sunset_deg"][:, None]
    winter = np.where(k < 0.715, 1 + k * (-0.2727 + k * (2.4495 + k * (-11.9514 + k * 9.3879))), 0.143)
    summer = np.where(k < 0.722, 1 + k * (0.2832 + k * (-2.5557 + k * 0.8448)), 0.175)
    share = np.where(ws <= 81.4, winter, summer)
    day_sum = k * site["outside_wh_m2"][:, None]
    out = np.zeros((HOURS, k.shape[1]))
    for hour in np.flatnonzero(site["global_share"] > 0):
        day = hour // 24
        ghi = day_sum[day] * site["global_share"][hour]
        if beam_per[hour] == 0:
            plane = ghi * (SKY + GROUND)
        else:
            dhi = np.minimum(day_sum[day] * share[day] * site["diffuse_share"][hour], ghi)
            plane = (ghi - dhi) * (beam_per[hour] * beam_factor[hour]) + dhi * SKY + ghi * GROUND
        plane *= system["light_left"][month[day]]
        cell = system["air_degc"][month[day]] + plane / (25 + 6.84 * system["wind_m_s"][month[day]])
        out[hour] = (1 - system["loss"]) * plane / 1000 * (1 + system["coefficient"] * (cell - 25))
    return out


def battery(gain):
    """Hours off, unserved energy and lowest usable charge of each year, from a full battery at the start."""
    count = gain.shape[1]
    cap, load, standby = system["capacity_wh"], system["load_wh"], system["standby_wh"]
    kept_share = (1 - system["self_discharge"]) ** (1 / 730)
    inward, outward = system["charge_efficiency"], system["discharge_efficiency"]
    stored, on = np.full(count, cap), np.ones(count, bool)
    off, unserved, lowest = np.zeros(count, int), np.zeros(count), np.full(count, np.inf)
    for turn in range(HOURS):
        hour = (system["start"] + turn) % HOURS
        m = month[hour // 24]
        usable = system["usable"][m]
        floor = (1 - usable) * cap
        on = np.where(on, stored > floor + system["disconnect_at"] * usable * cap, stored >= floor + system["reconnect_at"] * usable * cap)
        asked = on * load
        kept = stored * kept_share
        net = gain[hour] * system["peak_w"] - asked - standby
        charging = net >= 0
        if system["chargeable"][m]:
            room = (cap - stored) * system["slope"]
            taken = np.minimum(np.minimum(net, system["at_full_wh"] + room), system["highest_wh"])
            filled = np.minimum(kept + taken * inward, cap)
        else:
            filled = kept
        have = np.maximum(kept - floor, 0)
        drawn = np.minimum(-net / outward, have)
        short = np.where(charging, 0, np.minimum((-net / outward - drawn) * outward, asked))
        stored = np.where(charging, filled, kept - drawn)
        missing = load - asked + short
        off += ~on | (missing > 0)
        unserved += missing
        lowest = np.minimum(lowest, (stored - floor) / (usable * cap))
    return off, unserved, lowest


off, unserved, lowest = battery(per_watt(np.array(given["clearness"]).T))
timed = {}
for size in given["batches"]:
    rng = np.random.default_rng(size)
    begin = time.perf_counter()
    battery(per_watt(draw(size, rng)))
    timed[str(size)] = (time.perf_counter() - begin) / (size * HOURS)
json.dump({"hours_off": off.tolist(), "unserved_wh": unserved.tolist(), "lowest_charge": lowest.tolist(), "seconds_an_hour": timed}, sys.stdout)
