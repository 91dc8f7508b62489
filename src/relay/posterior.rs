//! What is believed at one moment, as data. Probabilities are exact to rounding; entropy is in
//! bits. [`Marginals`] are what planning needs and are cheap; a [`Posterior`] also names the
//! most probable partitions.

use super::evidence::Status;
use super::family::Family;
use super::pair::Pair;
use super::partition::Partition;

/// How many candidates a posterior lists.
pub const CANDIDATES: usize = 5;

/// The part of a posterior that needs no search.
#[derive(Clone, Debug, PartialEq)]
pub struct Marginals {
    /// How many pins the part has.
    pub pins: usize,
    /// Per pair, by [`Pair::index`]: the probability of each [`Status`], by [`Status::ALL`].
    pub pairs: Vec<[f64; 5]>,
    /// The probability of each family, most probable first.
    pub families: Vec<(Family, f64)>,
    /// Entropy over all partitions, in bits.
    pub entropy_bits: f64,
    /// ln of the sum over all partitions, the scale of every ln amount.
    pub(super) ln_total: f64,
}

/// What is believed now.
#[derive(Clone, Debug, PartialEq)]
pub struct Posterior {
    /// How many pins the part has.
    pub pins: usize,
    /// Per pair, by [`Pair::index`]: the probability of each [`Status`], by [`Status::ALL`].
    pub pairs: Vec<[f64; 5]>,
    /// The most probable partition, with its exact probability.
    pub best: (Partition, f64),
    /// The five most probable partitions, best first; fewer if there are no more.
    pub candidates: Vec<(Partition, f64)>,
    /// The probability of each family, most probable first.
    pub families: Vec<(Family, f64)>,
    /// Entropy over all partitions, in bits.
    pub entropy_bits: f64,
}

impl Marginals {
    /// The probability that `pair` has `status`.
    #[must_use]
    pub fn of(&self, pair: Pair, status: Status) -> f64 {
        of(&self.pairs, pair, status)
    }

    /// The pair that is most probably a coil, and how probably.
    #[must_use]
    pub fn coil(&self) -> Option<(Pair, f64)> {
        coil(self.pins, &self.pairs)
    }
}

impl Posterior {
    /// The probability that `pair` has `status`.
    #[must_use]
    pub fn of(&self, pair: Pair, status: Status) -> f64 {
        of(&self.pairs, pair, status)
    }

    /// The pair that is most probably a coil, and how probably.
    #[must_use]
    pub fn coil(&self) -> Option<(Pair, f64)> {
        coil(self.pins, &self.pairs)
    }
}

fn of(pairs: &[[f64; 5]], pair: Pair, status: Status) -> f64 {
    pairs.get(pair.index()).map_or(0.0, |of| of[status as usize])
}

/// The pair that is most probably a coil, and how probably.
pub(super) fn coil(pins: usize, pairs: &[[f64; 5]]) -> Option<(Pair, f64)> {
    let all = Pair::all(pins).map(|pair| (pair, of(pairs, pair, Status::Coil)));
    all.max_by(|a, b| a.1.total_cmp(&b.1))
}
