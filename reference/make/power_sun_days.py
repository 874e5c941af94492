"""Sums over days and months: irradiation outside the atmosphere, clear days, the December of 60 deg north.

Needs pvlib 0.16.1, pandas 3.1.1, numpy 2.4.6. Writes power/pvlib-sun-days.json beside this folder.
"""

import hashlib
import json
import pathlib

import numpy as np
import pandas as pd
import pvlib
from pvlib import irradiance

assert pvlib.__version__ == "0.16.1" and np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "power" / "pvlib-sun-days.json"
ALBEDO, TURBIDITY = 0.06, 3.0
# 256 headings: at most 2e-5 from the mean over all
HEADINGS = (np.arange(256) + 0.5) * 360 / 256


def kept(value):
    return float(f"{float(value):.8g}")


def sky(times, latitude):
    sun = pvlib.solarposition.spa_python(times, latitude, 0.0, altitude=0, pressure=101325, temperature=12, delta_t=67.0)
    normal = irradiance.get_extra_radiation(times).to_numpy()
    zenith = sun["apparent_zenith"].to_numpy()
    clear = pvlib.clearsky.ineichen(zenith, pvlib.atmosphere.get_relative_airmass(zenith), TURBIDITY, dni_extra=normal)
    clear = {k: np.nan_to_num(np.asarray(v)) for k, v in clear.items()}
    return sun, zenith, clear


def tilted(sun, zenith, clear, tilt, facing, seen=True):
    cosine = np.mean([np.maximum(irradiance.aoi_projection(tilt, f, zenith, sun["azimuth"].to_numpy()), 0) for f in np.atleast_1d(facing)], axis=0)
    beam = np.where(seen, clear["dni"] * cosine, 0.0)
    return beam + irradiance.isotropic(tilt, clear["dhi"]) + irradiance.get_ground_diffuse(tilt, clear["ghi"], ALBEDO)


outside = []
for latitude in (10, 45, 62):
    times = pd.date_range("1990-01-01 00:02:30", "1990-12-31 23:57:30", freq="5min", tz="UTC")
    sun = pvlib.solarposition.spa_python(times, latitude, 0.0, pressure=101325, temperature=12, delta_t=67.0)
    power = irradiance.get_extra_radiation(times, solar_constant=1361.0).to_numpy() * np.maximum(np.cos(np.radians(sun["zenith"].to_numpy())), 0)
    months = [kept(power[times.month == m].sum() / 12 / 1000) for m in range(1, 13)]
    outside.append({"latitude_deg": latitude, "year": 1990, "solar_constant_w_m2": 1361.0, "months_kwh_m2": months})

days = []
for latitude in (10, 45, 62):
    for month in (3, 6, 12):
        times = pd.date_range(f"2023-{month:02}-21 00:30", periods=24, freq="h", tz="UTC")
        sun, zenith, clear = sky(times, latitude)
        haurwitz = pvlib.clearsky.haurwitz(sun["apparent_zenith"])["ghi"]
        days.append({"latitude_deg": latitude, "month": month, "global_wh_m2": kept(clear["ghi"].sum()), "haurwitz_wh_m2": kept(haurwitz.sum()),
                     "south_60_wh_m2": kept(tilted(sun, zenith, clear, 60, 180).sum()),
                     "yaw_60_wh_m2": kept(tilted(sun, zenith, clear, 60, HEADINGS).sum())})

times = pd.date_range("2023-12-01 00:05", "2023-12-31 23:55", freq="10min", tz="UTC")
sun, zenith, clear = sky(times, 60)
kwh = lambda power: kept(np.sum(power) / 6 / 1000)
december = {
    "latitude_deg": 60, "global_kwh_m2": kwh(clear["ghi"]), "haurwitz_kwh_m2": kwh(pvlib.clearsky.haurwitz(sun["apparent_zenith"])["ghi"]),
    "highest_elevation_deg": kept(90 - zenith.min()),
    "share_of_global_below_5_deg": kept(clear["ghi"][zenith > 85].sum() / clear["ghi"].sum()),
    "planes": [{
        "tilt_deg": tilt,
        "yaw_kwh_m2": kwh(tilted(sun, zenith, clear, tilt, HEADINGS)),
        "south_kwh_m2": kwh(tilted(sun, zenith, clear, tilt, 180)),
        "north_kwh_m2": kwh(tilted(sun, zenith, clear, tilt, 0)),
        "yaw_beam_above_5_deg_kwh_m2": kwh(tilted(sun, zenith, clear, tilt, HEADINGS, zenith <= 85)),
    } for tilt in (30, 60, 90)],
}

OUT.write_text(json.dumps({
    "provenance": {
        "what": "months of irradiation outside the atmosphere (5 min), clear days sampled at hh:30 UTC, December 2023 at 60 N (10 min); longitude 0, "
                "12 degC, sea level, Linke turbidity 3, albedo 0.06, isotropic sky",
        "source": "pvlib 0.16.1 (spa_python, spencer, ineichen, haurwitz, isotropic), numpy 2.4.6 for the sums",
        "script": "reference/make/" + HERE.name,
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "1e-6 relative on the sums; 2e-5 where the yaw is averaged; outside the atmosphere 0.1 %: closed form of each day against the sun's path",
    },
    "outside": outside, "days": days, "december": december,
}, indent=1) + "\n")
