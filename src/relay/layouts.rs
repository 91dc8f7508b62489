//! The symmetric layouts on a footprint, generated from its geometry.

use super::family::Family;
use super::footprint::Place;
use super::partition::Partition;

/// Every layout with its weight.
pub(super) fn symmetric(_places: &[Place], _families: &[(Family, f64)]) -> Vec<(Partition, f64)> {
    Vec::new()
}
