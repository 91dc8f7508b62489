//! The exact posterior over partitions. A [`Belief`] adds up ln likelihoods per pair, in any order;
//! [`Belief::posterior`] sums over every partition of the prior: the free model by the lattice,
//! the layouts of a footprint one by one. Nothing here is approximate but `f64` itself. Which
//! touch comes next is left to the planner.

use super::amount::{Amount, Best, Wide};
use super::candidates::{Candidates, MOST};
use super::evidence::{Status, Weights};
use super::family::Family;
use super::lattice::{Lattice, members};
use super::pair::Pair;
use super::partition::Partition;
use super::prior::Prior;
use std::collections::BTreeMap;
use std::sync::Arc;

/// How many candidates a posterior lists.
pub const CANDIDATES: usize = 5;

/// What the touches so far say, with the prior they say it to.
#[derive(Clone, Debug)]
pub struct Belief {
    lattice: Arc<Lattice>,
    layouts: Arc<[Layout]>,
    ln_free_share: f64,
    /// ln likelihood per pair and status, less that of [`Status::Open`].
    ln_odds: Vec<[f64; 5]>,
}

/// A layout of the prior: a partition that is believed beyond its share of the free model.
#[derive(Clone, Debug)]
struct Layout {
    partition: Partition,
    statuses: Vec<Status>,
    family: Family,
    ln_prior: f64,
    /// ln of what the free model believes of the same partition at first.
    ln_free: f64,
}

/// What is believed now. Probabilities are exact to rounding.
#[derive(Clone, Debug, PartialEq)]
pub struct Posterior {
    /// How many pins the part has.
    pub pins: usize,
    /// Per pair, by [`Pair::index`]: the probability of each [`Status`], by [`Status::ALL`].
    pub pairs: Vec<[f64; 5]>,
    /// The most probable partition.
    pub best: (Partition, f64),
    /// The five most probable partitions, best first; fewer if there are no more.
    pub candidates: Vec<(Partition, f64)>,
    /// The probability of each family, most probable first.
    pub families: Vec<(Family, f64)>,
    /// Entropy over all partitions, in bits.
    pub entropy_bits: f64,
}

/// The part of a posterior that planning needs; computed without the search for candidates.
#[derive(Clone, Debug, PartialEq)]
pub struct Marginals {
    /// How many pins the part has.
    pub pins: usize,
    /// Per pair, by [`Pair::index`]: the probability of each [`Status`].
    pub pairs: Vec<[f64; 5]>,
    /// The probability of each family, most probable first.
    pub families: Vec<(Family, f64)>,
    /// Entropy over all partitions, in bits.
    pub entropy_bits: f64,
    /// ln of the sum over all partitions, the scale of every ln amount.
    ln_total: f64,
}

impl Marginals {
    /// The probability that `pair` has `status`.
    #[must_use]
    pub fn of(&self, pair: Pair, status: Status) -> f64 {
        self.pairs.get(pair.index()).map_or(0.0, |of| of[status as usize])
    }
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
        let coil = |pair| (pair, self.of(pair, Status::Coil));
        Pair::all(self.pins).map(coil).max_by(|a, b| a.1.total_cmp(&b.1))
    }
}

impl Belief {
    /// Before any touch.
    #[must_use]
    pub fn new(prior: &Prior) -> Self {
        let layouts = prior.layouts.iter().map(|(partition, p)| {
            let family = partition.family();
            let mut ends = prior.lattice.ends.iter();
            let end = ends.find(|end| end.family == family);
            Layout {
                statuses: Pair::all(prior.pins()).map(|pair| partition.status(pair)).collect(),
                ln_prior: p.ln(),
                ln_free: end.map_or(f64::NEG_INFINITY, |end| end.ln_each + prior.free_share.ln()),
                partition: partition.clone(),
                family,
            }
        });
        Self {
            lattice: Arc::clone(&prior.lattice),
            layouts: layouts.collect(),
            ln_free_share: prior.free_share.ln(),
            ln_odds: vec![[0.0; 5]; Pair::count(prior.pins())],
        }
    }

