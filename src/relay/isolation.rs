//! Which placements show that the nets of a part are apart from each other: the fewest pairs of
//! pins such that every two nets (coil, poles, joints, spares) are measured against each other.
//! A multimeter cannot prove insulation; this finds only what is joined that should not be.

use super::pair::Pair;
use super::partition::Partition;

/// The fewest placements that measure each net against every other, one lead moving at a time
/// where possible. Two sides of a contact that are apart at rest are measured as part of their
/// pole, not here.
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
    cover
}
