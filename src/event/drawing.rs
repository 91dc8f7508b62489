//! A footprint that the operator drew: rows that each begin with a stroke, of words with spaces
//! between them; a word is the name of the pin that stands there, `.` an empty place. Text in, a
//! row and a column for each pin out, for whoever lays the part out: belief, screen and report.

use super::pin::Pin;

/// The most rows, and the most places in one.
const ACROSS_MAX: usize = 16;

/// Why a drawing is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadDrawing {
    /// More than a part of 16 pins can want.
    #[error("drawn footprint: more than {ACROSS_MAX} rows, or places in a row")]
    Size,
    /// A word that names no pin.
    #[error("drawn footprint, row {row}: `{word}` is none of the pins")]
    NoPin {
        /// From 1.
        row: usize,
        /// As written, escaped.
        word: String,
    },
    /// A pin that is not there exactly once.
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

/// For each of these pins its row, from the top, and its column, from the left, both from 0.
///
/// # Errors
/// [`BadDrawing`] for a word that is no pin, a pin that is not there exactly once, and too many
/// places.
pub fn drawn<'a>(
    text: &str,
    pins: impl IntoIterator<Item = &'a Pin>,
) -> Result<Vec<(usize, usize)>, BadDrawing> {
    let pins: Vec<&Pin> = pins.into_iter().collect();
    let mut found: Vec<Vec<(usize, usize)>> = vec![Vec::new(); pins.len()];
    for (row, words) in text.split('/').skip(1).enumerate() {
        for (column, word) in words.split_whitespace().enumerate() {
            if row >= ACROSS_MAX || column >= ACROSS_MAX {
                return Err(BadDrawing::Size);
            }
            if word == "." {
                continue;
            }
            let pin = pins.iter().position(|pin| pin.label() == word).ok_or_else(|| {
                let word = word.escape_debug().take(16).collect();
                BadDrawing::NoPin { row: row + 1, word }
            })?;
            found[pin].push((row, column));
        }
    }
    let one = |(pin, places): (&&Pin, Vec<(usize, usize)>)| match places.as_slice() {
        [place] => Ok(*place),
        more => Err(BadDrawing::Times { pin: pin.label().to_owned(), times: more.len() }),
    };
    pins.iter().zip(found).map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_pin_stands_where_its_name_does() {
        let pins = ["11", "12", "14", "A1", "A2"].map(Pin::new);
        let places = drawn("/ A1 . A2 / 11 12 14", &pins).unwrap();
        assert_eq!(places, [(1, 0), (1, 1), (1, 2), (0, 0), (0, 2)]);
        assert!(is_drawn("/ A1 . A2 / 11 12 14") && !is_drawn("/tmp/part.txt"));
        let bad = |text| drawn(text, &pins).unwrap_err().to_string();
        assert_eq!(
            bad("/ A1 A2 / 11 12 14 15"),
            "drawn footprint, row 2: `15` is none of the pins"
        );
        assert_eq!(bad("/ A1 A2 / 11 12"), "drawn footprint: pin 14 stands there 0 times");
        assert_eq!(bad("/ A1 A2 A1 / 11 12 14"), "drawn footprint: pin A1 stands there 2 times");
        let wide = format!("/ {} A1", ". ".repeat(16));
        assert_eq!(drawn(&wide, &pins), Err(BadDrawing::Size));
    }
}
