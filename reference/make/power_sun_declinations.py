"""What simpler declinations do to the months outside the atmosphere, and a day there by numerical integration.

Needs pvlib 0.16.1, pandas 3.1.1, numpy 2.4.6, scipy 1.17.1. Writes power/pvlib-sun-declinations.json beside this folder. Months with a declination of
each day (pvlib's Cooper 1969 and Spencer 1971) in closed form, over the sun's path in steps of five minutes, 1990, longitude 0; how far each
declination is from that of the sun at noon.
"""

import hashlib
import json
import pathlib

import numpy as np
import pandas as pd
import pvlib
from pvlib import irradiance, solarposition, spa
from scipy.integrate import quad

assert pvlib.__version__ == "0.16.1" and np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
SOLAR_CONSTANT = 1361.0
DAYS = np.arange(1, 366)
fine = pd.date_range("1990-01-01 00:02:30", "1990-12-31 23:57:30", freq="5min", tz="UTC")
fine_normal = irradiance.get_extra_radiation(fine, solar_constant=SOLAR_CONSTANT).to_numpy()
noons = pd.date_range("1990-01-01 12:00", periods=365, freq="D", tz="UTC")
normal = irradiance.get_extra_radiation(noons, solar_constant=SOLAR_CONSTANT).to_numpy()
month = noons.month.to_numpy()
WRONG = {"cooper": np.asarray(solarposition.declination_cooper69(DAYS)), "spencer": np.asarray(solarposition.declination_spencer71(DAYS))}


def at_noon():
    """Declination of the sun from the centre of the earth, rad."""
    jd = spa.julian_day(noons.as_unit("ns").asi8 / 1e9)
    jde = spa.julian_ephemeris_day(jd, 67.0)
    jc = spa.julian_ephemeris_century(jde)
    jm = spa.julian_ephemeris_millennium(jc)
    longitude, latitude, radius = spa.heliocentric_longitude(jm), spa.heliocentric_latitude(jm), spa.heliocentric_radius_vector(jm)
    x = [spa.mean_elongation(jc), spa.mean_anomaly_sun(jc), spa.mean_anomaly_moon(jc), spa.moon_argument_latitude(jc), spa.moon_ascending_longitude(jc)]
    nutation = np.empty((2, len(jd)))
    spa.longitude_obliquity_nutation(jc, *x, nutation)
    apparent = spa.apparent_sun_longitude(spa.geocentric_longitude(longitude), nutation[0], spa.aberration_correction(radius))
    obliquity = spa.true_ecliptic_obliquity(spa.mean_ecliptic_obliquity(jm), nutation[1])
    return np.radians(spa.geocentric_sun_declination(apparent, obliquity, spa.geocentric_latitude(latitude)))


def day_wh(latitude, declination, normal):
    phi = np.radians(latitude)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(declination), -1, 1))
    return 24 / np.pi * normal * (np.cos(phi) * np.cos(declination) * np.sin(sunset) + sunset * np.sin(phi) * np.sin(declination))


def kept(value):
    return float(f"{float(value):.8g}")


places = []
for latitude in (45, 60, 62):
    zenith = solarposition.spa_python(fine, latitude, 0.0, pressure=101325, temperature=12, delta_t=67.0)["zenith"].to_numpy()
    path = fine_normal * np.maximum(np.cos(np.radians(zenith)), 0) / 12
    truth = np.array([path[fine.month == m].sum() for m in range(1, 13)])
    ratios = {name: [kept(day_wh(latitude, d, normal)[month == m].sum() / truth[m - 1]) for m in range(1, 13)] for name, d in WRONG.items()}
    places.append({"latitude_deg": latitude, "months_over_the_suns_path": ratios})
sun = at_noon()
farthest = {}
for name, declination in WRONG.items():
    off = np.degrees(np.abs(declination - sun))
    farthest[name] = {"day_of_year": int(DAYS[off.argmax()]), "off_deg": kept(off.max())}

# 15 April at 43 deg north with Cooper's declination, the sun's height integrated over the day.
n, phi = 105, np.radians(43)
delta = solarposition.declination_cooper69(n)
april_normal = irradiance.get_extra_radiation(n, solar_constant=1367.0, method="spencer")
sunset = np.arccos(-np.tan(phi) * np.tan(delta))
april = quad(lambda w: april_normal * (np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.cos(w)), -sunset, sunset, epsrel=1e-13)[0] * 12 / np.pi

(HERE.parent.parent / "power" / "pvlib-sun-declinations.json").write_text(json.dumps({
    "provenance": {
        "what": "months outside the atmosphere with the declination of Cooper or Spencer over those of the sun's path; largest error of each declination at noon, deg; "
                "15 April at 43 deg north with Cooper's, 1367 W/m2, MJ/m2",
        "source": "pvlib 0.16.1 (spa_python, spa, declination_cooper69, declination_spencer71, spencer), numpy 2.4.6, scipy 1.17.1 (integrate.quad)",
        "script": "reference/make/" + HERE.name,
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "1e-5 relative on the ratios: steps of five minutes on both sides are the same; 1e-8 on the day: digits kept here",
    },
    "places": places, "farthest": farthest, "april_mj_m2": kept(april * 3600 / 1e6),
}, indent=1) + "\n")
