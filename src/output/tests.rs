//! How readings come in: whole blocks and odd ones, in order and not, with gaps between and inside
//! them. What must not be used is counted and changes nothing else; what is quick gives the same
//! as what is slow. Seconds and volts.

use super::*;

#[track_caller]
fn close(found: f64, wanted: f64) {
    assert!((found - wanted).abs() < 1e-9, "{found}, truly {wanted}");
}

/// Ten readings a second, on from 20 s to 40 s, with a pattern of 3 mV that is no noise.
fn log(n: u32) -> (Vec<f64>, Vec<f64>) {
    let readings = (0..n).map(|i| {
        let on = (200..400).contains(&i);
        (f64::from(i) / 10.0, if on { 12.5 } else { 0.25 } + 0.001 * f64::from(i * 7 % 4))
    });
    readings.unzip()
}

fn described(t: &[f64], x: &[f64], part: usize) -> Described {
    let mut analysis = Analysis::default();
    for (t, x) in t.chunks(part).zip(x.chunks(part)) {
        analysis.extend(t, x);
        assert!(analysis.t.len() < BLOCK && analysis.x.len() == analysis.t.len());
    }
    analysis.finish()
}

#[test]
fn the_same_readings_give_the_same_in_whatever_parts_they_come() {
    for n in [1, 2, 255, 256, 257, 700] {
        let (t, x) = log(n);
        let whole = described(&t, &x, 1000);
        assert_eq!(whole.finding.readings, u64::from(n));
        for part in [1, 3, 100, 255, 256, 257] {
            assert_eq!(described(&t, &x, part), whole, "{n} in parts of {part}");
        }
        let mut one_by_one = Analysis::default();
        t.iter().zip(&x).for_each(|(t, x)| one_by_one.push(*t, *x));
        assert_eq!(one_by_one.finish(), whole);
    }
    let (t, x) = log(700);
    let mut longer = Analysis::default();
    longer.extend(&t, &x[..600]);
    assert_eq!(longer.finish(), described(&t[..600], &x[..600], 9), "as many as have both");
}

#[test]
fn a_reading_out_of_order_or_not_finite_is_counted_and_changes_nothing_else() {
    let (t, x) = log(600);
    let clean = described(&t, &x, 1000);
    let wild = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY];
    for at in [0, 1, 255, 256, 400, 599, 600] {
        let now = t[at.min(599)];
        let times = wild.map(|t| (t, 5.0));
        let volts = wild.map(|x| (now, x));
        let early = (if at > 0 { t[at - 1] - 0.05 } else { f64::NAN }, 5.0);
        for bad in times.into_iter().chain(volts).chain([early]) {
            let (mut t, mut x) = (t.clone(), x.clone());
            t.insert(at, bad.0);
            x.insert(at, bad.1);
            for part in [4, 256, 1000] {
                let mut found = described(&t, &x, part);
                assert_eq!(found.finding.counts.out_of_order, 1, "{bad:?} at {at}");
                found.finding.counts.out_of_order = 0;
                let warned = found.finding.warnings.pop();
                assert_eq!(warned.as_deref(), Some("readings out of order left out: 1"));
                assert_eq!(found, clean, "{bad:?} at {at}");
            }
        }
    }
}

#[test]
fn only_readings_in_order_are_in_order() {
    let good = [1.0, 2.0, 2.0, 3.0, 4.0];
    let x = [0.0, -5.0, f64::MAX, 1.0, 2.0];
    for n in 0..=5 {
        assert!(in_order(1.0, &good[..n], &x[..n]));
        assert!(n == 0 || !in_order(1.5, &good[..n], &x[..n]));
        for at in 0..n {
            for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                let (mut t, mut volts) = (good, x);
                volts[at] = bad;
                assert!(!in_order(1.0, &t[..n], &volts[..n]), "{bad} volts at {at} of {n}");
                t[at] = bad;
                let from = f64::NEG_INFINITY;
                assert!(!in_order(from, &t[..n], &x[..n]), "{bad} s at {at} of {n}");
            }
            let mut t = good;
            t[at] = if at == 0 { 2.5 } else { 0.5 };
            assert!(n < 2 || !in_order(0.0, &t[..n], &x[..n]), "{t:?}");
        }
    }
}

