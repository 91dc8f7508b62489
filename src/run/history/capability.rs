//! A check's daily tallies -> its capability and its drift. Days become numbers, so that a slope
//! has a unit: per day as worked out, per 30 days as shown. What stands in the archive is joined
//! here with the arithmetic of the metrology room.

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
}

impl Amount {
    pub(super) fn of(measured: &Measured, confidence: f64) -> Self {
        let mut trend = Trend::default();
        for day in &measured.days {
            let Some(x) = day_number(&day.day) else { continue };
            trend.push_lot(x, day.count, day.mean, day.squares, (day.least, day.most));
        }
        let tolerance = Tolerance { lower: measured.lower, upper: measured.upper };
        let (mean, deviation) = (trend.mean(), trend.deviation());
        let capability = mean.zip(deviation).and_then(|(mean, deviation)| {
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
                .map(|(slope, half)| [30.0 * slope, 30.0 * half]),
        }
    }
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

    #[test]
    fn days_are_counted_from_1970() {
        assert_eq!(day_number("1970-01-02"), Some(1.0));
        assert_eq!(day_number("2000-03-01"), Some(11_017.0));
        for odd in ["", "2026-13-01", "2026-02-30", "yesterday", "2026-1-1"] {
            assert_eq!(day_number(odd), None, "{odd}");
        }
    }
}
