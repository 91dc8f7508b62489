"""`coilmark analyse --parquet` read back by pyarrow and polars: the same readings as in the CSV.

    python3 -m venv target/peers && target/peers/bin/pip install pyarrow polars
    cargo build --features parquet
    target/peers/bin/python tests/reference/parquet_round_trip.py [--program target/debug/coilmark]

A made-up log of 200,000 rows with overloads goes out and comes back; prints a table and exits with 1
where anything differs by a bit.
"""
import argparse
import os
import random
import subprocess
import sys
import tempfile

import polars
import pyarrow.parquet


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--program", default="target/debug/coilmark")
    terms = words.parse_args()
    chance = random.Random(20261125)
    wanted = [(f"{i / 100:.6f}", None if chance.random() < 0.01 else f"{chance.gauss(13.7, 0.02):.4f}") for i in range(200_000)]
    failed = False
    with tempfile.TemporaryDirectory() as folder:
        log, file = os.path.join(folder, "log.csv"), os.path.join(folder, "log.parquet")
        with open(log, "w") as out:
            out.write("t_s,value,unit,overload\n")
            out.write("".join([f"{t},{x or ''},V,{int(x is None)}\n" for t, x in wanted]))
        subprocess.run([terms.program, "analyse", log, "--json", "--parquet", file], check=True, stdout=subprocess.DEVNULL)
        tables = {"pyarrow": pyarrow.parquet.read_table(file).to_pydict(), "polars": polars.read_parquet(file).to_dict(as_series=False)}
        for name, table in tables.items():
            for column, truly in [
                ("t_s", [float(t) for t, _ in wanted]),
                ("volts", [x and float(x) for _, x in wanted]),
                ("overload", [x is None for _, x in wanted]),
            ]:
                differ = sum(a != b for a, b in zip(table[column], truly)) + abs(len(table[column]) - len(truly))
                failed |= differ > 0
                print(f"{name:<8} {column:<9} {len(table[column])} rows, {differ} differ")
    sys.exit(failed)


main()
