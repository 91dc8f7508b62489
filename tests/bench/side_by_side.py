"""`coilmark analyse` beside the same job from general-purpose libraries, whole processes in turn.

    python3 -m venv target/peers
    target/peers/bin/pip install numpy polars tsdownsample plotly
    cargo build --release
    target/peers/bin/python tests/bench/side_by_side.py --rows 1e7 --rounds 5
    target/peers/bin/python tests/bench/side_by_side.py --rows 1e4,1e6,1e8 --alone --rounds 3

The job: read the log, find the edges and the level, write a page with a chart. Prints wall seconds,
processor seconds (medians of the rounds) and peak memory, and the ratio of the median times.
With --alone only ours runs. Logs are made up here by formula and deleted again; nothing is fetched.
"""
import argparse
import os
import statistics
import sys
import tempfile
import time

ENDS_S, ON_S, OFF_S = 150.0, 12.0, 132.0


def write_log(path, rows, shape, exponents):
    """Volts to 0.1 mV: rest near 0, from 12 s to 132 s a level near 13.7 V that sags and scatters."""
    import numpy as np
    chance = np.random.default_rng(20261125)
    with open(path, "w") as out:
        out.write("t_s,value,unit\n")
        for first in range(0, rows, 1 << 19):
            i = np.arange(first, min(rows, first + (1 << 19)))
            t = i * (ENDS_S / rows)
            on = (t >= ON_S) & (t < OFF_S)
            if shape == "pulsed":
                on &= (t - ON_S) % 1.0 < 0.5
            scatter = chance.standard_normal(len(i))
            level = 13.45 + 0.25 * np.exp(-np.maximum(t - ON_S, 0) / 45.0)
            x = np.where(on, level + 0.01 * scatter, 0.0005 + 0.002 * scatter)
            if shape == "decay":
                x += np.where(t >= OFF_S, 13.467 * np.exp(-np.maximum(t - OFF_S, 0) / 0.3), 0.0)
            row = "%.6f,%+.5E,V\n" if exponents else "%.6f,%.4f,V\n"
            out.write("".join([row % pair for pair in zip(t.tolist(), x.tolist())]))


def peer(log, page):
    """The fastest of the usual libraries for each part of the job."""
    import numpy as np
    import plotly.graph_objects as go
    import polars as pl
    from tsdownsample import MinMaxDownsampler
    frame = pl.read_csv(log, columns=["t_s", "value"])
    t, x = frame["t_s"].to_numpy(), frame["value"].to_numpy()
    on = x > 6.7
    edges = np.flatnonzero(np.diff(on.astype(np.int8))) + 1
    level = np.median(x[on])
    kept = MinMaxDownsampler().downsample(t, x, n_out=2000)
    chart = go.Figure(go.Scatter(x=t[kept], y=x[kept])).to_html(include_plotlyjs=True)
    rows = "".join(f"<tr><td>{t[e]:.6f}" for e in edges[:500])
    with open(page, "w") as out:
        out.write(f"<!doctype html><p>{len(x)} readings, level {level:.4f} V</p>{chart}<table>{rows}</table>")


def spawn(command):
    return os.posix_spawn(command[0], command, os.environ,
                          file_actions=[(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)])


def run(command):
    """Wall and processor seconds of one process."""
    begun = time.perf_counter()
    _, status, used = os.wait4(spawn(command), 0)
    wall = time.perf_counter() - begun
    if status:
        sys.exit(f"failed: {' '.join(command)}")
    return wall, used.ru_utime + used.ru_stime


def peak_kib(command):
    """Peak of resident memory, looked at while the process runs, in a round of its own: what `wait4`
    says begins with the memory of the process that spawned it."""
    child, peak = spawn(command), 0
    while not os.waitpid(child, os.WNOHANG)[0]:
        with open(f"/proc/{child}/status") as status, open(f"/proc/{child}/cmdline") as words:
            seen = [int(line.split()[1]) for line in status if line.startswith("VmHWM")]
            if seen and words.read().startswith(command[0]):
                peak = max(peak, *seen)
        time.sleep(0.002)
    return peak


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--rows", default="1e7", help="how many, or several with commas")
    words.add_argument("--rounds", type=int, default=5)
    words.add_argument("--shape", choices=["steady", "pulsed", "decay"], default="steady")
    words.add_argument("--exponents", action="store_true", help="readings as +1.37000E+01")
    words.add_argument("--alone", action="store_true", help="ours only")
    words.add_argument("--program", default="target/release/coilmark")
    words.add_argument("--peer", nargs=2, metavar=("LOG", "PAGE"), help=argparse.SUPPRESS)
    terms = words.parse_args()
    if terms.peer:
        return peer(*terms.peer)
    with tempfile.TemporaryDirectory() as folder:
        log, page = os.path.join(folder, "log.csv"), os.path.join(folder, "page.html")
        for rows in [int(float(n)) for n in terms.rows.split(",")]:
            write_log(log, rows, terms.shape, terms.exponents)
            commands = {"ours": [terms.program, "analyse", log, "--json", "--html", page]}
            if not terms.alone:
                commands["peer"] = [sys.executable, __file__, "--peer", log, page]
            seen = {name: [] for name in commands}
            for name, command in list(commands.items()) * terms.rounds:
                seen[name].append(run(command) + (os.path.getsize(page),))
            print(f"{rows} rows, {terms.shape}{', exponents' if terms.exponents else ''}, "
                  f"{os.path.getsize(log) / 1e6:.0f} MB, {terms.rounds} rounds in turn")
            peaks = {}
            for name, runs in seen.items():
                wall, cpu, bytes_ = (statistics.median(figure) for figure in zip(*runs))
                peak = peaks[name] = peak_kib(commands[name])
                print(f"  {name}: {wall:.3f} s, {cpu:.3f} s of processor, {peak / 1024:.1f} MiB, page {bytes_:.0f} bytes")
            if not terms.alone:
                of = lambda k: statistics.median(r[k] for r in seen["peer"]) / statistics.median(r[k] for r in seen["ours"])
                print(f"  ratio of medians: {of(0):.2f} in time, {of(1):.2f} in processor time, "
                      f"{peaks['peer'] / peaks['ours']:.0f} in memory")


main()
