//! The analysis against published values: NIST StRD's univariate sets to the digits certified,
//! medians by counting, and change points where an exact search of a general library finds them.
//! The values stand in `fixtures/reference/` with their sources. What a double can hold of NumAcc3
//! and NumAcc4 limits those two: their inputs are rounded by 1e-10 and 1e-9 of a tenth.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod checked;

use coilmark::output::{Analysis, Counts, Moments};
use std::collections::BTreeMap;

fn rows(text: &'static str) -> impl Iterator<Item = Vec<&'static str>> {
    let lines = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines.map(|line| line.split(',').collect())
}

fn sets(text: &'static str) -> BTreeMap<&'static str, Vec<f64>> {
    let mut sets: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for row in rows(text) {
        sets.entry(row[0]).or_default().push(row[2].parse().unwrap());
    }
    sets
}

fn nist() -> BTreeMap<&'static str, Vec<f64>> {
    let mut sets = sets(include_str!("../fixtures/reference/nist-strd-raw.csv"));
    for (name, c) in [("NumAcc2", 1.2), ("NumAcc3", 1_000_000.2), ("NumAcc4", 10_000_000.2)] {
        let alternating = (0..1000).map(|i| if i % 2 == 0 { c - 0.1 } else { c + 0.1 });
        sets.insert(name, std::iter::once(c).chain(alternating).collect());
    }
    let digits = include_str!("../fixtures/reference/nist-strd-pidigits.txt");
    let digits = digits.lines().filter(|line| !line.starts_with('#')).flat_map(str::chars);
    sets.insert("PiDigits", digits.map(|c| f64::from(c.to_digit(10).unwrap())).collect());
    sets
}

#[track_caller]
fn agree(found: Option<f64>, certified: &str, within: f64, what: &str) {
    let source = format!("NIST StRD {what}, certified value");
    checked::relative(&source, found.unwrap(), certified.parse().unwrap(), within);
}

#[test]
fn statistics_agree_with_nist_to_the_digits_certified() {
    let sets = nist();
    let certified = rows(include_str!("../fixtures/reference/nist-strd.csv"));
    let mut seen = 0;
    for row in certified {
        let [name, n, mean, sd, lag] = row[..] else { panic!("{row:?}") };
        let values = &sets[name];
        assert_eq!(values.len().to_string(), n, "{name}");
        let times: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
        let within = match name {
            "NumAcc3" => 1e-9,
            "NumAcc4" => 1e-8,
            _ => 2e-13,
        };
        let mut one_by_one = Moments::default();
        let mut at_once = Moments::default();
        let mut in_parts = Moments::default();
        for (t, x) in times.iter().zip(values) {
            one_by_one.push(*t, *x);
        }
        at_once.extend(&times, values);
        for (t, x) in times.chunks(7).zip(values.chunks(7)) {
            in_parts.extend(t, x);
        }
        for sums in [one_by_one, at_once, in_parts] {
            agree(sums.mean(), mean, 1e-14, name);
            agree(sums.sd(), sd, within, name);
            agree(sums.lag_1(), lag, within.max(1e-12) * 10.0, name);
        }
        seen += 1;
    }
    assert_eq!(seen, 9);
}

#[test]
fn a_line_is_as_sure_as_nist_certifies_where_neighbours_scatter_freely() {
    // NIST StRD, linear regression, Norris: y and x of 36 observations.
    let norris = "0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 \
        998.5 996.3 449.1 448.6 778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 \
        339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 \
        119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0 \
        10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5";
    let values: Vec<f64> = norris.split_whitespace().map(|v| v.parse().unwrap()).collect();
    let mut sums = Moments::default();
    values.chunks(2).for_each(|pair| sums.push(pair[1], pair[0]));
    assert_eq!(values.len(), 72);
    let slope = sums.slope().unwrap();
    let source = "NIST StRD Norris, certified value";
    checked::relative(source, slope.volts_per_s, 1.002_116_818_020_45, 1e-12);
    checked::relative(source, slope.volts_per_s_u, 0.000_429_796_848_199_937, 1e-9);
}

#[test]
fn merged_sums_are_the_sums_over_all() {
    let values = &nist()["Michelso"];
    let times: Vec<f64> = (0..values.len()).map(|i| 10.0 + 0.37 * i as f64).collect();
    let mut whole = Moments::default();
    whole.extend(&times, values);
    let mut merged = Moments::default();
    for (t, x) in times.chunks(33).zip(values.chunks(33)) {
        let mut part = Moments::default();
        part.extend(t, x);
        merged.merge(&part);
    }
    let close = |a: f64, b: f64| assert!((a - b).abs() <= 1e-11 * b.abs(), "{a} {b}");
    close(merged.mean().unwrap(), whole.mean().unwrap());
    close(merged.sd().unwrap(), whole.sd().unwrap());
    close(merged.slope().unwrap().volts_per_s, whole.slope().unwrap().volts_per_s);
}

#[test]
fn counted_medians_are_exact() {
    let mut sets = nist();
    sets.insert("R_doc_a", (1..=9).map(f64::from).collect());
    sets.insert("R_doc_b", (1..=8).chain([100]).map(f64::from).collect());
    sets.insert("R_doc_c", [1, 2, 3, 5, 7, 8].map(f64::from).to_vec());
    for row in rows(include_str!("../fixtures/reference/medians.csv")) {
        let mut counts = Counts::default();
        counts.extend(&sets[row[0]]);
        let wanted: f64 = row[2].parse().unwrap();
        let found = counts.median().unwrap();
        let source = format!("median of {} by numpy 2.4.6 or R's page on mad", row[0]);
        checked::relative(&source, found, wanted, 1e-12);
        assert!(counts.exact());
    }
}

#[test]
fn a_median_stays_exact_far_from_the_first_reading_and_on_a_fine_grid() {
    for grid in [1e-1, 1e-4, 1e-6] {
        let per_volt = (1.0_f64 / grid).round();
        let mut values: Vec<f64> = (0..2001).map(|i| f64::from(i % 97) / per_volt).collect();
        values.extend((0..2500).map(|i| (13.7 * per_volt + f64::from(i % 89)).round() / per_volt));
        values.push(-250.0);
        let mut counts = Counts::default();
        counts.extend(&values);
        values.sort_by(f64::total_cmp);
        let wanted = f64::midpoint(values[(values.len() - 1) / 2], values[values.len() / 2]);
        assert_eq!(counts.count(), values.len() as u64);
        let found = counts.median().unwrap();
        assert!((found - wanted).abs() < 1e-9, "{grid}: {found} {wanted}");
        assert!(counts.exact());
    }
}

#[test]
fn a_median_on_no_grid_at_all_is_within_what_it_says() {
    let mut counts = Counts::default();
    let values: Vec<f64> = (0..100_001).map(|i| 13.0 + f64::from(i) * 1.234_567_891e-5).collect();
    counts.extend(&values);
    assert!(!counts.exact());
    let found = counts.median().unwrap();
    assert!((found - values[50_000]).abs() < 2e-5, "{found}");
}

#[test]
fn change_points_are_where_an_exact_search_finds_them() {
    let signals = sets(include_str!("../fixtures/reference/changepoint-signals.csv"));
    for row in rows(include_str!("../fixtures/reference/changepoint-breakpoints.csv")) {
        let signal = &signals[row[0]];
        let mut analysis = Analysis::default();
        for (i, x) in signal.iter().enumerate() {
            analysis.push(i as f64, *x);
        }
        let found = analysis.finish().finding;
        let mut points: Vec<String> =
            found.changes.iter().map(|change| change.reading.to_string()).collect();
        points.push(signal.len().to_string());
        let source = format!("PyPI ruptures 1.1.10, exact search, signal {}", row[0]);
        checked::same(&source, &points.join(" "), &row[1].to_owned());
    }
}
