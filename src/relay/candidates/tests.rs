//! Searches over small models, against the list of all their partitions: which are met, in which
//! order, and whether a search that ended early says so. That a posterior names the best of all is
//! held in `tests/belief_exact.rs`.

use super::super::amount::{Best, Wide};
use super::super::evidence::Status;
use super::super::family::Family;
use super::super::pair::Pair;
use super::super::ways::Ways;
use super::*;

fn families() -> Vec<(Family, f64)> {
    vec![
        (Family::relay(0, 0, 1), 3.0),
        (Family::relay(1, 0, 0), 2.0),
        (Family::relay(0, 1, 0), 1.0),
        (Family::default(), 0.5),
    ]
}

/// Amounts per pair without a pattern; what is open amounts to 1.
fn odds(pins: usize, strength: f64) -> Vec<[f64; 5]> {
    let ln = |pair: usize, status: usize| strength * ((pair * 7 + status * 5) % 11) as f64;
    let of = |pair| [0, 1, 2, 3, 4].map(|status| if status == 0 { 0.0 } else { ln(pair, status) });
    (0..Pair::count(pins)).map(of).collect()
}

/// What a search met, with its ln amount, and whether it gave up.
type Met = (Vec<(Partition, f64)>, bool);

/// By the best way to each set of pins, to the end.
fn by_best<A: Amount>(model: &Model, odds: &[[f64; 5]], wanted: usize) -> Met {
    let ways = Ways::<A>::of(model, &odds.iter().map(|of| of.map(A::from_ln)).collect::<Vec<_>>());
    let sums = ways.sums(model);
    let totals = model.outside(&sums, &model.inside(&sums)).1;
    let inside = model.inside(&ways.best(model));
    let one = |kind, rank, way| Best(ways.one(model, kind, rank, way));
    let bounds = totals.into_iter().map(Best);
    let mut search = Candidates::new(model, one, &inside, bounds, wanted);
    let met = search.by_ref().collect();
    (met, search.gave_up())
}

/// By the sums over all ways, impatiently, so many at most.
fn by_sums<A: Amount>(model: &Model, odds: &[[f64; 5]], wanted: usize, most: usize) -> Met {
    let ways = Ways::<A>::of(model, &odds.iter().map(|of| of.map(A::from_ln)).collect::<Vec<_>>());
    let sums = ways.sums(model);
    let inside = model.inside(&sums);
    let totals = model.outside(&sums, &inside).1;
    let one = |kind, rank, way| ways.one(model, kind, rank, way);
    let mut search = Candidates::new(model, one, &inside, totals.into_iter(), wanted).impatient();
    let met = search.by_ref().take(most).collect();
    (met, search.gave_up())
}

fn assert_starts(of: &[(Partition, f64)], all: &[(Partition, f64)]) {
    for (at, ((partition, ln), (expected, other))) in of.iter().zip(all).enumerate() {
        assert!((ln - other).abs() < 1e-9, "place {at}: {partition:?} {ln}, {expected:?} {other}");
    }
    assert!(of.len() <= all.len());
}

/// 60 changeovers, 30 makes, 30 breaks (C(5,2) coils, C(3,2) contacts) and all spares: 121.
#[test]
fn a_search_for_all_meets_each_partition_once_in_falling_order() {
    let model = Model::new(5, &families());
    for strength in [0.0, 0.3, 2.0] {
        let odds = odds(5, strength);
        let (all, gave_up) = by_best::<f64>(&model, &odds, 1000);
        assert!(!gave_up);
        assert_eq!(all.len(), 121);
        let mut distinct: Vec<&Partition> = all.iter().map(|(partition, _)| partition).collect();
        distinct.sort();
        distinct.dedup();
        assert_eq!(distinct.len(), 121);
        assert!(all.windows(2).all(|two| two[0].1 >= two[1].1 - 1e-9));
        for (partition, ln) in &all {
            let end = model.ends.iter().find(|end| end.family == partition.family()).unwrap();
            let pairs = Pair::all(5).zip(&odds);
            let sum: f64 = pairs.map(|(pair, of)| of[partition.status(pair) as usize]).sum();
            assert!((ln - end.ln_each - sum).abs() < 1e-9, "{partition:?}");
        }
    }
}

