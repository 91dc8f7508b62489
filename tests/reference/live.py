"""Values of fixtures/reference/gum-examples.csv and nist-strd.csv, worked out now by libraries that are not ours:
scipy (distributions), GTC and uncertainties (propagation), numpy (NIST StRD's raw data). Prints one line a value:
check|source|stored|live|tolerance, which `tests/reference/run` puts into its table. The tests hold our code against
the stored values, so that a stored value that is wrong shows here."""
import csv, math, pathlib
import GTC, numpy, scipy, uncertainties
from scipy import stats
from uncertainties import umath

HERE = pathlib.Path(__file__).resolve().parents[2] / "fixtures" / "reference"
rows = lambda name: csv.reader(line for line in open(HERE / name) if not line.startswith("#"))
stored = {(row[0], row[1]): row[2] for row in rows("gum-examples.csv")}
value = lambda id, quantity: float(stored[id, quantity].split()[0])
many = lambda id, quantity: [float(x) for x in stored[id, quantity].split()]


def say(check, source, ours, theirs, within):
    print(f"{check}|{source}|{ours!r}|{float(theirs)!r}|{within}")


by_scipy = f"scipy {scipy.__version__}, live"
for z in ("1.0", "1.645", "1.96", "2", "3"):
    say(f"Phi({z})", by_scipy, value("normal", f"Phi({z})"), stats.norm.cdf(float(z)), 1e-9)
for p in ("0.95", "0.975", "0.99"):
    say(f"normal quantile {p}", by_scipy, value("normal", f"z for {p}"), stats.norm.ppf(float(p)), 1e-9)
for coverage, nu in ((0.95, 1), (0.95, 4), (0.95, 10), (0.95, 18), (0.95, 50), (0.9545, 4), (0.9545, 10), (0.99, 16)):
    say(f"t {coverage}, {nu} degrees of freedom", by_scipy, value("GUM-G2", f"t {coverage} two-sided nu={nu}"), stats.t.ppf((1 + coverage) / 2, nu), 3e-4)

volts, amps, phi = many("H2", "V observations"), [x / 1000 for x in many("H2", "I observations")], many("H2", "phi observations")
v, i, p = GTC.multiple_ureal([numpy.mean(x) for x in (volts, amps, phi)], [numpy.std(x, ddof=1) / math.sqrt(len(x)) for x in (volts, amps, phi)], 4)
for a, b, x, y in ((v, i, volts, amps), (v, p, volts, phi), (i, p, amps, phi)):
    GTC.set_correlation(numpy.corrcoef(x, y)[0, 1], a, b)
by_gtc = f"PyPI GTC {GTC.version if hasattr(GTC, 'version') else ''}, live".replace("  ", " ")
r, x, z = v / i * GTC.cos(p), v / i * GTC.sin(p), v / i
for name, found in (("R", r), ("X", x), ("Z", z)):
    say(f"GUM H.2, {name}", by_gtc, value("H2", name), GTC.value(found), 1e-9)
    say(f"GUM H.2, u({name})", by_gtc, value("H2", f"u({name})"), GTC.uncertainty(found), 1e-8)

covariance = numpy.cov([volts, amps, phi]) / len(volts)
v, i, p = uncertainties.correlated_values([numpy.mean(x) for x in (volts, amps, phi)], covariance)
by_uncertainties = f"PyPI uncertainties {uncertainties.__version__}, live"
for name, found in (("R", v / i * umath.cos(p)), ("X", v / i * umath.sin(p)), ("Z", v / i)):
    say(f"GUM H.2, u({name})", by_uncertainties, value("H2", f"u({name})"), found.std_dev, 1e-8)
ratio = uncertainties.ufloat(0.1, 0.001) / uncertainties.ufloat(0.015, 0.0005)
say("0.1 V over 15 mA, u", by_uncertainties, value("GTC-VI", "u(R)"), ratio.std_dev, 1e-9)

sets = {}
for row in rows("nist-strd-raw.csv"):
    if row[0] != "dataset":
        try:
            sets.setdefault(row[0], []).append(float(row[2]))
        except ValueError:
            pass
by_numpy = f"numpy {numpy.__version__} on NIST StRD's raw data, live"
for name, n, mean, deviation, *_ in rows("nist-strd.csv"):
    if name in sets:
        say(f"{name}, mean", by_numpy, float(mean), numpy.mean(sets[name]), 1e-13)
        say(f"{name}, deviation", by_numpy, float(deviation), numpy.std(sets[name], ddof=1), 1e-11)
