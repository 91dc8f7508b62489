//! A check's daily tallies -> its capability and its drift. Days become numbers, so that a slope
//! has a unit: per day as worked out, per 30 days as shown. What stands in the archive is joined
//! here with the arithmetic of the metrology room. A pair that must be open has a value only where
//! it leaks, so that its values are not the production's, and no index is made of them. A check
//! that never had a value has a row too, which says why there is no more in it.

use crate::archive::Measured;
use crate::metrology::{Capability, Tolerance, Trend};
use serde::Serialize;

/// What the values of one check amount to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct Amount {
    /// The plan.
    pub(super) plan: String,
    /// The plan's edition.
    pub(super) revision: String,
    /// The check.
    pub(super) check: String,
    /// The unit of the numbers.
    pub(super) unit: String,
    /// Least that passes.
    pub(super) lower: Option<f64>,
    /// Most that passes.
    pub(super) upper: Option<f64>,
    /// How many values.
    pub(super) count: u64,
    /// Their mean.
    pub(super) mean: Option<f64>,
    /// Their standard deviation.
    pub(super) deviation: Option<f64>,
    /// The least and the most.
    pub(super) range: Option<(f64, f64)>,
    /// Cp with its confidence interval.
    pub(super) cp: Option<[f64; 3]>,
    /// Cpk with its confidence interval.
    pub(super) cpk: Option<[f64; 3]>,
    /// Slope in units per 30 days, and the half-width of its confidence interval.
    pub(super) drift_per_30_days: Option<[f64; 2]>,
    /// Why there is neither index nor drift whatever the values are.
    pub(super) why_none: Option<&'static str>,
}

/// Said of a pair that must be open.
const OPEN: &str = "none: open has no value";
/// Said of a check of anything else that was never measured.
const NO_VALUE: &str = "none: no value was ever read";

impl Amount {
    pub(super) fn of(measured: &Measured, confidence: f64) -> Self {
        let mut trend = Trend::default();
        for day in &measured.days {
            let Some(x) = day_number(&day.day) else { continue };
            trend.push_lot(x, day.count, day.mean, day.squares, (day.least, day.most));
        }
        let why_none = match trend.count() {
            _ if is_of_open_pairs(measured) => Some(OPEN),
            0 => Some(NO_VALUE),
            _ => None,
        };
        let tolerance = Tolerance { lower: measured.lower, upper: measured.upper };
        let (mean, deviation) = (trend.mean(), trend.deviation());
        let capability =
            mean.zip(deviation).filter(|_| why_none.is_none()).and_then(|(mean, deviation)| {
                Capability::of(trend.count(), mean, deviation, &tolerance, confidence)
            });
        let cp = capability.and_then(|c| Some([c.cp?, c.cp_between?.low, c.cp_between?.high]));
        Self {
            plan: measured.plan.clone(),
            revision: measured.revision.clone(),
            check: measured.check.clone(),
            unit: measured.unit.clone(),
            lower: measured.lower,
            upper: measured.upper,
            count: trend.count(),
            mean,
            deviation,
            range: trend.range(),
            cp,
            cpk: capability.map(|c| [c.cpk, c.cpk_between.low, c.cpk_between.high]),
            drift_per_30_days: trend
                .slope(confidence)
                .filter(|_| why_none.is_none())
                .map(|(slope, half)| [30.0 * slope, 30.0 * half]),
            why_none,
        }
    }
}

/// Of all that a plan can ask for, only pairs that must be open have ohms with no upper limit.
fn is_of_open_pairs(measured: &Measured) -> bool {
    measured.unit == "ohm" && measured.lower.is_some() && measured.upper.is_none()
}

/// Days since 1970-01-01 of a day as `2026-11-25`; `None` where it is none.
pub(super) fn day_number(day: &str) -> Option<f64> {
    let date: jiff::civil::Date = day.parse().ok()?;
    let start = jiff::civil::date(1970, 1, 1);
    (day.len() == 10).then(|| date.duration_since(start).as_secs_f64() / 86400.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured(lower: Option<f64>, upper: Option<f64>) -> Measured {
        let day = |day: &str, mean: f64| crate::archive::Daily {
            day: day.into(),
            count: 20,
            mean,
            squares: 1e9,
            least: mean - 1e4,
            most: mean + 1e4,
        };
        let text = String::new;
        let days = vec![day("2026-11-01", 2e6), day("2026-11-02", 3e6), day("2026-11-03", 4e6)];
        Measured {
            plan: text(),
            revision: text(),
            check: text(),
            unit: "ohm".into(),
            lower,
            upper,
            days,
        }
    }

    #[test]
    fn leaks_of_pairs_that_must_be_open_have_no_index_and_no_drift() {
        let open = Amount::of(&measured(Some(1e6), None), 0.95);
        assert_eq!((open.cp, open.cpk, open.drift_per_30_days), (None, None, None));
        assert_eq!((open.count, open.why_none), (60, Some(OPEN)));
        for (lower, upper) in [(Some(1e6), Some(9e6)), (None, Some(9e6))] {
            let other = Amount::of(&measured(lower, upper), 0.95);
            assert!(other.cpk.is_some() && other.drift_per_30_days.is_some());
            assert_eq!(other.why_none, None);
        }
    }

    #[test]
    fn a_check_without_any_value_says_so() {
        for (lower, why) in [(None, NO_VALUE), (Some(1e6), OPEN)] {
            let upper = lower.is_none().then_some(9e6);
            let never = Amount::of(&Measured { days: vec![], ..measured(lower, upper) }, 0.95);
            assert_eq!((never.count, never.cpk, never.why_none), (0, None, Some(why)));
        }
    }

    #[test]
    fn days_are_counted_from_1970() {
        assert_eq!(day_number("1970-01-02"), Some(1.0));
        assert_eq!(day_number("2000-03-01"), Some(11_017.0));
        for odd in ["", "2026-13-01", "2026-02-30", "yesterday", "2026-1-1"] {
            assert_eq!(day_number(odd), None, "{odd}");
        }
    }
}
