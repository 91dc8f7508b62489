//! What a belief keeps to itself: the prior of one partition, the bounds that lead to the best
//! ones, and when plain numbers no longer suffice. The sums are held against enumeration in
//! `tests/belief_exact.rs`; here are values by hand.

use super::super::family::Group;
use super::super::footprint::Footprint;
use super::super::prior::LAYOUT_SHARE;
use super::*;
use crate::event::Form;

fn laid_out() -> Prior {
    let footprint: Footprint = "2-1-2".parse().unwrap();
    let families = [(Family::relay(0, 0, 1), 2.0), (Family::relay(1, 0, 0), 1.0)];
    Prior::only(5, families).with_footprint(&footprint)
}

/// Weights without a pattern, in tenths of `most`, from 0 down.
fn weights(number: usize, most: f64) -> Weights {
    let tenths = |status: usize| (number * 7 + status * number * 3 + status * 4) % 11;
    Weights([0, 1, 2, 3, 4].map(|status| -most * tenths(status) as f64 / 10.0))
}

fn touched(prior: &Prior, most: f64) -> Belief {
    let mut belief = Belief::new(prior);
    for (number, pair) in Pair::all(prior.pins()).enumerate() {
        belief.observe(pair, &weights(number, most));
    }
    belief
}

/// A changeover on 5 pins has 60 labellings: C(5,2) coils, 3! ways round the pole. Layouts take
/// [`LAYOUT_SHARE`] of all; the rest is shared out evenly within each family.
#[test]
fn the_prior_of_a_partition_is_its_share_of_the_family_and_that_of_its_layout() {
    let prior = laid_out();
    let belief = Belief::new(&prior);
    let free = (1.0 - LAYOUT_SHARE) * 2.0 / 3.0 / 60.0;
    assert!(prior.layouts().len() > 1);
    for (layout, p) in prior.layouts() {
        let found = belief.ln_prior(layout).exp();
        assert!((found - (free + p)).abs() < 1e-15, "{layout:?}: {found}");
    }
    let changeover = Group::contact(Form::C);
    let pole = (changeover, vec![1, 3, 4], vec![0, 1, 2]);
    let coil = (Group::Coil(1, 1), vec![0, 2], vec![0, 1]);
    let broken = Partition::from_groups(5, &[coil, pole]);
    assert!(prior.layouts().iter().all(|(layout, _)| *layout != broken));
    assert!((belief.ln_prior(&broken).exp() - free).abs() < 1e-15);
    let joint = Partition::from_groups(5, &[(Group::Joined(2), vec![0, 1], vec![0, 0])]);
    assert_eq!(belief.ln_prior(&joint), f64::NEG_INFINITY, "the prior excludes it");
}

#[test]
fn no_family_amounts_to_more_than_its_bound() {
    for most in [0.0, 3.0, 20.0] {
        let belief = touched(&laid_out(), most);
        let ways = belief.ways.as_ref().unwrap();
        let amounts = ways.sums(&belief.model);
        let inside = belief.model.inside(&amounts);
        let summed = belief.summed(ways, &amounts, &inside);
        let (_, totals) = belief.model.outside(&amounts, &inside);
        let bounds: Vec<f64> = belief.bounds(&summed).collect();
        assert_eq!((bounds.len(), totals.len()), (2, 2));
        for (bound, total) in bounds.into_iter().zip(totals) {
            assert!(bound > total, "{bound} for {total}");
            assert!(bound < total * 1.001, "{bound} for {total} leaves more than a hair");
        }
    }
}

/// Each pin meets at most the two other pins of a changeover, so its two largest pairs count, and
/// each pair is met from both its ends.
#[test]
fn how_far_a_product_can_go_is_no_more_than_a_changeovers_pairs_allow() {
    let mut belief = Belief::new(&Prior::only(5, [(Family::relay(0, 0, 1), 1.0)]));
    assert_eq!(belief.reach(), 0.0);
    belief.observe(Pair::ordered(0, 1), &Weights([0.0, -5.0, 2.0, 0.0, 0.0]));
    // (5 + 5) / 2.
    assert!((belief.reach() - 5.0).abs() < 1e-12);
    belief.observe(Pair::ordered(0, 2), &Weights([0.0, 0.0, 4.0, 0.0, 0.0]));
    belief.observe(Pair::ordered(0, 3), &Weights([0.0, 0.0, 0.0, 0.0, -3.0]));
    // ((5 + 4) + 5 + 4 + 3) / 2.
    assert!((belief.reach() - 10.5).abs() < 1e-12, "{}", belief.reach());
}

#[test]
fn pair_probabilities_without_the_rest_are_those_of_the_posterior() {
    for (most, plain) in [(3.0, true), (400.0, false)] {
        for prior in [laid_out(), Prior::usual(4)] {
            let belief = touched(&prior, most);
            assert_eq!(belief.ways.is_some(), plain);
            let pairs = belief.pairs();
            assert_eq!(pairs, belief.posterior().pairs);
            assert_eq!(pairs.len(), Pair::count(prior.pins()));
            for of in pairs {
                assert!((of.iter().sum::<f64>() - 1.0).abs() < 1e-12, "{of:?}");
            }
        }
    }
}
