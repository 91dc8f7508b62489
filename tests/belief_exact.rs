//! The belief against plain enumeration: every permutation of the pins is dealt into the groups
//! of every family, doubles are dropped, and each partition is weighed by itself. The two share
//! nothing but the words. Posterior, candidates, families and entropy must agree to 1e-12.

#![allow(clippy::unwrap_used, reason = "in a test a panic is the finding")]

#[allow(dead_code, reason = "each program uses its own part of the hands")]
#[path = "belief_hands/mod.rs"]
mod belief_hands;

use belief_hands::parts::{labellings, listed};
use coilmark::event::Form;
use coilmark::relay::{
    Belief, Channel, Family, Footprint, Group, Look, Pair, Partition, Posterior, Prior, Seen,
    Status, Touch, Weights,
};
use proptest::prelude::*;
use std::collections::BTreeMap;

struct Enumerated {
    pairs: Vec<[f64; 5]>,
    all: Vec<(Partition, f64)>,
    families: BTreeMap<Family, f64>,
    entropy_bits: f64,
}

fn enumerated(
    pins: usize,
    listed: &[(Family, Partition, f64)],
    touches: &[(Pair, Weights)],
) -> Enumerated {
    let ln = |(_, partition, prior): &(Family, Partition, f64)| {
        let of = |(pair, weights): &(Pair, Weights)| {
            weights.0[partition.status(*pair) as usize] - weights.0[Status::Open as usize]
        };
        touches.iter().map(of).sum::<f64>() + prior.ln()
    };
    let lns: Vec<f64> = listed.iter().map(ln).collect();
    let top = lns.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = lns.iter().map(|ln| (ln - top).exp()).sum();
    let mut found = Enumerated {
        pairs: vec![[0.0; 5]; Pair::count(pins)],
        all: Vec::new(),
        families: BTreeMap::new(),
        entropy_bits: 0.0,
    };
    for ((family, partition, _), ln) in listed.iter().zip(lns) {
        let p = (ln - top).exp() / total;
        for pair in Pair::all(pins) {
            found.pairs[pair.index()][partition.status(pair) as usize] += p;
        }
        *found.families.entry(family.clone()).or_default() += p;
        if p > 0.0 {
            found.entropy_bits -= p * p.log2();
        }
        found.all.push((partition.clone(), p));
    }
    found.all.sort_by(|a, b| b.1.total_cmp(&a.1));
    found
}

fn believed(prior: &Prior, touches: &[(Pair, Weights)]) -> Posterior {
    let mut belief = Belief::new(prior);
    touches.iter().for_each(|(pair, weights)| belief.observe(*pair, weights));
    belief.posterior()
}

fn assert_same(posterior: &Posterior, other: &Enumerated) -> Result<(), TestCaseError> {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-12;
    for (pair, (a, b)) in posterior.pairs.iter().zip(&other.pairs).enumerate() {
        for (&a, &b) in a.iter().zip(b) {
            prop_assert!(near(a, b), "pair {pair}: {a} against {b}");
        }
    }
    for (family, p) in &posterior.families {
        let other = other.families.get(family).copied().unwrap_or_default();
        prop_assert!(near(*p, other), "{family:?}: {p} against {other}");
    }
    let bits = (posterior.entropy_bits, other.entropy_bits);
    prop_assert!((bits.0 - bits.1).abs() < 1e-10 * (1.0 + bits.1), "entropy {bits:?}");
    prop_assert_eq!(posterior.candidates.len(), other.all.len().min(5));
    for (rank, ((partition, p), (_, q))) in posterior.candidates.iter().zip(&other.all).enumerate()
    {
        prop_assert!(near(*p, *q), "candidate {rank}: {p} against {q}");
        let same = other.all.iter().find(|(listed, _)| listed == partition);
        prop_assert!(same.is_some_and(|(_, q)| near(*p, *q)), "candidate {rank} is no such");
    }
    prop_assert_eq!(&posterior.best, &posterior.candidates[0]);
    Ok(())
}

/// A prior with every kind of group, small enough to list.
fn families() -> Vec<(Family, f64)> {
    let coil = Group::Coil(1, 1);
    let [a, b, c] = [Form::A, Form::B, Form::C].map(Group::contact);
    vec![
        (Family::relay(0, 0, 2), 5.0),
        (Family::new([coil, Group::doubled(Form::C)]), 2.0),
        (Family::relay(1, 1, 0), 1.0),
        (Family::relay(0, 1, 1), 1.0),
        (Family::new([Group::TappedCoil, c]), 0.5),
        (Family::new([coil, coil, a]), 0.5),
        (Family::new([Group::Coil(2, 1), b]), 0.25),
        (Family::new([coil, Group::doubled(Form::A)]), 0.25),
        (Family::new([coil, c, Group::Joined(2)]), 0.125),
        (Family::new([Group::Joined(3), Group::Joined(2)]), 0.125),
        (Family::default(), 0.0625),
    ]
}

