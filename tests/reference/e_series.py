"""Holds fixtures/reference/e-series.csv, and the nearest values that `src/zone/series.rs` claims,
against a library that is not ours: PyPI `eseries` 1.2.1.

    python3 -m venv /tmp/venv && /tmp/venv/bin/pip install eseries==1.2.1
    /tmp/venv/bin/python tests/reference/e_series.py
"""

import csv
import pathlib
import sys

from eseries import E3, E6, E12, E24, E48, E96, E192, find_nearest, series

NAMES = {"E3": E3, "E6": E6, "E12": E12, "E24": E24, "E48": E48, "E96": E96, "E192": E192}
root = pathlib.Path(__file__).resolve().parents[2]
rows = list(csv.DictReader(open(root / "fixtures/reference/e-series.csv")))
wrong = 0
for name, key in NAMES.items():
    ours = [int(row["value"]) for row in rows if row["series"] == name]
    theirs = [int(value) for value in series(key)]
    wrong += ours != theirs
    print(name, len(ours), "values", "agree" if ours == theirs else f"DIFFER: {theirs}")
CLAIMED = [(E12, 4650, 4700), (E12, 6850, 6800), (E96, 3300, 3320), (E96, 5000, 4990)]
for key, ohms, nearest in CLAIMED:
    found = find_nearest(key, ohms)
    wrong += abs(found - nearest) > 1e-6
    print(f"{key} nearest of {ohms}: {found}, claimed {nearest}")
sys.exit(1 if wrong else 0)
