"""Planes under the sun: transposition, incidence modifiers, cell temperature, means over yaw, rings, splits, horizons.

Needs pvlib 0.16.1, pandas 3.1.1, numpy 2.4.6. Writes power/pvlib-sun-planes.json beside this folder.

The means over yaw come from turning a panel in 7200 steps, the ring's extremes from turning it in 36000, the horizon's share of the sky
from an even sky cut into patches: no closed form is used.
"""

import hashlib
import json
import pathlib

import numpy as np
import pandas as pd
import pvlib
from pvlib import iam, irradiance, temperature

assert pvlib.__version__ == "0.16.1" and np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "power" / "pvlib-sun-planes.json"
ALBEDO, TURBIDITY = 0.06, 3.0


def kept(value):
    return float(f"{float(value):.10g}")


def sun(latitude, when):
    when = pd.DatetimeIndex([when], tz="UTC")
    position = pvlib.solarposition.spa_python(when, latitude, 0.0, altitude=0, pressure=101325, temperature=12, delta_t=67.0)
    zenith, azimuth = position["apparent_zenith"].iloc[0], position["azimuth"].iloc[0]
    normal = irradiance.get_extra_radiation(when).iloc[0]
    clear = pvlib.clearsky.ineichen(zenith, pvlib.atmosphere.get_relative_airmass(zenith), TURBIDITY, dni_extra=normal)
    return zenith, azimuth, normal, {k: float(v) for k, v in clear.items()}


def given(zenith, azimuth, normal, clear):
    return {"zenith_deg": kept(zenith), "sun_azimuth_deg": kept(azimuth), "normal_w_m2": kept(normal), "global_w_m2": kept(clear["ghi"]),
            "beam_normal_w_m2": kept(clear["dni"]), "diffuse_w_m2": kept(clear["dhi"])}


def planes(zenith, azimuth, normal, clear, tilt, facing):
    """Isotropic and Hay-Davies totals, W/m2; facing may be an array of azimuths, over which both are averaged."""
    cosine = np.maximum(irradiance.aoi_projection(tilt, facing, zenith, azimuth), 0)
    beam = clear["dni"] * cosine
    ground = irradiance.get_ground_diffuse(tilt, clear["ghi"], ALBEDO)
    sky = [irradiance.isotropic(tilt, clear["dhi"]),
           irradiance.haydavies(tilt, facing, clear["dhi"], clear["dni"], normal, solar_zenith=zenith, solar_azimuth=azimuth)]
    return [np.mean(beam + s + ground) for s in sky] + [np.mean(cosine)]


fixed = []
SHOWN = [(10, "2023-06-21 09:00", 15, 180), (45, "2023-03-21 12:00", 45, 180), (45, "2023-12-21 09:00", 60, 180), (62, "2023-12-21 12:00", 90, 180),
         (62, "2023-06-21 15:00", 60, 270)]
cases = [(sun(latitude, when), tilt, facing) for latitude, when, tilt, facing in SHOWN]
# A measured hour with the sun within a degree of the horizon (invented), and a panel that looks away from the sun.
cases += [((89.6, 200.0, 1400.0, {"ghi": 12.0, "dni": 150.0, "dhi": 10.9}), 90, 180), (sun(45, "2023-12-21 12:00"), 60, 0)]
for here, tilt, facing in cases:
    isotropic, hay_davies, _ = planes(*here, tilt, facing)
    aoi = irradiance.aoi(tilt, facing, here[0], here[1])
    fixed.append({**given(*here), "tilt_deg": tilt, "plane_azimuth_deg": facing, "incidence_deg": kept(aoi), "isotropic_w_m2": kept(isotropic),
                  "hay_davies_w_m2": kept(hay_davies), "ashrae": kept(iam.ashrae(aoi, 0.05)), "physical": kept(iam.physical(aoi)),
                  "faiman_degc": kept(temperature.faiman(hay_davies, 10, 5)), "ross_degc": kept(temperature.ross(hay_davies, 10, noct=45))})

