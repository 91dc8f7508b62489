//! Budgets, decisions and capability against published examples: JCGM 100:2008 (the GUM) 4.2 to
//! 5.2, H.1 and H.2 with its correlations, EA-4/02 S3, JCGM 106:2012 9.5, Table G.2, and NIST
//! StRD's sets for mean and deviation. The values stand in `fixtures/reference/` with sources.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use coilmark::metrology::{
    Budget, Capability, Component, DecisionRule, Joint, Process, Tolerance, Trend, chi_squared,
    normal_cdf, normal_quantile, student_coverage,
};

mod checked;

const EXAMPLES: &str = include_str!("../fixtures/reference/gum-examples.csv");

/// The field of one quantity, as it stands.
fn text(id: &str, quantity: &str) -> String {
    let mut rows = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(EXAMPLES.as_bytes());
    let found = rows.records().map(Result::unwrap).find(|r| &r[0] == id && &r[1] == quantity);
    found.unwrap_or_else(|| panic!("{id}: {quantity}"))[2].to_owned()
}

fn values(id: &str, quantity: &str) -> Vec<f64> {
    text(id, quantity).split(' ').map(|x| x.parse().unwrap()).collect()
}

fn value(id: &str, quantity: &str) -> f64 {
    values(id, quantity)[0]
}

#[track_caller]
fn close(found: f64, wanted: f64, within: f64) {
    checked::relative(source(), found, wanted, within);
}

/// What the test that runs is held against.
fn source() -> &'static str {
    let thread = std::thread::current();
    let test = thread.name().and_then(|path| path.rsplit("::").next());
    let of = |name: &str| test.is_some_and(|test| test.starts_with(name));
    let sources = [
        ("gum_", "JCGM 100:2008 (the GUM), its examples"),
        ("ea_4_02", "EA-4/02, S3 (inputs from memory)"),
        ("a_quotient", "read-me of PyPI GTC"),
        ("jcgm_106", "JCGM 106:2012; numbers by SciPy 1.17.1"),
        ("quantiles", "SciPy 1.17.1; JCGM 100:2008, Table G.2"),
        ("capability_is", "NIST/SEMATECH e-Handbook, 6.1.6 (from memory)"),
        ("capability_and", "SciPy 1.17.1"),
        ("mean_and", "NIST StRD, certified values"),
    ];
    sources.iter().find(|(name, _)| of(name)).unwrap_or_else(|| panic!("no source")).1
}

#[test]
fn gum_h2_resistance_and_reactance_with_their_correlations() {
    // JCGM 100:2008 (the GUM), H.2, Tables H.2 to H.4.
    let volts = values("H2", "V observations");
    let amps: Vec<f64> = values("H2", "I observations").iter().map(|ma| ma / 1000.0).collect();
    let phi = values("H2", "phi observations");
    let joint = Joint::observed(&[("V", &volts), ("I", &amps), ("phi", &phi)]).unwrap();
    for (i, name) in ["V", "I", "phi"].into_iter().enumerate() {
        close(joint.means()[i], value("H2", &format!("mean {name}")), 1e-12);
        close(joint.us()[i], value("H2", &format!("u(mean {name})")), 1e-11);
    }
    for (i, j, name) in [(0, 1, "r(V,I)"), (0, 2, "r(V,phi)"), (1, 2, "r(I,phi)")] {
        close(joint.correlation(i, j), value("H2", name), 1e-9);
    }
    let [v, i, p] = [joint.means()[0], joint.means()[1], joint.means()[2]];
    let z = v / i;
    let r = [p.cos() / i, -z * p.cos() / i, -z * p.sin()];
    let x = [p.sin() / i, -z * p.sin() / i, z * p.cos()];
    let whole = [1.0 / i, -z / i, 0.0];
    close(z * p.cos(), value("H2", "R"), 1e-11);
    close(z * p.sin(), value("H2", "X"), 1e-11);
    close(z, value("H2", "Z"), 1e-11);
    for (sensitivities, name) in [(r, "u(R)"), (x, "u(X)"), (whole, "u(Z)")] {
        close(joint.budget(&sensitivities).combined(), value("H2", name), 1e-10);
        let mut apart = Budget::new();
        joint.budget(&sensitivities).components().iter().for_each(|c| {
            let _ = apart.add(c.clone());
        });
        let wrong = value("H2", &format!("{name} if correlations are wrongly ignored"));
        // The published values are of inputs that were rounded first.
        close(apart.combined(), wrong, 1e-7);
    }
    for (one, other, name) in [(r, x, "r(R,X)"), (r, whole, "r(R,Z)"), (x, whole, "r(X,Z)")] {
        close(joint.correlation_of_results(&one, &other), value("H2", name), 1e-8);
    }
}

