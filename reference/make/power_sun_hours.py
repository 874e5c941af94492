"""An hourly year of four arrays, from global irradiance alone.

Needs pvlib 0.16.1, pandas 3.1.1, numpy 2.4.6. Writes power/pvlib-sun-hours.csv beside this folder. Every 11th hour of 1990 at an invented
site; the global irradiance is drawn with a fixed seed.
"""

import hashlib
import pathlib

import numpy as np
import pandas as pd
import pvlib
from pvlib import iam, irradiance

assert pvlib.__version__ == "0.16.1" and np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "power" / "pvlib-sun-hours.csv"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()
LATITUDE, LONGITUDE, ELEVATION, PRESSURE, TEMPERATURE, ALBEDO = 57.3, -6.0, 5.0, 101000.0, 9.0, 0.06
TURBIDITY = [2.4, 2.6, 2.9, 3.2, 3.4, 3.5, 3.5, 3.4, 3.1, 2.8, 2.5, 2.4]
HEADINGS = (np.arange(3600) + 0.5) / 10

times = pd.date_range("1990-01-01 00:30", periods=8760, freq="h", tz="Etc/GMT+1")[::11]
sun = pvlib.solarposition.spa_python(times, LATITUDE, LONGITUDE, altitude=ELEVATION, pressure=PRESSURE, temperature=TEMPERATURE, delta_t=67.0)
zenith, azimuth = sun["apparent_zenith"].to_numpy(), sun["azimuth"].to_numpy()
normal = irradiance.get_extra_radiation(times).to_numpy()
outside = normal * np.maximum(np.cos(np.radians(sun["zenith"].to_numpy())), 0)
air_mass = pvlib.atmosphere.get_absolute_airmass(pvlib.atmosphere.get_relative_airmass(zenith), PRESSURE)
clear = np.nan_to_num(pvlib.clearsky.ineichen(zenith, air_mass, np.array(TURBIDITY)[times.month - 1], altitude=ELEVATION, dni_extra=normal)["ghi"])
ghi = np.round(outside * np.random.default_rng(57).uniform(0.05, 0.8, len(times)), 2)
split = irradiance.erbs(ghi, zenith, times)
dni, dhi = split["dni"].to_numpy(), split["dhi"].to_numpy()
seen = zenith < 90
even = lambda tilt: irradiance.isotropic(tilt, dhi) + irradiance.get_ground_diffuse(tilt, ghi, ALBEDO)


def fixed_hay_davies(tilt, facing):
    aoi = irradiance.aoi(tilt, facing, zenith, azimuth)
    beam = np.where(seen, dni * np.maximum(np.cos(np.radians(aoi)), 0) * iam.ashrae(aoi, 0.05), 0)
    return beam + irradiance.haydavies(tilt, facing, dhi, dni, normal, zenith, azimuth) + irradiance.get_ground_diffuse(tilt, ghi, ALBEDO)


def two_faces():
    one = lambda facing: np.maximum(irradiance.aoi_projection(90, facing, zenith, azimuth), 0)
    return np.where(seen, dni * (one(90) + one(270)) / 2, 0) + even(90)


def yawing(tilt, modifier=None, hay_davies=False):
    cosine = np.maximum(irradiance.aoi_projection(tilt, HEADINGS[:, None], zenith[None, :], azimuth[None, :]), 0)
    through = cosine if modifier is None else cosine * modifier(np.degrees(np.arccos(np.minimum(cosine, 1))))
    beam = np.where(seen, dni * through.mean(axis=0), 0)
    if not hay_davies:
        return beam + even(tilt)
    sky = irradiance.haydavies(tilt, None, dhi, dni, normal, projection_ratio=cosine.mean(axis=0) / np.maximum(np.cos(np.radians(zenith)), 0.01745))
    return beam + sky + irradiance.get_ground_diffuse(tilt, ghi, ALBEDO)


columns = [outside, clear, ghi, dni, dhi, fixed_hay_davies(60, 180), two_faces(), yawing(60), yawing(45, iam.physical, True)]
rows = [[str(11 * k)] + [f"{column[k]:.8f}" for column in columns] for k in range(len(times)) if zenith[k] < 95]
OUT.write_text("\n".join([
    "# Every 11th hour of 1990 with the sun above -5 deg, 57.3 N, 6 W, UTC-1, 5 m, 101000 Pa, 9 degC, TT - UT 67 s, albedo 0.06; W/m2. Hour 0 begins at 00:00.",
    "# Linke turbidity by month: " + " ".join(map(str, TURBIDITY)) + ". The global irradiance is invented.",
    "# Planes: south 60 deg, Hay-Davies, ASHRAE 0.05 on the beam; upright faces east and west, isotropic; yawing 60 deg, isotropic; yawing 45 deg,",
    "# Hay-Davies, physical modifier on the beam. The yaw is averaged over 3600 headings.",
    "# source: pvlib 0.16.1: spa_python, spencer (1366.1 W/m2), ineichen, erbs, haydavies, isotropic, iam; numpy 2.4.6.",
    "# tolerance: 1e-5 W/m2: printed digits and positions of the sun that differ by 1e-7 deg; on the yawing planes 1e-4 W/m2: steps of the heading.",
    "# script: reference/make/" + HERE.name,
    "# script-sha256: " + SHA,
    "hour,extraterrestrial_w_m2,clear_global_w_m2,global_w_m2,beam_normal_w_m2,diffuse_w_m2,south_60_w_m2,east_west_90_w_m2,yaw_60_w_m2,yaw_45_w_m2",
] + [",".join(row) for row in rows]) + "\n")
