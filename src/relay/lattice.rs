//! The sums over all partitions, laid out once per prior. A partition is built group by group in
//! order of falling lowest pin, so each is reached exactly once; what was built so far is a mask of
//! pins and a [`State`] (how many groups of which kind), and pins that no group takes are spares.
//! [`Lattice`] lists the moves; [`Lattice::inside`] and [`Lattice::outside`] run over them. What
//! the sums mean is left to the belief.

use super::amount::Amount;
use super::evidence::Status;
use super::family::{Family, Group, Role};
use super::pair::{PINS_MAX, Pair};
use std::collections::{BTreeMap, BTreeSet};

/// How many groups of each kind, in the order of [`Lattice::kinds`].
type State = Vec<u8>;

/// All moves between sets of pins, for the families of one prior.
#[derive(Debug)]
pub(super) struct Lattice {
    pub pins: usize,
    /// Sets of pins by how many they are, as bit masks, ascending.
    pub masks: Vec<Vec<u16>>,
    /// The place of each mask in its list.
    pub rank: Vec<u16>,
    pub kinds: Vec<Kind>,
    /// By number of pins used.
    pub levels: Vec<Level>,
    pub ends: Vec<End>,
}

/// One kind of group and the ways to give its roles to its pins.
#[derive(Debug)]
pub(super) struct Kind {
    pub group: Group,
    pub size: usize,
    pub arrangements: Vec<Arrangement>,
}

/// Roles of the pins of a group, ascending, and the pairs in it that are not open.
#[derive(Debug)]
pub(super) struct Arrangement {
    pub roles: Vec<Role>,
    pub pairs: Vec<(u8, u8, Status)>,
}

/// All states with the same number of pins.
#[derive(Debug)]
pub(super) struct Level {
    pub states: usize,
    pub steps: Vec<Step>,
}

/// All ways into a level by a group of one size.
#[derive(Debug)]
pub(super) struct Step {
    pub size: usize,
    pub edges: Vec<Edge>,
    /// Per mask of the level, `per_mask` times: rank of the group's pins, rank of the rest.
    pub moves: Vec<[u16; 2]>,
    pub per_mask: usize,
}

/// Adding a group of this kind leads from one state to another.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    pub kind: usize,
    pub from: usize,
    pub to: usize,
}

/// A complete family.
#[derive(Debug)]
pub(super) struct End {
    pub family: Family,
    pub level: usize,
    pub state: usize,
    /// ln of the prior of each of its labellings.
    pub ln_each: f64,
}

/// One amount per set of pins and state: per level, per mask, per state.
pub(super) type Sums<A> = Vec<Vec<A>>;

/// One amount per kind and set of pins of its size.
pub(super) type Blocks<A> = Vec<Vec<A>>;

impl Lattice {
    /// For these families and their prior probabilities, on `pins` pins (2 to 16). Families that
    /// do not fit, or have no probability, are left out; the rest is scaled to sum to 1.
    pub fn new(pins: usize, families: &[(Family, f64)]) -> Self {
        let pins = pins.clamp(2, PINS_MAX);
        let fits = |entry: &&(Family, f64)| entry.0.size() <= pins && entry.1 > 0.0;
        let families: Vec<&(Family, f64)> = families.iter().filter(fits).collect();
        let groups: BTreeSet<Group> =
            families.iter().flat_map(|(family, _)| family.groups().iter().copied()).collect();
        let kinds: Vec<Kind> = groups.into_iter().map(Kind::new).collect();
        let states = States::under(&kinds, pins, families.iter().map(|(family, _)| family));
        let (masks, rank) = masks(pins);
        let levels = (0..=pins).map(|level| states.level(&kinds, level, &masks, &rank)).collect();
        let total: f64 = families.iter().map(|(_, p)| p).sum();
        let end = |(family, p): &&(Family, f64)| {
            let counts = counts(&kinds, family);
            End {
                level: family.size(),
                state: states.by_level[family.size()][&counts],
                ln_each: (p / total).ln() - family.labellings(pins).ln(),
                family: family.clone(),
            }
        };
        let ends = families.iter().map(end).collect();
        Self { pins, masks, rank, kinds, levels, ends }
    }