#[test]
fn gum_h1_end_gauge_by_welch_and_satterthwaite() {
    // JCGM 100:2008, H.1.6.
    let (us, freedoms) = (values("H1", "components u_i"), values("H1", "degrees of freedom"));
    let budget = us.iter().zip(&freedoms).fold(Budget::new(), |budget, (u, freedom)| {
        budget.with(Component::standard("x", *u, *freedom))
    });
    close(budget.combined(), value("H1", "u_c (root sum of squares)"), 1e-8);
    close(budget.freedom(), value("H1", "nu_eff from 31.671"), 1e-8);
    let expanded = budget.expanded(0.99);
    close(expanded.coverage_factor, value("H1", "t_99 for nu=16"), 1e-8);
    // The GUM rounds u_c to 32 nm first: 93 nm. From 31.67 nm it is 92.5 nm.
    close(expanded.expanded, value("H1", "U_99 published"), 0.006);
}

#[test]
fn gum_h1_difference_of_the_gauges() {
    // JCGM 100:2008, H.1: the difference d and its three parts.
    let parts = [(5.8, 24.0), (3.9, 5.0), (6.7, 8.0)];
    let budget = parts
        .iter()
        .fold(Budget::new(), |budget, (u, nu)| budget.with(Component::standard("d", *u, *nu)));
    close(budget.combined(), value("H1d", "u(d) from 5.8 (24), 3.9 (5), 6.7 (8)"), 1e-8);
    // The GUM's 25.6 comes of 9.7, as rounded.
    let of_rounded = budget.freedom() * (9.7 / budget.combined()).powi(4);
    close(of_rounded, value("H1d", "nu_eff(d) with u(d)=9.7"), 1e-8);
}

#[test]
fn gum_4_and_5_components_one_by_one() {
    // JCGM 100:2008: 4.3.4, 4.3.7 (examples 1 and 2), 4.4.3 with Table 1, 5.1.5.
    let readings = values("4.4.3", "20 readings");
    let repeated = Component::repeated("t", &readings).unwrap();
    close(repeated.u, value("4.4.3", "u=s/sqrt(20)"), 1e-7);
    assert_eq!(repeated.freedom, 19.0);
    let certificate = Component::expanded("R", 129.0, 2.58);
    close(certificate.u, value("4.3.4", "u from 129 uohm at 99 % (divide by 2.58)"), 1e-12);
    let exact = Component::expanded("R", 129.0, normal_quantile(0.995));
    close(exact.u, value("4.3.4", "same with exact normal quantile"), 1e-8);
    close(
        Component::rectangular("a", 0.40).u,
        value("4.3.7-1", "u of +-0.40e-6 rectangular"),
        1e-7,
    );
    let accuracy = Component::rectangular("V", value("4.3.7-2/5.1.5", "half-width a"));
    close(accuracy.u, value("4.3.7-2/5.1.5", "u(B)=a/sqrt(3)"), 1e-6);
    let whole = Budget::new().with(Component::standard("A", 12.0, 9.0)).with(accuracy);
    close(whole.combined(), value("4.3.7-2/5.1.5", "u_c"), 1e-6);
}

#[test]
fn gum_5_2_2_ten_resistors_of_one_calibration() {
    // JCGM 100:2008, 5.2.2, the example; its text from memory, its numbers worked out again.
    let mut budget = Budget::new();
    let places: Vec<usize> =
        (0..10).map(|_| budget.add(Component::standard("R", 0.1, 50.0))).collect();
    close(budget.combined(), value("5.2.2", "same, taken as uncorrelated"), 1e-8);
    for i in &places {
        places.iter().take(*i).for_each(|j| budget.correlate(*i, *j, 1.0));
    }
    close(
        budget.combined(),
        value("5.2.2", "ten 1000 ohm resistors, u=0.1 ohm each, fully correlated: u(sum)"),
        1e-12,
    );
}

