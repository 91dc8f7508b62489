"""Makes the made-up logs of fixtures/logs, with their truth beside them; the same on every run.

    python3 tests/reference/make_logs.py            # writes fixtures/logs/*.csv and truth.csv

Each is shaped as a kind of meter or program writes it. The scatter is from a seed; edges, levels and
rates stand in the calls below. The two `ngspice_*.csv` are from a circuit simulator instead: see the
netlists in fixtures/reference/ngspice, which tests/output_fixtures.rs runs where ngspice is installed.
"""
import random
from pathlib import Path

LOGS = Path(__file__).resolve().parents[2] / "fixtures" / "logs"
TRUTH = ["file,shape,alarm_volts,on_at_s,off_at_s,edge_within_s,readings,overloads,gaps,broken_rows,period_s"]


def readings(seed, rate, ends, on, off, level, rest=0.002, noise=0.003, sag=0.0, pulse=None, jitter=0.0, tau=0.0):
    chance, rows, i = random.Random(seed), [], 0
    while i / rate < ends:
        t = round(i / rate + jitter / rate * chance.uniform(-0.5, 0.5), 6) if i else 0.0
        powered = on <= t < off and (pulse is None or (t - on) % sum(pulse) < pulse[0])
        x = level - sag * (t - on) if powered else rest
        if tau and t >= off:
            x += (level - sag * (off - on) - rest) * 2.718281828459045 ** (-(t - off) / tau)
        rows.append((t, x + noise * chance.gauss(0, 1)))
        i += 1
    return rows


def write(name, header, rows, end="\n"):
    (LOGS / name).write_bytes((end.join([header, *rows]) + end).encode())


def truth(name, shape, level, on, off, within, n, overloads=0, gaps=0, broken=0, period=""):
    TRUTH.append(f"{name},{shape},{level},{on},{off},{within},{n},{overloads},{gaps},{broken},{period}")


def main():
    LOGS.mkdir(exist_ok=True)
    # A bench meter over a serial line, ten readings a second, a battery that sags.
    r = readings(1, 10, 60, 8.25, 48.25, 13.78, sag=0.09 / 60, jitter=0.2)
    write("bench_meter_steady.csv", "t_s,value,unit,overload", [f"{t:.6f},{x:.4f},V,0" for t, x in r])
    truth("bench_meter_steady.csv", "steady", 13.75, 8.25, 48.25, 0.12, len(r))
    # A spreadsheet of another country: semicolons, decimal commas, carriage returns.
    r = readings(2, 20, 40, 6.02, 36.02, 12.4, pulse=(0.5, 0.5))
    comma = lambda x, d: f"{x:.{d}f}".replace(".", ",")
    write("decimal_comma_pulsed.csv", "Time (s);Voltage (V)", [f"{comma(t, 3)};{comma(x, 3)}" for t, x in r], "\r\n")
    truth("decimal_comma_pulsed.csv", "pulsed", 12.4, 6.02, 35.52, 0.051, len(r), period=1.0)
    # Stamps, exponent form, the leads the wrong way round.
    r = readings(3, 4, 90, 20.1, 75.35, -13.6, rest=-0.001)
    stamp = lambda t: f"2026-03-07T06:{int(t // 60):02}:{t % 60:06.3f}Z"
    write("stamps_reversed.csv", "timestamp,reading,unit", [f"{stamp(t)},{x:+.4E},V" for t, x in r])
    truth("stamps_reversed.csv", "steady", -13.6, 20.1, 75.35, 0.25, len(r))
    # A hand-held meter of two readings a second: overload on a range change, a lost span, a torn row.
    r = readings(4, 2, 120, 30.2, 100.2, 27.2, noise=0.01)
    rows = [f"{t:.1f},{x:.2f},V,0" for t, x in r]
    rows[61] = f"{r[61][0]:.1f},OL,V,1"
    rows[150] = "75.0,27x"
    del rows[120:130]
    write("hand_held_overload_gap.csv", "t_s,value,unit,overload", rows)
    truth("hand_held_overload_gap.csv", "steady", 27.2, 30.2, 100.2, 1.0, len(r) - 12, 1, 1, 1)
    # A fast logger in millivolts; a hold-up capacitor lets the output fall slowly.
    r = readings(5, 200, 12, 2.0025, 8.0025, 13.2, tau=0.3)
    write("fast_logger_decay.csv", "time_ms\tvoltage (mV)", [f"{1000 * t:.0f}\t{1000 * x:.0f}" for t, x in r])
    truth("fast_logger_decay.csv", "steady", 13.2, 2.0025, 8.0025, 0.005, len(r))
    # Nothing happens.
    r = readings(6, 5, 60, 1e9, 1e9, 13.7, rest=0.013)
    write("never_on.csv", "t_s,value,unit,overload", [f"{t:.3f},{x:.4f},V,0" for t, x in r])
    truth("never_on.csv", "none", "", "", "", 0, len(r))
    # Still on when the log ends.
    r = readings(7, 5, 60, 11.05, 1e9, 6.8, noise=0.001)
    write("held.csv", "t_s,value,unit,overload", [f"{t:.3f},{x:.4f},V,0" for t, x in r])
    truth("held.csv", "held", 6.8, 11.05, "", 0.2, len(r))
    (LOGS / "truth.csv").write_text("\n".join(TRUTH) + "\n")


main()
