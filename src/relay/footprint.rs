//! Where the pins stand. `4+4` is two rows of four, `2-1-2` three rows of which the middle one has
//! one pin, `8 round` a ring as under a plug-in part; [`Numbering`] says how the numbers run. What
//! fits none of these is drawn, `/ A1 . A2 / 11 12 14`: a row behind each stroke. A [`Footprint`]
//! gives each pin its place on a grid, for pictures and for the symmetric layouts that are the
//! stronger part of a prior. It never excludes a part that breaks the pattern.

use super::family::Family;
use super::layouts;
use super::pair::PINS_MAX;
use super::partition::Partition;
use crate::event::{BadDrawing, Pins, drawn};
use std::fmt;
use std::str::FromStr;

/// How the pins of a footprint are numbered.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Numbering {
    /// Row by row, each from left to right.
    #[default]
    Rows,
    /// Round the part: every second row runs backwards.
    Round,
}

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
    text: String,
    places: Vec<Place>,
    ring: bool,
}

/// Why a footprint is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadFootprint {
    /// Not rows of pins, not a ring.
    #[error("footprint `{0}`: expected rows such as 4+4 or 2-1-2, or a ring such as `8 round`")]
    Shape(String),
    /// Too few or too many pins.
    #[error("footprint with {0} pins: a part has 2 to 16")]
    Count(usize),
    /// A drawing that is none.
    #[error(transparent)]
    Drawing(#[from] BadDrawing),
}

impl Footprint {
    /// From text: row lengths joined by `+` (rows start at the left) or `-` (rows are centred on
    /// each other, which staggers them), or `N round`.
    ///
    /// # Errors
    /// [`BadFootprint`] if it is neither, or has not 2 to 16 pins.
    pub fn parse(text: &str, numbering: Numbering) -> Result<Self, BadFootprint> {
        let shown = || BadFootprint::Shape(text.escape_debug().take(40).collect());
        let trimmed = text.trim();
        let count = |text: &str| text.trim().parse::<usize>().ok().filter(|&pins| pins <= 99);
        let ring = trimmed.strip_suffix("round");
        let places = if let Some(ring) = ring {
            ring_places(checked(count(ring).ok_or_else(shown)?)?)
        } else {
            let rows: Option<Vec<usize>> = trimmed.split(['+', '-']).map(count).collect();
            let rows =
                rows.filter(|rows| rows.len() > 1 && !rows.contains(&0)).ok_or_else(shown)?;
            checked(rows.iter().sum())?;
            row_places(&rows, trimmed.contains('-'), numbering)
        };
        Ok(Self { text: trimmed.to_owned(), places, ring: ring.is_some() })
    }

    /// From a drawing, as [`drawn`] reads it.
    ///
    /// # Errors
    /// What [`drawn`] refuses.
    pub fn drawn(text: &str, pins: &Pins) -> Result<Self, BadFootprint> {
        let places = drawn(text, pins.iter())?.into_iter();
        let places = places.map(|(row, column)| Place { x: column as f64, y: row as f64 });
        Ok(Self { text: text.trim().to_owned(), places: places.collect(), ring: false })
    }

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

    fn from_str(text: &str) -> Result<Self, BadFootprint> {
        Self::parse(text, Numbering::Rows)
    }
}

impl fmt::Display for Footprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.text)
    }
}

fn checked(pins: usize) -> Result<usize, BadFootprint> {
    if (2..=PINS_MAX).contains(&pins) { Ok(pins) } else { Err(BadFootprint::Count(pins)) }
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

fn row_places(rows: &[usize], centred: bool, numbering: Numbering) -> Vec<Place> {
    let longest = rows.iter().copied().max().unwrap_or(0);
    let mut places = Vec::new();
    for (y, &length) in rows.iter().enumerate() {
        let start = if centred { (longest - length) as f64 / 2.0 } else { 0.0 };
        let mut row: Vec<Place> =
            (0..length).map(|x| Place { x: start + x as f64, y: y as f64 }).collect();
        if numbering == Numbering::Round && y % 2 == 1 {
            row.reverse();
        }
        places.append(&mut row);
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places(text: &str, numbering: Numbering) -> Vec<(f64, f64)> {
        let footprint = Footprint::parse(text, numbering).unwrap();
        footprint.places().iter().map(|place| (place.x, place.y)).collect()
    }

    #[test]
    fn rows_run_left_to_right_or_round_the_part() {
        assert_eq!(places("2+2", Numbering::Rows), [(0., 0.), (1., 0.), (0., 1.), (1., 1.)]);
        assert_eq!(places("2+2", Numbering::Round), [(0., 0.), (1., 0.), (1., 1.), (0., 1.)]);
        assert_eq!(
            places("2-1-2", Numbering::Rows),
            [(0., 0.), (1., 0.), (0.5, 1.), (0., 2.), (1., 2.)]
        );
    }

    #[test]
    fn a_ring_has_its_pins_a_pitch_apart() {
        let ring = places("8 round", Numbering::Rows);
        assert_eq!(ring.len(), 8);
        let gap = (ring[0].0 - ring[1].0).hypot(ring[0].1 - ring[1].1);
        assert!((0.9..1.0).contains(&gap), "{gap}");
    }

    #[test]
    fn a_drawing_puts_each_pin_where_its_name_stands() {
        let pins: Pins = "11,12,14,A1,A2".parse().unwrap();
        let drawn = Footprint::drawn("/ A1 . A2 / 11 12 14", &pins).unwrap();
        let places: Vec<_> = drawn.places().iter().map(|place| (place.x, place.y)).collect();
        assert_eq!(places, [(0., 1.), (1., 1.), (2., 1.), (0., 0.), (2., 0.)]);
        let bad = |text| Footprint::drawn(text, &pins).unwrap_err().to_string();
        assert_eq!(
            bad("/ A1 A2 / 11 12 14 15"),
            "drawn footprint, row 2: `15` is none of the pins"
        );
        assert_eq!(bad("/ A1 A2 / 11 12"), "drawn footprint: pin 14 stands there 0 times");
        assert_eq!(bad("/ A1 A2 A1 / 11 12 14"), "drawn footprint: pin A1 stands there 2 times");
    }

    #[test]
    fn what_is_no_footprint_is_refused_with_the_culprit() {
        for text in ["", "8", "4+", "4+x", "0+8", "-", "round", "4+4+\u{1b}"] {
            assert!(matches!(text.parse::<Footprint>(), Err(BadFootprint::Shape(_))), "{text:?}");
        }
        assert_eq!("9+9".parse::<Footprint>(), Err(BadFootprint::Count(18)));
        assert_eq!("1 round".parse::<Footprint>(), Err(BadFootprint::Count(1)));
    }
}
