//! Values over time in one pass: count, mean, standard deviation, least and most, and the straight
//! line through them with the uncertainty of its slope. Updated value by value about the running
//! means (Welford's way), so that nothing cancels however far the mean lies from zero. Values that
//! are no numbers are left out.

use super::quantile::student_coverage;

/// What values over time amount to; x is a time in any unit, y the value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    count: u64,
    mean_x: f64,
    mean_y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
    least: f64,
    most: f64,
}

impl Default for Trend {
    fn default() -> Self {
        Self {
            count: 0,
            mean_x: 0.0,
            mean_y: 0.0,
            xx: 0.0,
            xy: 0.0,
            yy: 0.0,
            least: f64::INFINITY,
            most: f64::NEG_INFINITY,
        }
    }
}

impl Trend {
    /// Takes one value in.
    pub fn push(&mut self, x: f64, y: f64) {
        if !(x.is_finite() && y.is_finite()) {
            return;
        }
        self.count += 1;
        let n = self.count as f64;
        let (dx, dy) = (x - self.mean_x, y - self.mean_y);
        self.mean_x += dx / n;
        self.mean_y += dy / n;
        self.xx += dx * (x - self.mean_x);
        self.xy += dx * (y - self.mean_y);
        self.yy += dy * (y - self.mean_y);
        self.least = self.least.min(y);
        self.most = self.most.max(y);
    }

    /// Takes in `count` values of one time at once: their mean, the sum of squares about it, the
    /// least and the most (Chan's way to join two lots).
    pub fn push_lot(&mut self, x: f64, count: u64, mean: f64, squares: f64, range: (f64, f64)) {
        let sound = [x, mean, squares, range.0, range.1].iter().all(|n| n.is_finite());
        if count == 0 || !sound {
            return;
        }
        let (old, lot) = (self.count as f64, count as f64);
        self.count += count;
        let n = self.count as f64;
        let (dx, dy) = (x - self.mean_x, mean - self.mean_y);
        let weight = old * lot / n;
        self.xx += dx * dx * weight;
        self.xy += dx * dy * weight;
        self.yy += squares + dy * dy * weight;
        self.mean_x += dx * lot / n;
        self.mean_y += dy * lot / n;
        self.least = self.least.min(range.0);
        self.most = self.most.max(range.1);
    }

    /// How many values.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Their mean.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then_some(self.mean_y)
    }

    /// Their standard deviation (n - 1).
    #[must_use]
    pub fn deviation(&self) -> Option<f64> {
        (self.count > 1).then(|| (self.yy / (self.count as f64 - 1.0)).sqrt())
    }

    /// The least and the most.
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64)> {
        (self.count > 0).then_some((self.least, self.most))
    }

    /// Slope of the least-squares line, in values per unit of time, and the half-width of its
    /// confidence interval. `None` below three values or where all are of one time.
    #[must_use]
    pub fn slope(&self, confidence: f64) -> Option<(f64, f64)> {
        if self.count < 3 || self.xx <= 0.0 {
            return None;
        }
        let slope = self.xy / self.xx;
        let freedom = self.count as f64 - 2.0;
        let left = (self.yy - slope * self.xy).max(0.0);
        let u = (left / freedom / self.xx).sqrt();
        Some((slope, student_coverage(confidence, freedom) * u))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn over(values: &[(f64, f64)]) -> Trend {
        let mut trend = Trend::default();
        values.iter().for_each(|&(x, y)| trend.push(x, y));
        trend
    }

    #[test]
    fn a_straight_line_has_its_slope_and_no_doubt() {
        let line: Vec<(f64, f64)> =
            (0..20).map(|i| (f64::from(i), 3.0 - 0.25 * f64::from(i))).collect();
        let (slope, half) = over(&line).slope(0.95).unwrap();
        assert!((slope + 0.25).abs() < 1e-12 && half < 1e-6, "{slope} {half}");
    }

    #[test]
    fn lots_amount_to_the_same_as_their_values_one_by_one() {
        let days: [&[f64]; 4] = [&[1.0, 2.5, 2.0], &[4.0], &[3.0, 3.5, 9.0, 1e6], &[7.0, 5.0]];
        let (mut single, mut lots) = (Trend::default(), Trend::default());
        for (x, day) in (0..).map(f64::from).zip(days) {
            day.iter().for_each(|y| single.push(x, *y));
            let mut lot = Trend::default();
            day.iter().for_each(|y| lot.push(0.0, *y));
            lots.push_lot(x, lot.count, lot.mean_y, lot.yy, (lot.least, lot.most));
        }
        let near = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-12;
        assert!(near(single.mean().unwrap(), lots.mean().unwrap()));
        assert!(near(single.deviation().unwrap(), lots.deviation().unwrap()));
        let (one, other) = (single.slope(0.95).unwrap(), lots.slope(0.95).unwrap());
        assert!(near(one.0, other.0) && near(one.1, other.1), "{one:?} {other:?}");
        assert_eq!(single.range(), lots.range());
        let whole = lots;
        lots.push_lot(9.0, 0, 5.0, 0.0, (5.0, 5.0));
        lots.push_lot(f64::NAN, 3, 5.0, 0.0, (5.0, 5.0));
        assert_eq!(lots, whole, "a lot of nothing, or of no time");
    }

    #[test]
    fn three_values_have_a_slope_and_one_has_neither_slope_nor_deviation() {
        // By hand: means 1 and 2/3, slope 1/2, squares left 1/6 on one degree of freedom, so that
        // u is the root of 1/12; 12.71 is t in JCGM 100:2008, Table G.2, at 95 %.
        let (slope, half) = over(&[(0.0, 0.0), (1.0, 1.0), (2.0, 1.0)]).slope(0.95).unwrap();
        assert!((slope - 0.5).abs() < 1e-12, "{slope}");
        assert!((half - 12.71 / 12_f64.sqrt()).abs() < 2e-3, "{half}");
        let one = over(&[(0.0, 3.0)]);
        assert_eq!((one.mean(), one.range()), (Some(3.0), Some((3.0, 3.0))));
        assert_eq!((one.deviation(), one.slope(0.95)), (None, None));
        assert_eq!((Trend::default().deviation(), Trend::default().range()), (None, None));
    }

    #[test]
    fn values_of_one_moment_have_no_slope() {
        assert_eq!(over(&[(1.0, 2.0), (1.0, 3.0), (1.0, 4.0)]).slope(0.95), None);
        assert_eq!(over(&[(1.0, 2.0), (2.0, 3.0)]).slope(0.95), None);
    }

    #[test]
    fn what_is_no_number_is_left_out() {
        let trend = over(&[(0.0, 1.0), (1.0, f64::NAN), (f64::INFINITY, 9.0), (2.0, 3.0)]);
        assert_eq!((trend.count(), trend.mean(), trend.range()), (2, Some(2.0), Some((1.0, 3.0))));
        assert_eq!(Trend::default().mean(), None);
    }
}
