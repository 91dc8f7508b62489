//! Sums over all ways to build groups on sets of pins, laid out once per prior. Groups are added in
//! order of falling lowest pin, so each way is met exactly once; what was built so far is a set of
//! pins and a state (how many groups of which kind). [`Lattice::inside`] and [`Lattice::outside`]
//! run over the moves. What the sums mean is left to the model.

use super::amount::Amount;
use super::evidence::Status;
use super::family::{Group, Role};
use super::layers::{Ends, Layers, ends};
use super::masks::{Masks, members, subsets};
use super::pair::Pair;
use std::collections::{BTreeMap, BTreeSet};

/// How many groups of each kind, in the order of [`Lattice::kinds`].
type State = Vec<u8>;

/// All moves between sets of pins, for some multisets of groups and everything under them.
#[derive(Debug)]
pub(super) struct Lattice {
    /// By size, then as groups are ordered.
    pub kinds: Vec<Kind>,
    /// By number of pins used, up to the largest multiset.
    pub levels: Vec<Level>,
    /// Where the sums of each level end, and the amounts of groups of each size.
    sum_ends: Ends,
    block_ends: Ends,
}

/// One kind of group and the ways to give its roles to its pins.
#[derive(Debug)]
pub(super) struct Kind {
    pub group: Group,
    pub size: usize,
    /// Its place among the kinds of its size, and how many those are.
    pub slot: usize,
    pub slots: usize,
    pub arrangements: Vec<Arrangement>,
    /// Per pair of its pins, numbered from 0: what each arrangement says it shows.
    pub statuses: Vec<Vec<Status>>,
    /// What its arrangements say of each of its pairs.
    pub says: Vec<Says>,
}

/// What the arrangements of a group say of one pair of its pins, without what is open.
/// Each status with the numbers of the arrangements that give it.
#[derive(Debug)]
pub(super) struct Says(pub Vec<(Status, Vec<u16>)>);

/// Roles of the pins of a group, ascending, and the pairs in it that are not open: the index of
/// the pair among pins numbered from 0, and its status.
#[derive(Debug)]
pub(super) struct Arrangement {
    pub roles: Vec<Role>,
    pub pairs: Vec<(u8, Status)>,
}

/// All states with the same number of pins.
#[derive(Debug)]
pub(super) struct Level {
    numbers: BTreeMap<State, usize>,
    pub steps: Vec<Step>,
}

/// All ways into a level by a group of one size.
#[derive(Debug)]
pub(super) struct Step {
    pub size: usize,
    runs: Vec<Run>,
    /// Per mask of the level, `per_mask` times: rank of the group's pins, rank of the rest.
    moves: Vec<[u16; 2]>,
    per_mask: usize,
    /// How many states the level has, and the one below.
    width: usize,
    width_below: usize,
    /// How many kinds are of this size.
    slots: usize,
}

/// Adding a group of the kind in `slot` leads from each of `len` states on to its counterpart.
/// At most [`RUN_MOST`], so that loops over a run can be laid out flat.
#[derive(Clone, Copy, Debug)]
struct Run {
    slot: usize,
    from: usize,
    to: usize,
    len: usize,
}

/// The longest run.
const RUN_MOST: usize = 4;

/// One amount per set of pins and state: per level, per mask, per state.
pub(super) type Sums<A> = Layers<A>;

/// One amount per set of pins and kind of that size: per size, per mask, per slot.
pub(super) type Blocks<A> = Layers<A>;

