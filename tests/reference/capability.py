#!/usr/bin/env python3
"""Writes fixtures/reference/capability.csv: Cp, Cpk and slopes with their confidence intervals, worked out
by a general library (scipy: chi2, norm, linregress, t) from values made by a formula. Run by hand; the tests
only read the file. Formulas: NIST/SEMATECH e-Handbook 6.1.6 (chi squared for Cp, Bissell for Cpk)."""
import csv, math, sys
import numpy, scipy
from scipy import stats

out = csv.writer(sys.stdout, lineterminator="\n")
print(f"# Made by tests/reference/capability.py with scipy {scipy.__version__}; y[i] = mean + slope i + spread ((i * 7919) % 101 / 50 - 1), i from 0.")
out.writerow("n mean slope spread lower upper confidence cp cp_low cp_high cpk cpk_low cpk_high drift drift_half".split())
for n, mean, slope, spread, low, high, confidence in [
    (30, 360.0, 0.0, 12.0, 306.0, 414.0, 0.95),
    (100, 0.08, 0.0002, 0.02, 0.0, 0.2, 0.95),
    (1000, 9.6, -0.0003, 0.4, 6.0, 12.0, 0.99),
    (7, 100.0, 1.0, 5.0, 80.0, 110.0, 0.9),
    (250, 10000.0, 0.0, 3.0, 10001.0, 10020.0, 0.95),
]:
    i = numpy.arange(n)
    y = mean + slope * i + spread * (((i * 7919) % 101) / 50.0 - 1.0)
    m, s = y.mean(), y.std(ddof=1)
    tail = (1 - confidence) / 2
    cp = (high - low) / (6 * s)
    ends = [cp * math.sqrt(stats.chi2.ppf(p, n - 1) / (n - 1)) for p in (tail, 1 - tail)]
    cpk = min(high - m, m - low) / (3 * s)
    half = stats.norm.ppf(1 - tail) * math.sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)))
    line = stats.linregress(i, y)
    t = stats.t.ppf(1 - tail, n - 2)
    row = [cp, *ends, cpk, cpk - half, cpk + half, line.slope, t * line.stderr]
    out.writerow([n, mean, slope, spread, low, high, confidence, *(f"{x:.12g}" for x in row)])