#[test]
fn ea_4_02_s3_a_standard_resistor() {
    // EA-4/02, supplement, example S3: result and u as published, inputs from memory.
    let (standard, ratio) = (10_000.053 + 0.020, 1.000_010_5);
    let budget = Budget::new()
        .with(Component::expanded("R_S", 0.005, 2.0).times(ratio))
        .with(Component::rectangular("drift", 0.010).times(ratio))
        .with(Component::rectangular("bath, S", 0.00275).times(ratio))
        .with(Component::rectangular("bath, X", 0.0055))
        .with(Component::triangular("r_C", 1.0e-6).times(standard * ratio))
        .with(Component::standard("r", 0.158e-6 / 5f64.sqrt(), 4.0).times(standard));
    close(standard * ratio, value("EA-S3", "R_X"), 1e-12);
    close(budget.combined(), value("EA-S3", "u(R_X)"), 1e-4);
    assert!((2.0 * budget.combined() - 0.017).abs() < 0.0005, "published 0.017 ohm, k = 2");
}

#[test]
fn a_quotient_of_two_readings() {
    // The read-me of the Python library GTC, which prints 6.67(23).
    let (v, i) = (0.1, 0.015);
    let budget = Budget::new()
        .with(Component::standard("V", 0.001, f64::INFINITY).times(1.0 / i))
        .with(Component::standard("I", 0.0005, f64::INFINITY).times(-v / (i * i)));
    close(budget.combined(), value("GTC-VI", "u(R)"), 1e-9);
}

#[test]
fn jcgm_106_risks_of_the_resistors() {
    // JCGM 106:2012, 9.5: the inputs as published, the risks worked out with SciPy 1.17.1.
    let process = Process { mean: 1500.0, deviation: 0.12 };
    let tolerance = Tolerance::between(1499.8, 1500.2);
    for (guard, accepted) in
        [(0.0, "A = T (w=0)"), (0.02, "A = 1499.82..1500.18"), (0.04, "A = 1499.84..1500.16")]
    {
        let inside = Tolerance::between(1499.8 + guard, 1500.2 - guard);
        let risk = process.risk(0.04, &tolerance, &inside).unwrap();
        close(risk.accepted_wrongly, value("106-R", &format!("R_C, {accepted}")), 1e-7);
        close(risk.refused_wrongly, value("106-R", &format!("R_P, {accepted}")), 1e-7);
        close(risk.not_conforming, value("106-R", "p(non-conforming) in production"), 1e-8);
    }
}

#[test]
fn jcgm_106_probability_that_a_diode_conforms() {
    // JCGM 106:2012, clause 7, the example of a diode, from memory; worked out again.
    let known = Budget::new().with(Component::standard("v", 0.05, f64::INFINITY)).expanded(0.95);
    let limit = Tolerance::at_least(5.40);
    let judged = DecisionRule::Simple.judge(5.47, &known, &limit);
    close(
        judged.probability,
        value("106-Z", "Zener |v|=5.47 V, u=0.05 V, limit 5.40 V: p_c=Phi(1.4)"),
        1e-9,
    );
    assert!((judged.margin.unwrap() - 0.07).abs() < 1e-12);
}

#[test]
fn quantiles_are_those_of_the_tables() {
    // SciPy 1.17.1 for the normal distribution; JCGM 100:2008, Table G.2, for t.
    for z in [1.0, 1.645, 1.96, 2.0, 3.0] {
        let name = if z == 1.0 { "Phi(1.0)".into() } else { format!("Phi({z})") };
        close(normal_cdf(z), value("normal", &name), 1e-9);
    }
    for p in [0.95, 0.975, 0.99] {
        close(normal_quantile(p), value("normal", &format!("z for {p}")), 1e-9);
    }
    for (coverage, freedom) in [
        (0.95, 1),
        (0.95, 4),
        (0.95, 10),
        (0.95, 18),
        (0.95, 50),
        (0.9545, 4),
        (0.9545, 10),
        (0.99, 16),
    ] {
        let published = value("GUM-G2", &format!("t {coverage} two-sided nu={freedom}"));
        close(student_coverage(coverage, f64::from(freedom)), published, 3e-5);
    }
    // The usual tables of chi squared, from memory: 95 % with 10 degrees 18.307, 5 % 3.940.
    close(chi_squared(0.95, 10.0), 18.307, 3e-5);
    close(chi_squared(0.05, 10.0), 3.940, 1e-4);
}

