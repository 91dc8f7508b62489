//! What the posterior cannot see, because its model has no word for it, and what a guide must weigh
//! before it calls an answer sure: touches that contradict each other more often than slips do
//! ([`Belief::strain`]), and pins that never made contact, which look like spares
//! ([`Belief::silent`]). Both are computed for one claimed partition.

use super::belief::Belief;
use super::evidence::Channel;
use super::family::Family;
use super::pair::Pair;
use super::partition::Partition;

/// How well the touches bear a claim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strain {
    /// How many touches there were.
    pub touches: u32,
    /// How many of them speak clearly against the claim: slips, if it is true.
    pub contradictions: u32,
    /// The probability of at least so many slips. When it is small the slips are no chance: a dirty
    /// pin, a wrong pin number, or a part that the model does not know.
    pub chance: f64,
}

/// A pin that is claimed to be a spare because it was never seen to conduct.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Silent {
    /// Its position.
    pub pin: usize,
    /// Odds that it belongs to something and does not make contact, against that it is a spare.
    pub odds: f64,
}

/// A touch speaks against a claim when something else explains it so many times better.
const CLEARLY: f64 = 10.0;

impl Belief {
    /// How many touches contradict `claim`, and how likely so many slips are.
    #[must_use]
    pub fn strain(&self, claim: &Partition, channel: Channel) -> Strain {
        let against = self.touches().iter().filter(|(pair, weights)| {
            let best = weights.0.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            best - weights.0[claim.status(*pair) as usize] > CLEARLY.ln()
        });
        let (touches, contradictions) = (self.touches().len(), against.count());
        let slip = (channel.no_contact + channel.bridge).clamp(0.0, 1.0);
        Strain {
            touches: touches as u32,
            contradictions: contradictions as u32,
            chance: at_least(contradictions, touches, slip),
        }
    }

    /// For each spare of `claim`: the odds that it is a pin that does not make contact, when each
    /// pin fails to with probability `dead`. Exact for one such pin at a time: every partition
    /// that would look the same without it is counted with its prior.
    #[must_use]
    pub fn silent(&self, claim: &Partition, dead: f64) -> Vec<Silent> {
        let here = self.ln_prior(claim);
        let odds = |pin: usize| {
            let others = completions(claim, pin, &self.groups_in_use());
            let prior = |other: &Partition| (self.ln_prior(other) - here).exp();
            dead / (1.0 - dead).max(1e-9) * others.iter().map(prior).sum::<f64>()
        };
        claim.spares.iter().map(|&pin| Silent { pin, odds: odds(pin) }).collect()
    }
}

/// The probability of at least `count` of `touches` when each has probability `p`.
fn at_least(count: usize, touches: usize, p: f64) -> f64 {
    let mut term = (1.0 - p).powi(touches as i32);
    let mut below = 0.0;
    for k in 0..count {
        below += term;
        term *= (touches - k) as f64 / (k + 1) as f64 * p / (1.0 - p).max(1e-12);
    }
    (1.0 - below).clamp(0.0, 1.0)
}

/// Every partition with groups of these shapes that differs from `claim` only in what `pin`, a
/// spare of it, belongs to.
fn completions(claim: &Partition, pin: usize, shapes: &Family) -> Vec<Partition> {
    let spares: Vec<usize> = claim.spares.iter().copied().filter(|&other| other != pin).collect();
    let mut bases: Vec<Vec<usize>> = claim.groups();
    bases.extend(spares.iter().map(|&spare| vec![spare]));
    for (i, &first) in spares.iter().enumerate() {
        bases.extend(spares[i + 1..].iter().map(|&second| vec![first, second]));
    }
    let mut found = Vec::new();
    for base in bases {
        let mut pins = base.clone();
        pins.push(pin);
        pins.sort_unstable();
        for &shape in shapes.groups().iter().filter(|shape| shape.size() == pins.len()) {
            for roles in shape.arrangements() {
                let placed = claim.with_group(&base, (shape, pins.clone(), roles));
                let same = |pair: Pair| pair.has(pin) || placed.status(pair) == claim.status(pair);
                if Pair::all(claim.pins()).all(same) {
                    found.push(placed);
                }
            }
        }
    }
    found.sort();
    found.dedup();
    found
}

#[cfg(test)]
mod tests {
    use super::super::evidence::{Look, Seen, Touch, Weights};
    use super::super::family::Group;
    use super::super::prior::Prior;
    use super::*;
    use crate::event::Form;

