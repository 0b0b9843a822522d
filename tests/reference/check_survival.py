#!/usr/bin/python3
"""Kaplan and Meier's estimate against statsmodels (SurvfuncRight), with its standard error of
Greenwood; the log-log interval is written here from that. Random lives with delayed entry and ties
(seed printed, TEST_SEED repeats a run). Usage: check_survival.py [PATH OF tool_survival]. Last line:
N passed, N failed.
"""
import json
import math
import os
import subprocess
import sys
import time

import numpy as np
from scipy import stats
from statsmodels.duration.survfunc import SurvfuncRight

SEED = int(os.environ.get("TEST_SEED", time.time()))
HERE = os.path.dirname(os.path.abspath(__file__))
BUILT = os.path.join(os.environ.get("SUBSLAB_BUILD", os.path.join(HERE, "..", "..", "build")), "tests", "tool_survival")
TOOL = sys.argv[1] if len(sys.argv) > 1 else BUILT
OK = 0


def lives(random, late):
    n = int(random.integers(5, 120))
    end = random.weibull(1.5, n) * 8 + 0.05
    cut = random.uniform(1, 12, n)
    failed = end <= cut
    end = np.maximum(np.round(np.minimum(end, cut), 1), 0.1)
    entry = np.where(random.random(n) < late, np.round(end * random.random(n), 1), 0.0)
    entry = np.minimum(entry, end - 0.05)
    entry[:3], end[0], failed[0] = 0.0, 12.0, False  # so that somebody is seen at every age
    return entry, end, failed


def expected(entry, end, failed, age):
    fitted = SurvfuncRight(end, failed.astype(int), entry=entry)
    at = np.searchsorted(fitted.surv_times, age, side="right") - 1
    if at < 0:
        return 1.0, None, None
    share, error = fitted.surv_prob[at], fitted.surv_prob_se[at]
    if not 0.0 < share < 1.0:
        return share, None, None
    wide = stats.norm.ppf(0.975) * (error / share) / abs(math.log(share))
    return share, share ** math.exp(wide), share ** math.exp(-wide)


def main():
    print(f"seed {SEED} (TEST_SEED={SEED} repeats it)")
    random = np.random.default_rng(SEED)
    cases = [(*lives(random, late), age) for late in (0.0, 0.3, 0.7) for _ in range(60) for age in (0.5, 1, 3, 5, 10)]
    text = "".join(f"{len(end)} {age}\n" + "".join(f"{a!r} {b!r} {int(f)}\n" for a, b, f in
                                                  zip(entry.tolist(), end.tolist(), failed))
                   for entry, end, failed, age in cases)
    done = subprocess.run([TOOL], input=text, capture_output=True, text=True, check=True)
    passed = failures = intervals = 0
    for line, (entry, end, failed, age) in zip(done.stdout.splitlines(), cases, strict=True):
        got = json.loads(line)
        share, lower, upper = expected(entry, end, failed, age)
        good = got["status"] == OK and abs(got["share"] - share) < 1e-9
        if lower is not None:
            intervals += 1
            good = good and abs(got["lower"] - lower) < 1e-9 and abs(got["upper"] - upper) < 1e-9
        passed, failures = passed + good, failures + (not good)
        if not good:
            print(f"FAILED at {age} of {len(end)}: {got}, expected {share} {lower} {upper}")
    if intervals < len(cases) // 2:
        failures += 1
        print(f"FAILED only {intervals} intervals of {len(cases)} compared")
    print(f"{passed} passed, {failures} failed")
    sys.exit(failures > 0)


if __name__ == "__main__":
    main()
