//! The symmetric layouts on a footprint, generated from its geometry alone: the coil lies on a
//! pair of places that mirror each other, mostly at one end; the poles are runs of neighbours
//! along rows, columns or the ring, all in the same order of roles, some of them turned round.
//! Only parts without spare pins have layouts; everything else is left to the free model.

use super::family::{Family, Group, Role};
use super::footprint::Place;
use super::partition::Partition;
use std::collections::{BTreeMap, BTreeSet};

/// Every layout with its weight: the family's own, shared out among its layouts.
pub(super) fn symmetric(
    places: &[Place],
    ring: bool,
    families: &[(Family, f64)],
) -> Vec<(Partition, f64)> {
    let board = Board::new(places, ring);
    let mut found: BTreeMap<Partition, f64> = BTreeMap::new();
    for (family, p) in families.iter().filter(|(family, _)| family.size() == places.len()) {
        let layouts = board.layouts(family);
        let total: f64 = layouts.values().sum();
        for (layout, weight) in layouts {
            *found.entry(layout).or_default() += p * weight / total;
        }
    }
    found.into_iter().collect()
}

/// A coil's pair at one end of the part, against one elsewhere: common practice, no source.
const AT_THE_END: f64 = 40.0;

/// Runs of neighbours turned round in every second lane, or in the second half of each lane.
#[derive(Clone, Copy)]
struct Turns {
    lanes: bool,
    halves: bool,
}

struct Board {
    pins: usize,
    /// Pairs of places that mirror each other, with weights.
    mirrored: Vec<([usize; 2], f64)>,
    /// Ways to line up the pins: lists of lanes.
    lineups: Vec<Vec<Vec<usize>>>,
}

impl Board {
    fn new(places: &[Place], ring: bool) -> Self {
        let rows = lanes(places, |place| place.y, |place| place.x);
        let columns = lanes(places, |place| place.x, |place| place.y);
        let path: Vec<usize> = (0..places.len()).collect();
        let lineups = if ring {
            vec![vec![path]]
        } else {
            let even = columns.iter().all(|column| column.len() == columns[0].len());
            let mut lineups = vec![rows, vec![path]];
            if even {
                lineups.insert(1, columns);
            }
            lineups
        };
        Self { pins: places.len(), mirrored: mirrored(places, ring), lineups }
    }

    fn layouts(&self, family: &Family) -> BTreeMap<Partition, f64> {
        let mut found = BTreeMap::new();
        let is_coil = |group: &&Group| matches!(group, Group::Coil(1, 1));
        let coils = family.groups().iter().filter(is_coil).count();
        let poles: Vec<Group> = family.groups().iter().copied().filter(|g| !is_coil(&g)).collect();
        let contacts = poles.iter().all(|pole| matches!(pole, Group::Contact { .. }));
        if poles.is_empty() || !contacts || !(1..=2).contains(&coils) {
            return found;
        }
        for (first, &(coil, weight)) in self.mirrored.iter().enumerate() {
            if coils == 1 {
                self.with_coils(&[coil], weight, &poles, &mut found);
            } else {
                for &(other, share) in &self.mirrored[..first] {
                    if other.iter().all(|pin| !coil.contains(pin)) {
                        self.with_coils(&[coil, other], weight * share, &poles, &mut found);
                    }
                }
            }
        }
        found
    }

    fn with_coils(
        &self,
        coils: &[[usize; 2]],
        weight: f64,
        poles: &[Group],
        found: &mut BTreeMap<Partition, f64>,
    ) {
        let taken: Vec<usize> = coils.concat();
        let coil = |ends: &[usize; 2]| (Group::Coil(1, 1), ends.to_vec(), vec![0, 1]);
        let mut ways: BTreeSet<Partition> = BTreeSet::new();
        // The first way to line the pins up that the poles fit into is the natural one.
        for lineup in &self.lineups {
            let free = |lane: &Vec<usize>| -> Vec<usize> {
                lane.iter().copied().filter(|pin| !taken.contains(pin)).collect()
            };
            let free: Vec<Vec<usize>> = lineup.iter().map(free).collect();
            for placed in poles_along(&free, poles) {
                let groups: Vec<_> = coils.iter().map(coil).chain(placed).collect();
                ways.insert(Partition::from_groups(self.pins, &groups));
            }
            if !ways.is_empty() {
                break;
            }
        }
        let each = weight / ways.len().max(1) as f64;
        found.extend(ways.into_iter().map(|way| (way, each)));
    }
}

type Placed = (Group, Vec<usize>, Vec<Role>);

/// Every way to lay these poles along these lanes, one after the other.
fn poles_along(lanes: &[Vec<usize>], poles: &[Group]) -> Vec<Vec<Placed>> {
    if let ([pole], [a, b]) = (poles, lanes)
        && let Some(single) = halved(*pole)
        && a.len() == single.size()
    {
        // Doubled pins face each other: one pole over two lanes, half of it on each.
        let facing = |roles: Vec<Role>| vec![placed(*pole, &[a, b], &[&roles, &roles])];
        return single.arrangements().into_iter().flat_map(both_ways).map(facing).collect();
    }
    let size = poles[0].size();
    let fits = |lane: &Vec<usize>| lane.len().is_multiple_of(size);
    if !poles.iter().all(|pole| pole.size() == size) || !lanes.iter().all(fits) {
        return Vec::new();
    }
    let mut ways = Vec::new();
    for order in orders(poles) {
        for turns in turns(lanes) {
            for roles in patterns(&order) {
                ways.push(run_poles(lanes, &order, &roles, turns));
            }
        }
    }
    ways
}

