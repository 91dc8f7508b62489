//! The free model: every labelling of every family of a prior. A part is its contacts on one set
//! of pins, and its extras (coils, joints) somewhere on the others; the pins that are left are
//! spares. So the sum over all partitions is a sum over sets of pins of two sums, each from a
//! [`Lattice`] of its own. [`Model::outside`] says what goes with every group,
//! and what each family amounts to.

use super::amount::Amount;
use super::family::{Family, Group};
use super::lattice::{Blocks, Kind, Lattice, Sums};
use super::masks::Masks;
use super::pair::Pair;
use std::collections::BTreeSet;

/// The layout of all sums for one prior.
#[derive(Debug)]
pub(super) struct Model {
    pub masks: Masks,
    pub contacts: Lattice,
    pub extras: Lattice,
    pub ends: Vec<End>,
    /// By size of a group, per set of so many pins: the index of each of its pairs.
    pairs: Vec<Vec<u8>>,
}

/// A complete family.
#[derive(Debug)]
pub(super) struct End {
    pub family: Family,
    /// ln of the prior of each of its labellings.
    pub ln_each: f64,
    /// Where its contacts and its extras stand in their lattices: level and state.
    pub contacts: (usize, usize),
    pub extras: (usize, usize),
}

/// The amounts of groups of one prior, by lattice.
pub(super) struct Amounts<A> {
    pub contacts: Blocks<A>,
    pub extras: Blocks<A>,
}

/// The sums of one belief.
pub(super) struct Inside<A> {
    pub contacts: Sums<A>,
    pub extras: Sums<A>,
    /// Per mask (all `2^pins`) and state of extras, numbered over all levels: extras anywhere on
    /// these pins, the rest spares.
    pub anywhere: Vec<A>,
}

impl Model {
    /// For these families and their prior probabilities, on `pins` pins (2 to 16). All of them
    /// fit and are possible; the probabilities are scaled to sum to 1.
    pub fn new(pins: usize, families: &[(Family, f64)]) -> Self {
        let masks = Masks::new(pins);
        let split: Vec<(&Family, f64, Vec<Group>, Vec<Group>)> = families
            .iter()
            .map(|(family, p)| {
                let is_contact = |group: &Group| matches!(group, Group::Contact { .. });
                let (contacts, extras) = family.groups().iter().copied().partition(is_contact);
                (family, *p, contacts, extras)
            })
            .collect();
        let contacts = Lattice::new(&masks, split.iter().map(|(_, _, of, _)| of.as_slice()));
        let extras = Lattice::new(&masks, split.iter().map(|(_, _, _, of)| of.as_slice()));
        let total: f64 = split.iter().map(|(_, p, _, _)| p).sum();
        let end = |(family, p, of, other): &(&Family, f64, Vec<Group>, Vec<Group>)| {
            Some(End {
                family: (*family).clone(),
                ln_each: (p / total).ln() - family.labellings(pins).ln(),
                contacts: contacts.place(of)?,
                extras: extras.place(other)?,
            })
        };
        let mut ends: Vec<End> = split.iter().filter_map(end).collect();
        ends.sort_by_key(|end| end.contacts);
        let mut model = Self { masks, contacts, extras, ends, pairs: Vec::new() };
        let sizes: BTreeSet<usize> = model.kinds().map(|kind| kind.size).collect();
        let pairs = |size| if sizes.contains(&size) { model.masks.pairs(size) } else { vec![] };
        model.pairs = (0..=model.widest()).map(pairs).collect();
        model
    }

    /// The index of each pair of the group of so many pins on the set of this rank.
    pub fn pairs(&self, size: usize, rank: usize) -> &[u8] {
        let count = Pair::count(size);
        &self.pairs[size][rank * count..][..count]
    }

    /// Both lattices' kinds, contacts first.
    pub fn kinds(&self) -> impl Iterator<Item = &Kind> {
        self.contacts.kinds.iter().chain(&self.extras.kinds)
    }

