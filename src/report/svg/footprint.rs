//! Where pins stand on the pin map: a footprint as the operator stated it in, a row and an x for
//! each pin out. One that does not fit the pins counts as none; they then stand in the order of
//! their naming.

use crate::event::{Pins, StatedFootprint};

/// Distance between two neighbouring pins of a row, in user units.
pub(super) const PITCH: f64 = 108.0;

/// The places of all pins.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Footprint {
    /// For each pin its row, from the top, and its x.
    pub(super) places: Vec<(usize, f64)>,
    /// How many rows.
    pub(super) rows: usize,
    /// Whether the operator stated it.
    pub(super) stated: bool,
}

impl Footprint {
    /// The footprint of these pins.
    pub(super) fn of(text: Option<&str>, pins: &Pins) -> Self {
        let stated = text.and_then(|text| StatedFootprint::parse(text, pins.iter()).ok());
        let is_stated = stated.is_some();
        let footprint = stated.unwrap_or_else(|| StatedFootprint::unstated(pins.count()));
        let places = footprint.places().into_iter().map(|(row, x)| (row, PITCH * x)).collect();
        Self { places, rows: footprint.rows.len(), stated: is_stated }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str, pins: &str) -> Footprint {
        Footprint::of(Some(text), &pins.parse().unwrap())
    }

    #[test]
    fn pins_stand_a_pitch_apart_as_stated() {
        let two = of("4+4", "8");
        assert_eq!((two.places[3], two.places[4]), ((0, 3.0 * PITCH), (1, 0.0)));
        assert!(two.stated);
        let three = of("2-1-2", "5");
        assert_eq!((three.rows, three.places[2]), (3, (1, PITCH / 2.0)));
        assert_eq!(of("4+4 round", "8").places[4], (1, 3.0 * PITCH));
        let drawn = of("/ A1 . A2 / 11 12 14", "11,12,14,A1,A2");
        assert_eq!(drawn.places[3..], [(0, 0.0), (0, 2.0 * PITCH)]);
        assert!(drawn.stated && drawn.rows == 2);
    }

    #[test]
    fn a_footprint_that_does_not_fit_counts_as_none() {
        for text in ["4+5", "", "x", "8+0", "99999999999999999999", "4+4+18446744073709551608"] {
            let none = of(text, "8");
            assert!(!none.stated && none.places.len() == 8 && none.rows == 2, "{text}");
        }
    }
}
