"""Change points of made-up logs with known edges: ours beside those of `ruptures` (PyPI), a general
library for change points, with the penalties its documentation and the literature suggest.

    python3 -m venv target/peers && target/peers/bin/pip install numpy ruptures
    cargo build --release
    target/peers/bin/python tests/reference/change_points.py [--rows 20000]

Neither is told a threshold. A found edge that lies within 100 ms of a true one, and is the nearest to
it, is that edge; the others are false. Prints for each log and method: edges found of those there,
false ones, the largest distance from the truth in ms and in readings, and seconds. Exits with 1 if ours
misses one, adds one, or places one off by more than a reading (up to 1,000 a second) or 1 ms (above).
"""
import argparse
import json
import os
import subprocess
import sys
import tempfile
import time

import numpy as np
import ruptures as rpt

ENDS_S, ON_S, OFF_S = 30.0, 5.0003, 25.0003
NEAR_S = 0.1


def make(shape, rows, seed):
    chance = np.random.default_rng(seed)
    t = np.arange(rows) * (ENDS_S / rows)
    on = (t >= ON_S) & (t < OFF_S)
    edges = [ON_S, OFF_S]
    level = np.full(rows, 13.7)
    rest = np.full(rows, 0.002)
    if shape == "sagging":
        level = 13.7 - 0.8 * (t - ON_S) / (OFF_S - ON_S)
    if shape == "pulsed":
        on &= (t - ON_S) % 1.0 < 0.5
        edges = [ON_S + k / 2 for k in range(40)]
    if shape == "decaying":
        rest = rest + np.where(t >= OFF_S, 13.7 * np.exp(-np.maximum(t - OFF_S, 0) / 0.3), 0.0)
    x = np.where(on, level, rest) + 0.01 * chance.standard_normal(rows)
    return t, np.round(x, 4), edges


def judge(found, edges):
    """How many true edges were found, how many found ones are none, and the largest distance."""
    left, off, hit = sorted(found), 0.0, 0
    for edge in edges:
        nearest = min(left, key=lambda f: abs(f - edge), default=None)
        if nearest is not None and abs(nearest - edge) <= NEAR_S:
            left.remove(nearest)
            hit, off = hit + 1, max(off, abs(nearest - edge))
    return hit, len(left), off


def ours(program, t, x):
    with tempfile.TemporaryDirectory() as folder:
        log = os.path.join(folder, "log.csv")
        with open(log, "w") as out:
            out.write("t_s,value,unit\n" + "".join([f"{a:.6f},{b:.4f},V\n" for a, b in zip(t, x)]))
        begun = time.perf_counter()
        said = subprocess.run([program, "analyse", log, "--json"], check=True, capture_output=True).stdout
        seconds = time.perf_counter() - begun
    return [change["at_s"] for change in json.loads(said)["changes"]], seconds


def theirs(method, t, x):
    n = len(x)
    scatter = np.median(np.abs(np.diff(x))) / 0.6745 / np.sqrt(2)
    penalty = 2 * scatter**2 * np.log(n)
    begun = time.perf_counter()
    if method == "PELT, l2, 2 s2 log n":
        found = rpt.KernelCPD(kernel="linear", min_size=2).fit(x).predict(pen=penalty)
    elif method == "BinSeg, l2, 2 s2 log n":
        found = rpt.Binseg(model="l2", min_size=2, jump=1).fit(x).predict(pen=penalty)
    else:
        found = rpt.Window(width=100, model="l2", jump=1).fit(x).predict(pen=penalty)
    seconds = time.perf_counter() - begun
    return [(t[i - 1] + t[i]) / 2 for i in found if i < n], seconds


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--rows", default="3000,30000", help="log lengths, with commas; each is 30 s long")
    words.add_argument("--peer-rows-max", type=int, default=30000)
    words.add_argument("--program", default="target/release/coilmark")
    terms = words.parse_args()
    failed = False
    print(f"{'log':<22} {'method':<24} {'found':>9} {'false':>6} {'off ms':>9} {'readings':>9} {'seconds':>8}")
    for rows in [int(float(n)) for n in terms.rows.split(",")]:
        interval = ENDS_S / rows
        for seed, shape in enumerate(["steady", "sagging", "pulsed", "decaying"]):
            t, x, edges = make(shape, rows, seed)
            methods = ["PELT, l2, 2 s2 log n", "BinSeg, l2, 2 s2 log n", "Window, l2, 2 s2 log n"]
            for method in ["coilmark"] + (methods if rows <= terms.peer_rows_max else []):
                found, seconds = ours(terms.program, t, x) if method == "coilmark" else theirs(method, t, x)
                hit, false, off = judge(found, edges)
                print(f"{shape + ', ' + format(round(1 / interval)) + '/s':<22} {method:<24} {hit:>5}/{len(edges):<3} "
                      f"{false:>6} {1e3 * off:>9.3f} {off / interval:>9.2f} {seconds:>8.3f}", flush=True)
                allowed = interval if 1 / interval <= 1000.5 else 1e-3
                failed |= method == "coilmark" and (hit < len(edges) or false > 0 or off > allowed + 1e-9)
    sys.exit(failed)


main()