    /// How many pins the part has.
    #[must_use]
    pub fn pins(&self) -> usize {
        self.lattice.pins
    }

    /// Takes in what one touch said about its pair. A pair beyond the pins, or a weight that is
    /// not a number, says nothing.
    pub fn observe(&mut self, pair: Pair, weights: &Weights) {
        let Some(odds) = self.ln_odds.get_mut(pair.index()) else { return };
        for (odd, weight) in odds.iter_mut().zip(weights.0) {
            let change = weight - weights.0[Status::Open as usize];
            if !change.is_nan() {
                *odd = (*odd + change).clamp(-1e9, 1e9);
            }
        }
    }

    /// Pair marginals, families and entropy.
    #[must_use]
    pub fn marginals(&self) -> Marginals {
        if self.reach() < 550.0 { self.sum::<f64>() } else { self.sum::<Wide>() }
    }

    /// Everything, with the most probable partitions.
    #[must_use]
    pub fn posterior(&self) -> Posterior {
        let marginals = self.marginals();
        let candidates = self.candidates(&marginals);
        let Marginals { pins, pairs, families, entropy_bits, .. } = marginals;
        let best = candidates.first().cloned().unwrap_or_default();
        Posterior { pins, pairs, best, candidates, families, entropy_bits }
    }

    /// The five most probable partitions with their exact posterior, best first.
    #[must_use]
    pub fn candidates(&self, marginals: &Marginals) -> Vec<(Partition, f64)> {
        let share = |ln: f64| (ln - marginals.ln_total).exp();
        let mut found: Vec<(Partition, f64)> = self
            .layouts
            .iter()
            .map(|layout| {
                let ln = self.ln_amount(layout);
                (layout.partition.clone(), share(ln + layout.ln_prior) + share(ln + layout.ln_free))
            })
            .collect();
        let falling = |a: &(Partition, f64), b: &(Partition, f64)| b.1.total_cmp(&a.1);
        found.sort_by(falling);
        found.truncate(CANDIDATES);
        let amounts: Vec<[Best; 5]> = self.ln_odds.iter().map(|odds| odds.map(Best)).collect();
        for (partition, ln) in Candidates::new(&self.lattice, &amounts).take(MOST) {
            let p = share(ln + self.ln_free_share);
            if found.get(CANDIDATES - 1).is_some_and(|last| last.1 >= p) {
                break;
            }
            if !self.layouts.iter().any(|layout| layout.partition == partition) {
                let at = found.partition_point(|other| other.1 >= p);
                found.insert(at, (partition, p));
                found.truncate(CANDIDATES);
            }
        }
        found
    }

    /// How far the ln of any product over a partition can go from 0.
    fn reach(&self) -> f64 {
        let widest = self.lattice.widest();
        let pins = 0..self.pins();
        let at = |pin: usize| -> f64 {
            let pairs = pins.clone().filter_map(|other| Pair::new(pin, other));
            let size = |pair: Pair| {
                self.ln_odds[pair.index()].iter().fold(0.0, |size: f64, odd| size.max(odd.abs()))
            };
            let mut sizes: Vec<f64> = pairs.map(size).collect();
            sizes.sort_by(|a, b| b.total_cmp(a));
            sizes.iter().take(widest - 1).sum::<f64>() / 2.0
        };
        pins.clone().map(at).sum()
    }

    fn ln_amount(&self, layout: &Layout) -> f64 {
        let statuses = layout.statuses.iter().zip(&self.ln_odds);
        statuses.map(|(&status, odds)| odds[status as usize]).sum()
    }

