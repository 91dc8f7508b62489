//! The colour bands of IEC 60062: a resistance with its tolerance <-> the bands on the resistor,
//! from the end where reading starts. Two figures where the tolerance is 5 % or wider, three where
//! it is tighter. Tolerances of orange, yellow and grey are not read: editions and makers differ.

use super::series::scaled;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A band.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[expect(missing_docs, reason = "the colours are their own names")]
pub enum Colour {
    Silver,
    Gold,
    Black,
    Brown,
    Red,
    Orange,
    Yellow,
    Green,
    Blue,
    Violet,
    Grey,
    White,
}

/// Why bands say nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadBands {
    /// Too few or too many.
    #[error("{0} bands; a resistor has three to six")]
    Count(usize),
    /// This colour has no place there.
    #[error("band {place} is {colour}, which is no {wanted}")]
    Place {
        /// Which band, from 1.
        place: usize,
        /// Its colour.
        colour: Colour,
        /// What stands there.
        wanted: &'static str,
    },
}

impl Colour {
    /// All of them: from the smallest power of ten to the largest.
    pub const ALL: [Self; 12] = [
        Self::Silver,
        Self::Gold,
        Self::Black,
        Self::Brown,
        Self::Red,
        Self::Orange,
        Self::Yellow,
        Self::Green,
        Self::Blue,
        Self::Violet,
        Self::Grey,
        Self::White,
    ];

    /// The power of ten that it multiplies by.
    #[must_use]
    pub fn power_of_ten(self) -> i32 {
        (-2..).zip(Self::ALL).find(|(_, colour)| *colour == self).map_or(0, |(power, _)| power)
    }

    /// The figure that it stands for.
    #[must_use]
    pub fn figure(self) -> Option<u32> {
        u32::try_from(self.power_of_ten()).ok()
    }

    /// The tolerance that it stands for, in per cent.
    #[must_use]
    pub const fn percent(self) -> Option<f64> {
        match self {
            Self::Silver => Some(10.0),
            Self::Gold => Some(5.0),
            Self::Brown => Some(1.0),
            Self::Red => Some(2.0),
            Self::Green => Some(0.5),
            Self::Blue => Some(0.25),
            Self::Violet => Some(0.1),
            _ => None,
        }
    }

    fn of_power(power: i32) -> Option<Self> {
        Self::ALL.into_iter().find(|colour| colour.power_of_ten() == power)
    }

    fn of_percent(percent: f64) -> Option<Self> {
        Self::ALL.into_iter().find(|colour| colour.percent() == Some(percent))
    }
}

impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&format!("{self:?}").to_lowercase())
    }
}

/// The bands of a resistor of `ohms` and this tolerance in per cent: four where two figures are
/// usual and do, else five. `None` where three figures do not hold the value, 0 among them, or no
/// colour stands for the tolerance.
#[must_use]
pub fn bands(ohms: f64, percent: f64) -> Option<Vec<Colour>> {
    let tolerance = Colour::of_percent(percent).filter(|_| ohms.is_normal())?;
    let usual: &[usize] = if percent >= 5.0 { &[2, 3] } else { &[3] };
    // What is a billionth below a decade is of that decade, as it is read below.
    let decade = (ohms.log10() + 5e-10).floor() as i32;
    let (figures, digits, power) = usual.iter().find_map(|&digits| {
        let power = decade + 1 - digits as i32;
        let figures = (ohms / 10_f64.powi(power)).round();
        let exact = (scaled(figures as u32, power) - ohms).abs() <= 1e-9 * ohms;
        (exact && (10.0..1000.0).contains(&figures)).then_some((figures as u32, digits, power))
    })?;
    let mut bands: Vec<Colour> = (0..digits as u32)
        .rev()
        .filter_map(|place| Colour::of_power((figures / 10_u32.pow(place) % 10) as i32))
        .collect();
    bands.push(Colour::of_power(power)?);
    bands.push(tolerance);
    Some(bands)
}

