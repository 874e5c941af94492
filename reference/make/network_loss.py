"""How many messages bit errors lose, by two routes that share nothing with the Rust.

Python 3.11, scipy==1.17.1, numpy==2.4.6, simpy==4.1.2. Run with no arguments to write reference/network/loss.json. Running it again gives the same bytes.

`frames`: the chance that a frame of so many bits has a wrong one, from scipy's binomial law (its survival function at 0).
`copies`: chains of links over which messages of several fragments go, each link with its rate and overhead. A SimPy process for each message carries its fragments hop by hop,
numpy draws how many bits of each frame are wrong; a copy whose fragment is hit on the way to its node is lost. The counts of lost copies at each node are written, and how many there
were: their limits hold the chance that the project works out, and its own counts.
"""

import hashlib
import json
import pathlib

import numpy
import scipy.stats
import simpy

MESSAGES = 20_000


def frames():
    rows = []
    for bits in [64, 80, 696, 1168, 12_304, 1_000_000]:
        for rate in [1e-12, 1e-9, 1e-7, 1e-5, 1e-3, 0.1]:
            rows.append([bits, rate, float(scipy.stats.binom.sf(0, bits, rate))])
    return rows


def chain(seed, case):
    """Copies lost at each node behind the first."""
    draw = numpy.random.default_rng(seed)
    env = simpy.Environment()
    lost = [0] * len(case["links"])

    def message():
        parts = [case["mtu_bytes"]] * ((case["bytes"] - 1) // case["mtu_bytes"])
        parts.append(case["bytes"] - sum(parts))
        whole = True
        arrived = parts
        for hop, link in enumerate(case["links"]):
            going = []
            for size in arrived:
                bits = link["bits_per_byte"] * (max(size, link["min_payload_bytes"]) + link["overhead_bytes"])
                yield env.timeout(bits)
                if draw.binomial(bits, link["rate"]) == 0:
                    going.append(size)
                else:
                    whole = False
            arrived = going
            lost[hop] += not whole

    def run():
        for _ in range(MESSAGES):
            yield env.process(message())

    env.run(until=env.process(run()))
    return lost


def cases():
    ethernet = {"bits_per_byte": 8, "overhead_bytes": 86, "min_payload_bytes": 0}
    plain = {"bits_per_byte": 8, "overhead_bytes": 38, "min_payload_bytes": 46}
    serial = {"bits_per_byte": 10, "overhead_bytes": 8, "min_payload_bytes": 0}
    for size, mtu, links in [
        (60, 1400, [dict(ethernet, rate=1e-5)] * 3),
        (6000, 1400, [dict(ethernet, rate=1e-6), dict(ethernet, rate=3e-6)]),
        (1, 1400, [dict(plain, rate=1e-4), dict(plain, rate=0.0), dict(plain, rate=1e-4)]),
        (150, 60, [dict(serial, rate=2e-5), dict(ethernet, rate=0.0), dict(serial, rate=1e-4)]),
        (0, 100, [dict(ethernet, rate=1e-3)]),
    ]:
        yield {"bytes": size, "mtu_bytes": mtu, "links": links}


def main():
    here = pathlib.Path(__file__)
    provenance = {
        "what": "frames: [bits, bit error rate, chance of loss]; copies: chains of links, messages sent, and copies lost at each node behind the first",
        "library": f"scipy {scipy.__version__}, numpy {numpy.__version__}, simpy {simpy.__version__}",
        "script": "reference/make/" + here.name,
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "frames: 1e-12 of the chance, rounding of two logarithms; copies: exact binomial limits at 99.9 %",
    }
    copies = [dict(case, messages=MESSAGES, lost=chain(800 + number, case)) for number, case in enumerate(cases())]
    text = json.dumps({"provenance": provenance, "frames": frames(), "copies": copies}, indent=1) + "\n"
    (here.parent.parent / "network" / "loss.json").write_text(text)


if __name__ == "__main__":
    main()
