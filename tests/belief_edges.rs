//! The belief where it is easily wrong: few pins, families with little in common, evidence from
//! faint to more than plain floats hold, layouts in the way, thousands of parts that are alike.
//! Every partition is listed and weighed by itself; where they are too many, symmetry and Bayes'
//! rule say what must come out. Ordinary priors are held in `belief_exact.rs`.

#![allow(clippy::unwrap_used, reason = "in a test a panic is the finding")]

#[allow(dead_code, reason = "each program uses its own part of the hands")]
#[path = "belief_hands/mod.rs"]
mod belief_hands;

use belief_hands::parts::{dealt, listed};
use coilmark::event::Form;
use coilmark::relay::{
    Belief, Family, Footprint, Group, LAYOUT_SHARE, Pair, Partition, Posterior, Prior, Status,
    Weights,
};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

fn believed(prior: &Prior, touches: &[(Pair, Weights)]) -> Posterior {
    let mut belief = Belief::new(prior);
    touches.iter().for_each(|(pair, weights)| belief.observe(*pair, weights));
    belief.posterior()
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

/// Families with few parts in common, so that what can be built of them is not side by side.
fn far_apart() -> Vec<(Family, f64)> {
    let [coil, joint] = [Group::Coil(1, 1), Group::Joined(2)];
    let [a, b] = [Form::A, Form::B].map(Group::contact);
    let groups = [
        vec![coil, coil, coil],
        vec![joint, joint, joint],
        vec![coil, joint, joint],
        vec![a, a, a],
        vec![b, b, b],
        vec![a, b, b],
        vec![coil, a, a],
        vec![joint, joint, b],
    ];
    groups.into_iter().map(|groups| (Family::new(groups), 1.0)).collect()
}

/// Two groups of one shape, of four shapes of one size, and never two different ones.
fn twins() -> Vec<(Family, f64)> {
    let [a, b] = [Form::A, Form::B].map(Group::contact);
    let shapes = [Group::Coil(1, 1), Group::Joined(2), a, b];
    shapes.into_iter().map(|shape| (Family::new([shape, shape]), 1.0)).collect()
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
        Prior::only(6, far_apart()),
        Prior::only(4, twins()),
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

/// Families that follow from each other pole by pole: five in a row have a make contact.
fn side_by_side() -> Vec<(Family, f64)> {
    let [a, b, c] = [Form::A, Form::B, Form::C].map(Group::contact);
    let groups =
        [vec![a, a, a, a], vec![a, a, a, b], vec![a, a, b, b], vec![a, b, b, b], vec![a, c, c]];
    groups.into_iter().zip(1..).map(|(of, weight)| (Family::new(of), f64::from(weight))).collect()
}

/// Many families, too many labellings to list: before any touch every pair is like every other, so
/// that it has a status as often as the pairs of a part do. One touch is weighed by Bayes' rule.
#[test]
fn on_many_pins_every_pair_begins_alike_and_a_touch_weighs_its_own() {
    for prior in [Prior::usual(8), Prior::usual(9), Prior::only(8, side_by_side())] {
        let pins = prior.pins();
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