#[test]
fn a_block_keeps_its_pace_unless_a_gap_or_a_shared_stamp_is_in_or_before_it() {
    let times = |from: f64| (0..8).map(|i| from + 0.25 * f64::from(i)).collect::<Vec<_>>();
    let begun = || {
        let mut analysis = Analysis { pace: Pace::begin(&times(3.0)), ..Analysis::default() };
        assert!(analysis.keep_pace(&times(3.0)));
        analysis.before = Some(4.75);
        analysis
    };
    let mut even = begun();
    assert!(even.keep_pace(&times(5.0)) && even.keep_pace(&[]));
    close(even.pace.interval(), 0.25);
    close(even.pace.longest(), 0.25);
    close(even.pace.stamp_u(), 0.0);
    let mut late = begun();
    assert!(!late.keep_pace(&times(6.0)), "a gap ahead of it");
    assert_eq!(late.pace.listed, [(4.75, 6.0)]);
    close(late.pace.longest(), 0.25);
    let mut torn = begun();
    assert!(!torn.keep_pace(&[5.0, 5.25, 7.0, 7.25]));
    assert_eq!(torn.pace.listed, [(5.25, 7.0)]);
    let mut shared = begun();
    assert!(!shared.keep_pace(&[5.0, 5.25, 5.25, 5.5]));
    close(shared.pace.stamp_u(), 0.125);
    let mut slower = begun();
    assert!(slower.keep_pace(&[5.0, 5.25, 6.0, 6.25]));
    close(slower.pace.longest(), 0.75);
    // Where the log begins with a gap or a shared stamp, nothing lies ahead of it.
    let mut first = Analysis { pace: Pace::begin(&times(3.0)), ..Analysis::default() };
    assert!(!first.keep_pace(&[3.0, 3.0, 3.25, 9.0]));
    assert_eq!((first.pace.gaps, first.pace.listed.as_slice()), (1, &[(3.25, 9.0)][..]));
    close(first.pace.stamp_u(), 0.125);
}

#[test]
fn a_last_block_of_one_reading_is_as_long_as_any() {
    for n in [2, 256, 257, 513] {
        let (t, x) = log(n);
        let counts = described(&t, &x, 1000).finding.counts;
        assert_eq!(counts.interval_s, Some(0.1), "{n}");
    }
}

#[test]
fn the_first_readings_tell_the_scatter_whatever_edge_is_among_them() {
    // Three in four steps of a normal scatter are below 1.1503 sqrt(2) of it: the quantile at
    // 0.875 of the normal distribution is 1.15035 in any table.
    close(scatter(&[0.0, 1.0, 0.0, 1.0, 0.0]), 1.0 / 1.1503 / 2.0_f64.sqrt());
    close(scatter(&[5.0, 5.0, 5.0, 5.0, 25.0, 25.0]), 0.0);
    close(scatter(&[5.0, 6.0, 4.0, 7.0]), 3.0 / 1.1503 / 2.0_f64.sqrt());
    close(scatter(&[5.0, 6.0, 4.0]), 0.0);
    close(ranked(vec![3.0, 1.0, 2.0], 0.5), 2.0);
    close(ranked(vec![4.0, 3.0, 1.0, 2.0], 0.75), 4.0);
    close(ranked(Vec::new(), 0.5), 0.0);
}

#[test]
fn extremes_are_those_of_all_readings() {
    for n in 1..14_u32 {
        for shift in 0..n {
            let x: Vec<f64> = (0..n).map(|i| f64::from((i + shift) % n) - 5.0).collect();
            assert_eq!(extremes(&x), (-5.0, f64::from(n) - 6.0), "{x:?}");
        }
    }
    assert_eq!(extremes(&[]), (f64::INFINITY, f64::NEG_INFINITY));
}

#[test]
fn ten_thousand_changes_are_listed() {
    let mut analysis = Analysis::default();
    for _ in 0..=CHANGES_MAX {
        analysis.note(Notice::Step(reading::Edge::default()));
    }
    assert_eq!(analysis.changes.len(), CHANGES_MAX);
}
