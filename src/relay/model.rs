//! The free model: every labelling of every family of a prior. A part is its contacts on one set
//! of pins, and its extras (coils, joints) somewhere on the others; the pins that are left are
//! spares. So the sum over all partitions is a sum over sets of pins of two sums, each from a
//! [`Lattice`] of its own. [`Model::totals`] are those of the
//! families, [`Model::outside`] is what goes with every group.

use super::amount::Amount;
use super::family::{Family, Group};
use super::lattice::{Blocks, Kind, Lattice, Sums};
use super::masks::Masks;
use super::pair::PINS_MAX;

/// The layout of all sums for one prior.
#[derive(Debug)]
pub(super) struct Model {
    pub masks: Masks,
    pub contacts: Lattice,
    pub extras: Lattice,
    pub ends: Vec<End>,
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
    /// For these families and their prior probabilities, on `pins` pins (2 to 16). Families that
    /// do not fit, or have no probability, are left out; the rest is scaled to sum to 1.
    pub fn new(pins: usize, families: &[(Family, f64)]) -> Self {
        let masks = Masks::new(pins.clamp(2, PINS_MAX));
        let pins = masks.pins;
        let fits = |entry: &&(Family, f64)| entry.0.size() <= pins && entry.1 > 0.0;
        let split: Vec<(&Family, f64, Vec<Group>, Vec<Group>)> = families
            .iter()
            .filter(fits)
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
        Self { masks, contacts, extras, ends }
    }

    /// Both lattices' kinds, contacts first.
    pub fn kinds(&self) -> impl Iterator<Item = &Kind> {
        self.contacts.kinds.iter().chain(&self.extras.kinds)
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
        let contacts = self.contacts.inside(&self.masks, &amounts.contacts);
        let extras = self.extras.inside(&self.masks, &amounts.extras);
        let width = self.extra_states();
        let mut anywhere = vec![A::ZERO; width << self.masks.pins];
        for (level, sums) in extras.iter().enumerate() {
            let states = self.extras.levels[level].width();
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

    /// Per family: the amount of all its labellings, whose prior is raised to this power.
    pub fn totals<A: Amount>(&self, inside: &Inside<A>, power: f64) -> Vec<A> {
        let mut totals = Vec::with_capacity(self.ends.len());
        for alike in self.ends_by_level() {
            let extras: Vec<usize> = alike.iter().map(|end| self.extra(end.extras)).collect();
            let mut sums = vec![A::ZERO; alike.len()];
            for (_, built, others) in self.rows(alike[0].contacts.0, inside) {
                for ((end, &extra), sum) in alike.iter().zip(&extras).zip(&mut sums) {
                    *sum = sum.plus(built[end.contacts.1].times(others[extra]));
                }
            }
            let each = alike.iter().zip(sums);
            totals.extend(each.map(|(end, sum)| sum.times(A::from_ln(end.ln_each * power))));
        }
        totals
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

    /// Per group: the amount of everything that goes with it, with priors raised to this power.
    pub fn outside<A: Amount>(
        &self,
        amounts: &Amounts<A>,
        inside: &Inside<A>,
        power: f64,
    ) -> Amounts<A> {
        let states = self.extra_states();
        let mut with_contacts = self.contacts.nothing::<A>(&self.masks);
        let mut anywhere = vec![A::ZERO; inside.anywhere.len()];
        for alike in self.ends_by_level() {
            let level = alike[0].contacts.0;
            let ends: Vec<(usize, usize, A)> = alike
                .iter()
                .map(|end| {
                    let each = A::from_ln(end.ln_each * power);
                    (end.contacts.1, self.extra(end.extras), each)
                })
                .collect();
            let sums = with_contacts[level].chunks_exact_mut(self.contacts.levels[level].width());
            for (sums, (mask, built, others)) in sums.zip(self.rows(level, inside)) {
                let at = usize::from(self.masks.complement(mask)) * states;
                let with_extras = &mut anywhere[at..][..states];
                for &(state, extra, each) in &ends {
                    sums[state] = sums[state].plus(others[extra].times(each));
                    with_extras[extra] = with_extras[extra].plus(built[state].times(each));
                }
            }
        }
        each_pin(&mut anywhere, states, |without, with| *without = without.plus(*with));
        let mut with_extras = self.extras.nothing::<A>(&self.masks);
        for (level, sums) in with_extras.iter_mut().enumerate() {
            let width = self.extras.levels[level].width();
            if width == 0 {
                continue;
            }
            let first = self.extra((level, 0));
            for (&mask, row) in self.masks.lists[level].iter().zip(sums.chunks_exact_mut(width)) {
                row.copy_from_slice(&anywhere[usize::from(mask) * states + first..][..width]);
            }
        }
        let (masks, of) = (&self.masks, amounts);
        Amounts {
            contacts: self.contacts.outside(masks, &of.contacts, &inside.contacts, with_contacts),
            extras: self.extras.outside(masks, &of.extras, &inside.extras, with_extras),
        }
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
