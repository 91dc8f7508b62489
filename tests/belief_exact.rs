//! The belief against plain enumeration: every permutation of the pins is dealt into the groups
//! of every family, doubles are dropped, and each partition is weighed by itself. The two share
//! nothing but the words. Posterior, candidates, families and entropy must agree to 1e-12.

#![allow(clippy::unwrap_used, reason = "in a test a panic is the finding")]

#[allow(dead_code, reason = "each program uses its own part of the hands")]
#[path = "belief_hands/mod.rs"]
mod belief_hands;

use belief_hands::parts::{dealt, labellings};
use coilmark::event::Form;
use coilmark::relay::{
    Belief, Channel, Family, Footprint, Group, LAYOUT_SHARE, Look, Pair, Partition, Posterior,
    Prior, Seen, Status, Touch, Weights,
};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::collections::BTreeMap;

/// All partitions of a prior with their prior probability, listed.
fn listed(pins: usize, families: &[(Family, f64)]) -> Vec<(Family, Partition, f64)> {
    let fits = |entry: &&(Family, f64)| entry.0.size() <= pins;
    let total: f64 = families.iter().filter(fits).map(|(_, p)| p).sum();
    let mut all = Vec::new();
    for (family, p) in families.iter().filter(fits) {
        let labelled = labellings(pins, family);
        let each = p / total / labelled.len() as f64;
        all.extend(labelled.into_iter().map(|partition| (family.clone(), partition, each)));
    }
    all
}

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

/// All partitions of a prior, the layouts of its footprint included, with what each says of every
/// pair: listed once, so that much evidence can be put to it.
struct Listed {
    prior: Prior,
    all: Vec<(Partition, f64)>,
    statuses: Vec<Vec<Status>>,
}

impl Listed {
    fn new(prior: Prior) -> Self {
        let pins = prior.pins();
        let free = if prior.layouts().is_empty() { 1.0 } else { 1.0 - LAYOUT_SHARE };
        let of = |(_, partition, p): (Family, Partition, f64)| {
            let laid = prior.layouts().iter().find(|(layout, _)| *layout == partition);
            (partition, free * p + laid.map_or(0.0, |(_, p)| *p))
        };
        let all: Vec<_> = listed(pins, prior.families()).into_iter().map(of).collect();
        let says = |(partition, _): &(Partition, f64)| {
            Pair::all(pins).map(|pair| partition.status(pair)).collect()
        };
        let statuses = all.iter().map(says).collect();
        Self { prior, all, statuses }
    }

    /// The posterior against the list: candidates by ratio, so that the last counts like the first.
    fn hold(&self, touches: &[(Pair, Weights)]) {
        let posterior = believed(&self.prior, touches);
        let mut odds = vec![[0.0; 5]; Pair::count(self.prior.pins())];
        for (pair, weights) in touches {
            let odds = &mut odds[pair.index()];
            odds.iter_mut().zip(weights.0).for_each(|(odd, weight)| *odd += weight - weights.0[0]);
        }
        let ln = |((_, prior), says): (&(Partition, f64), &Vec<Status>)| {
            let said = says.iter().zip(&odds).map(|(status, odds)| odds[*status as usize]);
            prior.ln() + said.sum::<f64>()
        };
        let mut lns: Vec<f64> = self.all.iter().zip(&self.statuses).map(ln).collect();
        let top = lns.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let total: f64 = lns.iter().map(|ln| (ln - top).exp()).sum();
        let mut pairs = vec![[0.0; 5]; odds.len()];
        for (says, ln) in self.statuses.iter().zip(&lns) {
            let p = (ln - top).exp() / total;
            pairs.iter_mut().zip(says).for_each(|(of, status)| of[*status as usize] += p);
        }
        for (found, expected) in posterior.pairs.iter().flatten().zip(pairs.iter().flatten()) {
            assert!((found - expected).abs() < 1e-12, "{found} against {expected}");
        }
        let bits = |ln: &f64| -(ln - top).exp() / total * ((ln - top).exp() / total).log2();
        let entropy: f64 = lns.iter().map(bits).filter(|bits| bits.is_finite()).sum();
        let found = posterior.entropy_bits;
        assert!((found - entropy).abs() < 1e-9, "{found} bits against {entropy}");
        lns.sort_by(|a, b| b.total_cmp(a));
        assert_eq!(posterior.candidates.len(), lns.len().min(5));
        for (rank, ((partition, p), ln)) in posterior.candidates.iter().zip(&lns).enumerate() {
            let expected = (ln - top).exp() / total;
            assert!((p - expected).abs() <= 1e-9 * expected, "{rank}: {p} against {expected}");
            let fresh = posterior.candidates[..rank].iter().all(|(other, _)| other != partition);
            assert!(fresh, "{rank}: {partition:?} again");
        }
    }
}

