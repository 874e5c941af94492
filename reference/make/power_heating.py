"""Warmth of a two-core cable by its own loss: still sea water, still air, sediment, a film, and a line at rest with it.

Needs numpy 2.4.6, scipy 1.17.1, gsw 3.6.23, ht 1.2.0, fluids 1.3.1, chemicals 1.5.2. Writes power/gsw-still-water.csv and
power/scipy-heating.json beside this folder.

Free convection is the function of the library ht for Churchill and Chu's horizontal cylinder; sea water is TEOS-10 (gsw:
density, expansion, heat capacity at absolute salinity 35.16504 g/kg) with the viscosity of Sharqawy, Lienhard and Zubair
2010, equations 22 and 23, and the conductivity of pure water by IAPWS (chemicals; salt lowers it by about 1 %, which is left
out); air is the US Standard Atmosphere 1976 (fluids) at 101325 Pa with 1006 J/(kg K). The film is taken at the mean of
surface and surroundings. The unknowns of a cable are solved all together (conductor, surface), those of the line too.
"""

import hashlib
import json
import math
import pathlib
from importlib.metadata import version

import chemicals
import fluids
import gsw
import numpy as np
from chemicals.thermal_conductivity import k_IAPWS
from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu as churchill_chu
from scipy.optimize import fsolve

PINNED = {"numpy": "2.4.6", "scipy": "1.17.1", "gsw": "3.6.23", "ht": "1.2.0", "fluids": "1.3.1", "chemicals": "1.5.2"}
for name, wanted in PINNED.items():
    assert version(name) == wanted, name

HERE = pathlib.Path(__file__).resolve()
POWER = HERE.parent.parent / "power"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()
SALINITY = 35.16504
GRAVITY = 9.80665


def sea_water(t):
    """Kinematic viscosity m2/s, conductivity W/(m K), diffusivity m2/s, expansion 1/K."""
    s = SALINITY / 1000
    fresh = 4.2844e-5 + 1 / (0.157 * (t + 64.993) ** 2 - 91.296)
    a = 1.541 + 1.998e-2 * t - 9.52e-5 * t * t
    b = 7.974 - 7.561e-2 * t + 4.724e-4 * t * t
    viscosity = fresh * (1 + a * s + b * s * s)
    density = float(gsw.rho_t_exact(SALINITY, t, 0))
    heat = float(gsw.cp_t_exact(SALINITY, t, 0))
    conductivity = k_IAPWS(t + 273.15, chemicals.iapws95_rho(t + 273.15, 101325.0))
    expansion = float(gsw.alpha_wrt_t_exact(SALINITY, t, 0))
    return viscosity / density, conductivity, conductivity / (density * heat), expansion


def air(t):
    kelvin = t + 273.15
    density = 101325 / (287.05287 * kelvin)
    viscosity = fluids.ATMOSPHERE_1976.viscosity(kelvin)
    conductivity = fluids.ATMOSPHERE_1976.thermal_conductivity(kelvin)
    return viscosity / density, conductivity, conductivity / (density * 1006), 1 / kelvin


def film(fluid, diameter, ambient, rise):
    nu, k, a, beta = fluid(ambient + rise / 2)
    grashof = GRAVITY * beta * rise * diameter**3 / nu**2
    return churchill_chu(nu / a, grashof) * k / diameter


RHO = {"polyethylene": 3.5, "pvc": 5.0, "epr": 3.5, "silicone": 5.0}


def layers(cable):
    t1 = RHO[cable["insulation"]] / (2 * math.pi) * math.log(cable["insulated_m"] / cable["core_m"])
    t3 = RHO[cable["jacket"]] / (2 * math.pi) * math.log(cable["outer_m"] / cable["under_jacket_m"])
    return t1 / 2 + t3


def carried(cable, around, ambient, rise):
    """Heat that leaves a metre of cable at this rise of its surface, W/m."""
    d = cable["outer_m"]
    if around[0] == "water":
        return math.pi * d * film(sea_water, d, ambient, rise) * rise
    if around[0] == "air":
        return math.pi * d * film(air, d, ambient, rise) * rise
    if around[0] == "film":
        return math.pi * d * around[1] * rise
    u = 2 * around[1] / d
    return rise / (around[2] / (2 * math.pi) * math.acosh(u))


def warm(cable, around, ambient, loop_20_ohm_per_m, current):
    def off(x):
        conductor, surface = x
        loss = current**2 * loop_20_ohm_per_m * (1 + 0.00393 * (conductor - 20))
        return [carried(cable, around, ambient, max(surface - ambient, 1e-9)) - loss, (conductor - surface) - loss * layers(cable)]

    guess = 0.5 * current**2 * loop_20_ohm_per_m
    x, info, ok, message = fsolve(off, [ambient + 2 * guess, ambient + guess], xtol=1e-13, full_output=True)
    assert max(map(abs, off(x))) < 1e-8, (around, current, message)
    return float(x[0]), float(x[1])


TWIN = dict(core_m=2.55e-3, insulated_m=4.3e-3, under_jacket_m=9.5e-3, outer_m=12e-3, insulation="polyethylene", jacket="polyethylene")
THIN = dict(core_m=1.1e-3, insulated_m=2.2e-3, under_jacket_m=5e-3, outer_m=7e-3, insulation="epr", jacket="pvc")
LOOP = {"twin": 2 * 4.95e-3, "thin": 2 * 26.0e-3}

