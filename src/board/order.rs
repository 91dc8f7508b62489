//! The order of placements: the input's two ways first, since nothing is driven before it was
//! measured, then all others so that the fewest leads move. Contacts and open pairs may be taken
//! either way round. Exact for up to [`EXACT_MAX`] placements (Held and Karp's recursion over
//! sets), nearest first beyond. Checks get the way round that was chosen.

use super::plan::{Check, Wanted, Way};
use std::collections::HashMap;

/// So many free placements are ordered exactly.
const EXACT_MAX: usize = 9;

/// Chooses the order and turns the checks' ways accordingly.
pub(super) fn shorten(checks: &mut [Check]) -> Vec<Way> {
    let mut fixed: Vec<Way> = Vec::new();
    let mut free: Vec<(Way, bool)> = Vec::new();
    for check in checks.iter() {
        match &check.wanted {
            Wanted::Ohms { copper: _, compensated: true, tolerance }
                if tolerance.lower.is_some() =>
            {
                push(&mut fixed, &check.way);
            }
            Wanted::Current { .. } if !free.iter().any(|(way, _)| *way == check.way) => {
                free.push((check.way.clone(), false));
            }
            Wanted::Current { .. } => {}
            _ if !free.iter().any(|(way, _)| same_pair(way, &check.way)) => {
                free.push((check.way.clone(), true));
            }
            _ => {}
        }
    }
    let ordered = match free.len() {
        0..=EXACT_MAX => exact(fixed.last(), &free),
        _ => nearest(fixed.last(), &free),
    };
    for check in checks.iter_mut() {
        let turned = ordered.iter().find(|way| same_pair(way, &check.way));
        let may_turn =
            !matches!(check.wanted, Wanted::Current { .. }) && !fixed.contains(&check.way);
        if let (Some(way), true) = (turned, may_turn) {
            check.way = way.clone();
        }
    }
    fixed.extend(ordered);
    fixed
}

/// How many leads change terminal from one placement to the next.
fn moves(from: Option<&Way>, to: &Way) -> u32 {
    to.moves_from(from)
}

fn push(ways: &mut Vec<Way>, way: &Way) {
    if !ways.contains(way) {
        ways.push(way.clone());
    }
}

fn same_pair(a: &Way, b: &Way) -> bool {
    a == b || *a == turned(b)
}

fn turned(way: &Way) -> Way {
    Way { red: way.black.clone(), black: way.red.clone() }
}

/// Each placement in the ways round that it may have.
fn choices((way, may_turn): &(Way, bool)) -> Vec<Way> {
    if *may_turn { vec![way.clone(), turned(way)] } else { vec![way.clone()] }
}

fn exact(start: Option<&Way>, free: &[(Way, bool)]) -> Vec<Way> {
    if free.is_empty() {
        return Vec::new();
    }
    // By the set of placements done and the last of them: moves so far, and the whole order.
    let mut best: HashMap<(u32, usize, bool), (u32, Vec<Way>)> = HashMap::new();
    for (i, place) in free.iter().enumerate() {
        for (turn, way) in choices(place).into_iter().enumerate() {
            let cost = moves(start, &way);
            best.insert((1 << i, i, turn == 1), (cost, vec![way]));
        }
    }
    for size in 1..free.len() {
        let mut grown: HashMap<(u32, usize, bool), (u32, Vec<Way>)> = HashMap::new();
        let mut known: Vec<_> =
            best.iter().filter(|(k, _)| k.0.count_ones() as usize == size).collect();
        known.sort_by_key(|(key, _)| **key);
        for ((done, ..), (cost, order)) in known {
            for (i, place) in free.iter().enumerate().filter(|(i, _)| done & (1 << i) == 0) {
                for (turn, way) in choices(place).into_iter().enumerate() {
                    let cost = cost + moves(order.last(), &way);
                    let key = (done | (1 << i), i, turn == 1);
                    if grown.get(&key).is_none_or(|(known, _)| cost < *known) {
                        let mut order = order.clone();
                        order.push(way);
                        grown.insert(key, (cost, order));
                    }
                }
            }
        }
        best = grown;
    }
    let mut whole: Vec<_> = best.into_iter().collect();
    whole.sort_by_key(|(key, (cost, _))| (*cost, *key));
    whole.into_iter().next().map(|(_, (_, order))| order).unwrap_or_default()
}

fn nearest(start: Option<&Way>, free: &[(Way, bool)]) -> Vec<Way> {
    let mut left = free.to_vec();
    let mut order: Vec<Way> = Vec::new();
    while !left.is_empty() {
        let from = order.last().or(start);
        let options = left.iter().enumerate();
        let options =
            options.flat_map(|(i, place)| choices(place).into_iter().map(move |w| (i, w)));
        let Some((i, way)) = options.min_by_key(|(_, way)| moves(from, way)) else { break };
        left.remove(i);
        order.push(way);
    }
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::Pin;

    fn way(red: &str, black: &str) -> Way {
        Way { red: Pin::new(red), black: Pin::new(black) }
    }

    fn total(order: &[Way]) -> u32 {
        let mut from = None;
        order.iter().fold(0, |sum, way| sum + moves(from.replace(way), way))
    }

    /// Every order and every way round, counted.
    fn by_counting(left: &[(Way, bool)], from: Option<&Way>) -> u32 {
        let mut best = u32::MAX;
        for i in 0..left.len() {
            let mut rest = left.to_vec();
            let place = rest.remove(i);
            for way in choices(&place) {
                let more = if rest.is_empty() { 0 } else { by_counting(&rest, Some(&way)) };
                best = best.min(moves(from, &way) + more);
            }
        }
        best
    }

    #[test]
    fn the_order_is_the_shortest_of_all() {
        let free: Vec<(Way, bool)> = [("C", "1"), ("D", "2"), ("C", "3"), ("2", "1"), ("D", "C")]
            .iter()
            .map(|(a, b)| (way(a, b), true))
            .collect();
        let order = exact(None, &free);
        assert_eq!(order.len(), free.len());
        assert_eq!(total(&order), by_counting(&free, None));
        assert!(total(&order) <= total(&nearest(None, &free)));
    }

    #[test]
    fn a_pair_that_may_not_turn_does_not() {
        let order = exact(None, &[(way("A", "B"), false), (way("A", "C"), false)]);
        assert!(order.contains(&way("A", "B")) && order.contains(&way("A", "C")));
    }
}
