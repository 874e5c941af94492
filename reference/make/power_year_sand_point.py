"""A real year: Sand Point, Alaska, 55.3 deg north, through panels and battery, and what the weather models need of it.

Needs pvlib 0.16.1, numpy 2.4.6, pandas 3.1.1. Reads the typical year 703165TY.csv that pvlib carries (SHA-256 below), writes
reference/power/pvlib-year-sand-point.json. The battery is a loop of its own over the rules of docs/method/energy-year.md, in their simplest
case: all of the capacity can be drawn, no limit on charging.
"""

import hashlib
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

HERE = Path(__file__).resolve()
FILE = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
SHA256 = "f0333a68a116f5ae92f1285a2ab8784d8e00e52a367445658ac88d72d93d8ca4"
assert hashlib.sha256(FILE.read_bytes()).hexdigest() == SHA256

weather, station = pvlib.iotools.read_tmy3(FILE, coerce_year=1990, map_variables=True)
# Labels are ends of hours.
middle = weather.index - pd.Timedelta("30min")
sun = pvlib.solarposition.get_solarposition(middle, station["latitude"], station["longitude"])
zenith = sun["apparent_zenith"].to_numpy()
normal = pvlib.irradiance.get_extra_radiation(middle, method="spencer").to_numpy()
ghi, dhi, air, wind = (weather[name].to_numpy(float) for name in ("ghi", "dhi", "temp_air", "wind_speed"))
beam = np.where(zenith >= 90, 0.0, weather["dni"].to_numpy(float))
month = middle.month.to_numpy() - 1
TILT, ALBEDO = 60.0, 0.06
tilt = np.radians(TILT)


def plane_of(kind):
    if kind == "south":
        aoi = pvlib.irradiance.aoi(TILT, 180.0, zenith, sun["azimuth"].to_numpy())
        iam = pvlib.iam.ashrae(aoi, b=0.05)
        sky = pvlib.irradiance.haydavies(TILT, 180.0, dhi, beam, normal, zenith, sun["azimuth"].to_numpy())
        return beam * np.maximum(np.cos(np.radians(aoi)), 0) * iam + sky + ghi * ALBEDO * (1 - np.cos(tilt)) / 2
    # Mean over 3600 headings.
    cos_mean = np.zeros(len(zenith))
    for heading in np.arange(0.05, 360, 0.1):
        cos_mean += np.maximum(np.cos(np.radians(pvlib.irradiance.aoi(TILT, heading, zenith, sun["azimuth"].to_numpy()))), 0)
    return beam * cos_mean / 3600 + dhi * (1 + np.cos(tilt)) / 2 + ghi * ALBEDO * (1 - np.cos(tilt)) / 2


def per_watt(plane):
    cell = pvlib.temperature.faiman(plane, air, wind)
    return plane / 1000 * (1 - 0.004 * (cell - 25)) * 0.85


def battery(gain, capacity, stored, on):
    charge, off, gone, spilled = np.empty(8760), 0, 0.0, 0.0
    first = None
    for hour in range(8760):
        share = stored / capacity
        if on and share <= 0.2:
            on = False
        elif not on and share >= 0.4:
            on = True
        if not on:
            off += 1
            gone += 6.0
            first = hour if first is None else first
        net = gain[hour] - (6.0 if on else 0.0) - 0.3
        begin = stored
        stored += net * 0.92 if net >= 0 else net / 0.96
        stored -= (1 - 0.97 ** (1 / 730)) * begin
        spilled += max(stored - capacity, 0) / 0.92
        stored = min(max(stored, 0.0), capacity)
        charge[hour] = stored / capacity
    return {
        "lowest_charge": float(charge.min()), "lowest_charge_hour": int(charge.argmin()), "mean_charge": float(charge.mean()),
        "hours_off": off, "unserved_wh": gone, "first_hour_off": first, "spilled_kwh": spilled / 1000,
        "lowest_charge_by_month": [float(charge[month == m].min()) for m in range(12)],
    }, stored, on


