//! How a production stands to its limits: Cp, how often the limits hold the spread, and Cpk, the
//! same to the nearer limit, each with a confidence interval (NIST/SEMATECH e-Handbook of
//! Statistical Methods, 6.1.6, from memory: chi squared for Cp; Bissell's normal approximation
//! for Cpk). Both assume that the values are normal and the process is steady; the spread is the
//! standard deviation of all values, so that strictly these are overall indices.

use super::conformity::Tolerance;
use super::quantile::{chi_squared, normal_quantile};

/// Between these, with the confidence that was asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// The capability of one quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capability {
    /// (upper - lower) / 6 s; `None` without both limits.
    pub cp: Option<f64>,
    /// Confidence interval of `cp`.
    pub cp_between: Option<Interval>,
    /// Distance from the mean to the nearer limit / 3 s.
    pub cpk: f64,
    /// Confidence interval of `cpk`.
    pub cpk_between: Interval,
}

impl Capability {
    /// Of `count` values with this mean and standard deviation (n - 1). `None` below two values,
    /// without limits, without spread, or where a number makes no sense.
    #[must_use]
    pub fn of(
        count: u64,
        mean: f64,
        deviation: f64,
        tolerance: &Tolerance,
        confidence: f64,
    ) -> Option<Self> {
        let sound = deviation > 0.0 && deviation.is_finite() && mean.is_finite();
        let asked = confidence > 0.0 && confidence < 1.0;
        if count < 2 || !sound || !asked {
            return None;
        }
        let n = count as f64;
        let cpk = tolerance.margin(mean)? / (3.0 * deviation);
        let z = normal_quantile(f64::midpoint(1.0, confidence));
        let spread = z * (1.0 / (9.0 * n) + cpk * cpk / (2.0 * (n - 1.0))).sqrt();
        let width = tolerance.lower.zip(tolerance.upper).map(|(lower, upper)| upper - lower);
        let cp = width.map(|width| width / (6.0 * deviation));
        let end = |cp: f64, p: f64| cp * (chi_squared(p, n - 1.0) / (n - 1.0)).sqrt();
        let tail = (1.0 - confidence) / 2.0;
        Some(Self {
            cp,
            cp_between: cp.map(|cp| Interval { low: end(cp, tail), high: end(cp, 1.0 - tail) }),
            cpk,
            cpk_between: Interval { low: cpk - spread, high: cpk + spread },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mean_outside_the_limits_has_a_negative_cpk() {
        let c = Capability::of(50, 12.0, 1.0, &Tolerance::at_most(10.0), 0.95).unwrap();
        assert!(c.cpk < 0.0 && c.cp.is_none() && c.cpk_between.low < c.cpk);
    }

    #[test]
    fn nothing_is_said_without_spread_limits_or_values() {
        let limits = Tolerance::between(0.0, 1.0);
        assert_eq!(Capability::of(1, 0.5, 0.1, &limits, 0.95), None);
        assert_eq!(Capability::of(9, 0.5, 0.0, &limits, 0.95), None);
        assert_eq!(Capability::of(9, 0.5, 0.1, &Tolerance::default(), 0.95), None);
        assert_eq!(Capability::of(9, f64::NAN, 0.1, &limits, 0.95), None);
        for confidence in [-0.1, 0.0, 1.0, 1.1, f64::NAN] {
            assert_eq!(Capability::of(9, 0.5, 0.1, &limits, confidence), None);
        }
    }

    #[test]
    fn two_values_are_enough_for_an_index_of_little_worth() {
        // Chi squared with one degree of freedom: 2.5 % 0.000982, 97.5 % 5.024 (usual tables, from
        // memory).
        let c = Capability::of(2, 0.5, 0.1, &Tolerance::between(0.2, 0.8), 0.95).unwrap();
        let (cp, between) = (c.cp.unwrap(), c.cp_between.unwrap());
        assert!((cp - 1.0).abs() < 1e-12 && (c.cpk - 1.0).abs() < 1e-12);
        assert!((between.low.powi(2) - 0.000_982).abs() < 1e-6, "{between:?}");
        assert!((between.high.powi(2) - 5.024).abs() < 1e-3, "{between:?}");
    }

    #[test]
    fn more_values_narrow_the_interval_about_the_index() {
        let of = |n| Capability::of(n, 0.5, 0.1, &Tolerance::between(0.0, 1.0), 0.95).unwrap();
        let width = |c: Capability| c.cpk_between.high - c.cpk_between.low;
        assert!(width(of(1000)) < width(of(30)));
        let between = of(30).cp_between.unwrap();
        assert!(between.low < of(30).cp.unwrap() && of(30).cp.unwrap() < between.high);
    }
}
