//! One input quantity's share in what is not known: a standard uncertainty, the sensitivity with
//! which it acts on the result, and the degrees of freedom behind it. Made from what a data
//! sheet, a certificate or repeated readings say (JCGM 100:2008, 4.2 and 4.3). The uncertainty is
//! in the input's unit, the sensitivity in the result's unit per input's unit.

/// How an input is distributed, as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Shape {
    /// From repeated readings: Student's t, type A (4.2.3).
    Repeated,
    /// Normal, as a certificate states it (4.3.3).
    Normal,
    /// Anything between two bounds alike (4.3.7).
    Rectangular,
    /// Most probable in the middle (4.3.9).
    Triangular,
}

impl Shape {
    /// In a word, as in a budget's table.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Repeated => "repeated readings",
            Self::Normal => "normal",
            Self::Rectangular => "rectangular",
            Self::Triangular => "triangular",
        }
    }
}

/// One component of uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    /// What it is, in words.
    pub name: String,
    /// Standard uncertainty of the input, in the input's unit; not negative.
    pub u: f64,
    /// How much the result moves per unit of the input.
    pub sensitivity: f64,
    /// Degrees of freedom; infinite where bounds or a certificate are taken as known.
    pub freedom: f64,
    /// Its distribution.
    pub shape: Shape,
}

impl Component {
    /// Of this standard uncertainty, normal, with these degrees of freedom.
    #[must_use]
    pub fn standard(name: impl Into<String>, u: f64, freedom: f64) -> Self {
        Self { name: name.into(), u: u.abs(), sensitivity: 1.0, freedom, shape: Shape::Normal }
    }

    /// From an expanded uncertainty and its coverage factor, as on a certificate.
    #[must_use]
    pub fn expanded(name: impl Into<String>, expanded: f64, coverage_factor: f64) -> Self {
        Self::standard(name, expanded / coverage_factor, f64::INFINITY)
    }

    /// Between plus and minus `half_width`, all alike: `half_width` / sqrt 3.
    #[must_use]
    pub fn rectangular(name: impl Into<String>, half_width: f64) -> Self {
        Self::bounded(name, half_width, 3.0, Shape::Rectangular)
    }

    /// Between plus and minus `half_width`, most probable in the middle: `half_width` / sqrt 6.
    #[must_use]
    pub fn triangular(name: impl Into<String>, half_width: f64) -> Self {
        Self::bounded(name, half_width, 6.0, Shape::Triangular)
    }

    /// The mean of repeated readings: s / sqrt n, with n - 1 degrees of freedom (4.2.3). Nothing
    /// can be said from fewer than two.
    #[must_use]
    pub fn repeated(name: impl Into<String>, readings: &[f64]) -> Option<Self> {
        let (_, deviation) = mean_and_deviation(readings)?;
        let n = readings.len() as f64;
        Some(Self {
            name: name.into(),
            u: deviation / n.sqrt(),
            sensitivity: 1.0,
            freedom: n - 1.0,
            shape: Shape::Repeated,
        })
    }

    /// The same, with this sensitivity.
    #[must_use]
    pub fn times(self, sensitivity: f64) -> Self {
        Self { sensitivity, ..self }
    }

    /// What it adds to the result's uncertainty by itself, signed by its sensitivity.
    #[must_use]
    pub fn contribution(&self) -> f64 {
        self.sensitivity * self.u
    }

    fn bounded(name: impl Into<String>, half_width: f64, divisor: f64, shape: Shape) -> Self {
        let u = half_width.abs() / divisor.sqrt();
        Self { name: name.into(), u, sensitivity: 1.0, freedom: f64::INFINITY, shape }
    }
}

/// Standard uncertainty of the mean of `count` readings by their scatter alone: half their range
/// (largest minus smallest) over the root of the count (common practice, no source).
#[must_use]
pub fn mean_u_by_range(range: f64, count: f64) -> f64 {
    range / count.sqrt() / 2.0
}

/// Mean and experimental standard deviation (n - 1), in two passes with the rounding of the mean
/// taken out, so that nothing cancels; `None` below two values or where one is no number.
pub(super) fn mean_and_deviation(values: &[f64]) -> Option<(f64, f64)> {
    if values.len() < 2 || values.iter().any(|x| !x.is_finite()) {
        return None;
    }
    let n = values.len() as f64;
    let rough = values.iter().sum::<f64>() / n;
    let left = values.iter().map(|x| x - rough).sum::<f64>() / n;
    let mean = rough + left;
    let squares = values.iter().map(|x| (x - rough).powi(2)).sum::<f64>() - n * left * left;
    Some((mean, (squares.max(0.0) / (n - 1.0)).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_reading_says_nothing_of_its_scatter() {
        assert_eq!(Component::repeated("r", &[1.0]), None);
        assert_eq!(Component::repeated("r", &[1.0, f64::NAN]), None);
        let two = Component::repeated("r", &[1.0, 3.0]).unwrap();
        assert!((two.u - 1.0).abs() < 1e-15 && two.freedom == 1.0);
    }

    #[test]
    fn the_rounding_of_a_mean_is_taken_out_again() {
        // Of three numbers about 2^53 the sum has no room for its last two bits, and a mean by it
        // alone is 1 off.
        let middle = 9_007_199_254_740_974.0;
        let (mean, deviation) = mean_and_deviation(&[middle - 1.0, middle, middle + 1.0]).unwrap();
        assert_eq!((mean, deviation), (middle, 1.0));
    }

    #[test]
    fn half_the_range_over_the_root_of_the_count_stands_for_the_scatter() {
        // 1, 3, 7 and 5: a range of 6, four readings, 6 / 2 / 2.
        assert!((mean_u_by_range(6.0, 4.0) - 1.5).abs() < 1e-15);
    }

    #[test]
    fn a_component_says_in_a_budget_how_it_is_distributed() {
        // In the words of JCGM 100:2008, 4.2, 4.3.3, 4.3.7 and 4.3.9.
        let words = [
            Component::repeated("r", &[1.0, 2.0]).unwrap(),
            Component::expanded("c", 2.0, 2.0),
            Component::rectangular("b", 1.0),
            Component::triangular("t", 1.0),
        ]
        .map(|component| component.shape.name());
        assert_eq!(words, ["repeated readings", "normal", "rectangular", "triangular"]);
    }

    #[test]
    fn a_negative_sensitivity_gives_a_negative_contribution() {
        assert_eq!(Component::standard("x", 2.0, 5.0).times(-3.0).contribution(), -6.0);
    }
}
