//! Where the pins stand, in pin pitches: a [`Footprint`] gives each pin of a [`StatedFootprint`]
//! its place on a grid, or on a ring as under a plug-in part, for the symmetric layouts that are
//! the stronger part of a prior. It never excludes a part that breaks the pattern.

use super::family::Family;
use super::layouts;
use super::partition::Partition;
use crate::event::{Arranged, BadFootprint, StatedFootprint};
use std::str::FromStr;

/// A place, in pin pitches: x to the right, y downwards, as the operator looks at the pins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// To the right.
    pub x: f64,
    /// Downwards.
    pub y: f64,
}

/// The places of a part's pins, by position.
#[derive(Clone, Debug, PartialEq)]
pub struct Footprint {
    places: Vec<Place>,
    ring: bool,
}

impl From<&StatedFootprint> for Footprint {
    fn from(stated: &StatedFootprint) -> Self {
        let ring = stated.arranged == Arranged::Ring;
        let places = match ring {
            true => ring_places(stated.pins()),
            false => {
                let places = stated.places().into_iter();
                places.map(|(row, x)| Place { x, y: row as f64 }).collect()
            }
        };
        Self { places, ring }
    }
}

impl Footprint {
    /// How many pins it has.
    #[must_use]
    pub fn pins(&self) -> usize {
        self.places.len()
    }

    /// Where each pin stands, by position.
    #[must_use]
    pub fn places(&self) -> &[Place] {
        &self.places
    }

    /// The symmetric layouts on it of the families of a prior, with weights.
    pub(super) fn layouts(&self, families: &[(Family, f64)]) -> Vec<(Partition, f64)> {
        layouts::symmetric(&self.places, self.ring, families)
    }
}

impl FromStr for Footprint {
    type Err = BadFootprint;

    /// Of rows or a ring, as [`StatedFootprint::counted`].
    fn from_str(text: &str) -> Result<Self, BadFootprint> {
        Ok(Self::from(&StatedFootprint::counted(text)?))
    }
}

/// On a circle whose pins stand about one pitch apart, the first at the bottom left of the gap,
/// clockwise.
fn ring_places(pins: usize) -> Vec<Place> {
    let radius = pins as f64 / std::f64::consts::TAU;
    let place = |pin: usize| {
        let turn = (pin as f64 + 0.5) / pins as f64 * std::f64::consts::TAU;
        Place { x: radius * (1.0 - turn.sin()), y: radius * (1.0 + turn.cos()) }
    };
    (0..pins).map(place).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places(text: &str) -> Vec<(f64, f64)> {
        let footprint: Footprint = text.parse().unwrap();
        footprint.places().iter().map(|place| (place.x, place.y)).collect()
    }

    #[test]
    fn rows_run_left_to_right_or_round_the_part() {
        assert_eq!(places("2+2"), [(0., 0.), (1., 0.), (0., 1.), (1., 1.)]);
        assert_eq!(places("2+2 round"), [(0., 0.), (1., 0.), (1., 1.), (0., 1.)]);
        assert_eq!(places("2-1-2"), [(0., 0.), (1., 0.), (0.5, 1.), (0., 2.), (1., 2.)]);
    }

    #[test]
    fn a_ring_has_its_pins_a_pitch_apart() {
        let ring = places("8 round");
        assert_eq!(ring.len(), 8);
        let gap = (ring[0].0 - ring[1].0).hypot(ring[0].1 - ring[1].1);
        assert!((0.9..1.0).contains(&gap), "{gap}");
    }

    /// Four pins round a part are the corners of a square, clockwise from the bottom left. With a
    /// pitch along the circle its diagonal is 4 / pi, so that the sides are 4 / pi / sqrt(2).
    #[test]
    fn four_pins_on_a_ring_are_a_square() {
        let side = 4.0 / std::f64::consts::PI * std::f64::consts::FRAC_1_SQRT_2;
        let edge = (4.0 / std::f64::consts::PI - side) / 2.0;
        let (low, high) = (edge, edge + side);
        let square = [(low, high), (low, low), (high, low), (high, high)];
        let found = places("4 round");
        assert_eq!(found.len(), 4);
        for (found, expected) in found.iter().zip(square) {
            let off = (found.0 - expected.0).hypot(found.1 - expected.1);
            assert!(off < 1e-12, "{found:?}, not {expected:?}");
        }
    }
}
