"""Conversions to SI -> reference/quantity/scipy-conversions.csv

Python 3.11 or later; scipy 1.17.1 (scipy.constants).
"""
import hashlib
import pathlib

import scipy
import scipy.constants as c

HERE = pathlib.Path(__file__)
TARGET = HERE.parents[1] / "quantity" / "scipy-conversions.csv"
fahrenheit = lambda x: float(c.convert_temperature(x, "Fahrenheit", "Celsius"))
rows = [
    ("length", "1 nmi", c.nautical_mile),
    ("length", "1 ft", c.foot),
    ("length", "1 in", c.inch),
    ("length", "1 fathom", 2 * c.yard),
    ("length", "3 um", 3 * c.micron),
    ("mass", "1 lb", c.lb),
    ("mass", "1 t", c.metric_ton),
    ("mass", "7 g", 7 * c.gram),
    ("time", "1 min", c.minute),
    ("time", "1 h", c.hour),
    ("time", "1 d", c.day),
    ("time", "1 wk", c.week),
    ("speed", "1 kn", c.knot),
    ("speed", "1 km/h", c.kmh),
    ("force", "1 kgf", c.kgf),
    ("force", "1 kg", c.g),
    ("force", "1 lbf", c.lbf),
    ("weight per metre", "1 kg/m", c.g),
    ("pressure", "1 psi", c.psi),
    ("pressure", "1 bar", c.bar),
    ("pressure", "1 dbar", c.deci * c.bar),
    ("pressure", "1 mbar", c.milli * c.bar),
    ("energy", "1 Wh", c.hour),
    ("energy", "1 kWh", c.kilo * c.hour),
    ("electric charge", "1 Ah", c.hour),
    ("electric charge", "1 mAh", c.milli * c.hour),
    ("temperature", "32 degF", fahrenheit(32)),
    ("temperature", "-40 degF", fahrenheit(-40)),
    ("temperature", "49.28 degF", fahrenheit(49.28)),
    ("angle", "1 deg", c.degree),
    ("angle", "-6.02 deg", -6.02 * c.degree),
    ("data size", "1 KiB", c.kibi),
    ("data size", "1 MiB", c.mebi),
    ("data size", "1 GiB", c.gibi),
    ("data size", "1 TB", c.tera),
    ("capacitance", "4.7 pF", 4.7 * c.pico),
    ("capacitance", "220 uF", 220 * c.micro),
    ("noise voltage density", "4.5 nV/rtHz", 4.5 * c.nano),
    ("area", "1.5 mm2", 1.5 * c.milli**2),
    ("area", "1 cm2", c.centi**2),
    ("density", "1.025 g/cm3", 1.025 * c.gram / c.centi**3),
]
lines = [
    "# Values of written quantities in SI (temperature in degC).",
    f"# source: scipy {scipy.__version__}, scipy.constants",
    "# script: reference/make/quantity_conversions.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: 4e-16 of the value, the rounding of one or two operations; 49.28 degF 1e-13 degC, as scipy goes by way of kelvin",
    "dimension,text,si",
]
lines += [f"{dimension},{text},{value!r}" for dimension, text, value in rows]
TARGET.write_text("\n".join(lines) + "\n")