fn touches(pins: usize) -> impl Strategy<Value = Vec<(Pair, Weights)>> {
    let touch = (0..Pair::count(pins), prop::array::uniform5(-9.0..0.0_f64));
    prop::collection::vec(touch, 0..24).prop_map(move |touches| {
        let pairs: Vec<Pair> = Pair::all(pins).collect();
        touches.into_iter().map(|(pair, weights)| (pairs[pair], Weights(weights))).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(30))]

    #[test]
    fn sums_agree_with_enumeration_up_to_six_pins(
        (pins, touches) in (2..=6_usize).prop_flat_map(|pins| (Just(pins), touches(pins)))
    ) {
        let families = families();
        let posterior = believed(&Prior::only(pins, families.clone()), &touches);
        assert_same(&posterior, &enumerated(pins, &listed(pins, &families), &touches))?;
    }
}

/// The listing is long, so it is made once and random evidence is put to it.
#[test]
fn sums_agree_with_enumeration_at_seven_and_eight_pins() {
    let few = [(Family::relay(0, 0, 2), 5.0), (Family::relay(1, 1, 0), 1.0)];
    for (pins, families, cases) in [(7, families(), 3), (8, few.to_vec(), 2)] {
        let listed = listed(pins, &families);
        let prior = Prior::only(pins, families.clone());
        let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig {
            failure_persistence: None,
            ..ProptestConfig::with_cases(cases)
        });
        let claim = |touches: Vec<(Pair, Weights)>| {
            assert_same(&believed(&prior, &touches), &enumerated(pins, &listed, &touches))
        };
        runner.run(&touches(pins), claim).unwrap();
    }
}

#[test]
fn layouts_are_mixed_in_exactly() {
    let families = vec![(Family::relay(0, 0, 1), 1.0), (Family::relay(1, 0, 0), 0.5)];
    let free = listed(5, &families);
    let footprint: Footprint = "2-1-2".parse().unwrap();
    let prior = Prior::only(5, families).with_footprint(&footprint);
    // What the layouts are is read off the prior itself: what is believed beyond the free share.
    let start = Belief::new(&prior).posterior();
    assert!(start.entropy_bits < 6.0, "there are layouts: {}", start.entropy_bits);
    let layouts: Vec<(Partition, f64)> = prior.layouts().to_vec();
    let mixed: Vec<(Family, Partition, f64)> = free
        .into_iter()
        .map(|(family, partition, p)| {
            let laid = layouts.iter().find(|(layout, _)| *layout == partition);
            (family, partition, 0.2 * p + laid.map_or(0.0, |(_, p)| *p))
        })
        .collect();
    assert!((mixed.iter().map(|(_, _, p)| p).sum::<f64>() - 1.0).abs() < 1e-12);
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig {
        failure_persistence: None,
        ..ProptestConfig::with_cases(100)
    });
    let claim = |touches: Vec<(Pair, Weights)>| {
        assert_same(&believed(&prior, &touches), &enumerated(5, &mixed, &touches))
    };
    runner.run(&touches(5), claim).unwrap();
}

#[test]
fn labellings_are_as_many_as_the_closed_formula_says() {
    for pins in 2..=6 {
        for (family, _) in families() {
            let listed = if family.size() <= pins { labellings(pins, &family).len() } else { 0 };
            assert_eq!(family.labellings(pins), listed as f64, "{family:?} on {pins}");
        }
    }
}

#[test]
fn on_two_pins_a_coil_is_believed_before_a_joint_and_spares() {
    let posterior = believed(&Prior::usual(2), &[]);
    let shapes: Vec<Vec<Group>> = posterior
        .candidates
        .iter()
        .map(|(partition, _)| partition.family().groups().to_vec())
        .collect();
    // How usual: 0.5 for a coil alone, 0.2 for a joint; 0.5 for nothing, less two spare pins.
    assert_eq!(shapes, [vec![Group::Coil(1, 1)], vec![Group::Joined(2)], vec![]]);
    assert!((posterior.best.1 - 0.5 / (0.5 + 0.2 + 0.5 * 0.4 * 0.4)).abs() < 1e-12);
}

#[test]
fn before_any_touch_the_entropy_is_that_of_the_prior() {
    let posterior = believed(&Prior::only(8, [(Family::relay(0, 0, 2), 1.0)]), &[]);
    assert!((posterior.entropy_bits - 10080_f64.log2()).abs() < 1e-9);
    assert!((posterior.best.1 - 1.0 / 10080.0).abs() < 1e-15);
}

/// Touches that contradict each other, hundreds of times: plain floats would underflow.
#[test]
fn hundreds_of_contradictory_touches_leave_a_whole_belief() {
    for (pins, rounds) in [(5, 600), (8, 60), (9, 6)] {
        let mut belief = Belief::new(&Prior::usual(pins));
        let channel = Channel::default();
        for round in 0..rounds {
            for pair in Pair::all(pins) {
                let ohms = [0.1, 330.0, 1e9][(round + pair.index()) % 3];
                let seen = if ohms > 1e8 { Seen::Open } else { Seen::Ohms { ohms, u: 0.05 } };
                let touch = Touch { pair, looks: vec![Look { driven: None, seen }] };
                belief.observe(pair, &channel.weigh(&touch));
            }
        }
        let posterior = belief.posterior();
        assert!(posterior.entropy_bits.is_finite());
        assert!((posterior.families.iter().map(|(_, p)| p).sum::<f64>() - 1.0).abs() < 1e-9);
        for pair in &posterior.pairs {
            assert!(pair.iter().all(|p| (0.0..=1.0 + 1e-9).contains(p)), "{pair:?}");
        }
    }
}
