//! Claims about coils, each against its published source. The table of coils is
//! `fixtures/reference/relay-coils.csv`: R = V^2 / P for usual powers (classes from memory; the
//! 12 V, 360 mW, 400 ohm row is in a relay maker's term list), with ohms at 70 degrees Celsius
//! by IEC 60028. The tests read the rows; no number of the model under test is in them.

use super::*;
use crate::cable::copper::{
    COPPER_PER_KELVIN, from_20_celsius, pick_up_from_20_celsius, to_20_celsius,
};
use statrs::distribution::{Continuous, Normal};

const AT_REST: DriveEvidence = DriveEvidence { moved_at: None, still_at: None };

struct Row {
    rated: f64,
    watts: f64,
    ohms_20: f64,
    ohms_70: f64,
}

fn rows() -> Vec<Row> {
    let text = include_str!("../../../fixtures/reference/relay-coils.csv");
    let rows: Vec<Row> = text
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| {
            let n: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
            Row { rated: n[0], watts: n[1] / 1000.0, ohms_20: n[2], ohms_70: n[4] }
        })
        .collect();
    assert_eq!(rows.len(), 72);
    rows
}

fn share(shares: &[(f64, f64)], rated: f64) -> f64 {
    shares.iter().find(|(v, _)| *v == rated).map_or(0.0, |(_, p)| *p)
}

#[track_caller]
fn close(found: f64, expected: f64, within: f64) {
    let source = "IEC 60028 and two notes on coil temperature";
    crate::checked::absolute(source, found, expected, within);
}

/// Between two temperatures, by way of 20 degrees.
fn carried(ohms: f64, from: f64, to: f64) -> f64 {
    from_20_celsius(to_20_celsius(ohms, from), to)
}

#[test]
fn copper_follows_iec_60028() {
    // IEC 60028:1925: 0.00393 per kelvin at 20 C, which is 1 / (234.5 + 20) = 0.003929.
    close(COPPER_PER_KELVIN, 1.0 / 254.5, 1.5e-6);
    // 400 ohm at 20 C is 478.6 ohm at 70 C (IEC 60028, arithmetic).
    close(from_20_celsius(400.0, 70.0), 478.6, 0.05);
    close(to_20_celsius(478.6, 70.0), 400.0, 0.05);
}

#[test]
fn worked_examples_of_coil_temperature_come_out() {
    // Note on MIL-PRF-83536/9 relays: 320 ohm at 25 C is 443.3 ohm at 125 C.
    close(carried(320.0, 25.0, 125.0), 443.3, 0.1);
    // The same note: pick-up 13.0 V at 25 C is 18 V (18.0096) at 125 C.
    close(carried(13.0, 25.0, 125.0), 18.0096, 0.005);
    // Application note "Relays and temperature variations": 16 V at 25 C is 19.7 V at 85 C,
    // 20.6 V at 100 C, 12.9 V at -25 C.
    close(carried(16.0, 25.0, 85.0), 19.7, 0.05);
    close(carried(16.0, 25.0, 100.0), 20.6, 0.05);
    close(carried(16.0, 25.0, -25.0), 12.9, 0.05);
    // Application note "Temperature considerations for DC relays", inputs 90 ohm and 6.5 V at
    // 20 C; at 85 C by IEC 60028: 112.98 ohm, 8.16 V.
    close(from_20_celsius(90.0, 85.0), 112.98, 0.02);
    close(pick_up_from_20_celsius(6.5, 85.0), 8.16, 0.005);
    // The first application note's chart makes 290 ohm at 25 C into 403.3 at 125 C; the formula
    // gives 401.75. The chart is 0.5 % off, so the tolerance here is the formula's own.
    close(carried(290.0, 25.0, 125.0), 401.75, 0.05);
    // Temperature from resistance, application note 102: 320 to 443.3 ohm from 25 C is 99.99 K.
    let kelvin = (443.3 / to_20_celsius(320.0, 25.0) - 1.0) / COPPER_PER_KELVIN + 20.0 - 25.0;
    close(kelvin, 99.99, 0.05);
}

