//! What is believed at one moment, as data. Probabilities are exact to rounding; entropy is in
//! bits. Per pair its status, the families, and the most probable partitions by name; how it is
//! summed up is left to the belief.

use super::evidence::Status;
use super::family::Family;
use super::pair::Pair;
use super::partition::Partition;

/// How many candidates a posterior lists.
pub const CANDIDATES: usize = 5;

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

impl Posterior {
    /// The probability that `pair` has `status`.
    #[must_use]
    pub fn of(&self, pair: Pair, status: Status) -> f64 {
        self.pairs.get(pair.index()).map_or(0.0, |of| of[status as usize])
    }

    /// The pair that is most probably a coil, and how probably.
    #[must_use]
    pub fn coil(&self) -> Option<(Pair, f64)> {
        coil(self.pins, &self.pairs)
    }
}

/// The pair that is most probably a coil by these probabilities per pair, and how probably.
pub(super) fn coil(pins: usize, pairs: &[[f64; 5]]) -> Option<(Pair, f64)> {
    let all = Pair::all(pins).zip(pairs).map(|(pair, of)| (pair, of[Status::Coil as usize]));
    all.max_by(|a, b| a.1.total_cmp(&b.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_coil_is_where_it_is_most_probable() {
        let pairs =
            vec![[0.5, 0.0, 0.0, 0.3, 0.2], [0.4, 0.0, 0.0, 0.0, 0.6], [1.0, 0., 0., 0., 0.]];
        let posterior = Posterior {
            pins: 3,
            pairs,
            best: (Partition::default(), 1.0),
            candidates: Vec::new(),
            families: Vec::new(),
            entropy_bits: 0.0,
        };
        assert_eq!(posterior.coil(), Some((Pair::ordered(0, 2), 0.6)));
        assert_eq!(posterior.of(Pair::ordered(0, 1), Status::Joined), 0.3);
        assert_eq!(posterior.of(Pair::ordered(0, 2), Status::Open), 0.4);
        assert_eq!(posterior.of(Pair::ordered(1, 3), Status::Open), 0.0, "beyond its pins");
        let nothing = Posterior { pairs: Vec::new(), ..posterior };
        assert_eq!(nothing.coil(), None);
    }
}