    /// How many sets of pins a kind (numbered as in [`Model::kinds`]) may be on.
    pub fn masks_of(&self, kind: usize) -> usize {
        let contacts = &self.contacts.kinds;
        let extra = kind.checked_sub(contacts.len()).and_then(|extra| self.extras.kinds.get(extra));
        let kind = contacts.get(kind).or(extra);
        kind.map_or(1, |kind| self.masks.lists[kind.size].len())
    }

    /// What `of` says for each kind (numbered as in [`Model::kinds`]), rank and mask.
    pub fn amounts<A: Amount>(&self, of: impl Fn(usize, usize, u16) -> A) -> Amounts<A> {
        let first = self.contacts.kinds.len();
        Amounts {
            contacts: self.contacts.blocks(&self.masks, &of),
            extras: self
                .extras
                .blocks(&self.masks, |kind, rank, mask| of(first + kind, rank, mask)),
        }
    }

    /// The number of a state of extras among all of them.
    pub fn extra(&self, (level, state): (usize, usize)) -> usize {
        self.extras.levels[..level].iter().map(|level| level.width()).sum::<usize>() + state
    }

    fn extra_states(&self) -> usize {
        self.extras.levels.iter().map(|level| level.width()).sum()
    }

    /// The sums of everything that can be built.
    pub fn inside<A: Amount>(&self, amounts: &Amounts<A>) -> Inside<A> {
        let contacts = self.contacts.inside(&amounts.contacts);
        let extras = self.extras.inside(&amounts.extras);
        let width = self.extra_states();
        let mut anywhere = vec![A::ZERO; width << self.masks.pins];
        for (level, of) in self.extras.levels.iter().enumerate() {
            let (sums, states) = (&extras[level], of.width());
            if states == 0 {
                continue;
            }
            let first = self.extra((level, 0));
            for (&mask, row) in self.masks.lists[level].iter().zip(sums.chunks_exact(states)) {
                anywhere[usize::from(mask) * width + first..][..states].copy_from_slice(row);
            }
        }
        // From exactly these pins to any of them: pin by pin, the sets without it and with it.
        each_pin(&mut anywhere, width, |without, with| *with = with.plus(*without));
        Inside { contacts, extras, anywhere }
    }

    /// Families with as many pins in contacts, in the order of [`Model::ends`].
    pub fn ends_by_level(&self) -> impl Iterator<Item = &[End]> {
        self.ends.chunk_by(|a, b| a.contacts.0 == b.contacts.0)
    }