#[test]
fn the_table_of_coils_agrees_with_copper() {
    for row in rows() {
        let found = from_20_celsius(row.ohms_20, 70.0);
        close(found, row.ohms_70, 1e-4 * row.ohms_70 + 0.01);
    }
}

#[test]
fn usual_coils_come_out_at_their_usual_voltage() {
    for (ohms, rated) in [(330.0, 12.0), (400.0, 12.0), (1440.0, 24.0), (5760.0, 48.0)] {
        let shares = rated_volts(ohms, ohms * 0.005, AT_REST);
        assert_eq!(shares[0].0, rated, "{ohms} ohm: {shares:?}");
        assert!(shares[0].1 > 0.6, "{ohms} ohm: {shares:?}");
        close(shares.iter().map(|s| s.1).sum(), 1.0, 1e-12);
    }
}

#[test]
fn resistance_alone_never_rules_out_the_1440_ohm_trap() {
    // 1440 ohm: 12 V at 100 mW, 24 V at 400 mW, 48 V at 1.6 W (R = V^2 / P).
    let shares = rated_volts(1440.0, 5.0, AT_REST);
    for rated in [12.0, 24.0, 48.0] {
        assert!(share(&shares, rated) > 0.01, "{rated} V: {shares:?}");
    }
}

#[test]
fn every_coil_of_the_table_keeps_its_own_rating_plausible() {
    for row in rows() {
        let p = share(&rated_volts(row.ohms_20, 0.0, AT_REST), row.rated);
        assert!(p > 0.005, "{} V at {} W: p = {p}", row.rated, row.watts);
    }
}

#[test]
fn drives_move_the_distribution_the_right_way() {
    let u = 5.0;
    let before = rated_volts(1440.0, u, AT_REST);
    let moved = |moved_at, still_at| rated_volts(1440.0, u, DriveEvidence { moved_at, still_at });
    // Still at 12 V: no 12 V part (must operate at most 80 %: terms after JIS C 4530).
    let still = moved(None, Some(12.0));
    assert!(share(&still, 12.0) < 0.1 * share(&before, 12.0));
    assert!(share(&still, 48.0) > share(&before, 48.0));
    // Moved at 6 V: hardly a 24 V part, and no 48 V part.
    let low = moved(Some(6.0), None);
    assert_eq!(low[0].0, 12.0, "{low:?}");
    assert!(share(&low, 48.0) < 1e-3);
    // Moved at 18 V, not at 15 V: 24 V.
    let bracketed = moved(Some(18.0), Some(15.0));
    assert!(share(&bracketed, 24.0) > 0.9, "{bracketed:?}");
}

#[test]
fn contradictory_drives_still_give_a_distribution() {
    for (moved_at, still_at) in
        [(Some(5.0), Some(24.0)), (None, Some(1e6)), (Some(1e-6), None), (Some(f64::NAN), None)]
    {
        let shares = rated_volts(400.0, 2.0, DriveEvidence { moved_at, still_at });
        close(shares.iter().map(|s| s.1).sum(), 1.0, 1e-9);
    }
    // Contacts seen moving at 5 V are a fact; seen still at 24 V, a lead may have slipped.
    let moved = DriveEvidence { moved_at: Some(5.0), still_at: None };
    let both = DriveEvidence { still_at: Some(24.0), ..moved };
    assert_eq!(rated_volts(400.0, 2.0, both), rated_volts(400.0, 2.0, moved));
    assert_eq!(moves_probability(400.0, 2.0, both, 24.0), 1.0);
}

/// One drive after another up the ladder, as the guide does: what it shows of a part that picks
/// up at `pick_up` volts.
fn climb(steps: &[f64], pick_up: f64) -> DriveEvidence {
    let moved_at = steps.iter().copied().find(|v| *v >= pick_up);
    let still_at = steps.iter().copied().rfind(|v| *v < pick_up);
    DriveEvidence { moved_at, still_at }
}

