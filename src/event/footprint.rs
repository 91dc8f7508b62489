//! How the pins stand, as the operator states it: `4+4` is rows from top to bottom that begin at
//! the left, `2-1-2` rows centred on each other; with `round` behind them every second row is
//! numbered backwards, round the part; `8 round` is a ring. What fits none of these is drawn,
//! `/ A1 . A2 / 11 12 14`: a row behind each stroke, the name of the pin that stands there, `.` for
//! an empty place. Text in, rows of pins out, for whoever lays the part out: belief, screen and
//! report.

use super::pin::{Pin, Pins};

/// The most rows of a drawing, and the most places in one.
const ACROSS_MAX: usize = 16;

/// A footprint as it was stated.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StatedFootprint {
    /// From the top and from the left, which pin stands at each place, by position; none where it
    /// is empty. A ring is its upper and its lower half.
    pub rows: Vec<Vec<Option<usize>>>,
    /// How the rows stand to each other.
    pub arranged: Arranged,
}

/// How rows of pins stand to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arranged {
    /// They begin at the left.
    AtLeft,
    /// They are centred on each other.
    Centred,
    /// They are no rows: the pins stand on a ring.
    Ring,
}

/// Why a footprint is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadFootprint {
    /// Not rows of pins, not a ring.
    #[error("footprint `{0}`: expected rows such as 4+4 or 2-1-2, or a ring such as `8 round`")]
    Shape(String),
    /// Too few or too many pins for any part.
    #[error("footprint with {0} pins: a part has 2 to 16")]
    Count(usize),
    /// Another number of pins than the part has.
    #[error("footprint {text} has {stated} pins, the part has {pins}")]
    Pins {
        /// As it was stated.
        text: String,
        /// How many that is.
        stated: usize,
        /// How many there are.
        pins: usize,
    },
    /// More than a part of 16 pins can want.
    #[error("drawn footprint: more than {ACROSS_MAX} rows, or places in a row")]
    Size,
    /// A drawing with a word that names no pin.
    #[error("drawn footprint, row {row}: `{word}` is none of the pins")]
    NoPin {
        /// From 1.
        row: usize,
        /// As written, escaped.
        word: String,
    },
    /// A drawing in which a pin is not there exactly once.
    #[error("drawn footprint: pin {pin} stands there {times} times")]
    Times {
        /// Its name.
        pin: String,
        /// How often.
        times: usize,
    },
}

/// Whether a footprint's text is a drawing.
#[must_use]
pub fn is_drawn(footprint: &str) -> bool {
    footprint.starts_with("/ ")
}

impl StatedFootprint {
    /// Understands the footprint of these pins.
    ///
    /// # Errors
    /// [`BadFootprint`] if it is none, or does not fit them.
    pub fn parse<'a>(
        text: &str,
        pins: impl IntoIterator<Item = &'a Pin>,
    ) -> Result<Self, BadFootprint> {
        let pins: Vec<&Pin> = pins.into_iter().collect();
        if is_drawn(text) {
            return drawn(text, &pins);
        }
        let stated = Self::counted(text)?;
        match stated.pins() {
            count if count == pins.len() => Ok(stated),
            count => {
                let text = text.trim().to_owned();
                Err(BadFootprint::Pins { text, stated: count, pins: pins.len() })
            }
        }
    }

    /// Understands rows or a ring of pins that are counted, not named.
    ///
    /// # Errors
    /// [`BadFootprint`] if it is neither, or has not 2 to 16 pins.
    pub fn counted(text: &str) -> Result<Self, BadFootprint> {
        let shown = || BadFootprint::Shape(text.escape_debug().take(40).collect());
        let count = |text: &str| text.trim().parse::<usize>().ok().filter(|&pins| pins <= 99);
        let trimmed = text.trim();
        let round = trimmed.strip_suffix("round").map(str::trim);
        let counts = round.unwrap_or(trimmed);
        if let Some(pins) = round.and_then(count) {
            fits(pins)?;
            let rows = numbered(&[pins.div_ceil(2), pins / 2], true);
            return Ok(Self { rows, arranged: Arranged::Ring });
        }
        let rows: Option<Vec<usize>> = counts.split(['+', '-']).map(count).collect();
        let rows = rows.filter(|rows| rows.len() > 1 && !rows.contains(&0)).ok_or_else(shown)?;
        fits(rows.iter().sum())?;
        let arranged = if counts.contains('-') { Arranged::Centred } else { Arranged::AtLeft };
        Ok(Self { rows: numbered(&rows, round.is_some()), arranged })
    }

    /// So many pins in the order of their naming, where nothing was stated: in one row, or in two.
    #[must_use]
    pub fn unstated(pins: usize) -> Self {
        let rows = if pins > 5 { vec![pins.div_ceil(2), pins / 2] } else { vec![pins] };
        Self { rows: numbered(&rows, false), arranged: Arranged::Centred }
    }

    /// How many pins stand on it.
    #[must_use]
    pub fn pins(&self) -> usize {
        self.rows.iter().flatten().flatten().count()
    }

    /// How many places the widest row has.
    #[must_use]
    pub fn widest(&self) -> usize {
        self.rows.iter().map(Vec::len).max().unwrap_or(0)
    }

    /// For each pin, by position, its row and its place in it, in places from the left; half ones
    /// where rows are centred.
    #[must_use]
    pub fn places(&self) -> Vec<(usize, f64)> {
        let mut places = vec![(0, 0.0); self.pins()];
        for (row, pins) in self.rows.iter().enumerate() {
            let spare = match self.arranged {
                Arranged::AtLeft => 0,
                Arranged::Centred | Arranged::Ring => self.widest() - pins.len(),
            };
            for (column, pin) in pins.iter().enumerate() {
                let place = pin.and_then(|pin| places.get_mut(pin));
                if let Some(place) = place {
                    *place = (row, column as f64 + spare as f64 / 2.0);
                }
            }
        }
        places
    }
}

