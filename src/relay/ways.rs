//! The amount of every arrangement of every group on every set of pins, kept up with each touch, so
//! that a decision need not multiply them out anew. Only a store of products: what they are
//! products of is the belief's, what they mean is the model's.

use super::amount::{Amount, Best};
use super::model::{Amounts, Model};
use super::pair::Pair;

/// Per kind of the model: per mask of its size, per arrangement.
#[derive(Clone, Debug)]
pub(super) struct Ways<A>(Vec<Vec<A>>);

impl<A: Amount> Ways<A> {
    /// Multiplied out from the amounts per pair and status.
    pub fn of(model: &Model, pair_amounts: &[[A; 5]]) -> Self {
        let of = |kind: &super::lattice::Kind| {
            let masks = model.masks.lists[kind.size].iter();
            let all = masks.flat_map(|&mask| {
                kind.arrangements.iter().map(move |way| way.amount(mask, pair_amounts))
            });
            all.collect()
        };
        Self(model.kinds().map(of).collect())
    }

    /// After a touch: `factors` per status on this pair.
    pub fn scale(&mut self, model: &Model, pair: Pair, factors: &[A; 5]) {
        let both = 1_u16 << pair.lo() | 1_u16 << pair.hi();
        for (kind, ways) in model.kinds().zip(&mut self.0) {
            let arrangements = kind.arrangements.len();
            let masks = model.masks.lists[kind.size].iter();
            for (&mask, ways) in masks.zip(ways.chunks_exact_mut(arrangements)) {
                if mask & both != both {
                    continue;
                }
                let local = |pin: usize| (mask & ((1_u16 << pin) - 1)).count_ones() as usize;
                let inside = Pair::ordered(local(pair.lo()), local(pair.hi()));
                for (amount, &status) in ways.iter_mut().zip(&kind.statuses[inside.index()]) {
                    *amount = amount.times(factors[status as usize]);
                }
            }
        }
    }

    /// The arrangements of a kind (numbered as in [`Model::kinds`]) on the mask of this rank.
    pub fn on(&self, kind: usize, rank: usize, arrangements: usize) -> &[A] {
        &self.0[kind][rank * arrangements..][..arrangements]
    }

    /// One arrangement of a kind on the mask of this rank.
    pub fn one(&self, model: &Model, kind: usize, rank: usize, arrangement: usize) -> A {
        let arrangements = self.0[kind].len() / model.masks_of(kind);
        self.0[kind][rank * arrangements + arrangement]
    }

    /// All arrangements of each group together.
    pub fn sums(&self, model: &Model) -> Amounts<A> {
        let counts: Vec<usize> = model.kinds().map(|kind| kind.arrangements.len()).collect();
        model.amounts(|kind, rank, _| folded(self.on(kind, rank, counts[kind]), A::plus))
    }

    /// The best arrangement of each group.
    pub fn best(&self, model: &Model) -> Amounts<Best<A>> {
        let counts: Vec<usize> = model.kinds().map(|kind| kind.arrangements.len()).collect();
        let best = |kind, rank| folded(self.on(kind, rank, counts[kind]), A::larger);
        model.amounts(|kind, rank, _| Best(best(kind, rank)))
    }
}

/// All of them joined, four at a time, so that no step waits for the one before it.
fn folded<A: Amount>(of: &[A], join: impl Fn(A, A) -> A) -> A {
    let (fours, rest) = of.as_chunks::<4>();
    let mut lanes = [A::ZERO; 4];
    for four in fours {
        lanes.iter_mut().zip(four).for_each(|(lane, &amount)| *lane = join(*lane, amount));
    }
    lanes.iter().chain(rest).fold(A::ZERO, |all, &amount| join(all, amount))
}
