//! The most probable partitions, one after the other, exactly. The sums of [`super::lattice`],
//! run with [`Best`], say how good the best way to build any set of pins is; a search from the
//! complete part backwards that always follows the best promise meets the partitions in falling
//! order.

use super::amount::Best;
use super::lattice::{Blocks, Lattice, Sums, members};
use super::partition::Partition;
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// More than this many are never asked for.
pub(super) const MOST: usize = 32;

/// An iterator over partitions with their ln amount, best first, at most [`MOST`].
pub(super) struct Candidates<'a> {
    lattice: &'a Lattice,
    pair_amounts: &'a [[Best; 5]],
    blocks: Blocks<Best>,
    inside: Sums<Best>,
    open: BinaryHeap<Node>,
    chosen: Vec<Chosen>,
}

/// A group that was taken, and the one taken before it.
struct Chosen {
    before: Option<usize>,
    kind: usize,
    block: u16,
    arrangement: usize,
}

struct Node {
    promise: f64,
    so_far: f64,
    mask: u16,
    state: usize,
    chosen: Option<usize>,
}

impl<'a> Candidates<'a> {
    /// Over the partitions of `lattice` with these ln amounts per pair and status.
    pub fn new(lattice: &'a Lattice, pair_amounts: &'a [[Best; 5]]) -> Self {
        let blocks = lattice.blocks(pair_amounts);
        let inside = lattice.inside(&blocks);
        let mut starts: Vec<Node> = Vec::new();
        for end in &lattice.ends {
            let width = lattice.levels[end.level].states;
            let sums = inside[end.level].iter().skip(end.state).step_by(width);
            for (&mask, sum) in lattice.masks[end.level].iter().zip(sums) {
                let promise = end.ln_each + sum.0;
                let least = starts.get(MOST).map_or(f64::NEG_INFINITY, |node| node.promise);
                if promise > least {
                    let at = starts.partition_point(|node| node.promise >= promise);
                    let (so_far, state) = (end.ln_each, end.state);
                    starts.insert(at, Node { promise, so_far, mask, state, chosen: None });
                    starts.truncate(MOST + 1);
                }
            }
        }
        let open = starts.into_iter().collect();
        Self { lattice, pair_amounts, blocks, inside, open, chosen: Vec::new() }
    }

    fn expand(&mut self, node: &Node) {
        let lattice = self.lattice;
        let size = node.mask.count_ones() as usize;
        let row = usize::from(lattice.rank[usize::from(node.mask)]);
        for step in &lattice.levels[size].steps {
            let rest_size = size - step.size;
            let width = lattice.levels[rest_size].states;
            for &[block, rest] in &step.moves[row * step.per_mask..][..step.per_mask] {
                for edge in step.edges.iter().filter(|edge| edge.to == node.state) {
                    let below = self.inside[rest_size][usize::from(rest) * width + edge.from].0;
                    let best = self.blocks[edge.kind][usize::from(block)].0;
                    if best + below + node.so_far == f64::NEG_INFINITY {
                        continue;
                    }
                    let mask = lattice.masks[rest_size][usize::from(rest)];
                    self.push(node, edge.kind, node.mask ^ mask, (mask, edge.from, below));
                }
            }
        }
    }

    fn push(&mut self, node: &Node, kind: usize, block: u16, rest: (u16, usize, f64)) {
        let (mask, state, below) = rest;
        let pins = members(block);
        for (arrangement, way) in self.lattice.kinds[kind].arrangements.iter().enumerate() {
            let so_far = node.so_far + way.amount(&pins, self.pair_amounts).0;
            self.chosen.push(Chosen { before: node.chosen, kind, block, arrangement });
            let chosen = Some(self.chosen.len() - 1);
            self.open.push(Node { promise: so_far + below, so_far, mask, state, chosen });
        }
    }

    fn built(&self, mut chosen: Option<usize>) -> Partition {
        let mut groups = Vec::new();
        while let Some(at) = chosen {
            let Chosen { before, kind, block, arrangement } = self.chosen[at];
            let kind = &self.lattice.kinds[kind];
            let pins = members(block).into_iter().map(usize::from).collect();
            groups.push((kind.group, pins, kind.arrangements[arrangement].roles.clone()));
            chosen = before;
        }
        Partition::from_groups(self.lattice.pins, &groups)
    }
}

impl Iterator for Candidates<'_> {
    type Item = (Partition, f64);

    fn next(&mut self) -> Option<Self::Item> {
        while let Some(node) = self.open.pop() {
            if node.mask == 0 {
                return Some((self.built(node.chosen), node.so_far));
            }
            self.expand(&node);
        }
        None
    }
}

impl Ord for Node {
    fn cmp(&self, other: &Self) -> Ordering {
        // Of equal promises the one nearer to completion first, so that ties stay cheap.
        let fewer = other.mask.count_ones().cmp(&self.mask.count_ones());
        self.promise.total_cmp(&other.promise).then(fewer)
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
