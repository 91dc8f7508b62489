//! Probabilities into quantiles and back: the normal distribution, Student's t with any positive
//! degrees of freedom, and chi squared. Arguments outside their range come back as not a number,
//! which no comparison takes for a pass; infinite degrees of freedom are the normal distribution.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

/// From so many degrees of freedom on, the normal distribution with a correction will do.
const MANY: f64 = 1000.0;

/// Probability that a standard normal variable is at most `z`.
#[must_use]
pub fn normal_cdf(z: f64) -> f64 {
    Normal::new(0.0, 1.0).map_or(f64::NAN, |normal| normal.cdf(z))
}

/// The `z` that a standard normal variable stays below with this probability, 0 to 1 exclusive.
#[must_use]
pub fn normal_quantile(probability: f64) -> f64 {
    match Normal::new(0.0, 1.0) {
        Ok(normal) if inside(probability) => refine(
            normal.inverse_cdf(probability),
            |z| normal.cdf(z) - probability,
            |z| (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt(),
        ),
        _ => f64::NAN,
    }
}

/// Coverage factor: so many standard uncertainties either way cover this probability, two-sided
/// (JCGM 100:2008, Table G.2).
#[must_use]
pub fn student_coverage(coverage: f64, freedom: f64) -> f64 {
    if !inside(coverage) {
        return f64::NAN;
    }
    let upper = f64::midpoint(1.0, coverage);
    if freedom > MANY {
        // Cornish and Fisher's expansion, from memory; what it leaves out is of order 1e-9.
        let z = normal_quantile(upper);
        let first = (z.powi(3) + z) / (4.0 * freedom);
        let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / (96.0 * freedom * freedom);
        return z + first + second;
    }
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |t| t.inverse_cdf(upper))
}

/// Probability that Student's t with these degrees of freedom is at most `t`.
#[must_use]
pub(super) fn student_cdf(t: f64, freedom: f64) -> f64 {
    if t.is_nan() {
        return f64::NAN;
    }
    if freedom > MANY * MANY {
        return normal_cdf(t);
    }
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |student| student.cdf(t))
}

/// The value that chi squared with these degrees of freedom stays below with this probability.
#[must_use]
pub fn chi_squared(probability: f64, freedom: f64) -> f64 {
    match ChiSquared::new(freedom) {
        Ok(chi) if inside(probability) => chi.inverse_cdf(probability),
        _ => f64::NAN,
    }
}

fn inside(probability: f64) -> bool {
    probability > 0.0 && probability < 1.0
}

/// One Newton step: what a rational approximation leaves in the last digits.
fn refine(z: f64, miss: impl Fn(f64) -> f64, density: impl Fn(f64) -> f64) -> f64 {
    let step = miss(z) / density(z);
    if step.is_finite() { z - step } else { z }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_out_of_range_is_no_number() {
        for odd in [0.0, 1.0, -0.1, 1.1, f64::NAN] {
            assert!(normal_quantile(odd).is_nan() && student_coverage(odd, 5.0).is_nan());
            assert!(chi_squared(odd, 5.0).is_nan());
        }
        for odd in [0.0, -1.0, f64::NEG_INFINITY, f64::NAN] {
            assert!(student_coverage(0.95, odd).is_nan() && student_cdf(1.0, odd).is_nan());
        }
        assert!(normal_cdf(f64::NAN).is_nan() && student_cdf(f64::NAN, 5.0).is_nan());
    }

    #[test]
    fn many_degrees_of_freedom_are_the_normal_distribution() {
        let normal = normal_quantile(0.975);
        assert_eq!(student_coverage(0.95, f64::INFINITY), normal);
        assert!((student_coverage(0.95, 9.9e6) - normal).abs() < 1e-6);
        let below = student_coverage(0.95, MANY);
        assert!((below - student_coverage(0.95, MANY + 1e-9)).abs() < 1e-7, "{below}");
        assert!((student_cdf(1.0, 999_999.0) - normal_cdf(1.0)).abs() < 1e-6);
    }

    #[test]
    fn students_t_is_exact_on_both_sides_of_each_of_its_limits() {
        // Integrated with mpmath 1.3.0 at 40 digits.
        for (coverage, freedom, published) in [
            (0.95, 1000.0, 1.962_339_080_826_408),
            (0.50, 1001.0, 0.674_734_919_358_447_1),
            (0.99, 1e12, 2.575_829_303_549_02),
        ] {
            let found = student_coverage(coverage, freedom);
            assert!((found - published).abs() < 1e-9, "{coverage} {freedom}: {found}");
        }
        for (t, freedom, published) in [
            (1.0, 1000.0, 0.841_223_790_957_663_8),
            (2.0, 5000.0, 0.977_222_870_005_853),
            (1.0, 1e6, 0.841_344_625_083_211),
            (1.0, 1e12, 0.841_344_746_068_542_9),
        ] {
            let found = student_cdf(t, freedom);
            assert!((found - published).abs() < 1e-8, "{t} {freedom}: {found}");
        }
    }

    #[test]
    fn a_quantile_and_its_probability_undo_each_other() {
        for p in [1e-6, 0.01, 0.3, 0.5, 0.8, 0.999] {
            assert!((normal_cdf(normal_quantile(p)) - p).abs() < 1e-12, "{p}");
        }
    }
}