impl Lattice {
    /// For these multisets of groups, none with more pins than `masks` has.
    pub fn new<'a>(masks: &Masks, multisets: impl Iterator<Item = &'a [Group]>) -> Self {
        let multisets: BTreeSet<&[Group]> = multisets.collect();
        let groups: BTreeSet<(usize, Group)> = multisets
            .iter()
            .flat_map(|set| set.iter().map(|group| (group.size(), *group)))
            .collect();
        let kinds: Vec<Kind> = groups
            .iter()
            .map(|&(size, group)| {
                let alike = groups.iter().filter(|other| other.0 == size);
                let slot = alike.clone().take_while(|other| other.1 != group).count();
                Kind::new(group, slot, alike.count())
            })
            .collect();
        let mut levels = states_under(&kinds, multisets.iter().map(|set| counts(&kinds, set)));
        for size in 1..levels.len() {
            levels[size].steps = steps(&kinds, &levels, size, masks);
        }
        let widths = levels.iter().zip(&masks.lists);
        let sum_ends = ends(widths.map(|(level, list)| level.width() * list.len()));
        let largest = kinds.last().map_or(0, |kind| kind.size);
        let slots = |size: usize| kinds.iter().filter(|kind| kind.size == size).count();
        let block_ends = ends((0..=largest).map(|size| slots(size) * masks.lists[size].len()));
        Self { kinds, levels, sum_ends, block_ends }
    }

    /// Where a multiset stands: its level and the number of its state there.
    pub fn place(&self, groups: &[Group]) -> Option<(usize, usize)> {
        let size: usize = groups.iter().map(|group| group.size()).sum();
        let number = self.levels.get(size)?.numbers.get(&counts(&self.kinds, groups))?;
        Some((size, *number))
    }

    /// A sum of nothing, per level, mask and state.
    pub fn nothing<A: Amount>(&self) -> Sums<A> {
        Layers::nothing(&self.sum_ends)
    }

    /// Per size, set of pins and kind: what `of` says for a kind (by its number) and a mask.
    pub fn blocks<A: Amount>(
        &self,
        masks: &Masks,
        of: impl Fn(usize, usize, u16) -> A,
    ) -> Blocks<A> {
        let mut blocks = Layers::nothing(&self.block_ends);
        for (number, kind) in self.kinds.iter().enumerate() {
            let block = blocks[kind.size].chunks_exact_mut(kind.slots);
            for (rank, (&mask, row)) in masks.lists[kind.size].iter().zip(block).enumerate() {
                row[kind.slot] = of(number, rank, mask);
            }
        }
        blocks
    }

    /// Per set of pins and state: the amount of all ways to build exactly that.
    pub fn inside<A: Amount>(&self, blocks: &Blocks<A>) -> Sums<A> {
        let mut sums = self.nothing::<A>();
        sums[0].fill(A::ONE);
        for (size, level) in self.levels.iter().enumerate() {
            let (mut lower, upper) = sums.split(size);
            for step in &level.steps {
                let below = &*lower.layer(size - step.size);
                let block = &blocks[step.size];
                for run in &step.runs {
                    match run.len {
                        1 => step.build::<A, 1>(run, block, below, upper),
                        2 => step.build::<A, 2>(run, block, below, upper),
                        3 => step.build::<A, 3>(run, block, below, upper),
                        _ => step.build::<A, RUN_MOST>(run, block, below, upper),
                    }
                }
            }
        }
        sums
    }

    /// Per size, set of pins and kind: the amount of everything that goes with such a group, so
    /// that times the group's own amount it is the amount of all that have it. `ends` says per
    /// level, mask and state what goes with exactly that, and is used up.
    pub fn outside<A: Amount>(
        &self,
        blocks: &Blocks<A>,
        inside: &Sums<A>,
        mut ends: Sums<A>,
    ) -> Blocks<A> {
        let mut around: Blocks<A> = Layers::nothing(&self.block_ends);
        for (size, level) in self.levels.iter().enumerate().rev() {
            let (mut lower, upper) = ends.split(size);
            for step in &level.steps {
                let of = (&blocks[step.size], &inside[size - step.size], &*upper);
                let below = lower.layer(size - step.size);
                let around = &mut around[step.size];
                for run in &step.runs {
                    match run.len {
                        1 => step.unbuild::<A, 1>(run, of, below, around),
                        2 => step.unbuild::<A, 2>(run, of, below, around),
                        3 => step.unbuild::<A, 3>(run, of, below, around),
                        _ => step.unbuild::<A, RUN_MOST>(run, of, below, around),
                    }
                }
            }
        }
        around
    }

    /// The ways to take the last group off a set of pins in a state: kind, its pins, and the state
    /// of the rest.
    pub fn last_groups(
        &self,
        masks: &Masks,
        mask: u16,
        state: usize,
    ) -> impl Iterator<Item = (usize, u16, usize)> {
        let size = mask.count_ones() as usize;
        let row = masks.rank(mask);
        self.levels[size].steps.iter().flat_map(move |step| {
            let moves = &step.moves[row * step.per_mask..][..step.per_mask];
            moves.iter().flat_map(move |&[taken, _]| {
                let taken = masks.lists[step.size][usize::from(taken)];
                let runs =
                    step.runs.iter().filter(move |run| (run.to..run.to + run.len).contains(&state));
                runs.map(move |run| {
                    let kind = self.kind(step.size, run.slot);
                    let from = run.from + state - run.to;
                    (kind, taken, from)
                })
            })
        })
    }

    fn kind(&self, size: usize, slot: usize) -> usize {
        self.kinds.iter().take_while(|kind| (kind.size, kind.slot) != (size, slot)).count()
    }
}

