//! Chooses how a part is wired: lanes, slots and turns are improved one at a time while the cost
//! of [`wiring`](super::wiring) falls, from a few fixed starts. No randomness and no clock, so the
//! same part is always drawn the same way; a bounded number of rounds, so it always ends.

use super::footprint::PITCH;
use super::wiring::{Board, Choice, Wiring};

/// The most rounds of improvement from one start.
const ROUNDS_MAX: usize = 8;

/// The best wiring that was found.
pub(super) fn route(board: &Board) -> Wiring {
    let starts = [false, true].map(|reversed| improved(board, start(board, reversed)));
    let [first, second] = starts;
    let best = if second.1 < first.1 { second } else { first };
    board.wire(&best.0)
}

/// Lanes by the rows of the pins, symbols in the middle of their pins.
fn start(board: &Board, reversed: bool) -> Choice {
    let places = &board.footprint.places;
    #[expect(clippy::cast_precision_loss, reason = "at most 16 pins")]
    let mean = |of: &dyn Fn(usize) -> f64, group: usize| {
        let pins: Vec<usize> = board.groups[group].pins().collect();
        pins.iter().map(|pin| of(*pin)).sum::<f64>() / pins.len().max(1) as f64
    };
    #[expect(clippy::cast_precision_loss, reason = "at most 16 rows")]
    let row = |pin: usize| places[pin].0 as f64;
    let x = |pin: usize| places[pin].1;
    let count = board.groups.len();
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by(|a, b| {
        mean(&row, *a).total_cmp(&mean(&row, *b)).then(mean(&x, *a).total_cmp(&mean(&x, *b)))
    });
    if reversed {
        order.reverse();
    }
    let mut lanes = vec![0; count];
    for (lane, group) in order.into_iter().enumerate() {
        lanes[group] = lane;
    }
    #[expect(clippy::cast_possible_truncation, reason = "at most 16 pitches")]
    let slots = (0..count).map(|g| (mean(&x, g) / PITCH * 4.0).round() as i32).collect();
    let turns = vec![[false, false, true]; count];
    Choice { lanes, slots, turns, asides: vec![0; places.len()] }
}

fn improved(board: &Board, mut choice: Choice) -> (Choice, f64) {
    let mut cost = board.cost(&board.wire(&choice));
    for _ in 0..ROUNDS_MAX {
        let before = cost;
        for changed in variants(board, &choice) {
            // Variants are made from the choice at the start of the round; each differs from it
            // in one thing, which is put into the choice as it stands now.
            let candidate = changed.applied(&choice);
            let candidate_cost = board.cost(&board.wire(&candidate));
            if candidate_cost + 1e-6 < cost {
                (choice, cost) = (candidate, candidate_cost);
            }
        }
        if cost + 1e-6 >= before {
            break;
        }
    }
    (choice, cost)
}

/// One change to a choice.
enum Change {
    Lane(usize, usize),
    SwapLanes(usize, usize),
    Place(usize, i32, [bool; 3]),
    Aside(usize, i32),
}

impl Change {
    fn applied(&self, choice: &Choice) -> Choice {
        let mut changed = choice.clone();
        match *self {
            Self::Lane(group, lane) => changed.lanes[group] = lane,
            Self::SwapLanes(a, b) => changed.lanes.swap(a, b),
            Self::Place(group, slot, turns) => {
                changed.slots[group] = slot;
                changed.turns[group] = turns;
            }
            Self::Aside(pin, halves) => changed.asides[pin] = halves,
        }
        changed
    }
}

fn variants(board: &Board, choice: &Choice) -> Vec<Change> {
    let groups = board.groups.len();
    let widest = board.footprint.places.iter().map(|(_, x)| *x).fold(0.0, f64::max);
    #[expect(clippy::cast_possible_truncation, reason = "at most 16 pitches")]
    let slots = (widest / PITCH * 4.0).round() as i32;
    let mut all = Vec::new();
    for a in 0..groups {
        all.extend((a + 1..groups).map(|b| Change::SwapLanes(a, b)));
    }
    for group in 0..groups {
        for turns in 0..4_u8 {
            let turns = [turns & 1 != 0, turns & 2 != 0, false];
            all.extend((-1..=slots + 1).map(|slot| Change::Place(group, slot, turns)));
            let standing = [turns[0], turns[1], true];
            all.push(Change::Place(group, choice.slots[group], standing));
        }
    }
    for group in 0..groups {
        all.extend((0..groups).map(|lane| Change::Lane(group, lane)));
    }
    for pin in 0..choice.asides.len() {
        all.extend([-1, 0, 1].map(|halves| Change::Aside(pin, halves)));
    }
    all
}