/// The ohms and the tolerance in per cent that bands say. Three bands have no tolerance band, which
/// means 20 %; the sixth is the temperature coefficient, which is not read.
///
/// # Errors
/// [`BadBands`] where a colour has no meaning in its place.
pub fn read_bands(bands: &[Colour]) -> Result<(f64, f64), BadBands> {
    let digits = match bands.len() {
        3 | 4 => 2,
        5 | 6 => 3,
        count => return Err(BadBands::Count(count)),
    };
    let at =
        |place: usize, wanted| BadBands::Place { place: place + 1, colour: bands[place], wanted };
    let mut figures = 0;
    for (place, colour) in bands.iter().take(digits).enumerate() {
        figures = 10 * figures + colour.figure().ok_or(at(place, "figure"))?;
    }
    let percent = match bands.get(digits + 1) {
        None => 20.0,
        Some(colour) => colour.percent().ok_or(at(digits + 1, "tolerance that is agreed on"))?,
    };
    Ok((scaled(figures, bands[digits].power_of_ten()), percent))
}

#[cfg(test)]
mod tests {
    use super::Colour::{Black, Blue, Brown, Gold, Green, Grey, Orange, Red, Violet, Yellow};
    use super::*;

    /// PyPI resistors 1.0.3; the first is worked step by step in an alarm installation handbook.
    const WORKED: [(&[Colour], f64, f64); 10] = [
        (&[Orange, Orange, Red, Gold], 3300.0, 5.0),
        (&[Yellow, Violet, Red, Gold], 4700.0, 5.0),
        (&[Brown, Black, Red, Gold], 1000.0, 5.0),
        (&[Brown, Black, Orange, Gold], 10_000.0, 5.0),
        (&[Blue, Grey, Red, Gold], 6800.0, 5.0),
        (&[Green, Blue, Red, Gold], 5600.0, 5.0),
        (&[Brown, Black, Black, Brown, Brown], 1000.0, 1.0),
        (&[Orange, Orange, Black, Brown, Brown], 3300.0, 1.0),
        (&[Yellow, Violet, Black, Brown, Brown], 4700.0, 1.0),
        (&[Brown, Black, Black, Red, Brown], 10_000.0, 1.0),
    ];

    #[test]
    fn less_than_ten_ohms_is_written_with_gold_and_silver() {
        // IEC 60062: gold multiplies by a tenth, silver by a hundredth.
        assert_eq!(bands(9.1, 5.0), Some(vec![Colour::White, Brown, Gold, Gold]));
        assert_eq!(bands(0.47, 5.0), Some(vec![Yellow, Violet, Colour::Silver, Gold]));
        assert_eq!(bands(0.047, 5.0), None);
    }

    #[test]
    fn worked_examples_come_out_both_ways() {
        for (colours, ohms, percent) in WORKED {
            assert_eq!(read_bands(colours), Ok((ohms, percent)), "{colours:?}");
            assert_eq!(bands(ohms, percent).as_deref(), Some(colours), "{ohms}");
        }
    }

    #[test]
    fn a_value_of_three_figures_takes_five_bands_at_any_tolerance() {
        assert_eq!(bands(3320.0, 5.0).map(|b| b.len()), Some(5));
        assert_eq!(bands(33_215.0, 1.0), None);
        assert_eq!(bands(3300.0, 3.0), None);
        assert_eq!(bands(3_300.000_001, 5.0), bands(3300.0, 5.0));
        assert_eq!(bands(3_300.000_01, 5.0), None);
        assert_eq!(bands(99.999_999_999, 5.0), bands(100.0, 5.0));
        assert_eq!(bands(99.999_999_999, 1.0), bands(100.0, 1.0));
        for no_value in [0.0, -0.0, -3300.0, f64::NAN, f64::INFINITY, f64::MAX] {
            assert_eq!(bands(no_value, 5.0), None, "{no_value}");
        }
    }

    #[test]
    fn colours_out_of_place_are_refused() {
        let place = |place, colour, wanted| Err(BadBands::Place { place, colour, wanted });
        let tolerance = "tolerance that is agreed on";
        assert_eq!(read_bands(&[Gold, Orange, Red, Gold]), place(1, Gold, "figure"));
        assert_eq!(read_bands(&[Red, Orange, Gold, Red, Gold]), place(3, Gold, "figure"));
        assert_eq!(read_bands(&[Orange, Orange, Red, Black]), place(4, Black, tolerance));
        assert_eq!(read_bands(&[Red, Red, Red, Black, Yellow]), place(5, Yellow, tolerance));
        assert_eq!(read_bands(&[Orange, Orange, Red]), Ok((3300.0, 20.0)));
        assert_eq!(read_bands(&[Orange]), Err(BadBands::Count(1)));
    }
}