impl Step {
    /// Adds to `upper` all that this run builds of groups and what is built `below` them.
    fn build<A: Amount, const LEN: usize>(
        &self,
        run: &Run,
        block: &[A],
        below: &[A],
        upper: &mut [A],
    ) {
        let rows = upper.chunks_exact_mut(self.width);
        for (row, moves) in rows.zip(self.moves.chunks_exact(self.per_mask)) {
            let mut sums = [A::ZERO; LEN];
            for &[taken, rest] in moves {
                let amount = block[usize::from(taken) * self.slots + run.slot];
                let rest = &below[usize::from(rest) * self.width_below + run.from..][..LEN];
                for (sum, &rest) in sums.iter_mut().zip(rest) {
                    *sum = sum.plus(amount.times(rest));
                }
            }
            for (to, sum) in row[run.to..][..LEN].iter_mut().zip(sums) {
                *to = to.plus(sum);
            }
        }
    }

    /// Hands what goes with the row of each mask on: to its groups, `around` them, and to what
    /// is `below`. The three sums read are of groups, of what is built below, and of the rows.
    fn unbuild<A: Amount, const LEN: usize>(
        &self,
        run: &Run,
        (block, built, upper): (&[A], &[A], &[A]),
        below: &mut [A],
        around: &mut [A],
    ) {
        let rows = upper.chunks_exact(self.width);
        for (row, moves) in rows.zip(self.moves.chunks_exact(self.per_mask)) {
            let mut ups = [A::ZERO; LEN];
            ups.copy_from_slice(&row[run.to..][..LEN]);
            for &[taken, rest] in moves {
                let at = usize::from(taken) * self.slots + run.slot;
                let amount = block[at];
                let from = usize::from(rest) * self.width_below + run.from;
                let (built, below) = (&built[from..][..LEN], &mut below[from..][..LEN]);
                let mut sum = A::ZERO;
                for ((&up, &built), below) in ups.iter().zip(built).zip(below) {
                    sum = sum.plus(up.times(built));
                    *below = below.plus(up.times(amount));
                }
                around[at] = around[at].plus(sum);
            }
        }
    }
}

impl Level {
    /// How many states it has.
    pub fn width(&self) -> usize {
        self.numbers.len()
    }
}

impl Kind {
    fn new(group: Group, slot: usize, slots: usize) -> Self {
        let arrangements = group.arrangements().into_iter().map(|roles| {
            let pairs = Pair::all(roles.len()).filter_map(|pair| {
                let status = group.between(roles[pair.lo()], roles[pair.hi()]);
                (status != Status::Open).then_some((pair.index() as u8, status))
            });
            Arrangement { pairs: pairs.collect(), roles: roles.clone() }
        });
        let arrangements: Vec<Arrangement> = arrangements.collect();
        let statuses = Pair::all(group.size()).map(|pair| {
            let of = |way: &Arrangement| group.between(way.roles[pair.lo()], way.roles[pair.hi()]);
            arrangements.iter().map(of).collect()
        });
        let statuses: Vec<Vec<Status>> = statuses.collect();
        let says = statuses.iter().map(|of| Says::new(of)).collect();
        Self { group, size: group.size(), slot, slots, arrangements, statuses, says }
    }
}

impl Says {
    /// By what each arrangement says of the pair.
    fn new(of: &[Status]) -> Self {
        let numbers = |status| {
            let saying = of.iter().enumerate().filter(move |(_, said)| **said == status);
            saying.map(|(number, _)| number as u16).collect::<Vec<u16>>()
        };
        let conducting = Status::ALL.into_iter().filter(|&status| status != Status::Open);
        let by_status = conducting.map(|status| (status, numbers(status)));
        Self(by_status.filter(|(_, numbers)| !numbers.is_empty()).collect())
    }
}