#[test]
fn no_coil_of_the_table_is_overdriven_before_it_must_have_moved() {
    for row in rows() {
        for tolerance in [0.9, 1.0, 1.1] {
            let ohms = row.ohms_20 * tolerance;
            let steps = ladder(ohms, 0.0, 60.0, 3.0);
            let moves = steps.iter().find(|v| **v >= MUST_OPERATE * row.rated);
            let Some(volts) = moves else { panic!("{} V, {ohms} ohm: {steps:?}", row.rated) };
            assert!(*volts <= 1.1 * row.rated, "{} V, {ohms} ohm: {steps:?}", row.rated);
        }
    }
}

#[test]
fn ladders_keep_within_their_limits_and_rise() {
    let mut ohms = 10.0;
    while ohms <= 100_000.0 {
        for (volts_max, watts_max) in [(24.0, 3.0), (14.0, 3.0), (60.0, 0.5), (2.0, 3.0)] {
            let steps = ladder(ohms, ohms * 0.01, volts_max, watts_max);
            assert!(steps.windows(2).all(|w| w[0] < w[1]), "{ohms}: {steps:?}");
            for volts in &steps {
                assert!(*volts <= volts_max && volts * volts / ohms <= watts_max, "{steps:?}");
                assert!(BENCH_VOLTS.contains(volts));
            }
        }
        assert!(!ladder(ohms, 0.0, 24.0, 3.0).is_empty(), "{ohms} ohm");
        ohms *= 1.03;
    }
    // A 48 V part is tried at the most that is permitted.
    assert_eq!(ladder(5760.0, 10.0, 24.0, 3.0).last(), Some(&24.0));
}

#[test]
fn nonsense_gives_an_empty_ladder() {
    let bad = [f64::NAN, 0.0, -5.0, f64::INFINITY];
    for x in bad {
        assert!(ladder(x, 0.0, 24.0, 3.0).is_empty());
        assert!(rated_volts(x, 1.0, AT_REST).is_empty());
        assert_eq!(moves_probability(x, 1.0, AT_REST, 12.0), 0.0);
    }
    for x in [f64::NAN, 0.0, -1.0] {
        assert!(ladder(400.0, 0.0, x, 3.0).is_empty());
        assert!(ladder(400.0, 0.0, 24.0, x).is_empty());
        assert_eq!(moves_probability(400.0, 1.0, AT_REST, x), 0.0);
    }
    assert!(!ladder(400.0, f64::NAN, 24.0, 3.0).is_empty());
    assert!(!ladder(400.0, -1.0, 24.0, 3.0).is_empty());
}

#[test]
fn more_volts_never_move_it_less() {
    let evidence = [(None, None), (None, Some(9.0)), (Some(15.0), Some(9.0)), (Some(12.0), None)];
    for (moved_at, still_at) in evidence {
        let evidence = DriveEvidence { moved_at, still_at };
        let mut last = 0.0;
        for tenth in 1..1300 {
            let p = moves_probability(1440.0, 5.0, evidence, f64::from(tenth) / 10.0);
            assert!((0.0..=1.0).contains(&p) && p >= last, "{evidence:?} {tenth}: {p} < {last}");
            last = p;
        }
        assert!(last > 0.99, "{evidence:?}: {last}");
    }
}

#[test]
fn a_drive_that_was_seen_is_certain() {
    let seen = DriveEvidence { moved_at: Some(12.0), still_at: Some(9.0) };
    assert_eq!(moves_probability(400.0, 2.0, seen, 12.0), 1.0);
    assert_eq!(moves_probability(400.0, 2.0, seen, 9.0), 0.0);
    // A 400 ohm coil is most likely a 12 V one, and 9 V is 75 % of that.
    assert!(moves_probability(400.0, 2.0, AT_REST, 9.0) > 0.75);
    assert!(moves_probability(400.0, 2.0, AT_REST, 3.0) < 0.1);
}

#[test]
fn every_coil_of_the_table_is_coil_like_and_a_contact_is_not() {
    for row in rows() {
        // Tolerance 15 %: terms after JIS C 4530 and JIS C 5442.
        assert!(is_coil_like(row.ohms_20 * 0.85) && is_coil_like(row.ohms_20 * 1.15));
    }
    // A power relay's contact has 0.1 ohm at most (usual catalogue figure, from memory).
    for ohms in [0.1, 1.0, 0.0, -400.0, 1e6, f64::NAN, f64::INFINITY] {
        assert!(!is_coil_like(ohms), "{ohms} ohm");
    }
}

