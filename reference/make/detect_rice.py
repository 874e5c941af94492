"""How often the envelope of Gaussian noise rises over a level.

S. O. Rice, Mathematical analysis of random noise (1944/45), from memory: the envelope of noise with rms bandwidth B (about
the centre of its spectrum) rises over b at sqrt(2 pi) B (b/sigma) exp(-b^2/(2 sigma^2)) a second; with a share
p = exp(-b^2/(2 sigma^2)) of the time over b this is 2 B sqrt(-pi ln p) p. For a rectangular band W, B = W/sqrt(12), it is
W p sqrt(-(pi/3) ln p). Here the spectrum is that of a template in white noise: a cosine under a windowed sinc.
numpy 2.4.6. Writes reference/detect/numpy-rice.csv. Running it again gives the same bytes.

    python3 reference/make/detect_rice.py
"""

import hashlib
import math
import pathlib

import numpy as np

HERE = pathlib.Path(__file__)
OUT = HERE.parent.parent / "detect" / "numpy-rice.csv"
RATE, LENGTH, CENTRE, WIDTH = 1000.0, 800, 125.0, 40.0

t = (np.arange(LENGTH) - (LENGTH - 1) / 2.0) / RATE
# A half-cosine window (no special function), so that another program makes the same template easily.
template = np.sinc(WIDTH * t) * np.cos(math.pi * t * RATE / LENGTH) * np.cos(2.0 * math.pi * CENTRE * t)
spectrum = np.abs(np.fft.rfft(template, 1 << 18)) ** 2
f = np.fft.rfftfreq(1 << 18, 1.0 / RATE)
centre = (f * spectrum).sum() / spectrum.sum()
rms = math.sqrt(((f - centre) ** 2 * spectrum).sum() / spectrum.sum())
lines = [
    "# up-crossings per second of the envelope of white Gaussian noise through a filter matched to a windowed sinc",
    "# source: S. O. Rice 1944/45, from memory; spectrum by numpy 2.4.6",
    "# script: reference/make/detect_rice.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: counts are held to their exact limits, one in a million",
    f"# template: rate {RATE:g} Hz, {LENGTH} samples, t from the middle, sinc({WIDTH:g} t) cos(pi t/length) cos(2 pi {CENTRE:g} t)",
    "# the last column is wrong on purpose: W decisions a second",
    "share_over,crossings_per_s,crossings_per_s_rectangular,decisions_per_s",
]
for p in (0.1, 0.01, 0.001):
    exact = 2.0 * rms * math.sqrt(-math.pi * math.log(p)) * p
    rectangular = WIDTH * p * math.sqrt(-math.pi / 3.0 * math.log(p))
    lines.append(f"{p!r},{exact:.9f},{rectangular:.9f},{WIDTH * p:.9f}")
OUT.write_text("\n".join(lines) + "\n")
