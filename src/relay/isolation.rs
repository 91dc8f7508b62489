//! Which placements show that the nets of a part are apart from each other: the fewest pairs of
//! pins such that every two nets (coil, poles, joints, spares) are measured against each other.
//! A multimeter cannot prove insulation; this finds only what is joined that should not be.

use super::pair::Pair;
use super::partition::Partition;

/// The fewest placements that measure each net against every other at rest, one lead moving at a
/// time where possible: one placement for every two nets, as a placement can show no more. A pole
/// is taken by its common, which reaches its break side. A make side is open at rest and so a net
/// of its own: each is measured against the coils too, because what is on the coil must not come
/// to it.
#[must_use]
pub fn isolation_cover(partition: &Partition) -> Vec<Pair> {
    let coils = partition.coils.iter().map(|coil| coil.pins());
    let poles = partition.poles.iter().map(|pole| pole.common.clone());
    let joined = partition.joined.iter().cloned();
    let spares = partition.spares.iter().map(|&pin| vec![pin]);
    let nets: Vec<usize> = coils
        .chain(poles)
        .chain(joined)
        .chain(spares)
        .filter_map(|net| net.first().copied())
        .collect();
    let mut cover = Vec::new();
    for (i, &a) in nets.iter().enumerate() {
        let others = nets[i + 1..].iter();
        // Every second fan runs backwards, so that it starts where the last one ended.
        let fan: Vec<usize> =
            if i % 2 == 0 { others.copied().collect() } else { others.rev().copied().collect() };
        cover.extend(fan.into_iter().filter_map(|b| Pair::new(a, b)));
    }
    let coils = partition.coils.iter().filter_map(|coil| coil.pins().first().copied());
    let makes = || partition.poles.iter().filter_map(|pole| pole.no.first().copied());
    cover.extend(coils.flat_map(|coil| makes().filter_map(move |make| Pair::new(coil, make))));
    cover
}

#[cfg(test)]
mod tests {
    use super::super::family::Group;
    use super::*;
    use crate::event::Form;
    use std::collections::BTreeSet;

    #[test]
    fn every_two_nets_are_measured_once_and_few_leads_move() {
        let pole = |pins: [usize; 3]| (Group::contact(Form::C), pins.to_vec(), vec![0, 1, 2]);
        let coil = (Group::Coil(1, 1), vec![0, 7], vec![0, 1]);
        let part = Partition::from_groups(9, &[coil, pole([1, 2, 3]), pole([4, 5, 6])]);
        // Coil, two poles and a spare are four nets; two make sides come on top for the coil.
        let cover = isolation_cover(&part);
        assert_eq!(cover[6..], [Pair::ordered(0, 3), Pair::ordered(0, 6)]);
        // From the coil outward, back from the pole, and so on.
        let order: Vec<(usize, usize)> = cover.iter().map(|pair| (pair.lo(), pair.hi())).collect();
        assert_eq!(order[..6], [(0, 1), (0, 4), (0, 8), (1, 8), (1, 4), (4, 8)]);
        let cover = &cover[..6];
        let net = |pin: usize| [0, 1, 1, 1, 4, 4, 4, 0, 8][pin];
        let nets: BTreeSet<(usize, usize)> =
            cover.iter().map(|pair| (net(pair.lo()), net(pair.hi()))).collect();
        assert_eq!(nets, BTreeSet::from([(0, 1), (0, 4), (0, 8), (1, 4), (1, 8), (4, 8)]));
        assert_eq!(cover.len(), 6);
        let shares = |two: &[Pair]| two[0].has(two[1].lo()) || two[0].has(two[1].hi());
        assert!(cover.windows(2).all(shares), "{cover:?}");
    }

    #[test]
    fn a_part_of_one_net_needs_nothing() {
        assert!(isolation_cover(&Partition::default()).is_empty());
    }
}