#[test]
fn capability_is_that_of_the_handbook() {
    // NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6, from memory: limits 8 and 20, mean
    // 16, s 2 give Cp 1.0 and Cpk 0.6667.
    let tolerance = Tolerance::between(8.0, 20.0);
    let capability = Capability::of(50, 16.0, 2.0, &tolerance, 0.95).unwrap();
    close(capability.cp.unwrap(), 1.0, 1e-12);
    close(capability.cpk, 0.6667, 1e-4);
    // Their intervals, by the formulas of the same page: chi squared with 49 degrees of freedom
    // (2.5 % 31.555, 97.5 % 70.222, usual tables, from memory).
    let cp = capability.cp_between.unwrap();
    close(cp.low, (31.555_f64 / 49.0).sqrt(), 1e-4);
    close(cp.high, (70.222_f64 / 49.0).sqrt(), 1e-4);
    let half = 1.96 * (1.0 / 450.0 + 0.6667_f64.powi(2) / 98.0).sqrt();
    close(capability.cpk_between.low, 0.6667 - half, 2e-4);
}

#[test]
fn mean_and_deviation_are_certified_to_what_a_double_holds() {
    // NIST StRD, univariate summary statistics: certified values of the agency's nine sets.
    for line in include_str!("../fixtures/reference/nist-strd.csv").lines().skip(3) {
        let row: Vec<&str> = line.split(',').collect();
        let (mean, deviation): (f64, f64) = (row[2].parse().unwrap(), row[3].parse().unwrap());
        let mut trend = Trend::default();
        nist(row[0]).iter().zip(0..).for_each(|(y, x)| trend.push(f64::from(x), *y));
        assert_eq!(trend.count().to_string(), row[1], "{}", row[0]);
        // The inputs of NumAcc3 and NumAcc4 are rounded by 1e-10 and 1e-9 of a tenth.
        let within = match row[0] {
            "NumAcc3" => 1e-9,
            "NumAcc4" => 1e-8,
            _ => 1e-12,
        };
        close(trend.mean().unwrap(), mean, 1e-14);
        close(trend.deviation().unwrap(), deviation, within);
    }
}

fn nist(set: &str) -> Vec<f64> {
    let formula = [("NumAcc2", 1.2), ("NumAcc3", 1_000_000.2), ("NumAcc4", 10_000_000.2)];
    if let Some((_, c)) = formula.into_iter().find(|(name, _)| *name == set) {
        let alternating = (0..1000).map(|i| if i % 2 == 0 { c - 0.1 } else { c + 0.1 });
        return std::iter::once(c).chain(alternating).collect();
    }
    let rows = include_str!("../fixtures/reference/nist-strd-raw.csv").lines();
    rows.filter_map(|row| row.strip_prefix(set)?.rsplit(',').next()?.parse().ok()).collect()
}

#[test]
fn capability_and_drift_are_those_of_a_general_library() {
    // SciPy 1.17.1, by tests/reference/capability.py.
    let text = include_str!("../fixtures/reference/capability.csv");
    let mut rows = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    let mut count = 0;
    for row in rows.records().map(Result::unwrap) {
        let x: Vec<f64> = row.iter().map(|cell| cell.parse().unwrap()).collect();
        let [n, mean, slope, spread, lower, upper, confidence] = x[..7] else { panic!("{x:?}") };
        let mut trend = Trend::default();
        let mut i = 0.0;
        while i < n {
            let scatter = (i * 7919.0) % 101.0 / 50.0 - 1.0;
            trend.push(i, mean + slope * i + spread * scatter);
            i += 1.0;
        }
        let (m, s) = (trend.mean().unwrap(), trend.deviation().unwrap());
        let tolerance = Tolerance::between(lower, upper);
        let found = Capability::of(trend.count(), m, s, &tolerance, confidence).unwrap();
        let cp = found.cp_between.unwrap();
        let (drift, half) = trend.slope(confidence).unwrap();
        let values = [
            found.cp.unwrap(),
            cp.low,
            cp.high,
            found.cpk,
            found.cpk_between.low,
            found.cpk_between.high,
            drift,
            half,
        ];
        values.iter().zip(&x[7..]).for_each(|(found, wanted)| close(*found, *wanted, 1e-7));
        count += 1;
    }
    assert_eq!(count, 5);
}
