"""The start of the ladder in crates/power/benches/startup.rs by SciPy: LSODA between switchings, its terminal events at them.

Prints JSON: when something switched, s, and the seconds of each run (argument: how many). numpy 2.4.6, scipy 1.17.1.
"""

import json
import sys
import time

import numpy as np
from scipy.integrate import solve_ivp

OHM = np.array([10.221848, 7.666386, 5.889174])
FARAD = np.array([470e-6, 1000e-6, 330e-6])
BOOT_W, RUNNING_W = np.array([9.0, 10.0, 7.0]), np.array([6.0, 7.0, 4.0])
VOLT, LIMIT_A, ON_V, OFF_V, BOOT_S, UNTIL_S = 48.0, 0.9, 36.0, 26.0, 0.2, 0.9


def start():
    power, boot_end, on = np.zeros(3), np.full(3, np.inf), np.zeros(3, bool)
    limited, now, v, switched = True, 0.0, np.zeros(3), []

    def slope(_t, v):
        amp = np.empty(4)
        amp[0] = LIMIT_A if limited else (VOLT - v[0]) / OHM[0]
        amp[1:3] = (v[:2] - v[1:]) / OHM[1:]
        amp[3] = 0.0
        drawn = np.where(power > 0, power / np.where(power > 0, v, 1.0), 0.0)
        return (amp[:3] - amp[1:] - drawn) / FARAD

    while now < UNTIL_S:
        free = lambda _t, v: (VOLT - v[0]) / OHM[0] - LIMIT_A
        events = [(lambda t, v: -free(t, v)) if limited else free]
        for i in range(3):
            events.append((lambda _t, v, i=i: OFF_V - v[i]) if on[i] else (lambda _t, v, i=i: v[i] - ON_V))
        for event in events:
            event.terminal, event.direction = True, 1
        stop = min(UNTIL_S, boot_end.min())
        run = solve_ivp(slope, (now, stop), v, "LSODA", events=events, rtol=1e-10, atol=1e-9)
        now, v = run.t[-1], run.y[:, -1]
        hit = [k for k in range(4) if len(run.t_events[k])]
        for k in hit:
            if k == 0:
                limited = not limited
            else:
                on[k - 1] = not on[k - 1]
                power[k - 1] = BOOT_W[k - 1] if on[k - 1] else 0.0
                boot_end[k - 1] = now + BOOT_S if on[k - 1] else np.inf
            switched.append(now)
        if not hit:
            for i in np.flatnonzero(boot_end <= now):
                power[i], boot_end[i] = RUNNING_W[i], np.inf
                switched.append(now)
    return switched


seconds = []
for _ in range(int(sys.argv[1])):
    begin = time.perf_counter()
    switched_s = start()
    seconds.append(time.perf_counter() - begin)
json.dump({"switched_s": switched_s, "seconds": seconds}, sys.stdout)
