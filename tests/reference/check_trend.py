#!/usr/bin/python3
"""Cross-checks of slopes, trend tests and breaks against scipy, numpy, statsmodels and R.

Random series (seed printed, TEST_SEED repeats a run) go through build/tests/tool_trend. Hamed & Rao
1998 is written here from the publication with scipy's ranks and statsmodels' autocorrelation. R is
optional: without Rscript its checks are left out with a message.
Usage: check_trend.py [PATH OF tool_trend]. Last line: N passed, N failed.
"""
import json
import os
import shutil
import subprocess
import sys
import time
import warnings

import numpy as np
from scipy import stats
from statsmodels.tsa.stattools import acf

SEED = int(os.environ.get("TEST_SEED", time.time()))
HERE = os.path.dirname(os.path.abspath(__file__))
BUILT = os.path.join(HERE, "..", "..", "build", "tests", "tool_trend")
TOOL = sys.argv[1] if len(sys.argv) > 1 else BUILT
passed, failed = 0, 0


def check(name, got, expected, tolerance=1e-9):
    global passed, failed
    if abs(got - expected) <= tolerance * max(1.0, abs(expected)):
        passed += 1
        return
    failed += 1
    print(f"FAILED {name}: {got!r}, expected {expected!r}")


def series(random):
    """(name, x, y): normal, autocorrelated, rounded, with holes, with a step, irregular, large."""
    for n in (20, 77, 180, 365, 730, 1500):
        x, noise = np.arange(n, dtype=float), random.normal(size=n)
        follow = np.empty(n)
        follow[0] = noise[0]
        for i in range(1, n):
            follow[i] = 0.6 * follow[i - 1] + noise[i]
        yield f"normal {n}", x, noise
        yield f"autocorrelated with a trend {n}", x, follow - 0.01 * x
        yield f"rounded {n}", x, np.round(270 + noise, 1)
        yield f"very rounded {n}", x, np.round(noise)
        yield f"step {n}", x, noise + 2.0 * (x > 0.6 * n)
        yield f"large {n}", x, 1e6 + 1e-3 * noise
        kept = np.sort(random.choice(n, size=max(15, n // 2), replace=False))
        yield f"holes {n}", x[kept], follow[kept]
        yield f"irregular {n}", np.cumsum(0.1 + random.exponential(size=n)), noise


def run_tool(cases, repeat=1):
    text = "".join(f"{len(x)} {repeat}\n" + "".join(f"{float(a)!r} {float(b)!r}\n"
                                                    for a, b in zip(x, y)) for _, x, y in cases)
    done = subprocess.run([TOOL], input=text, capture_output=True, text=True, check=True)
    return [json.loads(line) for line in done.stdout.splitlines()]


def kendall_variance(y):
    n = len(y)
    _, ties = np.unique(y, return_counts=True)
    return (n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18.0


def hamed_rao_variance(y, slope):
    n = len(y)
    ranks = stats.rankdata(y - slope * np.arange(n))
    r = acf(ranks, nlags=n - 1, fft=False)
    lags = np.arange(1, n)
    keep = np.abs(r[1:]) > stats.norm.ppf(0.975) / np.sqrt(n)
    total = ((n - lags) * (n - lags - 1.0) * (n - lags - 2.0) * r[1:])[keep].sum()
    return kendall_variance(y) * (1 + 2.0 / (n * (n - 1.0) * (n - 2.0)) * total)


def check_with_python(name, x, y, got):
    line = stats.theilslopes(y, x)
    s = sum(np.sign(y[i + 1:] - y[i]).sum() for i in range(len(y)))
    check(name + " status", got["status"], 0)
    for key, expected in zip(("slope", "intercept", "lower", "upper"), line):
        check(f"{name} {key}", got[key], expected, 1e-10)
    check(name + " S", got["s"], s)
    check(name + " variance", got["variance"], kendall_variance(y))
    tau, p = stats.kendalltau(x, y, method="asymptotic")  # no continuity correction there
    check(name + " p without correction", 2 * stats.norm.sf(abs(s) / np.sqrt(got["variance"])), p)
    check(name + " p", got["p"], 2 * stats.norm.sf(abs(got["z"])), 1e-12)
    check(name + " sign of tau", np.sign(s), np.sign(tau))
    # a mean of 1e6 is kept to 1e-10, which is 1e-7 of a spread of 1e-3
    near = 1e-7 if name.startswith("large") else 1e-9
    check(name + " r1", got["r1"], acf(y - np.median(y), nlags=1, fft=False)[1], near)
    variance = hamed_rao_variance(y, got["slope"])
    if not name.startswith(("holes", "irregular")) and variance > 0:
        check(name + " Hamed-Rao", got["hamed_rao_variance"], variance, 1e-7)
    least = max(2, int(0.15 * len(y)))
    rss = [y[:t].var() * t + y[t:].var() * (len(y) - t) for t in range(least, len(y) - least + 1)]
    check(name + " break RSS", got["break_rss"], min(rss), 1e-6 if "large" not in name else 1e-3)


R_SCRIPT = r"""
input <- file("stdin"); lines <- readLines(input); close(input); at <- 1
while (at <= length(lines)) {
  n <- as.integer(strsplit(lines[at], " ")[[1]][1])
  rows <- do.call(rbind, lapply(strsplit(lines[(at + 1):(at + n)], " "), as.numeric))
  at <- at + n + 1
  x <- rows[, 1]; y <- rows[, 2]
  pairs <- outer(y, y, "-") / outer(x, x, "-")
  slope <- median(pairs[lower.tri(pairs)])
  k <- cor.test(x, y, method = "kendall", exact = FALSE, continuity = TRUE)
  r1 <- acf(y, lag.max = 1, plot = FALSE)$acf[2]
  cat(sprintf("%.17g %.17g %.17g\n", slope, k$p.value, r1))
}
"""


def check_with_r(cases, results):
    if not shutil.which("Rscript"):
        print("skipped: checks against R (no Rscript here)")
        return
    text = "".join(f"{len(x)} 1\n" + "".join(f"{float(a)!r} {float(b)!r}\n" for a, b in zip(x, y))
                   for _, x, y in cases)
    done = subprocess.run(["Rscript", "--vanilla", "-e", R_SCRIPT], input=text,
                          capture_output=True, text=True, check=True)
    for (name, _, _), got, line in zip(cases, results, done.stdout.splitlines(), strict=True):
        slope, p, r1 = (float(word) for word in line.split())
        check(name + " slope in R", got["slope"], slope, 1e-10)
        check(name + " p in R", got["p"], p, 1e-9)
        check(name + " r1 in R", got["r1"], r1, 1e-7 if name.startswith("large") else 1e-9)


def main():
    print(f"TEST_SEED={SEED}")
    warnings.simplefilter("ignore")
    cases = list(series(np.random.default_rng(SEED)))
    results = run_tool(cases)
    check("number of answers", len(results), len(cases))
    for (name, x, y), got in zip(cases, results):
        check_with_python(name, x, y, got)
    short = [(c, r) for c, r in zip(cases, results) if len(c[1]) <= 400]
    check_with_r([c for c, _ in short], [r for _, r in short])
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


sys.exit(main())
