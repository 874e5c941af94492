"""A year of invented daily clearness at a real place, through hours and panels: a second program beside the crate.

Needs pvlib 0.16.1, numpy 2.4.6, pandas 3.1.1. Writes reference/power/pvlib-year-generated.json. Written from the rules of
docs/method/energy-year.md and sun.md: a day's energy is K times that outside the atmosphere (closed form, declination at noon of local standard
time), its diffuse share that of Erbs for days; both are spread by the curves of Collares-Pereira and Rabl and of Liu and Jordan, integrated over
each hour and divided by the day's sum; an hour's diffuse light is at most its global light, and all of it with the sun beyond 87 deg.
"""

import hashlib
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from pvlib import irradiance, spa

assert pvlib.__version__ == "0.16.1" and np.__version__ == "2.4.6"

HERE = Path(__file__).resolve()
LATITUDE, LONGITUDE, ELEVATION, DELTA_T, TILT, ALBEDO = 55.317, -160.517, 7.0, 67.0, 60.0, 0.06
AIR = np.array([-1.5, -1.0, 0.5, 2.5, 5.5, 8.5, 11.0, 12.0, 9.5, 5.5, 2.0, 0.0])
WIND = np.array([6.0, 5.8, 5.5, 5.2, 4.8, 4.5, 4.0, 4.2, 4.9, 5.6, 6.1, 6.3])
DAYS = 365


def seen(local):
    """Apparent zenith angle, azimuth, hour angle and declination as seen from the place, for local standard time (UTC-9)."""
    unix = (local + pd.Timedelta("9h")).as_unit("ns").asi8 / 1e9
    jd = spa.julian_day(unix)
    jde = spa.julian_ephemeris_day(jd, DELTA_T)
    jc, jce = spa.julian_century(jd), spa.julian_ephemeris_century(jde)
    jme = spa.julian_ephemeris_millennium(jce)
    distance = spa.heliocentric_radius_vector(jme)
    arguments = [spa.mean_elongation(jce), spa.mean_anomaly_sun(jce), spa.mean_anomaly_moon(jce), spa.moon_argument_latitude(jce), spa.moon_ascending_longitude(jce)]
    nutation = np.empty((2, len(jd)))
    spa.longitude_obliquity_nutation(jce, *arguments, nutation)
    obliquity = spa.true_ecliptic_obliquity(spa.mean_ecliptic_obliquity(jme), nutation[1])
    apparent = spa.apparent_sun_longitude(spa.geocentric_longitude(spa.heliocentric_longitude(jme)), nutation[0], spa.aberration_correction(distance))
    latitude = spa.geocentric_latitude(spa.heliocentric_latitude(jme))
    ascension = spa.geocentric_sun_right_ascension(apparent, obliquity, latitude)
    declination = spa.geocentric_sun_declination(apparent, obliquity, latitude)
    hour_angle = spa.local_hour_angle(spa.apparent_sidereal_time(spa.mean_sidereal_time(jd, jc), nutation[0], obliquity), LONGITUDE, ascension)
    parallax, u = spa.equatorial_horizontal_parallax(distance), spa.uterm(LATITUDE)
    x, y = spa.xterm(u, LATITUDE, ELEVATION), spa.yterm(u, LATITUDE, ELEVATION)
    shift = spa.parallax_sun_right_ascension(x, parallax, hour_angle, declination)
    declination = spa.topocentric_sun_declination(declination, x, y, parallax, shift, hour_angle)
    hour_angle = spa.topocentric_local_hour_angle(hour_angle, shift)
    elevation = spa.topocentric_elevation_angle_without_atmosphere(LATITUDE, declination, hour_angle)
    elevation += spa.atmospheric_refraction_correction(1013.25, 12.0, elevation, 0.5667)
    azimuth = spa.topocentric_azimuth_angle(spa.topocentric_astronomers_azimuth(hour_angle, declination, LATITUDE))
    return 90 - elevation, azimuth, (hour_angle + 180) % 360 - 180, declination


hours = pd.date_range("1990-01-01 00:30", periods=24 * DAYS, freq="h")
noons = pd.date_range("1990-01-01 12:00", periods=DAYS, freq="D")
zenith, azimuth, angle, _ = seen(hours)
declination = np.radians(seen(noons)[3])
month = noons.month.to_numpy() - 1
normal = irradiance.get_extra_radiation(np.arange(1, DAYS + 1), method="spencer")
phi = np.radians(LATITUDE)
sunset = np.arccos(-np.tan(phi) * np.tan(declination))
outside = 24 / np.pi * normal * (np.cos(phi) * np.cos(declination) * np.sin(sunset) + sunset * np.sin(phi) * np.sin(declination))