HEADINGS = "temperature_degc,kinematic_viscosity_m2_s,conductivity_w_m_k,diffusivity_m2_s,expansion_per_k\n"
rows = []
for t in range(0, 45, 5):
    rows.append((t, *(float(f"{v:.6g}") for v in sea_water(t))))
header = f"""# still sea water by temperature: degC, kinematic viscosity m2/s, conductivity W/(m K), diffusivity m2/s, expansion 1/K
# source: gsw 3.6.23 (TEOS-10, absolute salinity 35.16504 g/kg, 0 dbar); Sharqawy, Lienhard, Zubair 2010, Desalination and Water Treatment 16, 354-380, equations 22 and 23, read in public code that cites them; conductivity of pure water, IAPWS, by chemicals 1.5.2
# script: reference/make/{HERE.name}
# script-sha256: {SHA}
# tolerance: equal, as the project holds these very figures; six digits
"""
(POWER / "gsw-still-water.csv").write_text(header + HEADINGS + "".join(",".join(repr(v) for v in row) + "\n" for row in rows))

films = []
for name, fluid in (("water", sea_water), ("air", air)):
    for diameter in (0.004, 0.012, 0.03):
        for ambient in (2.0, 10.0, 23.0):
            for rise in (0.01, 0.1, 1.0, 5.0, 20.0):
                h = film(fluid, diameter, ambient, rise)
                films.append({"around": name, "diameter_m": diameter, "ambient_degc": ambient, "rise_k": rise, "film_w_m2_k": float(f"{h:.10g}")})

cases = []
for name, cable in (("twin", TWIN), ("thin", THIN)):
    for around in (["water"], ["air"], ["film", 10.0], ["sediment", 0.5, 1.0]):
        for ambient in (4.0, 10.0):
            for current in (1.0, 3.13, 5.0, 10.0, 20.0):
                if name == "thin" and around[0] in ("air", "film") and current > 10:
                    continue
                c, s = warm(cable, around, ambient, LOOP[name], current)
                if c < 115:
                    cases.append(
                        {
                            "cable": name, "around": around, "ambient_degc": ambient, "current_a": current,
                            "conductor_degc": float(f"{c:.10g}"), "surface_degc": float(f"{s:.10g}"),
                        }
                    )

# A line: 300 V, 0.5 ohm, 400 m of twin in sediment, 300 m of thin in a film, 200 m of twin in water; constant powers at the ends.
SPANS = [("twin", ["sediment", 0.5, 1.0], 10.0, 400.0, 0.05), ("thin", ["film", 10.0], 10.0, 300.0, 0.08), ("twin", ["water"], 10.0, 200.0, 0.02)]
POWERS = [200.0, 200.0, 300.0]
CABLES = {"twin": TWIN, "thin": THIN}


def line(x):
    v, conductor, surface = x[0:4], x[4:7], x[7:10]
    off = []
    currents = []
    for i, (name, around, ambient, length, other) in enumerate(SPANS):
        r = LOOP[name] * (1 + 0.00393 * (conductor[i] - 20))
        current = (v[i] - v[i + 1]) / (r * length + other)
        currents.append(current)
        loss = current**2 * r
        off.append((carried(CABLES[name], around, ambient, max(surface[i] - ambient, 1e-9)) - loss) / 10)
        off.append((conductor[i] - surface[i] - loss * layers(CABLES[name])) / 10)
    off.append((300 - v[0]) / 0.5 - currents[0])
    for i in range(3):
        after = currents[i + 1] if i < 2 else 0.0
        off.append(currents[i] - after - POWERS[i] / v[i + 1])
    return off


x, info, ok, message = fsolve(line, [298.0, 286.0, 256.0, 253.0, 11.0, 16.0, 10.2, 10.5, 14.0, 10.1], xtol=1e-13, full_output=True)
assert max(map(abs, line(x))) < 1e-8, (message, x)

(POWER / "scipy-heating.json").write_text(
    json.dumps(
        {
            "provenance": {
                "what": "film coefficients, temperatures of conductor and surface of two cables, and a line at rest with the warmth of its spans",
                "source": "ht 1.2.0 (Churchill and Chu 1975, horizontal cylinder), gsw 3.6.23, fluids 1.3.1, chemicals 1.5.2, scipy 1.17.1 fsolve; thermal resistivities 3.5 and 5.0 K m/W of IEC 60287-2-1, read on a public page",
                "script": "reference/make/" + HERE.name,
                "script_sha256": SHA,
                "tolerance": "films 0.5 % of water (the project interpolates a table of 5 K), 1e-6 of air; rises 0.3 % in water, 1e-6 otherwise",
            },
            "cables": {name: {**cable, "loop_20_ohm_per_m": LOOP[name]} for name, cable in CABLES.items()},
            "films": films,
            "cases": cases,
            "line": {
                "voltage_v": 300.0, "resistance_ohm": 0.5, "powers_w": POWERS,
                "spans": [{"cable": n, "around": a, "ambient_degc": t, "length_m": length, "other_ohm": o} for n, a, t, length, o in SPANS],
                "voltages_v": [float(f"{v:.10g}") for v in x[0:4]],
                "conductor_degc": [float(f"{v:.10g}") for v in x[4:7]],
            },
        },
        indent=1,
    )
    + "\n"
)
