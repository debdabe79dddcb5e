#!/usr/bin/env python3
"""Reference values for the rank statistics and lines: python3 vectors.py > vectors.json

Needs numpy and scipy (made with scipy 1.10.1, numpy 1.24.2).
"""
import itertools
import json
import numpy as np
from scipy import stats

rng = np.random.default_rng(21)


def by_enumeration(x, y):
    """Two-sided p over all arrangements of the midranks, at least as far from the mean."""
    ranks = stats.rankdata(np.concatenate([x, y]))
    m, mean = len(x), ranks.mean() * len(x)
    far = abs(ranks[:m].sum() - mean) - 1e-9
    sums = [abs(sum(c) - mean) >= far for c in itertools.combinations(ranks, m)]
    return float(np.mean(sums))


untied = []
for m, n in ((1, 3), (2, 5), (3, 3), (3, 9), (5, 5), (6, 14), (10, 10), (20, 17), (31, 50), (50, 50)):
    x = np.round(rng.normal(0, 1, m), 6)
    y = np.round(rng.normal(0.7, 1.3, n), 6)
    untied.append({"x": x.tolist(), "y": y.tolist(),
                   "p": stats.mannwhitneyu(x, y, alternative="two-sided", method="exact").pvalue,
                   "shift": float(np.median(np.subtract.outer(y, x)))})

tied = []
for m, n in ((2, 3), (3, 3), (3, 5), (4, 4), (5, 6), (6, 6), (7, 8), (9, 8)):
    x = np.round(rng.normal(0, 1, m), 0)
    y = np.round(rng.normal(0.8, 1, n), 0)
    tied.append({"x": x.tolist(), "y": y.tolist(), "p": by_enumeration(x, y),
                 "shift": float(np.median(np.subtract.outer(y, x)))})

many = []
for m, n, places in ((120, 130, 6), (150, 40, 1), (80, 70, 0)):
    x = np.round(rng.normal(0, 1, m), places)
    y = np.round(rng.normal(0.2, 1, n), places)
    many.append({"x": x.tolist(), "y": y.tolist(),
                 "p": stats.mannwhitneyu(x, y, alternative="two-sided", method="asymptotic").pvalue})

lines = []
for n in (3, 4, 10, 25):
    x = np.round(np.sort(rng.uniform(0, 10, n)), 6)
    y = np.round(2 - 0.3 * x + rng.normal(0, 0.5, n), 6)
    fit, robust = stats.linregress(x, y), stats.theilslopes(y, x)
    lines.append({"x": x.tolist(), "y": y.tolist(), "slope": fit.slope, "intercept": fit.intercept,
                  "slope_se": fit.stderr, "intercept_se": fit.intercept_stderr,
                  "theil_sen": robust.slope,
                  "slope_half_95": float(stats.t.ppf(0.975, n - 2) * fit.stderr)})

# Benjamini & Hochberg 1995, section 3.1: fifteen p of a thrombolysis trial, four rejected at q = 0.05.
p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
     0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000]
adjusted = [min(p[j] * len(p) / (j + 1) for j in range(i, len(p))) for i in range(len(p))]

print(json.dumps({"source": "scipy.stats.mannwhitneyu(method='exact', for many 'asymptotic'), linregress, theilslopes; ties by full enumeration",
                  "untied": untied, "tied": tied, "many": many, "lines": lines,
                  "thrombolysis": {"p": p, "adjusted": adjusted, "rejected_at_5_percent": 4}}, indent=None))