cases = []
planes = {kind: plane_of(kind) for kind in ("south", "yaw")}
for name, kind, peak, capacity in (("E1", "south", 150, 3000), ("E2", "yaw", 200, 3000), ("E3", "yaw", 320, 6000)):
    gain = peak * per_watt(planes[kind])
    from_full, stored, on = battery(gain, capacity, float(capacity), True)
    from_full["end_charge"] = stored / capacity
    for runs in range(2, 60):
        before, before_on = stored, on
        repeating, stored, on = battery(gain, capacity, stored, on)
        if abs(stored - before) <= 1e-9 * capacity and on == before_on:
            break
    else:
        raise RuntimeError("does not repeat")
    cases.append({
        "name": name, "plane": kind, "peak_power_w": peak, "capacity_wh": capacity,
        "plane_kwh_m2": float(planes[kind].sum() / 1000), "panels_kwh": float(gain.sum() / 1000),
        "panels_kwh_by_month": [float(gain[month == m].sum() / 1000) for m in range(12)],
        "from_full": from_full, "repeating": repeating,
    })

# Monthly clearness against the sun's path in steps of 5 min, and the day-to-day behaviour of the daily one.
fine = pd.date_range("1990-01-01 00:02:30", periods=365 * 288, freq="5min", tz="Etc/GMT+9")
true_zenith = pvlib.solarposition.get_solarposition(fine, station["latitude"], station["longitude"])["zenith"].to_numpy()
outside = pvlib.irradiance.get_extra_radiation(fine, method="spencer").to_numpy() * np.maximum(np.cos(np.radians(true_zenith)), 0)
outside = outside.reshape(365, 288).sum(axis=1) / 12
daily = ghi.reshape(365, 24).sum(axis=1)
day_month = month.reshape(365, 24)[:, 0]
clearness = [float(daily[day_month == m].sum() / outside[day_month == m].sum()) for m in range(12)]
k = daily / outside
about = k - np.array([k[day_month == m].mean() for m in range(12)])[day_month]

(HERE.parents[1] / "power" / "pvlib-year-sand-point.json").write_text(json.dumps({
    "provenance": {
        "what": "the typical year 703165TY (Sand Point, Alaska) on two planes of 60 deg tilt, through three systems of panels and battery, from a full start on 1 January "
                "and repeating; its sums, monthly means and daily clearness. Load 6 W, controller 0.3 W, off at 0.2, on at 0.4, efficiencies 0.92 and "
                "0.96, 3 % a month; -0.4 %/K, 15 % lost, Faiman; albedo 0.06. E1: south, Hay-Davies, ASHRAE 0.05 on the beam; yaw: isotropic",
        "source": "pvlib 0.16.1 (read_tmy3, spa_python, spencer 1366.1 W/m2, haydavies, iam.ashrae, faiman), numpy 2.4.6; file 703165TY.csv, National Renewable Energy "
                  "Laboratory, SHA-256 " + SHA256,
        "script": "reference/make/" + HERE.name,
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "irradiance and energy 1e-4 relative (heading in steps, sun's position), state of charge 1e-4, hours exact; the monthly clearness 1e-3: closed form of each day",
    },
    "global_kwh_m2": float(ghi.sum() / 1000), "beam_kwh_m2": float(weather["dni"].sum() / 1000), "diffuse_kwh_m2": float(dhi.sum() / 1000),
    "air_temperature_degc": [float(air[month == m].mean()) for m in range(12)],
    "wind_speed_m_s": [float(wind[month == m].mean()) for m in range(12)],
    "clearness": clearness,
    "daily_clearness_spread": float(k.std()), "daily_clearness_next_day": float((about[1:] * about[:-1]).mean() / (about**2).mean()),
    "daily_clearness_below_0_2": float((k < 0.2).mean()),
    "cases": cases,
}, indent=1) + "\n")
