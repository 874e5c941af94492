"""One recipe for a real year in all its columns, and what each wrong or other choice in it costs.

Needs pvlib 0.16.1, numpy 2.4.6, pandas 3.1.1. Reads the typical year 703165TY.csv that pvlib carries (SHA-256 below), writes
reference/power/pvlib-year-recipe.json. The leak is 0.03/730 of the content each hour, the plane is kept in its three parts, and the battery
is a loop of its own.
"""

import hashlib
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from pvlib import irradiance

HERE = Path(__file__).resolve()
FILE = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
SHA256 = "f0333a68a116f5ae92f1285a2ab8784d8e00e52a367445658ac88d72d93d8ca4"
assert hashlib.sha256(FILE.read_bytes()).hexdigest() == SHA256

weather, station = pvlib.iotools.read_tmy3(FILE, coerce_year=1990, map_variables=True)
GHI, DNI, DHI, AIR, WIND = (weather[name].to_numpy(float) for name in ("ghi", "dni", "dhi", "temp_air", "wind_speed"))
TILT, ALBEDO, HOURS = 60.0, 0.06, 8760
MONTH = (weather.index - pd.Timedelta("30min")).month.to_numpy() - 1


class Sun:
    """The sun at the label of each hour less so many minutes."""

    def __init__(self, before_label_min):
        at = weather.index - pd.Timedelta(minutes=before_label_min)
        seen = pvlib.solarposition.get_solarposition(at, station["latitude"], station["longitude"])
        self.zenith, self.azimuth = seen["apparent_zenith"].to_numpy(), seen["azimuth"].to_numpy()
        self.normal = irradiance.get_extra_radiation(at, method="spencer").to_numpy()
        self.up = self.zenith < 90

    def cosine(self, facing):
        return np.maximum(irradiance.aoi_projection(TILT, facing, self.zenith, self.azimuth), 0)

    def yaw(self):
        return np.mean([self.cosine(facing) for facing in np.arange(0.05, 360, 0.1)], axis=0)


def parts(sun, cosine, hay_davies, modifier=1.0, beam=None):
    """Beam, sky and ground on the plane, W/m2."""
    beam = np.where(sun.up, DNI, 0.0) if beam is None else beam
    even = (1 + np.cos(np.radians(TILT))) / 2
    if hay_davies:
        share = beam / sun.normal
        around = cosine / np.maximum(np.cos(np.radians(sun.zenith)), 0.01745)
        sky = DHI * (share * around + (1 - share) * even)
    else:
        sky = DHI * even
    return beam * cosine * modifier, sky, GHI * ALBEDO * (1 - even)


def south(sun, hay_davies=True, iam=True, beam=None):
    aoi = irradiance.aoi(TILT, 180.0, sun.zenith, sun.azimuth)
    return parts(sun, sun.cosine(180.0), hay_davies, pvlib.iam.ashrae(aoi, b=0.05) if iam else 1.0, beam)


def per_watt(plane, derate=0.85):
    cell = pvlib.temperature.faiman(plane, AIR, WIND)
    return plane / 1000 * (1 - 0.004 * (cell - 25)) * derate


def battery(gain, capacity, stored, on=True, into=0.92, out=0.96):
    charge, powered, short, spilled, switched = np.empty(HOURS), np.empty(HOURS, bool), 0.0, 0.0, 0
    for hour in range(HOURS):
        share = stored / capacity
        if on and share <= 0.2:
            on, switched = False, switched + 1
        elif not on and share >= 0.4:
            on, switched = True, switched + 1
        powered[hour] = on
        net = gain[hour] - (6.0 if on else 0.0) - 0.3
        begin = stored
        stored += net * into if net >= 0 else net / out
        stored -= 0.03 / 730 * begin
        spilled += max(stored - capacity, 0.0) / into
        stored = min(max(stored, 0.0), capacity)
        charge[hour] = stored / capacity
    off = np.flatnonzero(~powered)
    return {
        "lowest_charge": float(charge.min()), "lowest_charge_hour": int(charge.argmin()), "mean_charge": float(charge.mean()), "end_charge": stored / capacity,
        "hours_off": len(off), "first_hour_off": int(off[0]) if len(off) else None, "switchings": switched, "hours_below_cut": int((charge < 0.2).sum()),
        "served_kwh": 0.006 * int(powered.sum()), "unserved_wh": 6.0 * len(off), "spilled_kwh": spilled / 1000,
        "lowest_charge_by_month": [float(charge[MONTH == m].min()) for m in range(12)],
    }, stored, on


def repeating(gain, capacity, stored, on):
    for _ in range(60):
        before, was = stored, on
        told, stored, on = battery(gain, capacity, stored, on)
        if abs(stored - before) <= 1e-9 * capacity and on == was:
            return told
    raise RuntimeError("does not repeat")


