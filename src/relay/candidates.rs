//! The most probable partitions, one after the other, exactly. The sums of [`super::model`] say
//! how much the ways to build any set of pins amount to; a search from the complete part
//! backwards that always follows the largest promise meets the partitions in falling order. Run
//! with [`super::amount::Best`] a promise is what the best way reaches; run with plain sums it is
//! only more than that, so the search may give up.

use super::amount::Amount;
use super::masks::subsets;
use super::model::{End, Inside, Model};
use super::partition::Partition;
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// More than this many are never asked for.
pub(super) const MOST: usize = 32;

/// So many steps without an end, and the search gives up.
const STEPS_MOST: usize = 400;

/// An iterator over partitions with their ln amount, best first, at most [`MOST`].
pub(super) struct Candidates<'a, A, F> {
    model: &'a Model,
    /// The amount of one arrangement: kind, rank of its pins, number.
    one: F,
    inside: &'a Inside<A>,
    open: BinaryHeap<Node<A>>,
    chosen: Vec<Chosen>,
    /// No partition that is not under an open node has a larger rank.
    left_out: f64,
    /// Steps until it gives up; without, it goes on to the end.
    steps_left: Option<usize>,
    gave_up: bool,
}

/// A group that was taken, and the one taken before it.
struct Chosen {
    before: Option<usize>,
    /// Among the kinds of the model.
    kind: usize,
    pins: u16,
    arrangement: usize,
}

/// A partition of which some groups are chosen.
#[derive(Clone, Copy)]
struct Node<A> {
    promise: A,
    so_far: A,
    /// Pins and state of the contacts that are still to be chosen.
    contacts: (u16, usize),
    /// Pins and state of the extras; level, as long as it is open which pins they take.
    extras: (u16, usize),
    open_level: Option<usize>,
    chosen: Option<usize>,
}

impl<'a, A: Amount, F: Fn(usize, usize, usize) -> A> Candidates<'a, A, F> {
    /// Over the partitions of `model`, with the amounts of arrangements, and of all that can be
    /// built. `bounds` are amounts that no partition of each family exceeds; the
    /// first `wanted` partitions are surely met.
    pub fn new(
        model: &'a Model,
        one: F,
        inside: &'a Inside<A>,
        bounds: impl Iterator<Item = A>,
        wanted: usize,
    ) -> Self {
        let mut starts: Vec<Node<A>> = Vec::with_capacity(wanted + 1);
        let mut left_out = f64::NEG_INFINITY;
        let mut families: Vec<(&End, f64)> =
            model.ends.iter().zip(bounds).map(|(end, bound)| (end, bound.rank())).collect();
        families.sort_unstable_by(|a, b| b.1.total_cmp(&a.1));
        for (end, bound) in families {
            let least = |starts: &[Node<A>]| {
                starts.get(wanted - 1).map_or(f64::NEG_INFINITY, |node| node.promise.rank())
            };
            if bound < least(&starts) {
                left_out = left_out.max(bound);
                break;
            }
            let (each, extra) = (A::from_ln(end.ln_each), model.extra(end.extras));
            for (mask, built, others) in model.rows(end.contacts.0, inside) {
                let promise = each.times(built[end.contacts.1]).times(others[extra]);
                if promise.rank() <= least(&starts) {
                    left_out = left_out.max(promise.rank());
                    continue;
                }
                let at = starts.partition_point(|node| node.promise.rank() >= promise.rank());
                starts.insert(at, Node::start(end, mask, model, promise));
                if let Some(dropped) = starts.get(wanted) {
                    left_out = left_out.max(dropped.promise.rank());
                    starts.truncate(wanted);
                }
            }
        }
        let mut open = BinaryHeap::with_capacity(STEPS_MOST);
        open.extend(starts);
        let (chosen, steps_left, gave_up) = (Vec::with_capacity(STEPS_MOST), None, false);
        Self { model, one, inside, open, chosen, left_out, steps_left, gave_up }
    }

    /// The same, but it gives up after [`STEPS_MOST`] steps, or when a partition may have been left
    /// out: where promises are no more than upper bounds, the way can be long.
    pub fn impatient(mut self) -> Self {
        self.steps_left = Some(STEPS_MOST);
        self
    }

    /// Whether it ended although there may be more.
    pub fn gave_up(&self) -> bool {
        self.gave_up
    }

    fn expand(&mut self, node: Node<A>) {
        if let Some(level) = node.open_level {
            let contacts = self.of_contacts(node.contacts);
            for pins in subsets(node.extras.0, level) {
                let extras = (pins, node.extras.1);
                let promise = node.so_far.times(contacts).times(self.of_extras(extras));
                self.open.push(Node { promise, extras, open_level: None, ..node });
            }
        } else {
            self.take_one(node);
        }
    }

