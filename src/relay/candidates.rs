//! The most probable partitions, one after the other, exactly. The sums of [`super::model`], run
//! with [`Best`], say how good the best way to build any set of pins is; a search from the
//! complete part backwards that always follows the best promise meets the partitions in falling
//! order.

use super::amount::Best;
use super::lattice::Lattice;
use super::masks::subsets;
use super::model::{Amounts, End, Inside, Model};
use super::partition::Partition;
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// More than this many are never asked for.
pub(super) const MOST: usize = 32;

/// An iterator over partitions with their ln amount, best first, at most [`MOST`].
pub(super) struct Candidates<'a> {
    model: &'a Model,
    pair_amounts: &'a [[Best; 5]],
    amounts: Amounts<Best>,
    inside: Inside<Best>,
    open: BinaryHeap<Node>,
    chosen: Vec<Chosen>,
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
struct Node {
    promise: f64,
    so_far: f64,
    /// Pins and state of the contacts that are still to be chosen.
    contacts: (u16, usize),
    /// Pins and state of the extras; level, as long as it is open which pins they take.
    extras: (u16, usize),
    open_level: Option<usize>,
    chosen: Option<usize>,
}

impl<'a> Candidates<'a> {
    /// Over the partitions of `model`, with ln amounts per group, and per pair and status.
    pub fn new(model: &'a Model, pair_amounts: &'a [[Best; 5]], amounts: Amounts<Best>) -> Self {
        let inside = model.inside(&amounts);
        let mut starts: Vec<Node> = Vec::new();
        for alike in model.ends_by_level() {
            let extras: Vec<usize> = alike.iter().map(|end| model.extra(end.extras)).collect();
            for (mask, built, others) in model.rows(alike[0].contacts.0, &inside) {
                for (end, &extra) in alike.iter().zip(&extras) {
                    let promise = end.ln_each + built[end.contacts.1].0 + others[extra].0;
                    let least = starts.get(MOST - 1).map_or(f64::NEG_INFINITY, |node| node.promise);
                    if promise > least {
                        let at = starts.partition_point(|node| node.promise >= promise);
                        starts.insert(at, Node::start(end, mask, model, promise));
                        starts.truncate(MOST);
                    }
                }
            }
        }
        let open = starts.into_iter().collect();
        Self { model, pair_amounts, amounts, inside, open, chosen: Vec::new() }
    }

    fn expand(&mut self, node: Node) {
        let model = self.model;
        if let Some(level) = node.open_level {
            let contacts = node.promise - node.so_far - self.anywhere(node.extras, level);
            let width = model.extras.levels[level].width();
            for pins in subsets(node.extras.0, level) {
                let at = model.masks.rank(pins) * width + node.extras.1;
                let extras = (pins, node.extras.1);
                let promise = node.so_far + contacts + self.inside.extras[level][at].0;
                self.open.push(Node { promise, extras, open_level: None, ..node });
            }
        } else if node.contacts.0 != 0 {
            self.take_one(node, &model.contacts, 0);
        } else {
            self.take_one(node, &model.extras, model.contacts.kinds.len());
        }
    }

    /// The best that extras can be anywhere on these pins.
    fn anywhere(&self, (pins, state): (u16, usize), level: usize) -> f64 {
        let states = self.inside.anywhere.len() >> self.model.masks.pins;
        self.inside.anywhere[usize::from(pins) * states + self.model.extra((level, state))].0
    }

    /// Takes the last group off the contacts, or off the extras, in every way.
    fn take_one(&mut self, node: Node, lattice: &Lattice, first_kind: usize) {
        let of_contacts = first_kind == 0;
        let (mask, state) = if of_contacts { node.contacts } else { node.extras };
        let all = if of_contacts { &self.inside.contacts } else { &self.inside.extras };
        let sums = |size: usize, rank: usize, state: usize| {
            all[size][rank * lattice.levels[size].width() + state].0
        };
        let masks = &self.model.masks;
        let whole = sums(mask.count_ones() as usize, masks.rank(mask), state);
        for (number, pins, size, rank, state) in lattice.last_groups(masks, mask, state) {
            let kind = &lattice.kinds[number];
            let blocks = if of_contacts { &self.amounts.contacts } else { &self.amounts.extras };
            let best = blocks[kind.size][masks.rank(pins) * kind.slots + kind.slot].0;
            let rest = sums(size, rank, state);
            if best + rest == f64::NEG_INFINITY {
                continue;
            }
            for (arrangement, way) in kind.arrangements.iter().enumerate() {
                let amount = way.amount(pins, self.pair_amounts).0;
                let chosen =
                    Chosen { before: node.chosen, kind: first_kind + number, pins, arrangement };
                self.chosen.push(chosen);
                let left = (mask ^ pins, state);
                self.open.push(Node {
                    promise: node.promise - whole + amount + rest,
                    so_far: node.so_far + amount,
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

impl Iterator for Candidates<'_> {
    type Item = (Partition, f64);

    fn next(&mut self) -> Option<Self::Item> {
        while let Some(node) = self.open.pop() {
            if node.is_complete() {
                return Some((self.built(node.chosen), node.so_far));
            }
            self.expand(node);
        }
        None
    }
}

impl Node {
    fn start(end: &End, mask: u16, model: &Model, promise: f64) -> Self {
        Self {
            promise,
            so_far: end.ln_each,
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

impl Ord for Node {
    fn cmp(&self, other: &Self) -> Ordering {
        // Of equal promises the one nearer to completion first, so that ties stay cheap.
        let nearer = other.pins_left().cmp(&self.pins_left());
        self.promise.total_cmp(&other.promise).then(nearer)
    }
}

impl PartialOrd for Node {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Node {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Node {}