# Days as they come, dull and bright, in thousandths.
clearness = np.round(0.05 + 0.72 * np.random.default_rng(3).beta(1.2, 1.8, DAYS), 3)


def erbs_daily(k, ws):
    low = np.where(k < 0.715, 1 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4, 0.143)
    high = np.where(k < 0.722, 1 + 0.2832 * k - 2.5557 * k**2 + 0.8448 * k**3, 0.175)
    return np.where(np.degrees(ws) <= 81.4, low, high)


def shares(ws, middles):
    """Shares of the hours of a day in its global and diffuse energy, by Gauss and Legendre over the lit part of each."""
    x, weight = np.polynomial.legendre.leggauss(24)
    a, b = 0.409 + 0.5016 * np.sin(ws - np.pi / 3), 0.6609 - 0.4767 * np.sin(ws - np.pi / 3)
    both = np.zeros((2, len(middles)))
    for i, middle in enumerate(middles):
        begin, end = max(middle - np.pi / 24, -ws), min(middle + np.pi / 24, ws)
        if end > begin:
            w = (begin + end) / 2 + (end - begin) / 2 * x
            even = (np.cos(w) - np.cos(ws)) * weight * (end - begin) / 2
            both[:, i] = np.sum(even * (a + b * np.cos(w))), np.sum(even)
    return both / both.sum(axis=1, keepdims=True)


spread = [shares(ws, np.radians(angle[24 * day:24 * day + 24])) for day, ws in enumerate(sunset)]
share = np.concatenate(spread, axis=1)
energy = np.repeat(clearness * outside, 24)
GLOBAL = energy * share[0]
cosine = np.cos(np.radians(zenith))
low = cosine < np.cos(np.radians(87))
DIFFUSE = np.where(low, GLOBAL, np.minimum(energy * np.repeat(erbs_daily(clearness, sunset), 24) * share[1], GLOBAL))
BEAM = np.where(low, 0.0, (GLOBAL - DIFFUSE) / np.where(low, 1.0, cosine))
assert (GLOBAL > 0).sum() > 4000 and (GLOBAL - DIFFUSE > 0).sum() > 3000
even = (1 + np.cos(np.radians(TILT))) / 2
hour_normal, hour_month = np.repeat(normal, 24), np.repeat(month, 24)


def turned(facing):
    return np.maximum(irradiance.aoi_projection(TILT, facing, zenith, azimuth), 0)


def told(plane):
    cell = pvlib.temperature.faiman(plane, AIR[hour_month], WIND[hour_month])
    per_watt = plane / 1000 * (1 - 0.004 * (cell - 25)) * 0.85
    return {
        "plane_kwh_m2": ten(plane.sum() / 1000),
        "wh_per_w_by_month": [ten(per_watt[hour_month == m].sum()) for m in range(12)],
        "wh_per_w_by_day": [ten(x) for x in per_watt.reshape(DAYS, 24).sum(axis=1)],
        "wh_per_w_of_day": {str(day): [ten(x) for x in per_watt[24 * day:24 * day + 24]] for day in (10, 80, 171, 265, 354)},
    }


def ten(value):
    return float(f"{value:.10g}")


yaw = np.mean([turned(facing) for facing in np.arange(0.05, 360, 0.1)], axis=0)
sunny = BEAM / hour_normal
south = turned(180.0)
modifier = pvlib.iam.ashrae(irradiance.aoi(TILT, 180.0, zenith, azimuth), b=0.05)
around = sunny * south / np.maximum(cosine, 0.01745) + (1 - sunny) * even
ground = GLOBAL * ALBEDO * (1 - even)
(HERE.parents[1] / "power" / "pvlib-year-generated.json").write_text(json.dumps({
    "provenance": {
        "what": "energy in Wh per watt of peak power, by month, day and hour, of a year of invented daily clearness at 55.317 N, 160.517 W, UTC-9, 1990, 1366.1 W/m2, by monthly "
                "air and wind, -0.4 %/K, 15 % lost, albedo 0.06, 60 deg: south, Hay-Davies, ASHRAE 0.05 on the beam; yawing, isotropic",
        "source": "a second program written from the rules of docs/method/energy-year.md and sun.md; pvlib 0.16.1 (spa, spencer, aoi_projection, iam.ashrae, faiman), numpy "
                  "2.4.6 (leggauss)",
        "script": "reference/make/" + HERE.name,
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "1e-6 Wh per watt of a day and an hour, 1e-6 relative on months and the year: headings in 3600 steps, sun's position",
    },
    "air_temperature_degc": AIR.tolist(), "wind_speed_m_s": WIND.tolist(), "clearness": clearness.tolist(),
    "south": told(BEAM * south * modifier + DIFFUSE * around + ground), "yaw": told(BEAM * yaw + DIFFUSE * even + ground),
}) + "\n")