/// From faint evidence, with which many partitions are alike, to far more than plain floats can
/// hold; families with hundreds of labellings and with one, with and without
/// layouts and contacts (on three pins there is room for a coil, but not for a pole beside it).
#[test]
fn the_five_best_are_met_whatever_the_belief_is() {
    let footprint: Footprint = "2-1-2".parse().unwrap();
    let mut rng = Pcg64::seed_from_u64(5);
    for prior in [
        Prior::usual(5),
        Prior::usual(5).with_footprint(&footprint),
        Prior::usual(4),
        Prior::usual(3),
    ] {
        let pairs: Vec<Pair> = Pair::all(prior.pins()).collect();
        let listed = Listed::new(prior);
        listed.hold(&[]);
        for most in [0.5, 2.0, 6.0, 12.0, 150.0] {
            for _ in 0..6 {
                let touches: Vec<(Pair, Weights)> = (0..rng.random_range(1..20))
                    .map(|_| {
                        let pair = pairs[rng.random_range(0..pairs.len())];
                        (pair, Weights([(); 5].map(|()| rng.random_range(-most..0.0))))
                    })
                    .collect();
                listed.hold(&touches);
            }
        }
    }
}

/// A spare may be a pin that never made contact: every part of the prior that says the same of all
/// pairs without it, and has a use for it, counts by its prior.
#[test]
fn the_odds_of_a_silent_pin_are_those_of_every_part_that_looks_the_same() {
    let footprint: Footprint = "2-1-2".parse().unwrap();
    for prior in [Prior::usual(5), Prior::usual(5).with_footprint(&footprint)] {
        let listed = Listed::new(prior);
        let belief = Belief::new(&listed.prior);
        let claims = listed.all.iter().zip(&listed.statuses);
        for ((claim, here), says) in
            claims.filter(|((claim, _), _)| !claim.spares.is_empty()).step_by(9)
        {
            let silent = belief.silent(claim, 0.1);
            assert_eq!(silent.len(), claim.spares.len());
            for (silent, &pin) in silent.iter().zip(&claim.spares) {
                let alike = |other: &[Status]| {
                    let pairs = Pair::all(5).zip(other.iter().zip(says));
                    pairs.filter(|(pair, _)| !pair.has(pin)).all(|(_, (a, b))| a == b)
                };
                let others = listed.all.iter().zip(&listed.statuses);
                let used = others.filter(|((other, _), _)| !other.spares.contains(&pin));
                let sum: f64 = used.filter(|(_, of)| alike(of)).map(|((_, p), _)| p / here).sum();
                let expected = 0.1 / 0.9 * sum;
                assert_eq!(silent.pin, pin);
                assert!((silent.odds - expected).abs() <= 1e-9 * expected, "{claim:?} {silent:?}");
            }
        }
    }
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

/// Many families, too many labellings to list: before any touch every pair is like every other, so
/// that it has a status as often as the pairs of a part do. One touch is weighed by Bayes' rule.
#[test]
fn on_many_pins_every_pair_begins_alike_and_a_touch_weighs_its_own() {
    for pins in [8, 9] {
        let prior = Prior::usual(pins);
        let total: f64 = prior.families().iter().map(|(_, p)| p).sum();
        let order: Vec<usize> = (0..pins).collect();
        let mut expected = [0.0; 5];
        for (family, p) in prior.families() {
            let part = dealt(&order, family);
            for pair in Pair::all(pins) {
                expected[part.status(pair) as usize] += p / total / Pair::count(pins) as f64;
            }
        }
        let touched = Pair::new(2, 6).unwrap();
        let weights = Weights([-0.5, -3.0, -1.0, 0.0, -2.0]);
        let begun = believed(&prior, &[]);
        let after = believed(&prior, &[(touched, weights)]);
        for pair in Pair::all(pins) {
            for (found, expected) in begun.pairs[pair.index()].iter().zip(expected) {
                assert!((found - expected).abs() < 1e-12, "{pair:?}: {found}, {expected}");
            }
        }
        for (family, p) in prior.families() {
            let found = begun.families.iter().find(|(other, _)| other == family).unwrap().1;
            assert!((found - p / total).abs() < 1e-12, "{family:?}: {found}");
        }
        let joint: Vec<f64> = expected.iter().zip(weights.0).map(|(p, w)| p * w.exp()).collect();
        let all: f64 = joint.iter().sum();
        for (found, joint) in after.pairs[touched.index()].iter().zip(joint) {
            assert!((found - joint / all).abs() < 1e-12, "{found} against {}", joint / all);
        }
    }
}

/// The coil lies where no layout has one, which says little more: many partitions are alike, and
/// the layouts among them are hardly likelier than others.
#[test]
fn the_best_are_met_where_layouts_are_in_the_way() {
    let footprint: Footprint = "3+3".parse().unwrap();
    let families = [Family::relay(0, 0, 1), Family::relay(1, 1, 0), Family::relay(0, 1, 0)];
    let prior = Prior::only(6, families.map(|family| (family, 1.0))).with_footprint(&footprint);
    assert!(prior.layouts().len() > 5);
    let mut touches: Vec<(Pair, Weights)> = Vec::new();
    for (layout, _) in prior.layouts() {
        let coil = layout.coils[0].ends().unwrap();
        if touches.iter().all(|(pair, _)| *pair != coil) {
            touches.push((coil, Weights([0.0, 0.0, 0.0, 0.0, -5.0])));
        }
    }
    assert!(believed(&prior, &touches).entropy_bits > 6.0);
    let listed = Listed::new(prior);
    listed.hold(&touches);
    listed.hold(&touches[1..]);
    // Layouts that are out of the question leave the entropy of the others whole.
    listed.hold(&[(touches[0].0, Weights([0.0, 0.0, 0.0, 0.0, -800.0]))]);
}

/// One layout is left and more likely than not; what else it may be is spread over hundreds of
/// parts of the free model, which must be named all the same, the best ones first.
#[test]
fn the_best_are_met_behind_the_last_layout() {
    let footprint: Footprint = "3+3".parse().unwrap();
    let families = [Family::relay(0, 0, 1), Family::relay(1, 1, 0), Family::relay(0, 1, 0)];
    let prior = Prior::only(6, families.map(|family| (family, 1.0))).with_footprint(&footprint);
    let [coil, make] = [(0, 3), (1, 2)].map(|(a, b)| Pair::new(a, b).unwrap());
    let no = |status| Weights(Status::ALL.map(|other| if other == status { -12.0 } else { 0.0 }));
    let mut touches = vec![(make, no(Status::Break))];
    for (layout, _) in prior.layouts() {
        let other = layout.coils[0].ends().unwrap();
        if other != coil && touches.iter().all(|(pair, _)| *pair != other) {
            touches.push((other, no(Status::Coil)));
        }
    }
    let posterior = believed(&prior, &touches);
    let best = &posterior.best;
    assert_eq!((best.0.status(coil), best.0.status(make)), (Status::Coil, Status::Make));
    assert!(best.1 > 0.5 && posterior.entropy_bits < 6.0, "{posterior:?}");
    Listed::new(prior).hold(&touches);
}

/// A part that is nearly sure, while what else it may be is spread evenly over thousands of
/// labellings: sums lead to the first, and to the others only by all ways in turn.
#[test]
fn five_candidates_are_named_however_alike_the_others_are() {
    let prior = Prior::only(8, [(Family::relay(0, 0, 2), 1.0)]);
    let truth = dealt(&[0, 1, 2, 3, 4, 5, 6, 7], &Family::relay(0, 0, 2));
    for strength in [1.0, 2.0, 2.5, 3.0, 4.0, 8.0] {
        let conducts = |pair: &Pair| truth.status(*pair) != Status::Open;
        let touches: Vec<(Pair, Weights)> = Pair::all(8)
            .filter(conducts)
            .map(|pair| {
                let says = |status| if status == truth.status(pair) { strength } else { 0.0 };
                (pair, Weights(Status::ALL.map(says)))
            })
            .collect();
        let found = believed(&prior, &touches).candidates;
        assert_eq!(found.len(), 5, "{strength}");
        assert_eq!(found[0].0, truth);
        // Two pins of one pole change places: of its two contacts one stays what it was.
        for (other, p) in &found[1..] {
            let ratio = (found[0].1 / p).ln();
            assert!((ratio - strength).abs() < 1e-9, "{strength}: {ratio} of {other:?}");
        }
    }
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
