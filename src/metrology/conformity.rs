//! A value with its uncertainty, held against a tolerance: pass, fail or undecided, the margin,
//! and the probability that the thing conforms (JCGM 106:2012, clause 7; normal, or Student's t
//! where the degrees of freedom are few). The rules are those of ILAC-G8:09/2019 clause 4.2 and
//! JCGM 106 clause 8. A value that is no number is never a pass and never a fail.

use super::budget::Expanded;
use super::quantile::student_cdf;
use crate::event::Verdict;

/// Where a quantity may lie; an end that is `None` is free.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tolerance {
    /// The least that conforms.
    pub lower: Option<f64>,
    /// The most that conforms.
    pub upper: Option<f64>,
}

/// How a verdict is reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DecisionRule {
    /// Inside the tolerance passes, outside fails (simple acceptance; JCGM 106, 8.2). At the limit
    /// itself, half of what passes is wrong.
    Simple,
    /// Passes inside by the expanded uncertainty, fails outside by it, else undecided (guard band
    /// w = U; ILAC-G8, 4.2.3).
    Guarded,
    /// Passes where the probability of a false accept is at most this, fails where the
    /// probability of a false reject is, else undecided (JCGM 106, 8.3).
    Risk(f64),
}

/// What may be said of one value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// Distance to the nearest limit, in the value's unit; negative outside. `None` without limits.
    pub margin: Option<f64>,
    /// Probability that the thing conforms, given this value and its uncertainty, 0 to 1.
    pub probability: f64,
}

impl Tolerance {
    /// Between two limits.
    #[must_use]
    pub const fn between(lower: f64, upper: f64) -> Self {
        Self { lower: Some(lower), upper: Some(upper) }
    }

    /// At most this.
    #[must_use]
    pub const fn at_most(upper: f64) -> Self {
        Self { lower: None, upper: Some(upper) }
    }

    /// At least this.
    #[must_use]
    pub const fn at_least(lower: f64) -> Self {
        Self { lower: Some(lower), upper: None }
    }

    /// Distance from `value` to the nearest limit, negative outside; `None` without limits.
    #[must_use]
    pub fn margin(&self, value: f64) -> Option<f64> {
        let below = self.lower.map(|lower| value - lower);
        let above = self.upper.map(|upper| upper - value);
        match (below, above) {
            (Some(below), Some(above)) => Some(below.min(above)),
            (one, other) => one.or(other),
        }
    }

    /// Probability that the quantity lies in here, where it is known as `value` with this
    /// uncertainty (JCGM 106, 7.2). Without any uncertainty it is 0 or 1, and of what is no number
    /// it is none.
    #[must_use]
    pub fn probability(&self, value: f64, expanded: &Expanded) -> f64 {
        if value.is_nan() || expanded.u.is_nan() {
            return f64::NAN;
        }
        if expanded.u > 0.0 {
            let below = |limit: f64| student_cdf((limit - value) / expanded.u, expanded.freedom);
            let (upper, lower) = (self.upper.map_or(1.0, below), self.lower.map_or(0.0, below));
            return (upper - lower).clamp(0.0, 1.0);
        }
        let below = self.lower.is_some_and(|limit| limit > value);
        let above = self.upper.is_some_and(|limit| limit < value);
        f64::from(u8::from(!below && !above))
    }
}

impl DecisionRule {
    /// Holds a value against a tolerance. Without limits, everything passes.
    #[must_use]
    pub fn judge(self, value: f64, expanded: &Expanded, tolerance: &Tolerance) -> Judgement {
        let margin = tolerance.margin(value);
        let probability = tolerance.probability(value, expanded);
        let known = value.is_finite() && expanded.expanded.is_finite();
        let verdict = match margin {
            None => Verdict::Pass,
            Some(_) if !known => Verdict::Undecided,
            Some(margin) => match self {
                Self::Simple if margin >= 0.0 => Verdict::Pass,
                Self::Simple => Verdict::Fail,
                Self::Guarded if margin >= expanded.expanded => Verdict::Pass,
                Self::Guarded if margin < -expanded.expanded => Verdict::Fail,
                Self::Risk(risk) if 1.0 - probability <= risk => Verdict::Pass,
                Self::Risk(risk) if probability <= risk => Verdict::Fail,
                Self::Guarded | Self::Risk(_) => Verdict::Undecided,
            },
        };
        Judgement { verdict, margin, probability }
    }

