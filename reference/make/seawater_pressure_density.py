"""Depth, gravity and density: TEOS-10 and the closed forms.

Needs gsw 3.6.23 and numpy 2.4.6. Writes, beside this folder:
  seawater/gsw-depth.csv    depth of a pressure: gsw, Fofonoff & Millard 1983 and Saunders 1981 written out here
  seawater/gsw-density.csv  in-situ density: gsw.rho_t_exact
"""

import hashlib
import pathlib

import gsw
import numpy as np

assert gsw.__version__ == "3.6.23" and np.__version__ == "2.4.6"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "seawater"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()


def write(name, about, columns, rows):
    lines = ["# " + line for line in about]
    lines += ["# script: reference/make/" + HERE.name, "# script-sha256: " + SHA, ",".join(columns)]
    lines += [",".join(row) for row in rows]
    (OUT / name).write_text("\n".join(lines) + "\n")


def fofonoff_millard(p, lat):
    x = np.sin(np.radians(lat)) ** 2
    g = 9.780318 * (1.0 + 5.2788e-3 * x + 2.36e-5 * x**2) + 1.092e-6 * p
    return (9.72659 * p - 2.2512e-5 * p**2 + 2.279e-10 * p**3 - 1.82e-15 * p**4) / g


def saunders(p, lat):
    x = np.sin(np.radians(lat)) ** 2
    return (1.0 - (5.92 + 5.25 * x) * 1e-3) * p - 2.21e-6 * p**2


rows = []
for lat in (-75, 0, 30, 45, 60, 90):
    for p in (0, 10, 100, 500, 1000, 2000, 4000, 6000, 10000):
        rows.append((f"{p}", f"{lat}", f"{fofonoff_millard(p, lat):.6f}", f"{saunders(p, lat):.6f}",
                     f"{-float(gsw.z_from_p(p, lat)):.6f}", f"{float(gsw.grav(lat, p)):.8f}"))
write(
    "gsw-depth.csv",
    [
        "Depth of a pressure in a standard ocean, and gravity there.",
        "gsw columns: gsw 3.6.23, -z_from_p and grav. fofonoff_millard: UNESCO 44 (1983), written out a second time. saunders: J. Phys. Oceanogr. 11, 573 (1981).",
        "tolerance: second route 1e-5 m (rounding). Against gsw 0.1 m to 4000 dbar, 0.25 m to 6000, 1.1 m at 10 000 dbar: the two standard oceans differ; gravity 2e-5 m/s2 plus 4e-8 per dbar: the formulas differ by 1e-5 at the surface, and TEOS-10 lets gravity rise with metres (0.97 to 0.99 of the decibars).",
    ],
    ("pressure_dbar", "latitude_deg", "fofonoff_millard_m", "saunders_m", "gsw_m", "gsw_gravity_m_s2"),
    rows,
)

rows = []
for t in (0, 5, 10, 15, 20, 25):
    for s in (5, 10, 20, 30, 35, 40):
        for p in (0, 100, 1000, 5000):
            rho = float(gsw.rho_t_exact(s * 35.16504 / 35.0, t, p))
            rows.append((f"{t}", f"{s}", f"{p}", f"{rho:.6f}"))
write(
    "gsw-density.csv",
    [
        "In-situ density of seawater, TEOS-10 (gsw.rho_t_exact), gsw 3.6.23.",
        "temperature ITS-90; salinity practical, as absolute salinity S * 35.16504 / 35.",
        "tolerance: 0.02 kg/m3, about twice the published error of EOS-80 (0.009 kg/m3, from memory); the two equations of state are separate fits.",
    ],
    ("temperature_degc", "salinity", "pressure_dbar", "teos10_kg_m3"),
    rows,
)