    fn changeover() -> Partition {
        let roles = vec![0, 1, 2];
        let pole = (Group::contact(Form::C), vec![1, 2, 3], roles);
        Partition::from_groups(5, &[(Group::Coil(1, 1), vec![0, 4], vec![0, 1]), pole])
    }

    fn open() -> Seen {
        Seen::Open
    }

    #[test]
    fn two_slips_are_chance_and_four_are_not() {
        let claim = changeover();
        let mut belief = Belief::new(&Prior::usual(5));
        let channel = Channel::default();
        let touch = |pair: Pair, seen| Touch { pair, looks: vec![Look { driven: None, seen }] };
        let broken = Pair::ordered(1, 2);
        for slips in 1..=4 {
            belief.observe(broken, &channel.weigh(&touch(broken, open())));
            let pair = Pair::ordered(0, 1);
            belief.observe(pair, &channel.weigh(&touch(pair, open())));
            let strain = belief.strain(&claim, channel);
            assert_eq!((strain.touches, strain.contradictions), (2 * slips, slips));
            assert_eq!(strain.chance > 0.001, slips <= 2, "{strain:?}");
        }
    }

    #[test]
    fn chances_add_up_as_binomials_do() {
        assert!((at_least(0, 10, 0.1) - 1.0).abs() < 1e-12);
        assert!((at_least(1, 10, 0.1) - (1.0 - 0.9_f64.powi(10))).abs() < 1e-12);
        assert!((at_least(10, 10, 0.5) - 0.5_f64.powi(10)).abs() < 1e-12);
    }

    /// A break contact on five pins with one spare may be a changeover whose make side is dirty:
    /// either pin can be the common, so there are two such, each with the prior of a changeover.
    #[test]
    fn a_silent_pin_may_belong_to_a_changeover() {
        let (whole, partial) = (Family::relay(0, 0, 1), Family::relay(0, 1, 0));
        let prior = Prior::only(5, [(whole.clone(), 0.9), (partial.clone(), 0.1)]);
        let pole = (Group::contact(Form::B), vec![1, 2], vec![0, 1]);
        let claim = Partition::from_groups(5, &[(Group::Coil(1, 1), vec![0, 4], vec![0, 1]), pole]);
        let silent = Belief::new(&prior).silent(&claim, 0.01);
        let each = |family: &Family, p: f64| p / family.labellings(5);
        let expected = 0.01 / 0.99 * 2.0 * each(&whole, 0.9) / each(&partial, 0.1);
        assert_eq!(silent.len(), 1);
        assert_eq!(silent[0].pin, 3);
        assert!((silent[0].odds - expected).abs() < 1e-12, "{silent:?} against {expected}");
    }

    /// Binomial: 1 - (0.75^10 + 10 x 0.25 x 0.75^9 + 45 x 0.25^2 x 0.75^8) = 0.474407.
    #[test]
    fn three_of_ten_with_one_in_four() {
        let choose = [1.0, 10.0, 45.0];
        let below: f64 =
            (0..3).zip(choose).map(|(k, c)| c * 0.25_f64.powi(k) * 0.75_f64.powi(10 - k)).sum();
        assert!((below - 0.525_592_803_955_078).abs() < 1e-12);
        assert!((at_least(3, 10, 0.25) - (1.0 - below)).abs() < 1e-12);
        assert_eq!(at_least(1, 2, 1.0), 1.0);
    }

    #[test]
    fn a_touch_contradicts_a_claim_only_where_something_explains_it_ten_times_better() {
        let claim = changeover();
        let channel = Channel { no_contact: 0.3, bridge: 0.2 };
        let against = |ln: f64| {
            let mut belief = Belief::new(&Prior::usual(5));
            // The claim says break.
            belief.observe(Pair::ordered(1, 2), &Weights([0.0, -ln, -1.0, -1.0, -1.0]));
            belief.observe(Pair::ordered(0, 1), &Weights([0.0; 5]));
            belief.strain(&claim, channel)
        };
        assert_eq!(against(10_f64.ln()).contradictions, 0);
        let clear = against(10_f64.ln() + 1e-9);
        // One of two touches, half of which slip: 1 - 1/4.
        assert_eq!((clear.touches, clear.contradictions, clear.chance), (2, 1, 0.75));
    }
}