    /// Per kind and set of pins: the amount of all its arrangements together.
    pub fn blocks<A: Amount>(&self, pair_amounts: &[[A; 5]]) -> Blocks<A> {
        let of = |kind: &Kind, mask: u16| {
            let pins = members(mask);
            let all = kind.arrangements.iter().map(|way| way.amount(&pins, pair_amounts));
            all.fold(A::ZERO, A::plus)
        };
        let kinds = self.kinds.iter();
        kinds
            .map(|kind| self.masks[kind.size].iter().map(|&mask| of(kind, mask)).collect())
            .collect()
    }

    /// Per set of pins and state: the amount of all ways to build exactly that.
    pub fn inside<A: Amount>(&self, blocks: &Blocks<A>) -> Sums<A> {
        let mut sums: Sums<A> = Vec::with_capacity(self.levels.len());
        for (size, level) in self.levels.iter().enumerate() {
            let mut here = vec![A::ZERO; level.states * self.masks[size].len()];
            if size == 0 {
                here.fill(A::ONE);
            }
            for step in &level.steps {
                let below = &sums[size - step.size];
                let width = self.levels[size - step.size].states;
                let rows = here.chunks_exact_mut(level.states);
                for (row, moves) in rows.zip(step.moves.chunks_exact(step.per_mask)) {
                    for &[block, rest] in moves {
                        let rest = &below[usize::from(rest) * width..][..width];
                        for edge in &step.edges {
                            let amount = blocks[edge.kind][usize::from(block)];
                            row[edge.to] = row[edge.to].plus(amount.times(rest[edge.from]));
                        }
                    }
                }
            }
            sums.push(here);
        }
        sums
    }

    /// Per kind and set of pins: the amount of everything that goes with such a group, so that
    /// times the group's own amount it is the amount of all partitions that have it.
    pub fn outside<A: Amount>(&self, blocks: &Blocks<A>, inside: &Sums<A>) -> Blocks<A> {
        let mut around: Blocks<A> = blocks.iter().map(|block| vec![A::ZERO; block.len()]).collect();
        let mut sums: Sums<A> = inside.iter().map(|sums| vec![A::ZERO; sums.len()]).collect();
        for end in &self.ends {
            let each = A::from_ln(end.ln_each);
            let width = self.levels[end.level].states;
            sums[end.level].iter_mut().skip(end.state).step_by(width).for_each(|sum| *sum = each);
        }
        for (size, level) in self.levels.iter().enumerate().rev() {
            let (lower, upper) = sums.split_at_mut(size);
            for step in &level.steps {
                let width = self.levels[size - step.size].states;
                let below = &mut lower[size - step.size];
                let built = &inside[size - step.size];
                let rows = upper[0].chunks_exact(level.states);
                for (row, moves) in rows.zip(step.moves.chunks_exact(step.per_mask)) {
                    for &[block, rest] in moves {
                        let (block, at) = (usize::from(block), usize::from(rest) * width);
                        for edge in &step.edges {
                            let amount = &mut around[edge.kind][block];
                            *amount = amount.plus(row[edge.to].times(built[at + edge.from]));
                            let sum = &mut below[at + edge.from];
                            *sum = sum.plus(row[edge.to].times(blocks[edge.kind][block]));
                        }
                    }
                }
            }
        }
        around
    }

    /// Per family: the amount of all its labellings.
    pub fn totals<A: Amount>(&self, inside: &Sums<A>) -> Vec<A> {
        let total = |end: &End| {
            let width = self.levels[end.level].states;
            let sums = inside[end.level].iter().skip(end.state).step_by(width);
            sums.fold(A::ZERO, |sum, &each| sum.plus(each)).times(A::from_ln(end.ln_each))
        };
        self.ends.iter().map(total).collect()
    }

    /// The largest group, in pins.
    pub fn widest(&self) -> usize {
        self.kinds.iter().map(|kind| kind.size).max().unwrap_or(1)
    }
}

impl Kind {
    fn new(group: Group) -> Self {
        let arrangements = group.arrangements().into_iter().map(|roles| {
            let pairs = Pair::all(roles.len()).filter_map(|pair| {
                let status = group.between(roles[pair.lo()], roles[pair.hi()]);
                (status != Status::Open).then_some((pair.lo() as u8, pair.hi() as u8, status))
            });
            Arrangement { pairs: pairs.collect(), roles: roles.clone() }
        });
        Self { group, size: group.size(), arrangements: arrangements.collect() }
    }
}

