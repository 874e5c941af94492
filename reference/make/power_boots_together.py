"""What a line of four modules carries of what they draw while all, some or one of them boots.

Python 3.11, scipy==1.17.1, numpy==2.4.6. Run with no arguments to write reference/power/scipy-boots-together.csv. Running it again gives the same bytes.

A source of 24 V behind 0.3 ohm feeds four modules in a row over 30, 40, 40 and 40 m of 0.75 mm2 class 5 (IEC 60228: 26 ohm/km at 20 degC, copper 0.393 % a kelvin). Each draws 6.5 W while it boots, 0.95 W when it runs,
nothing when it is off. A resistance lies on the way onwards through each module, one before the first, and one of contacts in each span. With the voltage v of the last module as the unknown, current and voltage
are summed backwards to the source: E(v, s) is the source's voltage with all powers times s. It is large at both ends, and the line carries s where its least value over v is at most 24 V. scipy.optimize.minimize_scalar finds that least value, brentq the s at which it is 24 V.
"""

import hashlib
import itertools
import pathlib

from scipy.optimize import brentq, minimize_scalar

SOURCE_V, SOURCE_OHM, OHM_PER_KM, PER_KELVIN = 24.0, 0.3, 26.0, 0.00393
LENGTHS_M = [30.0, 40.0, 40.0, 40.0]
WATTS = {"b": 6.5, "r": 0.95, "o": 0.0}
PATTERNS = ["bbbb", "bboo", "rrbb", "oobb", "bbrr", "booo", "rboo", "rrbo", "rrrb", "rrrr"]


def ways_ohm(degc, first_ohm, through_ohm, contact_ohm):
    copper = OHM_PER_KM * (1 + PER_KELVIN * (degc - 20.0))
    before = [SOURCE_OHM + first_ohm] + 3 * [through_ohm]
    return [b + contact_ohm + 2 * m / 1000 * copper for b, m in zip(before, LENGTHS_M)]


def source_v(last_v, watts, ways):
    """Voltage that the source must have for the last module to be at `last_v`."""
    v, i = last_v, 0.0
    for w, ohm in zip(reversed(watts), reversed(ways)):
        i += w / v
        v += ohm * i
    return v


def share(watts, ways):
    def least_v(s):
        scaled = [s * w for w in watts]
        found = minimize_scalar(lambda v: source_v(v, scaled, ways), bounds=(1e-3, SOURCE_V), method="bounded", options={"xatol": 1e-12})
        return found.fun

    return brentq(lambda s: least_v(s) - SOURCE_V, 1e-3, 100.0, xtol=1e-12, rtol=1e-13)


def main():
    here = pathlib.Path(__file__)
    rows = []
    for degc, first_ohm, through_ohm, contact_ohm in itertools.product((9.0, 20.0), (0.0, 0.6), (0.0, 0.6), (0.0, 0.32)):
        if first_ohm > through_ohm:
            continue
        ways = ways_ohm(degc, first_ohm, through_ohm, contact_ohm)
        for pattern in PATTERNS:
            found = share([WATTS[p] for p in pattern], ways)
            assert abs(found - 1) > 1e-3
            rows.append(f"{degc},{first_ohm},{through_ohm},{contact_ohm},{pattern},{found:.9f},{int(found > 1)}")
    head = [
        "# Four modules in a row: water, degC; resistance before the first, of the way through each, of the contacts of each span, ohm; what each does (b boots, r runs, o off); factor on all that is drawn up to which",
        "# there is an operating point; whether there is one as it is.",
        "# source: scipy 1.17.1, scipy.optimize.minimize_scalar and brentq; resistances of IEC 60228 as in iec60228-resistance.csv",
        "# script: reference/make/power_boots_together.py",
        f"# script-sha256: {hashlib.sha256(here.read_bytes()).hexdigest()}",
        "# tolerance: 1e-6 of the factor (the least voltage is flat in what is sought)",
    ]
    out = here.parents[1] / "power" / "scipy-boots-together.csv"
    out.write_text("\n".join(head + ["degc,first_ohm,through_ohm,contact_ohm,modules,share,carried", *rows]) + "\n")


if __name__ == "__main__":
    main()
