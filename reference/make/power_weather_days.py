"""Distribution of daily clearness by Bendt, and shares of the hours of a day, by numerical integration.

Needs numpy 2.4.6, scipy 1.17.1. Writes reference/power/scipy-weather-bendt.csv and scipy-weather-hours.csv.
The steepness gamma is found by integrating the density, not from the closed mean.
"""

import hashlib
from pathlib import Path

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import ndtr

HERE = Path(__file__).resolve()
POWER = HERE.parents[1] / "power"
SCRIPT = f"# script: reference/make/{HERE.name}\n# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}\n"
LOW = 0.05
# Correlation of the Gaussian behind the days: Graham, Hollands and Huget 1988, from memory.
PERSISTENCE = 0.29


def integral(f, a, b):
    return quad(f, a, b, epsabs=0, epsrel=1e-12, limit=200)[0]


lines = []
for km in (0.10, 0.20, 0.35, 0.39, 0.3915, 0.50, 0.65, 0.72, 0.80):
    high = 0.6313 + 0.267 * km - 11.9 * (km - 0.75) ** 8

    def density(k, gamma):
        # About the upper or the lower end, so that it does not overflow.
        return np.exp(gamma * (k - (high if gamma > 0 else LOW)))

    def mean(gamma):
        return integral(lambda k: k * density(k, gamma), LOW, high) / integral(lambda k: density(k, gamma), LOW, high)

    gamma = brentq(lambda g: mean(g) - km, -40, 60, xtol=1e-12)
    whole = integral(lambda k: density(k, gamma), LOW, high)

    def share(k):
        return integral(lambda x: density(x, gamma), LOW, k) / whole

    below = share(0.2) if high > 0.2 else 1.0
    quantiles = [brentq(lambda k: share(k) - p, LOW, high, xtol=1e-13) for p in (0.1, 0.5, 0.9)]
    spread = np.sqrt(integral(lambda k: (k - km) ** 2 * density(k, gamma), LOW, high) / whole)

    def next_day(count):
        """Correlation of K with that of the next day, by Gauss-Hermite sums over both Gaussians."""
        x, weight = np.polynomial.hermite_e.hermegauss(count)
        weight = weight / weight.sum()

        def clearness(x):
            return np.log(np.exp(gamma * LOW) + ndtr(x) * (np.exp(gamma * high) - np.exp(gamma * LOW))) / gamma

        after = clearness(PERSISTENCE * x[:, None] + np.sqrt(1 - PERSISTENCE**2) * x[None, :]) @ weight
        return (weight @ ((clearness(x) - km) * (after - km))) / spread**2

    assert abs(next_day(100) - next_day(160)) < 1e-6
    lines.append(",".join(f"{value:.9f}" for value in (km, high, gamma, below, *quantiles, spread)) + f",{next_day(160):.6f}")
(POWER / "scipy-weather-bendt.csv").write_text(
    "# Distribution of a day's clearness for a monthly mean: highest value, gamma, share below 0.2, quantiles, standard deviation,\n"
    "# and correlation of a day with the next when a Gaussian with a correlation of 0.29 (from memory) is brought to it.\n"
    "# source: Bendt, Collares-Pereira and Rabl 1981 and Hollands and Huget 1983 as equations 2.9.4 to 2.9.6 of Duffie and Beckman (read in public\n"
    "# programs), gamma solved for the mean; scipy 1.17.1 (integrate.quad, optimize.brentq, special.ndtr), numpy 2.4.6 (hermegauss)\n"
    "# tolerance: 1e-8; gamma 1e-6, which moves the mean by less; correlation: sampling error of sequences.\n" + SCRIPT
    + "mean,highest,gamma,below_0_2,q10,q50,q90,spread,next_day\n" + "\n".join(lines) + "\n"
)


def density(kind, w, ws):
    a = 0.409 + 0.5016 * np.sin(ws - np.pi / 3)
    b = 0.6609 - 0.4767 * np.sin(ws - np.pi / 3)
    shape = np.pi / 24 * (np.cos(w) - np.cos(ws)) / (np.sin(ws) - ws * np.cos(ws))
    return shape * (a + b * np.cos(w)) if kind == "global" else shape


lines = []
for sunset in (42.5249, 60.0, 90.0, 107.0, 144.7, 180.0):
    ws = np.radians(sunset)
    whole = {kind: integral(lambda w: density(kind, w, ws), -ws, ws) for kind in ("global", "diffuse")}
    # Noon in the middle between two hours.
    for angle in np.arange(7.5, sunset, 15.0):
        w = np.radians(angle)
        row = [density(kind, w, ws) for kind in ("global", "diffuse")]
        end = min(w + np.pi / 24, ws)
        row += [integral(lambda x: density(kind, x, ws), w - np.pi / 24, end) / whole[kind] for kind in ("global", "diffuse")]
        lines.append(",".join([f"{sunset:.4f}", f"{angle:.1f}"] + [f"{value:.9f}" for value in row]))
(POWER / "scipy-weather-hours.csv").write_text(
    "# Shares of a day's global and diffuse energy: per hour at an hour angle, and of the hour about it with the day's sum set to 1; deg, 1/h.\n"
    "# source: Collares-Pereira and Rabl 1979, Liu and Jordan 1960 as equations 2.13.2 and 2.13.4 of Duffie and Beckman (read in public programs);\n"
    "# scipy 1.17.1 (integrate.quad)\n"
    "# tolerance: 1e-8\n" + SCRIPT
    + "sunset_deg,hour_angle_deg,global_per_h,diffuse_per_h,global_hour,diffuse_hour\n" + "\n".join(lines) + "\n"
)