    /// For each set of as many pins: it, the amounts of contacts on it by state, and the amounts
    /// of extras anywhere on the others, by the number of their state.
    pub fn rows<'a, A: Amount>(
        &'a self,
        level: usize,
        inside: &'a Inside<A>,
    ) -> impl Iterator<Item = (u16, &'a [A], &'a [A])> + 'a {
        let states = self.extra_states();
        let built = inside.contacts[level].chunks_exact(self.contacts.levels[level].width());
        self.masks.lists[level].iter().zip(built).map(move |(&mask, built)| {
            let others = usize::from(self.masks.complement(mask)) * states;
            (mask, built, &inside.anywhere[others..][..states])
        })
    }

    /// Per group: the amount of everything that goes with it; per family, in the order of
    /// [`Model::ends`]: the amount of all its labellings.
    pub fn outside<A: Amount>(
        &self,
        amounts: &Amounts<A>,
        inside: &Inside<A>,
    ) -> (Amounts<A>, Vec<A>) {
        let states = self.extra_states();
        let mut totals: Vec<A> = Vec::with_capacity(self.ends.len());
        let mut with_contacts = self.contacts.nothing::<A>();
        let mut anywhere = vec![A::ZERO; inside.anywhere.len()];
        for alike in self.ends_by_level() {
            let level = alike[0].contacts.0;
            let ends: Vec<(usize, usize, A)> = alike
                .iter()
                .map(|end| {
                    let each = A::from_ln(end.ln_each);
                    (end.contacts.1, self.extra(end.extras), each)
                })
                .collect();
            let first = totals.len();
            totals.resize(first + ends.len(), A::ZERO);
            let totals = &mut totals[first..];
            let sums = with_contacts[level].chunks_exact_mut(self.contacts.levels[level].width());
            for (sums, (mask, built, others)) in sums.zip(self.rows(level, inside)) {
                let at = usize::from(self.masks.complement(mask)) * states;
                let with_extras = &mut anywhere[at..][..states];
                for (&(state, extra, each), total) in ends.iter().zip(&mut *totals) {
                    let others = others[extra].times(each);
                    sums[state] = sums[state].plus(others);
                    with_extras[extra] = with_extras[extra].plus(built[state].times(each));
                    *total = total.plus(built[state].times(others));
                }
            }
        }
        each_pin(&mut anywhere, states, |without, with| *without = without.plus(*with));
        let mut with_extras = self.extras.nothing::<A>();
        for (level, of) in self.extras.levels.iter().enumerate() {
            let (sums, width) = (&mut with_extras[level], of.width());
            if width == 0 {
                continue;
            }
            let first = self.extra((level, 0));
            for (&mask, row) in self.masks.lists[level].iter().zip(sums.chunks_exact_mut(width)) {
                row.copy_from_slice(&anywhere[usize::from(mask) * states + first..][..width]);
            }
        }
        let of = amounts;
        let around = Amounts {
            contacts: self.contacts.outside(&of.contacts, &inside.contacts, with_contacts),
            extras: self.extras.outside(&of.extras, &inside.extras, with_extras),
        };
        (around, totals)
    }

    /// The largest group, in pins.
    pub fn widest(&self) -> usize {
        self.kinds().map(|kind| kind.size).max().unwrap_or(1)
    }
}

/// Over rows of `width` per mask: for each pin, each set without it together with the same set
/// with it. Small blocks are finished first, so that they stay near at hand.
fn each_pin<A>(rows: &mut [A], width: usize, join: impl Fn(&mut A, &mut A)) {
    let near = rows.len().min(width << NEAR_PINS);
    let mut block = width * 2;
    for part in rows.chunks_exact_mut(near) {
        let mut block = width * 2;
        while block <= near {
            for both in part.chunks_exact_mut(block) {
                let (without, with) = both.split_at_mut(block / 2);
                without.iter_mut().zip(with).for_each(|(less, more)| join(less, more));
            }
            block *= 2;
        }
    }
    while block <= near {
        block *= 2;
    }
    while block <= rows.len() {
        for both in rows.chunks_exact_mut(block) {
            let (without, with) = both.split_at_mut(block / 2);
            without.iter_mut().zip(with).for_each(|(less, more)| join(less, more));
        }
        block *= 2;
    }
}

/// Sets of so many pins make a block that is finished first.
const NEAR_PINS: usize = 9;

#[cfg(test)]
mod tests {
    use super::*;

    /// For each set the sum over all its subsets, one by one; fewer pins than a block holds, as
    /// many, and more, with one and with three values per set.
    #[test]
    fn pin_by_pin_every_set_gets_the_sum_of_its_subsets() {
        for (pins, width) in [(2, 3), (9, 1), (10, 3), (11, 1)] {
            let value = |mask: usize, column: usize| ((mask * 37 + column * 11) % 101) as f64;
            let all = (0..1_usize << pins).flat_map(|mask| (0..width).map(move |c| (mask, c)));
            let mut rows: Vec<f64> = all.map(|(mask, column)| value(mask, column)).collect();
            each_pin(&mut rows, width, |without, with| *with += *without);
            for mask in (0..1_usize << pins).step_by(7) {
                for column in 0..width {
                    let subsets = (0..=mask).filter(|subset| subset & !mask == 0);
                    let sum: f64 = subsets.map(|subset| value(subset, column)).sum();
                    assert_eq!(rows[mask * width + column].to_bits(), sum.to_bits());
                }
            }
        }
    }
}
