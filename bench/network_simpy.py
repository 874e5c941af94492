"""The peer of crates/network/benches/engine.rs: the same network in SimPy, by the rules of reference/make/network_simpy.py.

Needs simpy 4.1.2 (other versions run, the figures then differ). Reads one scenario as a line of JSON, then commands, one a line:
  rows   answers with every delivery [stream, seq, node, at_ns], sorted, and the number of frame crossings
  time   builds and runs the network once and answers with the seconds it took
Looking at the queues, which the reference files need, is switched off.
"""

import json
import pathlib
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "reference" / "make"))

from network_simpy import Net  # noqa: E402


def main():
    scenario = json.loads(sys.stdin.readline())
    for command in sys.stdin:
        begin = time.perf_counter()
        net = Net(scenario, look=False).run()
        seconds = time.perf_counter() - begin
        if command.strip() == "rows":
            answer = {"delivered": sorted([s, q, n, at] for s, q, n, _, at in net.delivered), "frame_hops": net.hops}
        else:
            answer = {"seconds": seconds}
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
