//! Chooses how a part is wired: lanes, slots and turns are improved one at a time while the cost
//! of [`wiring`](super::wiring) falls, from a few fixed starts. No randomness and no clock, so the
//! same part is always drawn the same way; a bounded number of rounds, so it always ends.

use super::footprint::PITCH;
use super::wiring::{Board, Choice, UNCLEAR, Wiring};

/// The most rounds of improvement from one start.
const ROUNDS_MAX: usize = 8;

/// The most starts; the first two are always tried, the others while something is unclear.
const STARTS_MAX: usize = 6;

/// The best wiring that was found; `None` where every one could be misread.
pub(super) fn route(board: &Board) -> Option<Wiring> {
    let mut best: Option<(Choice, f64)> = None;
    for turn in 0..STARTS_MAX {
        if turn >= 2 && best.as_ref().is_some_and(|(_, cost)| *cost < UNCLEAR) {
            break;
        }
        let found = improved(board, start(board, turn));
        if best.as_ref().is_none_or(|(_, cost)| found.1 < *cost) {
            best = Some(found);
        }
    }
    best.filter(|(_, cost)| *cost < UNCLEAR).map(|(choice, _)| board.wire(&choice))
}

/// Lanes by the rows of the pins, symbols in the middle of their pins. Odd turns take the lanes
/// from the bottom, later turns begin them further on.
fn start(board: &Board, turn: usize) -> Choice {
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
    if turn % 2 == 1 {
        order.reverse();
    }
    order.rotate_left((turn / 2) % count.max(1));
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
    let mut cost = board.cost(&board.wire(&choice), f64::INFINITY);
    for _ in 0..ROUNDS_MAX {
        let before = cost;
        for changed in variants(board, &choice) {
            // Variants are made from the choice at the start of the round; each differs from it
            // in one thing, which is put into the choice as it stands now.
            let candidate = changed.applied(&choice);
            let candidate_cost = board.cost(&board.wire(&candidate), cost);
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

#[cfg(test)]
mod tests {
    use super::super::Point;
    use super::super::footprint::Footprint;
    use super::super::group::{Group, Kind};
    use super::super::wiring::{PIN, Segment};
    use super::*;
    use rand::seq::SliceRandom;
    use rand_pcg::Pcg64;
    use rand_pcg::rand_core::SeedableRng;

    fn part(pins: &[usize], poles: usize) -> Vec<Group> {
        let one = |i: usize| vec![pins[i]];
        let coil = Group { kind: Kind::Coil { latching: false }, ports: vec![one(0), one(1)] };
        let pole = |p: usize| Group {
            kind: Kind::Changeover,
            ports: vec![one(2 + 3 * p), one(3 + 3 * p), one(4 + 3 * p)],
        };
        std::iter::once(coil).chain((0..poles).map(pole)).collect()
    }

    /// Reads the drawing as a person does, knowing nothing of nets: wires are joined where an end
    /// of one lies on another, and not where they cross. Each port must then reach its own pins
    /// and no other.
    fn assert_drawn_as_claimed(board: &Board, wiring: &Wiring) {
        let on = |p: Point, s: &Segment| {
            let (x, y) = (p.x.clamp(s.a.x, s.b.x), p.y.clamp(s.a.y, s.b.y));
            (p.x - x).abs() < 0.5 && (p.y - y).abs() < 0.5
        };
        let wires = &wiring.segments;
        let joined =
            |s: &Segment, t: &Segment| on(s.a, t) || on(s.b, t) || on(t.a, s) || on(t.b, s);
        for (placed, group) in wiring.symbols.iter().zip(&board.groups) {
            for (port, pins) in group.ports.iter().enumerate() {
                let from = placed.port(port);
                let mut reached: Vec<bool> = wires.iter().map(|s| on(from, s)).collect();
                while let Some(next) = (0..wires.len()).find(|i| {
                    !reached[*i]
                        && (0..wires.len()).any(|j| reached[j] && joined(&wires[*i], &wires[j]))
                }) {
                    reached[next] = true;
                }
                let at_pin = |pin: usize| {
                    let (row, x) = board.footprint.places[pin];
                    let y = wiring.rows[row];
                    let ends = [Point::new(x, y - PIN.y), Point::new(x, y + PIN.y)];
                    wires.iter().zip(&reached).any(|(s, r)| *r && ends.iter().any(|e| on(*e, s)))
                };
                let found: Vec<usize> =
                    (0..board.footprint.places.len()).filter(|pin| at_pin(*pin)).collect();
                assert_eq!(&found, pins, "port {port} of {group:?}");
            }
        }
    }

    #[test]
    fn no_wire_of_any_labelling_can_be_misread() {
        let seed = 20_261_125;
        println!("seed {seed}");
        let mut random = Pcg64::seed_from_u64(seed);
        let (mut clear, mut all) = (0, 0);
        // A longer look: COILMARK_DRAWINGS=50.
        let size = std::env::var("COILMARK_DRAWINGS").ok().and_then(|n| n.parse().ok());
        let size: usize = size.unwrap_or(1);
        let kinds = [("2-1-2", 1, 10), ("4+4", 2, 6), ("7+7", 4, 1), ("/ 1 2 3 4 5 6 7 8", 2, 3)];
        for (footprint, poles, parts) in kinds {
            let count = 2 + 3 * poles;
            for _ in 0..parts * size {
                let mut pins: Vec<usize> = (0..count).collect();
                pins.shuffle(&mut random);
                let place = Footprint::of(Some(footprint), &count.to_string().parse().unwrap());
                assert!(place.stated);
                let board = Board::new(place, part(&pins, poles));
                let wiring = route(&board);
                // Four poles on shuffled pins may find no clear wiring; then none is drawn.
                assert!(wiring.is_some() || poles > 2, "{footprint} with {pins:?}");
                if let Some(wiring) = &wiring {
                    assert_drawn_as_claimed(&board, wiring);
                }
                clear += usize::from(wiring.is_some());
                all += 1;
            }
        }
        println!("{clear} of {all} are clear");
        assert!(clear * 20 >= all * 18);
    }

    #[test]
    fn the_same_part_is_always_wired_the_same_way() {
        let place = Footprint::of(Some("4+4"), &"8".parse().unwrap());
        let board = |()| Board::new(place.clone(), part(&[0, 4, 2, 3, 1, 6, 7, 5], 2));
        let segments = |()| route(&board(())).unwrap().segments;
        assert_eq!(segments(()), segments(()));
    }
}