impl Arrangement {
    /// The product over its pairs, for a group on the pins of this mask.
    pub fn amount<A: Amount>(&self, mask: u16, pair_amounts: &[[A; 5]]) -> A {
        let pins = members(mask).0;
        self.pairs.iter().fold(A::ONE, |product, &(pair, status)| {
            let (lo, hi) = Pair::at(usize::from(pair));
            let pair = Pair::ordered(usize::from(pins[lo]), usize::from(pins[hi]));
            product.times(pair_amounts[pair.index()][status as usize])
        })
    }
}

fn counts(kinds: &[Kind], groups: &[Group]) -> State {
    let of = |kind: &Kind| groups.iter().filter(|&&group| group == kind.group).count();
    kinds.iter().map(|kind| of(kind) as u8).collect()
}

fn without(state: &State, kind: usize) -> Option<State> {
    let mut smaller = state.clone();
    smaller[kind] = smaller[kind].checked_sub(1)?;
    Some(smaller)
}

/// Every part of every multiset, numbered within its level; without steps.
fn states_under(kinds: &[Kind], multisets: impl Iterator<Item = State>) -> Vec<Level> {
    let mut found: BTreeSet<State> = BTreeSet::from([vec![0; kinds.len()]]);
    let mut open: Vec<State> = multisets.collect();
    while let Some(state) = open.pop() {
        if found.insert(state.clone()) {
            open.extend((0..kinds.len()).filter_map(|kind| without(&state, kind)));
        }
    }
    let mut levels: Vec<Level> = Vec::new();
    // Sorted by the last kind first, so that adding the first ones leads along without a gap.
    let mut found: Vec<State> = found.into_iter().collect();
    found.sort_by(|a, b| a.iter().rev().cmp(b.iter().rev()));
    for state in found {
        let size: usize =
            state.iter().zip(kinds).map(|(&n, kind)| usize::from(n) * kind.size).sum();
        while levels.len() <= size {
            levels.push(Level { numbers: BTreeMap::new(), steps: Vec::new() });
        }
        let number = levels[size].numbers.len();
        levels[size].numbers.insert(state, number);
    }
    levels
}

/// The ways into the level of `size` pins.
fn steps(kinds: &[Kind], levels: &[Level], size: usize, masks: &Masks) -> Vec<Step> {
    let mut by_size: BTreeMap<usize, Vec<Run>> = BTreeMap::new();
    let mut states: Vec<(&State, usize)> =
        levels[size].numbers.iter().map(|(state, &number)| (state, number)).collect();
    states.sort_by_key(|(_, number)| *number);
    for (number, kind) in kinds.iter().enumerate() {
        for &(state, to) in &states {
            let from = without(state, number)
                .and_then(|smaller| levels[size - kind.size].numbers.get(&smaller));
            let Some(&from) = from else { continue };
            let runs = by_size.entry(kind.size).or_default();
            match runs.last_mut() {
                Some(run)
                    if run.slot == kind.slot
                        && run.len < RUN_MOST
                        && (run.from + run.len, run.to + run.len) == (from, to) =>
                {
                    run.len += 1;
                }
                _ => runs.push(Run { slot: kind.slot, from, to, len: 1 }),
            }
        }
    }
    let step = |(size_of_group, runs)| {
        let moves = moves(masks, size, size_of_group);
        let per_mask = moves.len() / masks.lists[size].len();
        let slots = kinds.iter().filter(|kind| kind.size == size_of_group).count();
        let [width, width_below] = [size, size - size_of_group].map(|size| levels[size].width());
        Step { size: size_of_group, runs, moves, per_mask, width, width_below, slots }
    };
    by_size.into_iter().map(step).collect()
}

/// Per mask: every group of `size_of_group` pins that has its lowest pin.
fn moves(masks: &Masks, size: usize, size_of_group: usize) -> Vec<[u16; 2]> {
    let mut moves = Vec::new();
    for &mask in &masks.lists[size] {
        let lowest = mask & mask.wrapping_neg();
        for others in subsets(mask ^ lowest, size_of_group - 1) {
            let group = others | lowest;
            moves.push([group, mask ^ group].map(|set| masks.rank[usize::from(set)]));
        }
    }
    moves
}
