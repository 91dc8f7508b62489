//! What a rule does to a whole production: how many bad ones are accepted (the customer's risk)
//! and how many good ones refused (the maker's), where the process is normal about its mean and
//! the measurement normal about the truth (JCGM 106:2012, 9.5; the resistor of 9.5.4). Integrated
//! numerically over the process; probabilities 0 to 1.

use super::conformity::Tolerance;
use super::quantile::normal_cdf;

/// A production, as far as this quantity goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Process {
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation, without that of the measurement; above 0.
    pub deviation: f64,
}

/// The two ways to be wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GlobalRisk {
    /// Probability that a piece does not conform and is accepted.
    pub accepted_wrongly: f64,
    /// Probability that a piece conforms and is refused.
    pub refused_wrongly: f64,
    /// Probability that a piece does not conform.
    pub not_conforming: f64,
}

/// So many deviations either way are looked at; beyond lies less than 1e-15.
const REACH: f64 = 8.0;
/// Even number of steps in each piece.
const STEPS: usize = 400;

impl Process {
    /// The risks of accepting what is measured inside `accepted` with standard uncertainty `u`,
    /// where what lies inside `tolerance` conforms; `None` where a number makes no sense.
    #[must_use]
    pub fn risk(&self, u: f64, tolerance: &Tolerance, accepted: &Tolerance) -> Option<GlobalRisk> {
        let sound = self.mean.is_finite() && self.deviation > 0.0 && u > 0.0 && u.is_finite();
        if !sound {
            return None;
        }
        let low = self.mean - REACH * self.deviation;
        let high = self.mean + REACH * self.deviation;
        let lower = tolerance.lower.unwrap_or(low).clamp(low, high);
        let upper = tolerance.upper.unwrap_or(high).clamp(lower, high);
        let accepts = |truth: f64| {
            let below = |limit: f64| normal_cdf((limit - truth) / u);
            accepted.upper.map_or(1.0, below) - accepted.lower.map_or(0.0, below)
        };
        let all = |truth: f64| self.density(truth);
        let taken = |truth: f64| self.density(truth) * accepts(truth);
        let left = |truth: f64| self.density(truth) * (1.0 - accepts(truth));
        Some(GlobalRisk {
            accepted_wrongly: integral(taken, low, lower, u) + integral(taken, upper, high, u),
            refused_wrongly: integral(left, lower, upper, u),
            not_conforming: integral(all, low, lower, u) + integral(all, upper, high, u),
        })
    }

    fn density(&self, truth: f64) -> f64 {
        let z = (truth - self.mean) / self.deviation;
        (-0.5 * z * z).exp() / (self.deviation * (2.0 * std::f64::consts::PI).sqrt())
    }
}

/// Simpson's rule, finer near both ends, where the measurement's edge lies.
fn integral(f: impl Fn(f64) -> f64 + Copy, from: f64, to: f64, edge: f64) -> f64 {
    let near = (REACH * edge).min((to - from) / 2.0);
    simpson(f, from, from + near) + simpson(f, from + near, to - near) + simpson(f, to - near, to)
}

fn simpson(f: impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    if to <= from {
        return 0.0;
    }
    let step = (to - from) / STEPS as f64;
    let weight = |i: usize| match i {
        0 | STEPS => 1.0,
        i if i % 2 == 1 => 4.0,
        _ => 2.0,
    };
    (0..=STEPS).map(|i| weight(i) * f(from + i as f64 * step)).sum::<f64>() * step / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wide_tolerance_is_never_missed() {
        let process = Process { mean: 0.0, deviation: 1.0 };
        let wide = Tolerance::between(-20.0, 20.0);
        let risk = process.risk(0.1, &wide, &wide).unwrap();
        assert!(risk.accepted_wrongly < 1e-12 && risk.refused_wrongly < 1e-12);
    }

    #[test]
    fn numbers_without_sense_give_nothing() {
        let tolerance = Tolerance::at_most(1.0);
        for (deviation, u) in [(0.0, 1.0), (1.0, 0.0), (f64::NAN, 1.0), (1.0, f64::INFINITY)] {
            assert_eq!(Process { mean: 0.0, deviation }.risk(u, &tolerance, &tolerance), None);
        }
        for mean in [f64::NAN, f64::INFINITY] {
            let process = Process { mean, deviation: 1.0 };
            assert_eq!(process.risk(1.0, &tolerance, &tolerance), None);
        }
    }

    #[test]
    fn a_fine_measurement_is_wrong_only_close_to_the_limit() {
        // By hand: near the limit L the density is f(L) (1 - x) at L + x, for L = 1 and a standard
        // normal process; a piece there is misjudged with probability Phi(-|x| / u), of which the
        // integral over x > 0 is u / sqrt(2 pi), with x before it u^2 / 4. What is left out is of
        // the order of u^2 of the whole.
        let (u, limit) = (1e-3, Tolerance::at_most(1.0));
        let risk = Process { mean: 0.0, deviation: 1.0 }.risk(u, &limit, &limit).unwrap();
        let root = (2.0 * std::f64::consts::PI).sqrt();
        let density = (-0.5_f64).exp() / root;
        let near = |found: f64, by_hand: f64| (found / by_hand - 1.0).abs() < 3e-6;
        assert!(near(risk.accepted_wrongly, density * (u / root - u * u / 4.0)), "{risk:?}");
        assert!(near(risk.refused_wrongly, density * (u / root + u * u / 4.0)), "{risk:?}");
    }
}
