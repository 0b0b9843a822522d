#!/usr/bin/python3
"""How much faster the trend of one point is than scipy's theilslopes with a Mann-Kendall loop.

The peer: scipy.stats.theilslopes and S summed row by row with numpy's sign. Ours: tool_trend's
theil_sen_fit for the slope alone and trend_fit for slope, widened interval and test. Prints the
ratios and fails below 10. Usage: bench_trend.py [PATH OF tool_trend, of a release build].
Last line: N passed, N failed.
"""
import json
import os
import subprocess
import sys
import time

import numpy as np
from scipy import stats

HERE = os.path.dirname(os.path.abspath(__file__))
BUILT = os.path.join(HERE, "..", "..", "build", "tests", "tool_trend")
TOOL = sys.argv[1] if len(sys.argv) > 1 else BUILT
LEAST_RATIO = 10


def peer_seconds(x, y, repeat):
    start = time.perf_counter()
    for _ in range(repeat):
        stats.theilslopes(y, x)
        sum(np.sign(y[i + 1:] - y[i]).sum() for i in range(len(y)))
    return (time.perf_counter() - start) / repeat


def ours(x, y, repeat):
    text = f"{len(x)} {repeat}\n" + "".join(f"{float(a)!r} {float(b)!r}\n" for a, b in zip(x, y))
    done = subprocess.run([TOOL], input=text, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def main():
    random = np.random.default_rng(1)
    passed = failed = 0
    for n, repeat, peer_repeat in ((180, 500, 20), (365, 300, 10), (3650, 20, 1)):
        x, noise = np.arange(n, dtype=float), random.normal(size=n)
        for i in range(1, n):
            noise[i] += 0.5 * noise[i - 1]
        y = 270 + noise - 0.001 * x
        got, peer = ours(x, y, repeat), peer_seconds(x, y, peer_repeat)
        fit, trend = got["fit_ns"] / 1e9, got["trend_ns"] / 1e9
        good = peer / trend >= LEAST_RATIO
        passed, failed = passed + good, failed + (not good)
        print(f"n {n}: slope {fit * 1e3:.3f} ms, whole trend {trend * 1e3:.3f} ms, "
              f"scipy and loop {peer * 1e3:.2f} ms, ratio {peer / trend:.0f}")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


sys.exit(main())
