"""Sun, air mass and clear sky at 27 points, and the clear sky of other airs and heights.

Needs pvlib 0.16.1, pandas 3.1.1, numpy 2.4.6. Writes power/pvlib-sun-clear-sky.csv beside this folder.
"""

import hashlib
import pathlib

import numpy as np
import pandas as pd
import pvlib

assert pvlib.__version__ == "0.16.1" and np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "power" / "pvlib-sun-clear-sky.csv"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()


def point(latitude, day, hour, elevation=0.0, pressure=101325.0, turbidity=3.0):
    when = pd.DatetimeIndex([f"{day} {hour:02}:00"], tz="UTC")
    sun = pvlib.solarposition.spa_python(when, latitude, 0.0, altitude=elevation, pressure=pressure, temperature=12, delta_t=67.0)
    zenith = sun["apparent_zenith"]
    normal = pvlib.irradiance.get_extra_radiation(when, method="spencer").to_numpy()
    relative = pvlib.atmosphere.get_relative_airmass(zenith.to_numpy())
    absolute = pvlib.atmosphere.get_absolute_airmass(relative, pressure)
    clear = pvlib.clearsky.ineichen(zenith.to_numpy(), absolute, turbidity, altitude=elevation, dni_extra=normal)
    haurwitz = pvlib.clearsky.haurwitz(zenith)["ghi"].to_numpy()
    year, month, date = day.split("-")
    values = [sun["zenith"].iloc[0], zenith.iloc[0], sun["azimuth"].iloc[0], normal[0], relative[0], haurwitz[0],
              *(np.nan_to_num(clear[k][0]) for k in ("ghi", "dni", "dhi"))]
    return [f"{latitude}", year, str(int(month)), str(int(date)), f"{hour}", str(when.day_of_year[0]), f"{elevation:g}", f"{pressure:g}", f"{turbidity:g}"] + [
        "none" if np.isnan(v) else f"{v:.9f}" for v in values]


rows = [point(latitude, day, hour) for latitude in (10, 45, 62) for day in ("2023-03-21", "2023-06-21", "2023-12-21") for hour in (9, 12, 15)]
rows += [point(latitude, "2023-09-10", hour, elevation, pressure, turbidity)
         for latitude in (-35, 20, 55) for hour in (8, 12) for elevation, pressure in ((0.0, 99000.0), (2000.0, 79500.0)) for turbidity in (1.0, 2.0, 6.5)]
OUT.write_text("\n".join([
    "# Sun at longitude 0 (12 degC, TT - UT 67 s) and clear sky there, W/m2; air mass relative, by the apparent zenith angle.",
    "# source: pvlib 0.16.1: spa_python, get_extra_radiation (spencer, 1366.1 W/m2), kastenyoung1989, haurwitz, ineichen.",
    "# tolerance: 1e-6 deg, 1e-8 relative on the formulas for the zenith angle of this file: its rounding.",
    "# script: reference/make/" + HERE.name,
    "# script-sha256: " + SHA,
    "latitude_deg,year,month,day,hour_utc,day_of_year,elevation_m,pressure_pa,linke_turbidity,true_zenith_deg,apparent_zenith_deg,azimuth_deg,"
    "normal_w_m2,air_mass,haurwitz_w_m2,global_w_m2,beam_normal_w_m2,diffuse_w_m2",
] + [",".join(row) for row in rows]) + "\n")