middle = Sun(30)
turning = middle.yaw()
planes = {"south": south(middle), "yaw": parts(middle, turning, False)}
cases = []
for name, kind, peak, capacity in (("E1", "south", 150, 3000), ("E2", "yaw", 200, 3000), ("E3", "yaw", 320, 6000)):
    beam, sky, ground = planes[kind]
    plane = beam + sky + ground
    gain = peak * per_watt(plane)
    from_full, stored, on = battery(gain, capacity, float(capacity))
    cases.append({
        "name": name, "plane": kind, "peak_power_w": peak, "capacity_wh": capacity,
        "plane_kwh_m2": plane.sum() / 1000, "beam_kwh_m2": beam.sum() / 1000, "sky_kwh_m2": sky.sum() / 1000, "ground_kwh_m2": ground.sum() / 1000,
        "plane_kwh_m2_by_month": [plane[MONTH == m].sum() / 1000 for m in range(12)], "panels_kwh": gain.sum() / 1000,
        "panels_kwh_by_month": [gain[MONTH == m].sum() / 1000 for m in range(12)], "from_full": from_full,
        "repeating": repeating(gain, capacity, stored, on),
    })


def kwh(planes):
    return float(sum(part.sum() for part in planes) / 1000)


def hours_off(factor=1.0, capacity=3000.0, into=0.92, out=0.96):
    gain = 200 * factor * per_watt(sum(planes["yaw"]))
    return battery(gain, capacity, capacity, into=into, out=out)[0]["hours_off"]


other = {
    "south_isotropic_kwh_m2": kwh(south(middle, hay_davies=False)),
    "south_without_modifier_kwh_m2": kwh(south(middle, iam=False)),
    "south_sun_at_label_kwh_m2": kwh(south(Sun(0))),
    "south_sun_an_hour_before_label_kwh_m2": kwh(south(Sun(60))),
    "yaw_hay_davies_kwh_m2": kwh(parts(middle, turning, True)),
    "south_beam_of_a_sun_that_is_down_kwh_m2": kwh(south(middle, beam=DNI)),
    "yaw_beam_of_a_sun_that_is_down_kwh_m2": kwh(parts(middle, turning, False, beam=DNI)),
    "hours_off_of_e2": {
        "panels_1_percent_less": hours_off(0.99), "panels_1_percent_more": hours_off(1.01), "charging_1_percent_less": hours_off(into=0.92 * 0.99),
        "charging_1_percent_more": hours_off(into=0.92 * 1.01), "drawing_1_percent_less": hours_off(out=0.96 * 0.99),
        "drawing_1_percent_more": hours_off(out=0.96 * 1.01), "both_1_percent_less": hours_off(into=0.92 * 0.99, out=0.96 * 0.99),
        "both_1_percent_more": hours_off(into=0.92 * 1.01, out=0.96 * 1.01), "3100_wh": hours_off(capacity=3100.0),
    },
}

# Daily clearness: global energy over that along the sun's path in steps of five minutes.
fine = pd.date_range("1990-01-01 00:02:30", periods=365 * 288, freq="5min", tz="Etc/GMT+9")
true_zenith = pvlib.solarposition.get_solarposition(fine, station["latitude"], station["longitude"])["zenith"].to_numpy()
outside = irradiance.get_extra_radiation(fine, method="spencer").to_numpy() * np.maximum(np.cos(np.radians(true_zenith)), 0)
k = GHI.reshape(365, 24).sum(axis=1) / (outside.reshape(365, 288).sum(axis=1) / 12)
day_month = MONTH.reshape(365, 24)[:, 0]
about = k - np.array([k[day_month == m].mean() for m in range(12)])[day_month]
daily = {
    "mean": k.mean(), "spread": k.std(), "spread_about_months": about.std(), "next_day_about_months": (about[1:] * about[:-1]).mean() / (about**2).mean(),
    "days_below_0_2": int((k < 0.2).sum()),
}


def ten(value):
    if isinstance(value, dict):
        return {key: ten(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [ten(entry) for entry in value]
    return float(f"{value:.10g}") if isinstance(value, float) else value


(HERE.parents[1] / "power" / "pvlib-year-recipe.json").write_text(json.dumps({
    "provenance": {
        "what": "the typical year 703165TY (Sand Point, Alaska) on planes of 60 deg tilt, in their parts, through three systems of panels and battery; and the sums with "
                "another choice or a wrong one; the daily clearness of its days. Load 6 W, controller 0.3 W, off at 0.2, on at 0.4, efficiencies 0.92 and 0.96, 0.03/730 of the content an hour; "
                "-0.4 %/K, 15 % lost, Faiman; albedo 0.06. E1: south, Hay-Davies, ASHRAE 0.05 on the beam; yaw: isotropic",
        "source": "pvlib 0.16.1 (read_tmy3, spa_python, spencer 1366.1 W/m2, aoi, iam.ashrae, faiman), numpy 2.4.6; file 703165TY.csv, National Renewable Energy "
                  "Laboratory, SHA-256 " + SHA256,
        "script": "reference/make/" + HERE.name,
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "irradiance and energy 1e-4 relative (heading in steps, sun's position), state of charge 1e-4, hours exact",
    },
    "cases": ten(cases), "other": ten(other), "daily_clearness": ten({name: float(x) for name, x in daily.items()}),
}, indent=1) + "\n")
