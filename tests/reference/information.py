#!/usr/bin/env python3
"""Writes fixtures/reference/information.csv: what one touch is expected to tell about a pair, in bits,
as the mutual information of status and outcome by a general library (scipy.stats.entropy of the joint
table and of its margins). Run by hand: `target/peers/bin/python tests/reference/information.py >
fixtures/reference/information.csv`; a unit test of `src/relay/planner.rs` reads the file."""
import csv, sys
import numpy, scipy
from scipy.stats import entropy

LEVELS = ["open", "closed", "coil"]
# At rest, energised; per status in the order of the file's columns.
SHOWN = [("open", "open"), ("closed", "open"), ("open", "closed"), ("closed", "closed"), ("coil", "coil")]


def joint(p, no_contact, bridge, toggle):
    """Rows are statuses, columns what is shown at rest and energised."""
    table = numpy.zeros((5, 9))
    for row, (rest, driven) in enumerate(SHOWN):
        both = LEVELS.index(rest) * 3 + LEVELS.index(driven if toggle else rest)
        table[row, both] += p[row] * (1 - no_contact - bridge)
        table[row, LEVELS.index("open") * 4] += p[row] * no_contact
        table[row, LEVELS.index("closed") * 4] += p[row] * bridge
    return table


def told(table):
    """I(status; outcome) = H(status) + H(outcome) - H(status, outcome)."""
    bits = lambda of: entropy(of.ravel(), base=2)
    return bits(table.sum(axis=1)) + bits(table.sum(axis=0)) - bits(table)


print(f"# Made by tests/reference/information.py with scipy {scipy.__version__}: scipy.stats.entropy, base 2.")
out = csv.writer(sys.stdout, lineterminator="\n")
out.writerow("open break make joined coil no_contact bridge toggle bits".split())
random = numpy.random.default_rng(20)
cases = [[0.2] * 5, [0.9, 0.04, 0.03, 0.02, 0.01], [0.5, 0.5, 0, 0, 0], [0, 0, 0, 0.5, 0.5], [1, 0, 0, 0, 0]]
cases += [list(random.dirichlet([0.4] * 5)) for _ in range(15)]
for p in cases:
    for no_contact, bridge in [(0.02, 0.002), (0.06, 0.006), (1e-9, 1e-9)]:
        for toggle in (0, 1):
            bits = told(joint(p, no_contact, bridge, toggle))
            out.writerow([*(repr(float(x)) for x in p), no_contact, bridge, toggle, f"{max(bits, 0):.15g}"])