#[test]
fn healthy_coils_are_never_said_to_have_shorted_turns() {
    for row in rows() {
        let steps = ladder(row.ohms_20, 0.0, 60.0, 3.0);
        for percent in (40..=80).step_by(5) {
            let evidence = climb(&steps, row.rated * f64::from(percent) / 100.0);
            // Tolerance 15 %: terms after JIS C 4530 and JIS C 5442.
            let found = shorted_turns(row.ohms_20 * 0.85, 0.0, evidence);
            assert_eq!(found, None, "{} V at {} W, {evidence:?}", row.rated, row.watts);
        }
    }
}

#[test]
fn a_coil_far_too_low_for_its_drive_has_shorted_turns() {
    // Still at 9 V and moved at 12 V is a rating of 11.25 V or more; 30 ohm would be over 4 W.
    let evidence = DriveEvidence { moved_at: Some(12.0), still_at: Some(9.0) };
    let found = shorted_turns(30.0, 0.1, evidence);
    close(found.unwrap().healthy_ohms_min, 42.1875, 1e-9);
    assert_eq!(shorted_turns(60.0, 0.1, evidence), None);
    // A part that did not move is not judged.
    assert_eq!(shorted_turns(30.0, 0.1, DriveEvidence { moved_at: None, ..evidence }), None);
    // No rating is below 3 V.
    let weak = DriveEvidence { moved_at: Some(3.0), still_at: None };
    assert!(shorted_turns(2.0, 0.01, weak).is_some());
}

/// By hand: smooth steps t^2 (3 - 2t) from 40 % to 80 % of rated volts for 96 parts in 100, from
/// 20 % to 120 % for the others. At 50 %: t is 1/4 and 3/10, 0.96 x 0.15625 + 0.04 x 0.216.
#[test]
fn pick_up_rises_from_two_fifths_of_the_rating_to_four() {
    for (share, expected) in [
        (0.2, 0.0),
        (0.4, 0.004_16),
        (0.5, 0.158_64),
        (0.6, 0.494_08),
        (0.8, 0.985_92),
        (1.2, 1.0),
        (5.0, 1.0),
    ] {
        let found = picked_up(share);
        assert!((found - expected).abs() < 1e-12, "{share}: {found}, by hand {expected}");
    }
}

/// The mixture of the classes by another library's normal density.
#[test]
fn coil_powers_lie_around_their_classes() {
    let density = |x: f64, sd: f64| Normal::new(0.0, sd).unwrap().pdf(x);
    for spread in [0.0_f64, 0.05, 0.3] {
        let class_sd = (0.08_f64.powi(2) + spread.powi(2)).sqrt();
        let free_sd = (0.9_f64.powi(2) + spread.powi(2)).sqrt();
        for watts in [0.01_f64, 0.15, 0.3, 0.45, 1.7, 30.0] {
            let classed =
                POWERS.iter().map(|(class, w)| w * density((watts / class).ln(), class_sd));
            let free = density((watts / 0.45).ln(), free_sd);
            let expected = 0.85 * classed.sum::<f64>() + 0.15 * free;
            let found = power_density(watts, spread);
            crate::checked::absolute("statrs normal density", found, expected, 2e-12);
        }
    }
    // Far from any class a little is left, so that every coil has a distribution.
    assert!((power_density(1e9, 0.0) / 1e-12 - 1.0).abs() < 1e-9);
}

