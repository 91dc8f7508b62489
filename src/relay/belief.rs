//! The exact posterior over partitions. A [`Belief`] adds up ln likelihoods per pair, in any order;
//! [`Belief::posterior`] sums over every partition of the prior: the free model by its lattices,
//! the layouts of a footprint one by one. Nothing here is approximate but `f64` itself. Which
//! touch comes next is left to the planner.

use super::amount::{Amount, Best, Wide};
use super::candidates::{Candidates, MOST};
use super::evidence::{Status, Weights};
use super::family::Family;
use super::masks::members;
use super::model::{Amounts, Model};
use super::pair::Pair;
use super::partition::Partition;
use super::posterior::{CANDIDATES, Marginals, Posterior};
use super::prior::Prior;
use super::ways::Ways;
use std::sync::Arc;

/// What the touches so far say, with the prior they say it to.
#[derive(Clone, Debug)]
pub struct Belief {
    model: Arc<Model>,
    layouts: Arc<[Layout]>,
    ln_free_share: f64,
    /// ln likelihood per pair and status, less that of [`Status::Open`].
    ln_odds: Vec<[f64; 5]>,
    /// The amounts that follow; none while some would leave the range of `f64`.
    ways: Option<Ways<f64>>,
    touches: Vec<(Pair, Weights)>,
}

/// A layout of the prior: a partition that is believed beyond its share of the free model.
#[derive(Clone, Debug)]
struct Layout {
    partition: Partition,
    statuses: Vec<Status>,
    /// Its family's place in the model.
    end: Option<usize>,
    ln_prior: f64,
    /// ln of what the free model believes of the same partition at first.
    ln_free: f64,
}

/// No product over a partition may go further from 1 than `e` to this power in plain `f64`, so
/// that the prior and the sum of many still fit beside it.
const REACH: f64 = 550.0;

/// What weighs less than this share of everything cannot move a probability that one can see.
const NOTHING: f64 = 1e-16;

impl Belief {
    /// Before any touch.
    #[must_use]
    pub fn new(prior: &Prior) -> Self {
        let ln_free_share = prior.free_share.ln();
        let layouts = prior.layouts.iter().map(|(partition, p)| {
            let family = partition.family();
            let end = prior.model.ends.iter().position(|end| end.family == family);
            let ln_each = end.map_or(f64::NEG_INFINITY, |end| prior.model.ends[end].ln_each);
            Layout {
                statuses: Pair::all(prior.pins()).map(|pair| partition.status(pair)).collect(),
                ln_prior: p.ln(),
                ln_free: ln_each + ln_free_share,
                partition: partition.clone(),
                end,
            }
        });
        let pairs = Pair::count(prior.pins());
        Self {
            model: Arc::clone(&prior.model),
            layouts: layouts.collect(),
            ln_free_share,
            ln_odds: vec![[0.0; 5]; pairs],
            ways: Some(Ways::of(&prior.model, &vec![[1.0; 5]; pairs])),
            touches: Vec::new(),
        }
    }

    /// How many pins the part has.
    #[must_use]
    pub fn pins(&self) -> usize {
        self.model.masks.pins
    }

    /// Takes in what one touch said about its pair. A pair beyond the pins, or a weight that is
    /// not a number, says nothing.
    pub fn observe(&mut self, pair: Pair, weights: &Weights) {
        let Some(odds) = self.ln_odds.get_mut(pair.index()) else { return };
        self.touches.push((pair, *weights));
        let before = *odds;
        for (odd, weight) in odds.iter_mut().zip(weights.0) {
            let change = weight - weights.0[Status::Open as usize];
            if !change.is_nan() {
                *odd = (*odd + change).clamp(-1e9, 1e9);
            }
        }
        let now = *odds;
        if self.reach() >= REACH {
            self.ways = None;
        } else if let Some(ways) = &mut self.ways {
            let factors = std::array::from_fn(|status| (now[status] - before[status]).exp());
            ways.scale(&self.model, pair, &factors);
        } else {
            self.ways = Some(Ways::of(&self.model, &self.pair_amounts()));
        }
    }

    /// What was taken in, in order.
    #[must_use]
    pub fn touches(&self) -> &[(Pair, Weights)] {
        &self.touches
    }

    /// ln of the prior of this very partition; minus infinity if the prior excludes it.
    pub(super) fn ln_prior(&self, partition: &Partition) -> f64 {
        let family = partition.family();
        let end = self.model.ends.iter().find(|end| end.family == family);
        let free = end.map_or(0.0, |end| (end.ln_each + self.ln_free_share).exp());
        let laid = self.layouts.iter().find(|layout| layout.partition == *partition);
        (free + laid.map_or(0.0, |layout| layout.ln_prior.exp())).ln()
    }