    fn of_contacts(&self, (pins, state): (u16, usize)) -> A {
        let level = pins.count_ones() as usize;
        let width = self.model.contacts.levels[level].width();
        self.inside.contacts[level][self.model.masks.rank(pins) * width + state]
    }

    fn of_extras(&self, (pins, state): (u16, usize)) -> A {
        let level = pins.count_ones() as usize;
        let width = self.model.extras.levels[level].width();
        self.inside.extras[level][self.model.masks.rank(pins) * width + state]
    }

    /// Takes the last group off the contacts, or, once none is left, off the extras, in every way.
    fn take_one(&mut self, node: Node<A>) {
        let model = self.model;
        let of_contacts = node.contacts.0 != 0;
        let (lattice, first_kind, (mask, state)) = if of_contacts {
            (&model.contacts, 0, node.contacts)
        } else {
            (&model.extras, model.contacts.kinds.len(), node.extras)
        };
        let masks = &model.masks;
        for (number, pins, state) in lattice.last_groups(masks, mask, state) {
            let kind = &lattice.kinds[number];
            let rank = masks.rank(pins);
            let left = (mask ^ pins, state);
            let rest = if of_contacts {
                self.of_contacts(left).times(self.of_extras(node.extras))
            } else {
                self.of_extras(left)
            };
            for arrangement in 0..kind.arrangements.len() {
                let amount = (self.one)(first_kind + number, rank, arrangement);
                let so_far = node.so_far.times(amount);
                let chosen =
                    Chosen { before: node.chosen, kind: first_kind + number, pins, arrangement };
                self.chosen.push(chosen);
                self.open.push(Node {
                    promise: so_far.times(rest),
                    so_far,
                    contacts: if of_contacts { left } else { node.contacts },
                    extras: if of_contacts { node.extras } else { left },
                    open_level: None,
                    chosen: Some(self.chosen.len() - 1),
                });
            }
        }
    }

    fn built(&self, mut chosen: Option<usize>) -> Partition {
        let kinds: Vec<_> = self.model.kinds().collect();
        let mut groups = Vec::new();
        while let Some(at) = chosen {
            let Chosen { before, kind, pins, arrangement } = self.chosen[at];
            let roles = kinds[kind].arrangements[arrangement].roles.clone();
            let pins = (0..self.model.masks.pins).filter(|pin| pins >> pin & 1 == 1).collect();
            groups.push((kinds[kind].group, pins, roles));
            chosen = before;
        }
        Partition::from_groups(self.model.masks.pins, &groups)
    }
}

impl<A: Amount, F: Fn(usize, usize, usize) -> A> Iterator for Candidates<'_, A, F> {
    type Item = (Partition, f64);

    fn next(&mut self) -> Option<Self::Item> {
        while let Some(node) = self.open.pop() {
            if let Some(steps) = &mut self.steps_left {
                if *steps == 0 || node.promise.rank() < self.left_out {
                    self.gave_up = true;
                    return None;
                }
                *steps -= 1;
            }
            if node.is_complete() {
                return Some((self.built(node.chosen), node.so_far.ln()));
            }
            self.expand(node);
        }
        self.gave_up = self.left_out > A::ZERO.rank();
        None
    }
}

impl<A: Amount> Node<A> {
    fn start(end: &End, mask: u16, model: &Model, promise: A) -> Self {
        Self {
            promise,
            so_far: A::from_ln(end.ln_each),
            contacts: (mask, end.contacts.1),
            extras: (model.masks.complement(mask), end.extras.1),
            open_level: Some(end.extras.0),
            chosen: None,
        }
    }

    fn is_complete(&self) -> bool {
        self.open_level.is_none() && self.contacts.0 == 0 && self.extras.0 == 0
    }

    fn pins_left(&self) -> u32 {
        self.contacts.0.count_ones() + self.extras.0.count_ones()
    }
}

impl<A: Amount> Ord for Node<A> {
    fn cmp(&self, other: &Self) -> Ordering {
        // Of equal promises the one nearer to completion first, so that ties stay cheap.
        let nearer = other.pins_left().cmp(&self.pins_left());
        self.promise.rank().total_cmp(&other.promise.rank()).then(nearer)
    }
}

impl<A: Amount> PartialOrd for Node<A> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<A: Amount> PartialEq for Node<A> {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl<A: Amount> Eq for Node<A> {}

#[cfg(test)]
mod tests;