/// One role pattern for each form: a pole of form C has six, one of two pins has one.
fn patterns(order: &[Group]) -> Vec<BTreeMap<Group, Vec<Role>>> {
    let kinds: BTreeSet<Group> = order.iter().copied().collect();
    kinds.into_iter().fold(vec![BTreeMap::new()], |patterns, kind| {
        let with = |pattern: &BTreeMap<Group, Vec<Role>>, roles: &Vec<Role>| {
            let mut longer = pattern.clone();
            longer.insert(kind, roles.clone());
            longer
        };
        let ways = kind.arrangements();
        patterns.iter().flat_map(|pattern| ways.iter().map(|way| with(pattern, way))).collect()
    })
}

fn run_poles(
    lanes: &[Vec<usize>],
    order: &[Group],
    patterns: &BTreeMap<Group, Vec<Role>>,
    turns: Turns,
) -> Vec<Placed> {
    let mut kinds = order.iter();
    let mut all = Vec::new();
    for (l, lane) in lanes.iter().enumerate() {
        let runs = lane.chunks(order[0].size());
        let count = runs.len();
        for ((j, run), kind) in runs.enumerate().zip(kinds.by_ref()) {
            let turned =
                (turns.lanes && l % 2 == 1) != (turns.halves && j * 2 >= count + count % 2);
            let mut roles = patterns[kind].clone();
            if turned {
                roles.reverse();
            }
            all.push(placed(*kind, &[run], &[&roles]));
        }
    }
    all
}

fn turns(lanes: &[Vec<usize>]) -> [Turns; 2] {
    let several = lanes.len() > 1;
    [Turns { lanes: false, halves: false }, Turns { lanes: several, halves: !several }]
}

/// The distinct orders of poles of different forms along the lanes; at most a few.
fn orders(poles: &[Group]) -> Vec<Vec<Group>> {
    let mut orders: BTreeSet<Vec<Group>> = BTreeSet::from([Vec::new()]);
    for _ in poles {
        let mut longer = BTreeSet::new();
        for order in &orders {
            for &next in poles {
                let used = order.iter().filter(|&&group| group == next).count();
                if used < poles.iter().filter(|&&group| group == next).count() {
                    longer.insert([order.as_slice(), &[next]].concat());
                }
            }
        }
        orders = longer;
    }
    orders.into_iter().collect()
}

fn both_ways(roles: Vec<Role>) -> Vec<Vec<Role>> {
    let back = roles.iter().rev().copied().collect();
    vec![roles, back]
}

fn halved(pole: Group) -> Option<Group> {
    match pole {
        Group::Contact { form, .. } if pole == Group::doubled(form) => Some(Group::contact(form)),
        _ => None,
    }
}

/// A group over several runs of pins, pins ascending.
fn placed(group: Group, runs: &[&[usize]], roles: &[&[Role]]) -> Placed {
    let all = runs.iter().zip(roles).flat_map(|(run, roles)| run.iter().zip(roles.iter()));
    let mut all: Vec<(usize, Role)> = all.map(|(&pin, &role)| (pin, role)).collect();
    all.sort_unstable();
    let (pins, roles) = all.into_iter().unzip();
    (group, pins, roles)
}

/// Pins with the same `across`, each list in order of `along`.
fn lanes(
    places: &[Place],
    across: impl Fn(&Place) -> f64,
    along: impl Fn(&Place) -> f64,
) -> Vec<Vec<usize>> {
    let mut pins: Vec<usize> = (0..places.len()).collect();
    let key = |&pin: &usize| (across(&places[pin]), along(&places[pin]));
    pins.sort_by(|a, b| {
        let (a, b) = (key(a), key(b));
        if (a.0 - b.0).abs() < 0.01 { a.1.total_cmp(&b.1) } else { a.0.total_cmp(&b.0) }
    });
    let same = |a: &usize, b: &usize| (key(a).0 - key(b).0).abs() < 0.01;
    pins.chunk_by(same).map(<[usize]>::to_vec).collect()
}

/// Pairs of places that a mirror or a half turn of the whole footprint exchanges.
fn mirrored(places: &[Place], ring: bool) -> Vec<([usize; 2], f64)> {
    let middle = |of: fn(&Place) -> f64| {
        let all = places.iter().map(of);
        let (low, high) = (all.clone().fold(f64::MAX, f64::min), all.fold(f64::MIN, f64::max));
        (low, high)
    };
    let (left, right) = middle(|place| place.x);
    let (top, bottom) = middle(|place| place.y);
    let flips: &[(bool, bool)] =
        if ring { &[(true, false)] } else { &[(false, true), (true, true), (true, false)] };
    let mut pairs: BTreeMap<[usize; 2], f64> = BTreeMap::new();
    for (kind, &(across, down)) in flips.iter().enumerate() {
        let image = |place: &Place| Place {
            x: if across { left + right - place.x } else { place.x },
            y: if down { top + bottom - place.y } else { place.y },
        };
        let at = |image: Place| {
            let near = |p: &Place| (p.x - image.x).abs() < 0.01 && (p.y - image.y).abs() < 0.01;
            places.iter().position(near)
        };
        for (pin, place) in places.iter().enumerate() {
            let other = at(image(place));
            if let Some(other) = other.filter(|&other| other > pin) {
                let edge = |a: f64, b: f64| (a - b).abs() < 0.01;
                let end = kind == 0 && (edge(place.x, left) || edge(place.x, right)) || ring;
                pairs.entry([pin, other]).or_insert(if end { AT_THE_END } else { 1.0 });
            }
        }
    }
    pairs.into_iter().collect()
}

#[cfg(test)]
mod tests;