    /// Every shape of group that the prior knows, once each.
    pub(super) fn groups_in_use(&self) -> Family {
        Family::new(self.model.kinds().map(|kind| kind.group))
    }

    /// Pair marginals, families and entropy.
    #[must_use]
    pub fn marginals(&self) -> Marginals {
        match &self.ways {
            Some(ways) => self.sum(ways),
            None => self.sum(&Ways::<Wide>::of(&self.model, &self.pair_amounts())),
        }
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

    /// The five most probable partitions with their exact posterior, best first. `marginals` are
    /// this belief's own.
    #[must_use]
    pub fn candidates(&self, marginals: &Marginals) -> Vec<(Partition, f64)> {
        let share = |ln: f64| (ln - marginals.ln_total).exp();
        let laid = self.layouts.iter().map(|layout| {
            let ln = self.ln_amount(layout);
            (layout.partition.clone(), share(ln + layout.ln_prior) + share(ln + layout.ln_free))
        });
        let mut found: Vec<(Partition, f64)> = laid.collect();
        found.sort_by(|a, b| b.1.total_cmp(&a.1));
        found.truncate(CANDIDATES);
        let pair_amounts: Vec<[Best; 5]> = self.pair_amounts();
        let best = match &self.ways {
            Some(ways) => ways.best(&self.model),
            None => Ways::of(&self.model, &pair_amounts).sums(&self.model),
        };
        for (partition, ln) in Candidates::new(&self.model, &pair_amounts, best).take(MOST) {
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

    fn pair_amounts<A: Amount>(&self) -> Vec<[A; 5]> {
        self.ln_odds.iter().map(|odds| odds.map(A::from_ln)).collect()
    }

    /// How far the ln of any product over a partition can go from 0: each pin meets at most the
    /// other pins of one group.
    fn reach(&self) -> f64 {
        let others = self.model.widest() - 1;
        let mut reach = 0.0;
        for pin in 0..self.pins() {
            let mut sizes = [0.0_f64; super::pair::PINS_MAX];
            for (size, other) in sizes.iter_mut().zip(0..self.pins()) {
                if let Some(pair) = Pair::new(pin, other) {
                    let odds = self.ln_odds[pair.index()].iter();
                    *size = odds.fold(0.0, |size: f64, odd| size.max(odd.abs()));
                }
            }
            sizes.sort_unstable_by(|a, b| b.total_cmp(a));
            reach += sizes.iter().take(others).sum::<f64>() / 2.0;
        }
        reach
    }

    fn ln_amount(&self, layout: &Layout) -> f64 {
        let statuses = layout.statuses.iter().zip(&self.ln_odds);
        statuses.map(|(&status, odds)| odds[status as usize]).sum()
    }

    /// Pair marginals alone.
    pub(super) fn pairs(&self) -> Vec<[f64; 5]> {
        match &self.ways {
            Some(ways) => self.summed(ways, 1.0).all_pairs(self),
            None => {
                let ways = Ways::<Wide>::of(&self.model, &self.pair_amounts());
                self.summed(&ways, 1.0).all_pairs(self)
            }
        }
    }

    /// Pair marginals of the square root of the posterior, scaled to sum to 1. There an alternative
    /// of one in a million still counts for a thousandth: it shows where doubt is left.
    pub(super) fn doubt(&self) -> Vec<[f64; 5]> {
        match &self.ways {
            Some(ways) => self.summed(&ways.root(), 0.5).all_pairs(self),
            None => {
                let ways = Ways::<Wide>::of(&self.model, &self.pair_amounts());
                self.summed(&ways.root(), 0.5).all_pairs(self)
            }
        }
    }

    fn sum<A: Amount>(&self, ways: &Ways<A>) -> Marginals {
        let summed = self.summed(ways, 1.0);
        let entropy = self.entropy(&summed);
        let mut shares = summed.families.clone();
        for (layout, share) in self.layouts.iter().zip(&summed.layouts) {
            if let Some(sum) = layout.end.and_then(|end| shares.get_mut(end)) {
                *sum += share;
            }
        }
        let ends = self.model.ends.iter().zip(shares);
        let mut families: Vec<(Family, f64)> =
            ends.map(|(end, share)| (end.family.clone(), share)).collect();
        families.sort_by(|a, b| b.1.total_cmp(&a.1));
        Marginals {
            pins: self.pins(),
            families,
            entropy_bits: entropy.max(0.0) / std::f64::consts::LN_2,
            ln_total: summed.ln_total,
            pairs: summed.all_pairs(self),
        }
    }

    /// Sums over everything, with `ways` raised to this power already.
    fn summed<A: Amount>(&self, ways: &Ways<A>, power: f64) -> Summed {
        let model = &*self.model;
        let amounts = ways.sums(model);
        let inside = model.inside(&amounts);
        let around = model.outside(&amounts, &inside, power);
        let totals = model.totals(&inside, power);
        let free_share = A::from_ln(self.ln_free_share * power);
        let free = totals.iter().fold(A::ZERO, |sum, &each| sum.plus(each)).times(free_share);
        let laid = self
            .layouts
            .iter()
            .map(|layout| A::from_ln((self.ln_amount(layout) + layout.ln_prior) * power));
        let laid: Vec<A> = laid.collect();
        let total = laid.iter().fold(free, |sum, &each| sum.plus(each));
        // Of a root only the rough shape is wanted.
        let nothing = if power < 1.0 { 1e-6 } else { NOTHING };
        let mut pairs = vec![[0.0; 5]; self.ln_odds.len()];
        self.spread(ways, &amounts, &around, (free_share, total, nothing), &mut pairs);
        Summed {
            pairs,
            families: totals.iter().map(|t| t.times(free_share).share_of(total)).collect(),
            layouts: laid.iter().map(|each| each.share_of(total)).collect(),
            ln_total: total.ln(),
        }
    }

    /// From what goes with each group to the probability of each status of each pair.
    fn spread<A: Amount>(
        &self,
        ways: &Ways<A>,
        amounts: &Amounts<A>,
        around: &Amounts<A>,
        (free_share, total, nothing): (A, A, f64),
        pairs: &mut [[f64; 5]],
    ) {
        let model = &*self.model;
        let contacts = model.contacts.kinds.len();
        for (number, kind) in model.kinds().enumerate() {
            let (amounts, around) = if number < contacts {
                (&amounts.contacts[kind.size], &around.contacts[kind.size])
            } else {
                (&amounts.extras[kind.size], &around.extras[kind.size])
            };
            let mut local = vec![0.0; 5 * Pair::count(kind.size)];
            let per_way = kind.cells.len() / kind.arrangements.len();
            for (rank, &mask) in model.masks.lists[kind.size].iter().enumerate() {
                let at = rank * kind.slots + kind.slot;
                let around = around[at].times(free_share).over(total);
                if around.times(amounts[at]).plain() < nothing {
                    continue;
                }
                local.fill(0.0);
                let ways = ways.on(number, rank, kind.arrangements.len());
                for (cells, amount) in kind.cells.chunks_exact(per_way.max(1)).zip(ways) {
                    let p = amount.times(around).plain();
                    cells.iter().for_each(|&cell| local[usize::from(cell)] += p);
                }
                let pins = members(mask).0;
                for (pair, of) in Pair::all(kind.size).zip(local.chunks_exact(5)) {
                    let [a, b] = [pair.lo(), pair.hi()].map(|pin| usize::from(pins[pin]));
                    let sums = &mut pairs[Pair::ordered(a, b).index()];
                    sums.iter_mut().zip(of).for_each(|(sum, p)| *sum += p);
                }
            }
        }
    }

    /// Entropy in nats: minus the mean ln probability. In the free model the ln of a partition is a
    /// sum over pairs, so its mean follows from the pair probabilities; partitions that are
    /// also layouts are exchanged one by one.
    fn entropy(&self, summed: &Summed) -> f64 {
        let weighted = |p: f64, ln: f64| if p > 0.0 { p * ln } else { 0.0 };
        let mut entropy = 0.0;
        for (of, odds) in summed.pairs.iter().zip(&self.ln_odds) {
            entropy -= of.iter().zip(odds).map(|(&p, &ln)| weighted(p, ln)).sum::<f64>();
        }
        for (end, &p) in self.model.ends.iter().zip(&summed.families) {
            entropy -= weighted(p, end.ln_each + self.ln_free_share - summed.ln_total);
        }
        for (layout, share) in self.layouts.iter().zip(&summed.layouts) {
            let free = (self.ln_amount(layout) + layout.ln_free - summed.ln_total).exp();
            let both = free + share;
            entropy += weighted(free, free.ln()) - weighted(both, both.ln());
        }
        entropy
    }
}

/// Sums over everything, as shares of it.
struct Summed {
    /// Of the free model alone; the share of [`Status::Open`] is left out.
    pairs: Vec<[f64; 5]>,
    families: Vec<f64>,
    layouts: Vec<f64>,
    ln_total: f64,
}

impl Summed {
    /// Pair marginals with the layouts, complete.
    fn all_pairs(self, belief: &Belief) -> Vec<[f64; 5]> {
        let mut pairs = self.pairs;
        for (layout, share) in belief.layouts.iter().zip(&self.layouts) {
            for (of, status) in pairs.iter_mut().zip(&layout.statuses) {
                of[*status as usize] += share;
            }
        }
        for of in &mut pairs {
            of[Status::Open as usize] = 0.0;
            of[Status::Open as usize] = (1.0 - of.iter().sum::<f64>()).max(0.0);
        }
        pairs
    }
}