yaw = []
HEADINGS = (np.arange(7200) + 0.5) / 20
for latitude, when, tilt in [(10, "2023-06-21 12:00", 30), (45, "2023-03-21 12:00", 45), (45, "2023-12-21 12:00", 60), (45, "2023-06-21 09:00", 90),
                             (62, "2023-12-21 12:00", 90)]:
    here = sun(latitude, when)
    isotropic, hay_davies, cosine = planes(*here, tilt, HEADINGS)
    yaw.append({**given(*here), "tilt_deg": tilt, "mean_cos": kept(cosine), "isotropic_w_m2": kept(isotropic), "hay_davies_w_m2": kept(hay_davies)})

yaw_iam = []
for tilt, zenith in [(30, 40), (60, 70), (90, 85), (20, 60), (75, 30), (90, 89)]:
    cosine = np.maximum(irradiance.aoi_projection(tilt, HEADINGS, zenith, 0), 0)
    aoi = np.degrees(np.arccos(cosine))
    share = {name: kept(np.sum(cosine * modifier) / np.sum(cosine)) for name, modifier in
             [("ashrae", iam.ashrae(aoi, 0.05)), ("physical", iam.physical(aoi))]}
    yaw_iam.append({"tilt_deg": tilt, "zenith_deg": zenith, **share})

rings = []
for panels in (1, 2, 3, 4, 5, 6):
    for tilt, zenith in [(60, 70), (90, 45), (30, 85)]:
        headings = np.arange(36000) / 100
        cosine = np.mean([np.maximum(irradiance.aoi_projection(tilt, headings + k * 360 / panels, zenith, 0), 0) for k in range(panels)], axis=0)
        rings.append({"panels": panels, "tilt_deg": tilt, "zenith_deg": zenith, "lowest": kept(cosine.min()), "highest": kept(cosine.max()),
                      "mean": kept(cosine.mean())})

modifiers = [{"incidence_deg": a, "ashrae": kept(iam.ashrae(a, 0.05)), "physical": kept(iam.physical(a))} for a in (0, 20, 40, 60, 70, 80, 85, 87.5, 89)]

erbs = []
for zenith in (0, 30, 60, 75, 84, 86, 86.9, 87.1, 89.9, 95):
    for ghi in (5, 60, 150, 400, 700, 1000):
        split = irradiance.erbs(ghi, zenith, 80)
        erbs.append({"zenith_deg": zenith, "day_of_year": 80, "global_w_m2": ghi, "clearness": kept(irradiance.clearness_index(
            ghi, zenith, irradiance.get_extra_radiation(80))), "beam_normal_w_m2": kept(split["dni"]), "diffuse_w_m2": kept(split["dhi"])})

horizons = []
for points in ([(0, 5)], [(0, 0), (90, 12), (180, 4), (270, 25)], [(40, 30), (60, 2)]):
    azimuth = (np.arange(1440) + 0.5) / 4
    height = np.interp(azimuth, [p[0] for p in points], [p[1] for p in points], period=360)
    elevation = (np.arange(3600) + 0.5) / 40
    e, a = np.radians(elevation)[:, None], np.radians(azimuth)[None, :]
    seen = elevation[:, None] > height[None, :]
    for tilt, facing in ((0, 0), (30, 180), (60, 90), (90, 270)):
        b = np.radians(tilt)
        cosine = np.maximum(np.cos(b) * np.sin(e) + np.sin(b) * np.cos(e) * np.cos(a - np.radians(facing)), 0)
        share = np.sum(cosine * np.cos(e) * seen) * np.radians(1 / 40) * np.radians(1 / 4) / np.pi
        horizons.append({"points_deg": points, "tilt_deg": tilt, "plane_azimuth_deg": facing, "sky_share": float(f"{share:.6g}")})

OUT.write_text(json.dumps({
    "provenance": {
        "what": "tilted planes under the clear sky of power_sun_clear_sky.py (Linke turbidity 3, albedo 0.06); yaw means, rings, Erbs splits, horizons",
        "source": "pvlib 0.16.1 (isotropic, haydavies, iam.ashrae, iam.physical, temperature.faiman, temperature.ross, erbs), numpy 2.4.6 for the sums",
        "script": "reference/make/" + HERE.name,
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "1e-8 relative on formulas (ten digits kept); yaw means 1e-6 (7200 steps), ring extremes 1e-4 (36000 steps, a bend), sky shares 3e-4 (patches)",
    },
    "fixed": fixed, "yaw": yaw, "yaw_iam": yaw_iam, "rings": rings, "modifiers": modifiers, "erbs": erbs, "horizons": horizons,
}, indent=1) + "\n")
