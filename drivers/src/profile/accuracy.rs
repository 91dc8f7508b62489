//! A meter's stated accuracy in one range: percent of reading, plus a floor, plus counts of the
//! last digit. The sum is the half-width within which the true value is stated to lie, in the
//! unit of the function (volts or ohms).

/// Accuracy in one range of one function.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accuracy {
    /// Largest magnitude that this range covers; infinite for the last one.
    pub up_to: f64,
    /// Percent of the reading.
    pub percent: f64,
    /// Constant part, counts of the last digit included.
    pub floor: f64,
}

impl Accuracy {
    /// Whether this range covers `x`.
    #[must_use]
    pub fn covers(&self, x: f64) -> bool {
        x.abs() <= self.up_to
    }

    /// Half-width of the stated interval round `x`.
    #[must_use]
    pub fn half_width(&self, x: f64) -> f64 {
        self.percent / 100.0 * x.abs() + self.floor
    }
}
