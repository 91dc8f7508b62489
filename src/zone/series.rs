//! The preferred values of IEC 60063: a series' name -> the figures of one decade, and from any
//! resistance the nearest value that a drawer holds. E3 to E24 are tables, because their figures
//! do not follow the formula everywhere; E48 to E192 follow it but for one value. Ohms.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// The figures of E24, of which E3, E6 and E12 are every eighth, fourth and second.
const E24: [u32; 24] = [
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
];

/// A series of preferred values.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Series {
    /// 3 values a decade.
    E3,
    /// 6 values a decade, usual for 20 %.
    E6,
    /// 12 values a decade, usual for 10 %.
    E12,
    /// 24 values a decade, usual for 5 %.
    E24,
    /// 48 values a decade, usual for 2 %.
    E48,
    /// 96 values a decade, usual for 1 %.
    E96,
    /// 192 values a decade, usual for 0.5 % and less.
    E192,
}

/// Why a series is not known.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no series `{0}`; they are E3, E6, E12, E24, E48, E96 and E192")]
pub struct UnknownSeries(String);

impl Series {
    /// All of them, coarsest first.
    pub const ALL: [Self; 7] =
        [Self::E3, Self::E6, Self::E12, Self::E24, Self::E48, Self::E96, Self::E192];

    /// How many values a decade has.
    #[must_use]
    pub const fn steps(self) -> usize {
        match self {
            Self::E3 => 3,
            Self::E6 => 6,
            Self::E12 => 12,
            Self::E24 => 24,
            Self::E48 => 48,
            Self::E96 => 96,
            Self::E192 => 192,
        }
    }

    /// The figures of one decade, rising: 10 to 91 up to E24, 100 to 988 beyond.
    pub fn figures(self) -> impl Iterator<Item = u32> {
        let steps = self.steps();
        (0..steps).map(move |i| if steps <= 24 { E24[i * 24 / steps] } else { rounded(i, steps) })
    }

    /// The preferred values next below and next above `ohms`, the same twice where it is one;
    /// `None` unless it is above 0 and finite.
    #[must_use]
    pub fn around(self, ohms: f64) -> Option<(f64, f64)> {
        if !(1e-3..=1e12).contains(&ohms) {
            return None;
        }
        let ten = if self.steps() <= 24 { 1 } else { 2 };
        let exponent = ohms.log10().floor() as i32 - ten;
        // The one below is of the same decade, which begins with a value; the one above may not be.
        let values = (exponent..=exponent + 1)
            .flat_map(|e| self.figures().map(move |figure| scaled(figure, e)));
        let (mut below, mut above) = (0.0_f64, f64::INFINITY);
        for value in values {
            let same = (value - ohms).abs() <= 1e-9 * ohms;
            if value <= ohms || same {
                below = below.max(value);
            }
            if value >= ohms || same {
                above = above.min(value);
            }
        }
        Some((below, above))
    }

    /// The preferred value nearest to `ohms`, the lower one of two that are as near.
    #[must_use]
    pub fn nearest(self, ohms: f64) -> Option<f64> {
        let (below, above) = self.around(ohms)?;
        Some(if ohms - below <= above - ohms { below } else { above })
    }

    /// All values from `low` to `high` ohms, rising.
    #[must_use]
    pub fn between(self, low: f64, high: f64) -> Vec<f64> {
        let all = (-4..=10).flat_map(|e| self.figures().map(move |figure| scaled(figure, e)));
        all.filter(|value| (low..=high).contains(value)).collect()
    }
}

/// Figures times a power of ten, exact wherever a number can be.
pub(super) fn scaled(figure: u32, exponent: i32) -> f64 {
    let (times, over) = (exponent.max(0), (-exponent).max(0));
    f64::from(figure) * 10_f64.powi(times) / 10_f64.powi(over)
}

fn rounded(i: usize, steps: usize) -> u32 {
    // IEC 60063 writes 920 where the formula gives 919.
    if i * 192 / steps == 185 {
        return 920;
    }
    (100.0 * 10_f64.powf(i as f64 / steps as f64)).round() as u32
}

impl fmt::Display for Series {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "E{}", self.steps())
    }
}

impl FromStr for Series {
    type Err = UnknownSeries;

    fn from_str(text: &str) -> Result<Self, UnknownSeries> {
        let known = |series: &&Self| series.to_string().eq_ignore_ascii_case(text.trim());
        let shown = || UnknownSeries(text.chars().take(20).collect());
        Self::ALL.iter().find(known).copied().ok_or_else(shown)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_value_is_of_the_series() {
        // PyPI eseries 1.2.1.
        assert_eq!(Series::E12.nearest(4650.0), Some(4700.0));
        assert_eq!(Series::E12.nearest(6850.0), Some(6800.0));
        assert_eq!(Series::E96.nearest(3300.0), Some(3320.0));
        assert_eq!(Series::E96.nearest(5000.0), Some(4990.0));
        assert_eq!(Series::E24.around(9500.0), Some((9100.0, 10_000.0)));
        assert_eq!(Series::E24.around(3300.0), Some((3300.0, 3300.0)));
        assert_eq!(Series::E24.nearest(0.47), Some(0.47));
    }

    #[test]
    fn what_is_nearest_is_so_in_every_decade() {
        // Those next below and above, by the tables of IEC 60063.
        let known = [
            (Series::E3, 30.0, (22.0, 47.0)),
            (Series::E6, 95.0, (68.0, 100.0)),
            (Series::E24, 50.0, (47.0, 51.0)),
            (Series::E48, 99.0, (95.3, 100.0)),
            (Series::E96, 47.0, (46.4, 47.5)),
            (Series::E192, 91.9, (90.9, 92.0)),
            (Series::E192, 10.0, (10.0, 10.0)),
        ];
        for power in -4..=10 {
            let there = |x: f64| scaled((10.0 * x).round() as u32, power - 1);
            for (series, ohms, (below, above)) in known {
                let found = series.around(there(ohms));
                assert_eq!(found, Some((there(below), there(above))), "{series} {ohms}E{power}");
            }
        }
    }

    #[test]
    fn a_billionth_beside_a_value_is_that_value_and_more_is_not() {
        assert_eq!(Series::E24.around(3_300.000_001), Some((3300.0, 3300.0)));
        assert_eq!(Series::E24.around(3_299.999_999), Some((3300.0, 3300.0)));
        assert_eq!(Series::E24.around(3_300.000_01), Some((3300.0, 3600.0)));
        assert_eq!(Series::E24.around(3_299.999_99), Some((3000.0, 3300.0)));
        assert_eq!(Series::E24.around(999.999_999_999_9), Some((1000.0, 1000.0)));
    }

    #[test]
    fn of_two_as_near_the_lower_is_taken() {
        assert_eq!(Series::E24.nearest(10.5), Some(10.0));
        assert_eq!(Series::E24.nearest(10.6), Some(11.0));
    }

    #[test]
    fn what_is_no_resistance_has_no_nearest_value() {
        for ohms in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(Series::E24.nearest(ohms), None, "{ohms}");
        }
        assert_eq!("e24".parse(), Ok(Series::E24));
        assert!("E25".parse::<Series>().is_err());
    }

    #[test]
    fn a_range_holds_every_value_in_it() {
        assert_eq!(Series::E6.between(1000.0, 4700.0), [1000.0, 1500.0, 2200.0, 3300.0, 4700.0]);
        assert_eq!(Series::E3.between(0.001, 0.01), [0.001, 0.0022, 0.0047, 0.01]);
        assert_eq!(Series::E3.between(1e11, 1e12), [1e11, 2.2e11, 4.7e11]);
    }
}