impl Arrangement {
    /// The product over its pairs, for a group on these pins.
    pub fn amount<A: Amount>(&self, pins: &[u8], pair_amounts: &[[A; 5]]) -> A {
        self.on(pins).fold(A::ONE, |product, (pair, status)| {
            product.times(pair_amounts[pair.index()][status as usize])
        })
    }

    /// The pairs that are not open, for a group on these pins.
    pub fn on(&self, pins: &[u8]) -> impl Iterator<Item = (Pair, Status)> {
        self.pairs.iter().map(|&(a, b, status)| {
            let pin = |local: u8| usize::from(pins[usize::from(local)]);
            (Pair::ordered(pin(a), pin(b)), status)
        })
    }
}

/// The pins of a mask, ascending.
pub(super) fn members(mask: u16) -> Vec<u8> {
    (0..PINS_MAX as u8).filter(|pin| mask >> pin & 1 == 1).collect()
}

fn masks(pins: usize) -> (Vec<Vec<u16>>, Vec<u16>) {
    let mut masks = vec![Vec::new(); pins + 1];
    let all = (0..1_u32 << pins).map(|mask| mask as u16);
    let rank = all.map(|mask| {
        let list: &mut Vec<u16> = &mut masks[mask.count_ones() as usize];
        list.push(mask);
        (list.len() - 1) as u16
    });
    let rank = rank.collect();
    (masks, rank)
}

fn counts(kinds: &[Kind], family: &Family) -> State {
    let of = |kind: &Kind| family.groups().iter().filter(|&&group| group == kind.group).count();
    kinds.iter().map(|kind| of(kind) as u8).collect()
}

/// Every part of every family, numbered within its level.
struct States {
    by_level: Vec<BTreeMap<State, usize>>,
}

impl States {
    fn under<'a>(kinds: &[Kind], pins: usize, families: impl Iterator<Item = &'a Family>) -> Self {
        let mut found: BTreeSet<State> = BTreeSet::from([vec![0; kinds.len()]]);
        let mut open: Vec<State> = families.map(|family| counts(kinds, family)).collect();
        while let Some(state) = open.pop() {
            if found.insert(state.clone()) {
                open.extend((0..kinds.len()).filter_map(|kind| Self::without(&state, kind)));
            }
        }
        let size = |state: &State| -> usize {
            state.iter().zip(kinds).map(|(&count, kind)| usize::from(count) * kind.size).sum()
        };
        let mut by_level = vec![BTreeMap::new(); pins + 1];
        for state in found {
            let level: &mut BTreeMap<State, usize> = &mut by_level[size(&state)];
            let number = level.len();
            level.insert(state, number);
        }
        Self { by_level }
    }

    fn without(state: &State, kind: usize) -> Option<State> {
        let mut smaller = state.clone();
        smaller[kind] = smaller[kind].checked_sub(1)?;
        Some(smaller)
    }

    fn level(&self, kinds: &[Kind], level: usize, masks: &[Vec<u16>], rank: &[u16]) -> Level {
        let mut by_size: BTreeMap<usize, Vec<Edge>> = BTreeMap::new();
        for (kind, shape) in kinds.iter().enumerate() {
            for (state, &to) in &self.by_level[level] {
                let from = Self::without(state, kind)
                    .and_then(|smaller| self.by_level[level - shape.size].get(&smaller));
                if let Some(&from) = from {
                    by_size.entry(shape.size).or_default().push(Edge { kind, from, to });
                }
            }
        }
        let steps = by_size.into_iter().map(|(size, edges)| {
            let moves = moves(&masks[level], size, rank);
            let per_mask = moves.len() / masks[level].len();
            Step { size, edges, moves, per_mask }
        });
        Level { states: self.by_level[level].len(), steps: steps.collect() }
    }
}

/// Per mask: every group of `size` pins that has its lowest pin, as ranks of group and rest.
fn moves(masks: &[u16], size: usize, rank: &[u16]) -> Vec<[u16; 2]> {
    let mut moves = Vec::new();
    for &mask in masks {
        let lowest = mask & mask.wrapping_neg();
        let others = mask ^ lowest;
        // Every subset of the others, from all of them down to none.
        let mut subset = others;
        loop {
            if subset.count_ones() as usize + 1 == size {
                let block = subset | lowest;
                moves.push([rank[usize::from(block)], rank[usize::from(mask ^ block)]]);
            }
            if subset == 0 {
                break;
            }
            subset = (subset - 1) & others;
        }
    }
    moves
}
