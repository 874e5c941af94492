"""Positions of the sun by another program's transcription of the same published algorithm.

Needs pvlib 0.16.1, pandas 3.1.1, numpy 2.4.6. Writes power/pvlib-sun-positions.csv beside this folder. The first row is the worked
example of NREL/TP-560-34302; the others are places and instants drawn once with a fixed seed, poles and date line among them.
"""

import hashlib
import os
import pathlib

os.environ["PVLIB_USE_NUMBA"] = "0"

import numpy as np
import pvlib
from pvlib import spa

assert pvlib.__version__ == "0.16.1" and np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "power" / "pvlib-sun-positions.csv"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()


def positions():
    # latitude, longitude, elevation m, pressure hPa, temperature degC, TT - UT s, UTC date and hour
    yield 39.742476, -105.1786, 1830.14, 820.0, 11.0, 67.0, 2003, 10, 17, 19 + 30.5 / 60
    draw = np.random.default_rng(20270315)
    for k in range(240):
        latitude = [90.0, -90.0, 66.56, 0.0][k] if k < 4 else round(draw.uniform(-90, 90), 4)
        longitude = [180.0, -180.0][k % 2] if k < 8 else round(draw.uniform(-180, 180), 4)
        yield (latitude, longitude, round(draw.uniform(0, 3000), 1), round(draw.uniform(700, 1040), 1), round(draw.uniform(-30, 40), 1),
               round(draw.uniform(30, 90), 1), int(draw.integers(1950, 2080)), int(draw.integers(1, 13)), int(draw.integers(1, 29)),
               round(draw.uniform(0, 24), 4))


rows = []
for latitude, longitude, elevation, pressure, temperature, delta_t, year, month, day, hour in positions():
    unix = np.array([(np.datetime64(f"{year}-{month:02}-{day:02}") - np.datetime64("1970-01-01")).astype(int) * 86400 + hour * 3600.0])
    apparent, true, _, _, azimuth, _ = (v[0] for v in spa.solar_position(unix, latitude, longitude, elevation, pressure, temperature, delta_t, 0.5667))
    distance = spa.earthsun_distance(unix, delta_t, 1)[0]
    inputs = [latitude, longitude, elevation, pressure * 100, temperature, delta_t, year, month, day, hour]
    rows.append([f"{v:.10g}" for v in inputs] + [f"{v:.9f}" for v in (apparent, true, azimuth, distance)])
OUT.write_text("\n".join([
    "# Apparent and true zenith angle, azimuth (deg from north, clockwise) and distance of the sun (astronomical units).",
    "# source: pvlib 0.16.1, module spa, after Reda and Andreas, NREL/TP-560-34302; refraction at sunrise 0.5667 deg.",
    "# tolerance: 1e-6 deg (azimuth: on the sky, times the sine of the zenith angle), 1e-9 au: rounding of this file, and a Julian day resolves 2e-7 deg.",
    "# script: reference/make/" + HERE.name,
    "# script-sha256: " + SHA,
    "latitude_deg,longitude_deg,elevation_m,pressure_pa,temperature_degc,delta_t_s,year,month,day,hour_utc,apparent_zenith_deg,true_zenith_deg,azimuth_deg,distance_au",
] + [",".join(row) for row in rows]) + "\n")
