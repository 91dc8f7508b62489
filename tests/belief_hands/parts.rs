//! Parts as the simulated hands meet them: drawn from a prior, a family or the layouts of a
//! footprint; and all labellings of a family, dealt out one by one, with nothing shared with the
//! sums that they check.

use super::{Case, Truth};
use coilmark::relay::{Coil, Family, Group, LAYOUT_SHARE, Partition, Pole};
use rand::RngExt;
use rand_pcg::Pcg64;
use std::collections::BTreeSet;

/// The part of one run.
pub fn drawn(case: &Case, rng: &mut Pcg64) -> Partition {
    match &case.truth {
        Truth::Family(family) => shuffled(case.prior.pins(), family, rng),
        Truth::Layout => layout(case, rng),
        Truth::Prior if case.prior.layouts().is_empty() => of_a_family(case, rng),
        Truth::Prior if rng.random::<f64>() < LAYOUT_SHARE => layout(case, rng),
        Truth::Prior => of_a_family(case, rng),
    }
}

fn of_a_family(case: &Case, rng: &mut Pcg64) -> Partition {
    let family = weighted(case.prior.families(), rng);
    shuffled(case.prior.pins(), family, rng)
}

fn layout(case: &Case, rng: &mut Pcg64) -> Partition {
    weighted(case.prior.layouts(), rng).clone()
}

/// One of these, by weight.
fn weighted<'a, T>(all: &'a [(T, f64)], rng: &mut Pcg64) -> &'a T {
    let total: f64 = all.iter().map(|(_, p)| p).sum();
    let mut left = rng.random_range(0.0..total);
    let found = all.iter().find(|(_, p)| {
        left -= p;
        left <= 0.0
    });
    &found.unwrap_or(&all[0]).0
}

fn shuffled(pins: usize, family: &Family, rng: &mut Pcg64) -> Partition {
    let mut order: Vec<usize> = (0..pins).collect();
    for last in (1..order.len()).rev() {
        order.swap(last, rng.random_range(0..=last));
    }
    dealt(&order, family)
}

/// Deals pins, in this order, into the groups of a family.
pub fn dealt(order: &[usize], family: &Family) -> Partition {
    let mut left = order.iter().copied();
    let mut take = |count: u8| -> Vec<usize> { left.by_ref().take(usize::from(count)).collect() };
    let mut partition = Partition::default();
    for group in family.groups() {
        match *group {
            Group::Coil(a, b) => partition.coils.push(Coil { sides: vec![take(a), take(b)] }),
            Group::TappedCoil => {
                partition.coils.push(Coil { sides: vec![take(1), take(1), take(1)] });
            }
            Group::Contact { form, common, nc, no } => {
                let (common, nc, no) = (take(common), take(nc), take(no));
                partition.poles.push(Pole { form, common, nc, no });
            }
            Group::Joined(pins) => partition.joined.push(take(pins)),
        }
    }
    partition.spares = left.collect();
    partition.in_order()
}

/// All labellings of a family.
pub fn labellings(pins: usize, family: &Family) -> Vec<Partition> {
    let mut orders: Vec<Vec<usize>> = vec![vec![]];
    for pin in 0..pins {
        let insert = |order: &Vec<usize>| {
            let order = order.clone();
            (0..=order.len()).map(move |at| [&order[..at], &[pin], &order[at..]].concat())
        };
        orders = orders.iter().flat_map(insert).collect();
    }
    let all: BTreeSet<Partition> = orders.iter().map(|order| dealt(order, family)).collect();
    all.into_iter().collect()
}

/// All partitions of a prior with their prior probability, listed.
pub fn listed(pins: usize, families: &[(Family, f64)]) -> Vec<(Family, Partition, f64)> {
    let fits = |entry: &&(Family, f64)| entry.0.size() <= pins;
    let total: f64 = families.iter().filter(fits).map(|(_, p)| p).sum();
    let mut all = Vec::new();
    for (family, p) in families.iter().filter(fits) {
        let labelled = labellings(pins, family);
        let each = p / total / labelled.len() as f64;
        all.extend(labelled.into_iter().map(|partition| (family.clone(), partition, each)));
    }
    all
}
