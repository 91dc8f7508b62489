//! The exact posterior over partitions. A [`Belief`] adds up ln likelihoods per pair, in any order;
//! [`Belief::posterior`] sums over every partition of the prior: the free model by its lattices,
//! the layouts of a footprint one by one. Nothing here is approximate but `f64` itself. Which
//! touch comes next is left to the planner.

use super::amount::{Amount, Best, Wide};
use super::candidates::{Candidates, MOST};
use super::evidence::{Status, Weights};
use super::family::Family;
use super::lattice::{Kind, Says};
use super::model::{Amounts, Inside, Model};
use super::pair::Pair;
use super::partition::Partition;
use super::posterior::{CANDIDATES, Posterior};
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

/// With less entropy than this the sums of the free model lead straight to the best candidates.
const FEW_BITS: f64 = 6.0;

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

    /// What is believed now.
    #[must_use]
    pub fn posterior(&self) -> Posterior {
        match &self.ways {
            Some(ways) => self.sum(ways),
            None => self.sum(&Ways::<Wide>::of(&self.model, &self.pair_amounts())),
        }
    }

    /// The five most probable partitions with their exact posterior, best first. While little is
    /// known, many are nearly as probable, and only their own sums tell which is first; later the
    /// sums that are there already lead to them.
    fn candidates<A: Amount>(
        &self,
        ways: &Ways<A>,
        inside: &Inside<A>,
        summed: &Summed,
        entropy_bits: f64,
    ) -> Vec<(Partition, f64)> {
        let model = &*self.model;
        if entropy_bits < FEW_BITS {
            let one = |kind, rank, way| ways.one(model, kind, rank, way);
            let mut led =
                Candidates::new(model, one, inside, self.bounds(summed), MOST).impatient();
            let found = self.most_probable(&mut led, summed.ln_total);
            if !led.gave_up() {
                return found;
            }
        }
        let inside = model.inside(&ways.best(model));
        let one = |kind, rank, way| Best(ways.one(model, kind, rank, way));
        // Those that are layouts too are passed over.
        let wanted = (CANDIDATES + self.layouts.len()).min(MOST);
        let mut led = Candidates::new(model, one, &inside, self.bounds(summed), wanted);
        self.most_probable(&mut led, summed.ln_total)
    }

    /// What no partition of each family amounts to more than: the family, and a hair for rounding.
    fn bounds<A: Amount>(&self, summed: &Summed) -> impl Iterator<Item = A> {
        let all = A::from_ln(summed.ln_total - self.ln_free_share + 1e-6);
        summed.families.iter().map(move |share| A::of(*share).times(all))
    }

    /// Layouts and the partitions of the free model, which come in falling order, together.
    fn most_probable(
        &self,
        free: &mut impl Iterator<Item = (Partition, f64)>,
        ln_total: f64,
    ) -> Vec<(Partition, f64)> {
        let share = |ln: f64| (ln - ln_total).exp();
        let mut laid: Vec<(usize, f64)> = self
            .layouts
            .iter()
            .map(|layout| {
                let ln = self.ln_amount(layout);
                share(ln + layout.ln_prior) + share(ln + layout.ln_free)
            })
            .enumerate()
            .collect();
        laid.sort_by(|a, b| b.1.total_cmp(&a.1));
        laid.truncate(CANDIDATES);
        let named = |(at, p): (usize, f64)| (self.layouts[at].partition.clone(), p);
        let mut found: Vec<(Partition, f64)> = laid.into_iter().map(named).collect();
        for (partition, ln) in free.take(MOST) {
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

    /// Per pair the probability of each status, without the rest.
    pub(super) fn pairs(&self) -> Vec<[f64; 5]> {
        fn of<A: Amount>(belief: &Belief, ways: &Ways<A>) -> Vec<[f64; 5]> {
            let amounts = ways.sums(&belief.model);
            let inside = belief.model.inside(&amounts);
            belief.summed(ways, &amounts, &inside).all_pairs(belief)
        }
        match &self.ways {
            Some(ways) => of(self, ways),
            None => of(self, &Ways::<Wide>::of(&self.model, &self.pair_amounts())),
        }
    }

    fn sum<A: Amount>(&self, ways: &Ways<A>) -> Posterior {
        let amounts = ways.sums(&self.model);
        let inside = self.model.inside(&amounts);
        let summed = self.summed(ways, &amounts, &inside);
        let entropy_bits = self.entropy(&summed).max(0.0) / std::f64::consts::LN_2;
        let candidates = self.candidates(ways, &inside, &summed, entropy_bits);
        let mut shares = summed.families.clone();
        for (layout, share) in self.layouts.iter().zip(&summed.layouts) {
            if let Some(sum) = layout.end.and_then(|end| shares.get_mut(end)) {
                *sum += share;
            }
        }
        let ends = self.model.ends.iter().zip(shares);
        let mut families: Vec<(Family, f64)> =
            ends.map(|(end, share)| (end.family.clone(), share)).collect();
        families.sort_unstable_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        Posterior {
            pins: self.pins(),
            pairs: summed.all_pairs(self),
            best: candidates.first().cloned().unwrap_or_default(),
            candidates,
            families,
            entropy_bits,
        }
    }

    /// Sums over everything.
    fn summed<A: Amount>(
        &self,
        ways: &Ways<A>,
        amounts: &Amounts<A>,
        inside: &Inside<A>,
    ) -> Summed {
        let model = &*self.model;
        let (around, totals) = model.outside(amounts, inside);
        let free_share = A::from_ln(self.ln_free_share);
        let free = totals.iter().fold(A::ZERO, |sum, &each| sum.plus(each)).times(free_share);
        let laid =
            self.layouts.iter().map(|layout| A::from_ln(self.ln_amount(layout) + layout.ln_prior));
        let laid: Vec<A> = laid.collect();
        let total = laid.iter().fold(free, |sum, &each| sum.plus(each));
        let mut pairs = vec![[0.0; 5]; self.ln_odds.len()];
        self.spread(ways, amounts, &around, (free_share, total), &mut pairs);
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
        (free_share, total): (A, A),
        pairs: &mut [[f64; 5]],
    ) {
        let model = &*self.model;
        let share = free_share.over(total);
        let contacts = model.contacts.kinds.len();
        // Both are used again and again, so that they grow once.
        let (mut groups, mut columns) = (Vec::new(), Vec::new());
        for (number, kind) in model.kinds().enumerate() {
            let (amounts, around) = if number < contacts {
                (&amounts.contacts[kind.size], &around.contacts[kind.size])
            } else {
                (&amounts.extras[kind.size], &around.extras[kind.size])
            };
            groups.clear();
            groups.extend((0..model.masks.lists[kind.size].len()).filter_map(|rank| {
                let at = rank * kind.slots + kind.slot;
                let around = around[at].times(share);
                (around.times(amounts[at]).plain() >= NOTHING).then(|| Placed {
                    pairs: model.pairs(kind.size, rank),
                    around,
                    ways: ways.on(number, rank, kind.arrangements.len()),
                })
            }));
            spread_kind(kind, &groups, &mut columns, pairs);
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

/// So many groups of a kind are summed at once, side by side.
const ABREAST: usize = 16;

/// A group of a kind on some pins.
struct Placed<'a, A> {
    /// The indices of its pairs.
    pairs: &'a [u8],
    /// The amount of what goes with it.
    around: A,
    /// The amounts of its arrangements.
    ways: &'a [A],
}

/// Adds how probable groups of one kind make the statuses of their pairs. `columns` is room to work
/// in.
fn spread_kind<A: Amount>(
    kind: &Kind,
    groups: &[Placed<A>],
    columns: &mut Vec<[A; ABREAST]>,
    pairs: &mut [[f64; 5]],
) {
    columns.resize(kind.arrangements.len(), [A::ZERO; ABREAST]);
    for groups in groups.chunks(ABREAST) {
        for (lane, group) in groups.iter().enumerate() {
            for (column, way) in columns.iter_mut().zip(group.ways) {
                column[lane] = way.times(group.around);
            }
        }
        for (pair, Says(says)) in kind.says.iter().enumerate() {
            for (status, numbers) in says {
                let mut lanes = [A::ZERO; ABREAST];
                for &number in numbers {
                    let column = &columns[usize::from(number)];
                    lanes.iter_mut().zip(column).for_each(|(lane, &way)| *lane = lane.plus(way));
                }
                for (group, lane) in groups.iter().zip(lanes) {
                    pairs[usize::from(group.pairs[pair])][*status as usize] += lane.plain();
                }
            }
        }
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

#[cfg(test)]
mod tests;