    fn sum<A: Amount>(&self) -> Marginals {
        let amounts: Vec<[A; 5]> = self.ln_odds.iter().map(|odds| odds.map(A::from_ln)).collect();
        let lattice = &*self.lattice;
        let blocks = lattice.blocks(&amounts);
        let inside = lattice.inside(&blocks);
        let around = lattice.outside(&blocks, &inside);
        let totals = lattice.totals(&inside);
        let free_share = A::from_ln(self.ln_free_share);
        let free = totals.iter().fold(A::ZERO, |sum, &each| sum.plus(each)).times(free_share);
        let laid: Vec<f64> = self.layouts.iter().map(|each| self.ln_amount(each)).collect();
        let total = self
            .layouts
            .iter()
            .zip(&laid)
            .fold(free, |sum, (layout, ln)| sum.plus(A::from_ln(ln + layout.ln_prior)));
        let shares: Vec<f64> =
            totals.iter().map(|each| each.times(free_share).share_of(total)).collect();
        let scale = Scale { ln_total: total.ln(), ln_free_share: self.ln_free_share };

        let mut pairs = vec![[0.0; 5]; self.ln_odds.len()];
        for (kind, around) in lattice.kinds.iter().zip(&around) {
            for (&mask, around) in lattice.masks[kind.size].iter().zip(around) {
                let around = around.times(free_share);
                let pins = members(mask);
                for way in &kind.arrangements {
                    let p = way.amount(&pins, &amounts).times(around).share_of(total);
                    way.on(&pins)
                        .for_each(|(pair, status)| pairs[pair.index()][status as usize] += p);
                }
            }
        }
        let entropy = self.entropy(&pairs, &shares, &laid, &scale);
        let mut families: BTreeMap<Family, f64> = BTreeMap::new();
        for (end, share) in lattice.ends.iter().zip(&shares) {
            *families.entry(end.family.clone()).or_default() += share;
        }
        for (layout, ln) in self.layouts.iter().zip(&laid) {
            let p = scale.share(ln + layout.ln_prior);
            *families.entry(layout.family.clone()).or_default() += p;
            for (of, status) in pairs.iter_mut().zip(&layout.statuses) {
                of[*status as usize] += p;
            }
        }
        for of in &mut pairs {
            of[Status::Open as usize] = 0.0;
            of[Status::Open as usize] = (1.0 - of.iter().sum::<f64>()).max(0.0);
        }
        let mut families: Vec<(Family, f64)> = families.into_iter().collect();
        families.sort_by(|a, b| b.1.total_cmp(&a.1));
        let entropy_bits = entropy.max(0.0) / std::f64::consts::LN_2;
        Marginals { pins: self.pins(), pairs, families, entropy_bits, ln_total: scale.ln_total }
    }

    /// Entropy in nats: minus the mean ln probability. In the free model the ln of a partition is a
    /// sum over pairs, so its mean follows from the pair probabilities; partitions that are
    /// also layouts are exchanged one by one.
    fn entropy(&self, free: &[[f64; 5]], shares: &[f64], laid: &[f64], scale: &Scale) -> f64 {
        let weighted = |p: f64, ln: f64| if p > 0.0 { p * ln } else { 0.0 };
        let mut entropy = 0.0;
        for (of, odds) in free.iter().zip(&self.ln_odds) {
            entropy -= of.iter().zip(odds).map(|(&p, &ln)| weighted(p, ln)).sum::<f64>();
        }
        for (end, &p) in self.lattice.ends.iter().zip(shares) {
            entropy -= weighted(p, end.ln_each + scale.ln_free_share - scale.ln_total);
        }
        for (layout, ln) in self.layouts.iter().zip(laid) {
            let free = scale.share(ln + layout.ln_free);
            let both = free + scale.share(ln + layout.ln_prior);
            entropy += weighted(free, free.ln()) - weighted(both, both.ln());
        }
        entropy
    }
}

/// From ln amounts to probabilities.
struct Scale {
    ln_total: f64,
    ln_free_share: f64,
}

impl Scale {
    fn share(&self, ln: f64) -> f64 {
        (ln - self.ln_total).exp()
    }
}
