//! Where pins stand: a footprint's text (`4+4`, `2-1-2`, rows from top to bottom as the operator
//! looks at the pins) in, a column and a row for each pin out. Rows are centred on each other.
//! `round` after the counts numbers every second row backwards, round the part. A text that does
//! not fit the number of pins counts as no footprint; pins then stand in the order of naming.

use crate::event::{Pins, drawn, is_drawn};

/// Distance between two neighbouring pins of a row, in user units.
pub(super) const PITCH: f64 = 108.0;
/// The most pins in a row without a stated footprint.
const ONE_ROW_MAX: usize = 5;

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
        let stated = text.filter(|text| is_drawn(text));
        match stated.and_then(|text| drawn(text, pins.iter()).ok()) {
            Some(places) => Self::laid(&places),
            None => Self::parse(text, pins.count()),
        }
    }

    /// Pins at these rows and columns.
    fn laid(places: &[(usize, usize)]) -> Self {
        let rows = places.iter().map(|(row, _)| row + 1).max().unwrap_or(1);
        #[expect(clippy::cast_precision_loss, reason = "at most 16 places in a row")]
        let x = |column: usize| PITCH * column as f64;
        let places = places.iter().map(|(row, column)| (*row, x(*column))).collect();
        Self { places, rows, stated: true }
    }

    /// The footprint of `count` pins.
    pub(super) fn parse(text: Option<&str>, count: usize) -> Self {
        let stated = text.and_then(|text| stated(text, count));
        let (rows, round) = stated.clone().unwrap_or_else(|| match count {
            0..=ONE_ROW_MAX => (vec![count], false),
            _ => (vec![count.div_ceil(2), count / 2], false),
        });
        let widest = rows.iter().copied().max().unwrap_or(1);
        let mut places = Vec::with_capacity(count);
        for (row, pins) in rows.iter().enumerate() {
            #[expect(clippy::cast_precision_loss, reason = "at most 16 pins")]
            let x = |column: usize| PITCH * (column as f64 + (widest - pins) as f64 / 2.0);
            let mut in_row: Vec<f64> = (0..*pins).map(x).collect();
            if round && row % 2 == 1 {
                in_row.reverse();
            }
            places.extend(in_row.into_iter().map(|x| (row, x)));
        }
        Self { places, rows: rows.len().max(1), stated: stated.is_some() }
    }
}

fn stated(text: &str, count: usize) -> Option<(Vec<usize>, bool)> {
    let text = text.trim();
    let (counts, round) = match text.split_once(|c: char| c.is_whitespace() || c == ',') {
        Some((counts, rest)) => (counts, rest.trim() == "round"),
        None => (text, false),
    };
    let rows: Vec<usize> =
        counts.split(['+', '-']).map(|row| row.parse().ok()).collect::<Option<_>>()?;
    let fits = rows.iter().try_fold(0_usize, |sum, row| sum.checked_add(*row)) == Some(count);
    (fits && rows.iter().all(|row| *row > 0)).then_some((rows, round))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_numbered_row_by_row_and_centred() {
        let two = Footprint::parse(Some("4+4"), 8);
        assert_eq!(two.places[3], (0, 3.0 * PITCH));
        assert_eq!(two.places[4], (1, 0.0));
        assert!(two.stated);
        let three = Footprint::parse(Some("2-1-2"), 5);
        assert_eq!(three.rows, 3);
        assert_eq!(three.places[2], (1, PITCH / 2.0));
    }

    #[test]
    fn a_drawing_stands_as_it_was_drawn() {
        let pins: Pins = "11,12,14,A1,A2".parse().unwrap();
        let drawn = Footprint::of(Some("/ A1 . A2 / 11 12 14"), &pins);
        assert_eq!(drawn.places[..3], [(1, 0.0), (1, PITCH), (1, 2.0 * PITCH)]);
        assert_eq!(drawn.places[3..], [(0, 0.0), (0, 2.0 * PITCH)]);
        assert!(drawn.stated && drawn.rows == 2);
        assert!(!Footprint::of(Some("/ A1 . A2 / 11 12"), &pins).stated);
        assert_eq!(Footprint::of(Some("2-1-2"), &pins), Footprint::parse(Some("2-1-2"), 5));
    }

    #[test]
    fn round_numbers_the_second_row_backwards() {
        let round = Footprint::parse(Some("4+4 round"), 8);
        assert_eq!(round.places[4], (1, 3.0 * PITCH));
        assert_eq!(round.places[7], (1, 0.0));
    }

    #[test]
    fn a_footprint_that_does_not_fit_counts_as_none() {
        for text in ["4+5", "", "x", "8+0", "99999999999999999999", "4+4+18446744073709551608"] {
            let none = Footprint::parse(Some(text), 8);
            assert!(!none.stated && none.places.len() == 8, "{text}");
        }
        assert_eq!(Footprint::parse(None, 5).rows, 1);
        assert_eq!(Footprint::parse(None, 7).rows, 2);
    }
}