    /// What the rule says, in a sentence for a report.
    #[must_use]
    pub fn in_words(self) -> String {
        match self {
            Self::Simple => "simple acceptance: inside the limits passes, outside fails; at a \
                limit up to half of what passes may be wrong (JCGM 106:2012, 8.2)"
                .into(),
            Self::Guarded => "guard band of the expanded uncertainty U: passes at least U inside \
                the limits, fails more than U outside, else undecided (ILAC-G8:09/2019)"
                .into(),
            Self::Risk(risk) => format!(
                "passes where the probability of a false accept is at most {} %, fails where that \
                of a false reject is, else undecided (JCGM 106:2012, 8.3)",
                // A hundredfold, without what doubling digits would show: 0.07 is 7 %.
                (1e12 * risk).round() / 1e10
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrology::{Budget, Component};

    fn known_to(u: f64) -> Expanded {
        Budget::new().with(Component::standard("u", u, f64::INFINITY)).expanded(0.95)
    }

    #[test]
    fn the_guard_band_leaves_room_on_both_sides_of_a_limit() {
        let tolerance = Tolerance::between(10.0, 20.0);
        let u = known_to(0.5);
        for (value, verdict) in [
            (15.0, Verdict::Pass),
            (10.99, Verdict::Pass),
            (10.9, Verdict::Undecided),
            (9.1, Verdict::Undecided),
            (9.0, Verdict::Fail),
            (20.5, Verdict::Undecided),
            (21.0, Verdict::Fail),
        ] {
            assert_eq!(DecisionRule::Guarded.judge(value, &u, &tolerance).verdict, verdict);
        }
    }

    #[test]
    fn simple_acceptance_is_never_undecided() {
        let u = known_to(0.5);
        let at = |value| DecisionRule::Simple.judge(value, &u, &Tolerance::at_most(20.0)).verdict;
        assert_eq!([at(19.99), at(20.0), at(20.01)], [Verdict::Pass, Verdict::Pass, Verdict::Fail]);
    }

    #[test]
    fn a_stated_risk_passes_what_is_that_sure_and_fails_what_is_that_sure() {
        let u = known_to(1.0);
        let rule = DecisionRule::Risk(0.05);
        let at = |value| rule.judge(value, &u, &Tolerance::at_least(0.0)).verdict;
        let verdicts = [at(1.65), at(1.64), at(-1.64), at(-1.65)];
        assert_eq!(
            verdicts,
            [Verdict::Pass, Verdict::Undecided, Verdict::Undecided, Verdict::Fail]
        );
    }

    #[test]
    fn no_number_is_neither_pass_nor_fail() {
        let u = known_to(0.5);
        for rule in [DecisionRule::Simple, DecisionRule::Guarded, DecisionRule::Risk(0.05)] {
            let of = |value: f64, u: &Expanded| rule.judge(value, u, &Tolerance::at_most(20.0));
            assert_eq!(of(f64::NAN, &u).verdict, Verdict::Undecided);
            assert_eq!(of(f64::INFINITY, &u).verdict, Verdict::Undecided);
            assert_eq!(of(1.0, &known_to(f64::NAN)).verdict, Verdict::Undecided);
        }
    }

    #[test]
    fn what_is_exactly_known_conforms_or_does_not() {
        let exact = known_to(0.0);
        let tolerance = Tolerance::between(1.0, 2.0);
        let p = |value| tolerance.probability(value, &exact);
        assert_eq!([p(0.999), p(1.0), p(1.5), p(2.0), p(2.001)], [0.0, 1.0, 1.0, 1.0, 0.0]);
        assert_eq!(Tolerance::default().probability(1.0, &exact), 1.0);
    }

    #[test]
    fn what_is_no_number_has_no_probability() {
        let (exact, doubtful, unknown) = (known_to(0.0), known_to(0.5), known_to(f64::NAN));
        for limits in [Tolerance::at_most(2.0), Tolerance::at_least(2.0)] {
            assert!(limits.probability(f64::NAN, &exact).is_nan());
            assert!(limits.probability(f64::NAN, &doubtful).is_nan());
            assert!(limits.probability(1.0, &unknown).is_nan());
        }
    }

    #[test]
    fn at_the_very_edge_of_the_guard_band_the_inside_passes_and_the_outside_does_not_fail() {
        let u = Expanded { u: 0.5, coverage_factor: 2.0, expanded: 1.0, ..known_to(0.5) };
        let verdict =
            |value| DecisionRule::Guarded.judge(value, &u, &Tolerance::between(10.0, 20.0)).verdict;
        assert_eq!([11.0, 19.0].map(verdict), [Verdict::Pass; 2]);
        assert_eq!([9.0, 21.0].map(verdict), [Verdict::Undecided; 2]);
        assert_eq!([8.999, 21.001].map(verdict), [Verdict::Fail; 2]);
    }

    #[test]
    fn a_rule_names_its_clause_and_its_risk_in_per_cent() {
        let words = DecisionRule::Simple.in_words();
        assert!(words.starts_with("simple acceptance: ") && words.ends_with("106:2012, 8.2)"));
        let words = DecisionRule::Guarded.in_words();
        assert!(words.contains("more than U outside") && words.ends_with("(ILAC-G8:09/2019)"));
        for (risk, shown) in [(0.05, "most 5 %,"), (0.07, "most 7 %,"), (1e-6, "most 0.0001 %,")] {
            let words = DecisionRule::Risk(risk).in_words();
            assert!(words.contains(shown) && words.ends_with("106:2012, 8.3)"), "{words}");
        }
    }

    #[test]
    fn few_degrees_of_freedom_make_a_value_less_sure() {
        let few = Budget::new().with(Component::standard("u", 1.0, 2.0)).expanded(0.95);
        let many = known_to(1.0);
        let tolerance = Tolerance::at_least(0.0);
        assert!(tolerance.probability(2.0, &few) < tolerance.probability(2.0, &many));
    }
}