#[test]
fn the_first_wanted_are_surely_met() {
    let model = Model::new(5, &families());
    for strength in [0.0, 0.3, 2.0, 30.0] {
        let odds = odds(5, strength);
        let (all, _) = by_best::<Wide>(&model, &odds, 1000);
        for wanted in 1..40 {
            let (met, gave_up) = by_best::<Wide>(&model, &odds, wanted);
            assert!(met.len() >= wanted);
            assert_starts(&met[..wanted], &all);
            assert!(gave_up || met.len() == all.len(), "{wanted}: more were left than it says");
            if strength < 10.0 {
                let (plain, plainly) = by_best::<f64>(&model, &odds, wanted);
                assert_eq!((plain.len(), plainly), (met.len(), gave_up));
                assert_starts(&plain[..wanted], &all);
            }
        }
    }
}

/// A promise that is a sum is more than what it leads to, so what was left out may be better than
/// what was met: before that can be, the search gives up.
#[test]
fn what_sums_lead_to_is_in_order_up_to_where_the_search_gives_up() {
    let model = Model::new(5, &families());
    for strength in [0.1, 0.3, 1.0, 2.0, 30.0] {
        let odds = odds(5, strength);
        let (all, _) = by_best::<Wide>(&model, &odds, 1000);
        for wanted in 1..60 {
            let (met, gave_up) = by_sums::<Wide>(&model, &odds, wanted, 200);
            assert_starts(&met, &all);
            assert!(gave_up || met.len() == all.len(), "{wanted}: {} met", met.len());
        }
    }
}

/// Two changeovers on 8 pins: 28 sets of pins for the poles, fewer than are wanted, so that
/// nothing is left out. While all 10,080 labellings are alike, sums lead nowhere.
#[test]
fn an_impatient_search_finds_what_is_clear_and_gives_up_what_is_not() {
    let model = Model::new(8, &[(Family::relay(0, 0, 2), 1.0)]);
    let mut odds = vec![[0.0; 5]; Pair::count(8)];
    assert_eq!(by_sums::<f64>(&model, &odds, MOST, 1), (vec![], true));
    for (a, b, status) in [
        (0, 1, Status::Coil),
        (2, 3, Status::Break),
        (2, 4, Status::Make),
        (5, 6, Status::Break),
        (5, 7, Status::Make),
    ] {
        odds[Pair::ordered(a, b).index()][status as usize] = 20.0;
    }
    let (met, gave_up) = by_sums::<f64>(&model, &odds, MOST, 1);
    assert!(!gave_up);
    let (partition, ln) = &met[0];
    let commons: Vec<usize> = partition.poles.iter().map(|pole| pole.common[0]).collect();
    assert_eq!((commons, &partition.coils[0].sides), (vec![2, 5], &vec![vec![0], vec![1]]));
    assert!((ln - (100.0 - 10080_f64.ln())).abs() < 1e-9, "{ln}");
}

#[test]
fn a_search_that_came_to_its_end_has_not_given_up() {
    // A coil and a make contact on 4 pins: C(4,2).
    let model = Model::new(4, &[(Family::relay(1, 0, 0), 1.0)]);
    let odds = odds(4, 1.0);
    for (met, gave_up) in [
        by_sums::<f64>(&model, &odds, MOST, 200),
        by_sums::<Wide>(&model, &odds, MOST, 200),
        by_best::<f64>(&model, &odds, MOST),
        by_best::<Wide>(&model, &odds, MOST),
    ] {
        assert_eq!((met.len(), gave_up), (6, false));
    }
}