/// Bayes over ratings and pick-up together, summed in one go.
#[test]
fn drives_are_weighed_by_how_many_parts_pick_up_between_them() {
    for (ohms, still, moved) in
        [(400.0, 4.0, 9.0), (1440.0, 9.0, 18.0), (1440.0, 6.0, 30.0), (100.0, 3.0, 5.0)]
    {
        let at_rest = rated_volts(ohms, 1.0, AT_REST);
        let between =
            |rated: f64, low: f64, high: f64| picked_up(high / rated) - picked_up(low / rated);
        let all = |low: f64, high: f64| -> f64 {
            at_rest.iter().map(|&(rated, p)| p * between(rated, low, high)).sum()
        };
        let evidence = DriveEvidence { moved_at: Some(moved), still_at: Some(still) };
        for (rated, p) in rated_volts(ohms, 1.0, evidence) {
            let expected = share(&at_rest, rated) * between(rated, still, moved);
            close(p, expected / all(still, moved), 1e-6);
            assert!(p > 0.0, "{rated} V is never quite out of the question");
        }
        for tenth in 1..10 {
            let volts = still + (moved - still) * f64::from(tenth) / 10.0;
            let found = moves_probability(ohms, 1.0, evidence, volts);
            close(found, all(still, volts) / all(still, moved), 1e-6);
            let only = DriveEvidence { still_at: None, ..evidence };
            let found = moves_probability(ohms, 1.0, only, volts);
            close(found, all(0.0, volts) / all(0.0, moved), 1e-6);
            let only = DriveEvidence { moved_at: None, ..evidence };
            let found = moves_probability(ohms, 1.0, only, volts);
            close(found, all(still, volts) / all(still, 1e6), 1e-6);
        }
    }
}

#[test]
fn drives_that_are_no_volts_are_passed_over() {
    let at_rest = rated_volts(400.0, 2.0, AT_REST);
    for nonsense in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -5.0].map(Some) {
        for (moved_at, still_at) in [(nonsense, None), (None, nonsense), (nonsense, nonsense)] {
            let found = rated_volts(400.0, 2.0, DriveEvidence { moved_at, still_at });
            assert_eq!(found, at_rest, "{moved_at:?} {still_at:?}");
        }
    }
    let hardly = DriveEvidence { moved_at: Some(1e-6), still_at: None };
    for volts in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -5.0] {
        for evidence in [AT_REST, hardly] {
            assert_eq!(moves_probability(400.0, 2.0, evidence, volts), 0.0, "{volts} V");
        }
    }
}

#[test]
fn an_uncertainty_is_taken_from_nothing_to_a_third() {
    let with = |u| rated_volts(400.0, u, AT_REST);
    assert_eq!(with(f64::NAN), with(0.0));
    assert_eq!(with(-7.0), with(0.0));
    assert_eq!(with(1e6), with(400.0 / 3.0));
    assert_ne!(with(50.0), with(0.0));
    // Two standard uncertainties on the safe side: 3 W in 400 - 2 x 100 ohm are 24.5 V.
    assert_eq!(ladder(400.0, 100.0, 60.0, 3.0).last(), Some(&24.0));
    assert!(ladder(400.0, 100.0, 60.0, 2.8).iter().all(|volts| *volts <= 18.0));
}

#[test]
fn without_limits_the_ladder_is_every_plausible_rating() {
    for row in rows() {
        let shares = rated_volts(row.ohms_20, 0.0, AT_REST);
        let plausible = shares.iter().filter(|(_, p)| *p >= PLAUSIBLE);
        let mut plausible: Vec<f64> = plausible.map(|(rated, _)| *rated).collect();
        plausible.sort_by(f64::total_cmp);
        assert_eq!(ladder(row.ohms_20, 0.0, 110.0, 1e4), plausible, "{} ohm", row.ohms_20);
    }
}

#[test]
fn a_coil_is_judged_by_the_most_that_its_resistance_may_be() {
    // 11.25 V rated at least, as above: 42.1875 ohm at 3 W.
    let evidence = DriveEvidence { moved_at: Some(12.0), still_at: Some(9.0) };
    assert!(shorted_turns(40.0, 1.0, evidence).is_some());
    assert_eq!(shorted_turns(40.0, 2.0, evidence), None, "44 ohm it may be");
    let healthy = shorted_turns(30.0, 0.0, evidence).unwrap().healthy_ohms_min;
    assert_eq!(shorted_turns(healthy, 0.0, evidence), None, "the least healthy one is healthy");
}

#[test]
fn coils_lie_between_three_ohm_and_121_kilohm() {
    // 3 V at 3 W, and 110 V at 0.1 W.
    let found = [2.99, 3.01, 120_900.0, 121_100.0].map(is_coil_like);
    assert_eq!(found, [false, true, true, false]);
}
