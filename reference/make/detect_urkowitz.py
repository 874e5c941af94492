"""Urkowitz energy detector: threshold and probability of detection from the chi-square distributions.

H. Urkowitz, Energy detection of unknown deterministic signals, Proc. IEEE 55 (1967) 523-531: the energy over time T and
bandwidth W has 2TW degrees of freedom, central without and noncentral with signal. scipy 1.17.1.
Writes reference/detect/scipy-urkowitz.csv. Running it again gives the same bytes.

    python3 reference/make/detect_urkowitz.py
"""

import hashlib
import pathlib

from scipy.stats import chi2, ncx2

HERE = pathlib.Path(__file__)
OUT = HERE.parent.parent / "detect" / "scipy-urkowitz.csv"
ROWS = [(1, 1e-2, 5.0), (1, 1e-4, 10.0), (10, 1e-2, 0.0), (10, 1e-4, 0.0), (50, 1e-3, -3.0), (100, 1e-2, -6.0)]

lines = [
    "# Urkowitz energy detector: threshold on the normalised energy, and probability of detection",
    "# source: H. Urkowitz, Proc. IEEE 55 (1967) 523-531; values by scipy 1.17.1 scipy.stats.chi2, ncx2",
    "# script: reference/make/detect_urkowitz.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: relative 1e-8 (printed digits); counts of trials are held to their exact limits, one in a million",
    "# the last column is wrong on purpose: the threshold of half the degrees of freedom over the same mean level",
    "time_bandwidth,false_alarm_probability,snr_db,threshold,detection_probability,threshold_of_half",
]
for tw, pfa, snr_db in ROWS:
    dof = 2 * tw
    threshold = chi2.isf(pfa, dof)
    detection = ncx2.sf(threshold, dof, dof * 10.0 ** (snr_db / 10.0))
    lines.append(f"{tw},{pfa!r},{snr_db!r},{threshold:.9f},{detection:.9f},{2 * chi2.isf(pfa, tw):.9f}")
OUT.write_text("\n".join(lines) + "\n")
