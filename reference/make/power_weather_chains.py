"""Stationary state of each of the ten chains of daily clearness: mean, spread, correlation from day to day, share below 0.2.

Needs numpy 2.4.6. Reads reference/power/aguiar-transitions.csv, writes reference/power/numpy-weather-chains.csv. The state is the left
eigenvector of the row-normalised matrix with eigenvalue 1; K is even within a bin.
"""

import hashlib
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
POWER = HERE.parents[1] / "power"
table = np.genfromtxt(
    [line for line in (POWER / "aguiar-transitions.csv").read_text().splitlines() if not line.startswith("#")],
    delimiter=",", skip_header=1,
)

lines = []
for number in range(10):
    rows = table[table[:, 0] == number]
    low, high = rows[0, 1:3]
    chance = rows[:, 4:] / rows[:, 4:].sum(axis=1, keepdims=True)
    values, vectors = np.linalg.eig(chance.T)
    assert np.sum(np.abs(values - 1) < 1e-9) == 1
    assert np.sort(np.abs(values))[-2] < 0.6
    state = np.real(vectors[:, np.argmin(np.abs(values - 1))])
    state /= state.sum()
    width = (high - low) / 10
    middle = low + width * (np.arange(10) + 0.5)
    mean = state @ middle
    variance = state @ ((middle - mean) ** 2) + width**2 / 12
    covariance = (state * (middle - mean)) @ chance @ (middle - mean)
    below = state @ np.clip((0.2 - low) / width - np.arange(10), 0, 1)
    lines.append(f"{number},{mean:.10f},{np.sqrt(variance):.10f},{covariance / variance:.10f},{below:.10f}")

(POWER / "numpy-weather-chains.csv").write_text(
    "# Stationary state of the ten chains of aguiar-transitions.csv, rows divided by their sums, K even within a bin: mean, standard deviation,\n"
    "# correlation of K with that of the next day, share of days below 0.2.\n"
    "# source: numpy 2.4.6 (linalg.eig)\n"
    "# tolerance: 1e-8, rounding of two solvers; sequences within their sampling error.\n"
    f"# script: reference/make/{HERE.name}\n"
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}\n"
    "class,mean,spread,next_day,below_0_2\n" + "\n".join(lines) + "\n"
)