fn fits(pins: usize) -> Result<(), BadFootprint> {
    if (2..=Pins::MAX).contains(&pins) { Ok(()) } else { Err(BadFootprint::Count(pins)) }
}

/// Rows of so many pins, in order; every second one backwards if they run round the part.
fn numbered(rows: &[usize], round: bool) -> Vec<Vec<Option<usize>>> {
    let mut next = 0;
    let row = |(place, count): (usize, &usize)| {
        let mut pins: Vec<Option<usize>> = (next..next + count).map(Some).collect();
        if round && place % 2 == 1 {
            pins.reverse();
        }
        next += count;
        pins
    };
    rows.iter().enumerate().map(row).collect()
}

fn drawn(text: &str, pins: &[&Pin]) -> Result<StatedFootprint, BadFootprint> {
    let mut rows = Vec::new();
    for (row, words) in text.split('/').skip(1).enumerate() {
        let place = |word: &str| match pins.iter().position(|pin| pin.label() == word) {
            None if word == "." => Ok(None),
            None => {
                let word = word.escape_debug().take(16).collect();
                Err(BadFootprint::NoPin { row: row + 1, word })
            }
            found => Ok(found),
        };
        let places: Result<Vec<_>, _> = words.split_whitespace().map(place).collect();
        rows.push(places?);
    }
    if rows.len() > ACROSS_MAX || rows.iter().any(|row| row.len() > ACROSS_MAX) {
        return Err(BadFootprint::Size);
    }
    for (position, pin) in pins.iter().enumerate() {
        let times = rows.iter().flatten().filter(|place| **place == Some(position)).count();
        if times != 1 {
            return Err(BadFootprint::Times { pin: pin.label().to_owned(), times });
        }
    }
    Ok(StatedFootprint { rows, arranged: Arranged::AtLeft })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> Vec<Vec<usize>> {
        let stated = StatedFootprint::counted(text).unwrap();
        stated.rows.into_iter().map(|row| row.into_iter().flatten().collect()).collect()
    }

    #[test]
    fn rows_are_numbered_row_by_row_or_round_the_part() {
        assert_eq!(rows("4+4"), [vec![0, 1, 2, 3], vec![4, 5, 6, 7]]);
        assert_eq!(rows("4+4 round"), [vec![0, 1, 2, 3], vec![7, 6, 5, 4]]);
        assert_eq!(rows("2-1-2"), [vec![0, 1], vec![2], vec![3, 4]]);
        assert_eq!(rows("8 round"), [vec![0, 1, 2, 3], vec![7, 6, 5, 4]]);
        let of = |text| StatedFootprint::counted(text).unwrap();
        assert_eq!(of("8 round").arranged, Arranged::Ring);
        assert_eq!(of("2-1-2").places()[2], (1, 0.5));
        assert_eq!(of("3+2").places()[3], (1, 0.0));
        assert_eq!(StatedFootprint::unstated(5).rows.len(), 1);
        assert_eq!(StatedFootprint::unstated(7).places()[4], (1, 0.5));
    }

    #[test]
    fn each_pin_stands_where_its_name_does() {
        let pins = ["11", "12", "14", "A1", "A2"].map(Pin::new);
        let drawn = |text| StatedFootprint::parse(text, &pins);
        let stated = drawn("/ A1 . A2 / 11 12 14").unwrap();
        assert_eq!(stated.rows, [[Some(3), None, Some(4)], [0, 1, 2].map(Some)]);
        assert_eq!(stated.places()[3..], [(0, 0.0), (0, 2.0)]);
        assert!(is_drawn("/ A1 . A2 / 11 12 14") && !is_drawn("/tmp/part.txt"));
        let bad = |text| drawn(text).unwrap_err().to_string();
        assert_eq!(
            bad("/ A1 A2 / 11 12 14 15"),
            "drawn footprint, row 2: `15` is none of the pins"
        );
        assert_eq!(bad("/ A1 A2 / 11 12"), "drawn footprint: pin 14 stands there 0 times");
        assert_eq!(bad("/ A1 A2 A1 / 11 12 14"), "drawn footprint: pin A1 stands there 2 times");
        let wide = format!("/ {} A1 A2 11 12 14", ". ".repeat(16));
        assert_eq!(drawn(&wide), Err(BadFootprint::Size));
        assert_eq!(bad("4+4"), "footprint 4+4 has 8 pins, the part has 5");
    }

    #[test]
    fn what_is_no_footprint_is_refused_with_the_culprit() {
        for text in ["", "8", "4+", "4+x", "0+8", "-", "round", "4+4+\u{1b}", "4+4 rounds"] {
            let refused = StatedFootprint::counted(text);
            assert!(matches!(refused, Err(BadFootprint::Shape(_))), "{text:?}: {refused:?}");
        }
        let huge = StatedFootprint::counted("4+18446744073709551615");
        assert!(matches!(huge, Err(BadFootprint::Shape(_))), "{huge:?}");
        assert_eq!(StatedFootprint::counted("9+9"), Err(BadFootprint::Count(18)));
        assert_eq!(StatedFootprint::counted("1 round"), Err(BadFootprint::Count(1)));
    }
}
