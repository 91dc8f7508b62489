//! One stretch of time that the output was on without a break: its edges, and the sums over its
//! readings that windows are made of. Extremes leave out the rise, and what turned out to be the
//! fall or a spike. Volts as the meter signed them; magnitudes are taken along the run's own sign.

use super::moments::Moments;
use super::reading::{Edge, Sample};

/// Readings this soon after coming on belong to the inrush, in seconds.
const INRUSH_S: f64 = 1.0;

/// Sums and extremes over some readings of a run, along its sign.
#[derive(Clone, Copy, Debug)]
pub(super) struct Extent {
    pub(super) moments: Moments,
    pub(super) min: f64,
    pub(super) max: f64,
    /// Lowest in the inrush, and when.
    pub(super) early: (f64, f64),
    /// Lowest after the inrush.
    pub(super) late_min: f64,
    sign: f64,
    inrush_ends: f64,
}

impl Extent {
    pub(super) fn begin(sign: f64, on_at: f64) -> Self {
        Self {
            moments: Moments::default(),
            min: f64::INFINITY,
            max: f64::NEG_INFINITY,
            early: (f64::INFINITY, on_at),
            late_min: f64::INFINITY,
            sign,
            inrush_ends: on_at + INRUSH_S,
        }
    }

    /// An empty one that can be merged into this.
    pub(super) fn beside(&self) -> Self {
        Self {
            moments: self.moments.beside(),
            ..Self::begin(self.sign, self.inrush_ends - INRUSH_S)
        }
    }

    pub(super) fn push(&mut self, reading: Sample) {
        self.moments.push(reading.t, reading.x);
        self.stretch(reading.t, reading.x);
    }

    fn stretch(&mut self, t: f64, x: f64) {
        let y = x * self.sign;
        self.min = self.min.min(y);
        self.max = self.max.max(y);
        if t <= self.inrush_ends {
            if y < self.early.0 {
                self.early = (y, t);
            }
        } else {
            self.late_min = self.late_min.min(y);
        }
    }

    /// Takes neighbouring readings whose lowest and highest are known.
    pub(super) fn extend(&mut self, t: &[f64], x: &[f64], low: f64, high: f64) {
        self.moments.extend(t, x);
        if t.first().is_some_and(|t| *t > self.inrush_ends) {
            let (low, high) = if self.sign > 0.0 { (low, high) } else { (-high, -low) };
            self.min = self.min.min(low);
            self.max = self.max.max(high);
            self.late_min = self.late_min.min(low);
            return;
        }
        for (t, x) in t.iter().zip(x) {
            self.stretch(*t, *x);
        }
    }

    /// Whether this is soon after the run began.
    pub(super) fn in_inrush(&self, t: f64) -> bool {
        t <= self.inrush_ends
    }

    pub(super) fn merge(&mut self, other: &Self) {
        self.moments.merge(&other.moments);
        self.stretch_over(other);
    }

    /// Takes the extremes of another and leaves its sums.
    pub(super) fn stretch_over(&mut self, other: &Self) {
        self.min = self.min.min(other.min);
        self.max = self.max.max(other.max);
        self.late_min = self.late_min.min(other.late_min);
        if other.early.0 < self.early.0 {
            self.early = other.early;
        }
    }
}

/// One stretch of being on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Run {
    /// When it came on; `None` where it was on as the log began.
    pub(super) on: Option<Edge>,
    /// When it went off; `None` where it has not.
    pub(super) off: Option<Edge>,
    pub(super) sign: f64,
    pub(super) readings: u64,
    pub(super) extent: Extent,
    /// The first and the last reading seen on.
    pub(super) first_s: f64,
    pub(super) last_s: f64,
    /// The highest reading, whatever became of it, along the sign.
    pub(super) peak: f64,
}

impl Run {
    pub(super) fn begin(on: Option<Edge>, sign: f64, first: Sample) -> Self {
        let from = on.map_or(f64::NEG_INFINITY, |edge| edge.at);
        Self {
            on,
            off: None,
            sign,
            readings: 0,
            extent: Extent::begin(sign, from),
            first_s: first.t,
            last_s: first.t,
            peak: f64::NEG_INFINITY,
        }
    }

    /// From its edges where it has them, else from what was seen.
    pub(super) fn from(&self) -> f64 {
        self.on.map_or(self.first_s, |edge| edge.at)
    }

    pub(super) fn to(&self) -> f64 {
        self.off.map_or(self.last_s, |edge| edge.at)
    }

    /// The first reading of it.
    pub(super) fn first_index(&self) -> u64 {
        self.on.map_or(0, |edge| edge.index)
    }

    pub(super) fn length(&self) -> f64 {
        self.to() - self.from()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(t: f64, x: f64) -> Sample {
        Sample { t, x, index: 0 }
    }

    /// Extremes, along the sign: lowest, highest, lowest in the inrush and when, lowest after it.
    fn extremes(extent: &Extent) -> [f64; 5] {
        [extent.min, extent.max, extent.early.0, extent.early.1, extent.late_min]
    }

    #[test]
    fn the_inrush_is_the_first_second() {
        let mut extent = Extent::begin(1.0, 5.0);
        for (t, x) in [(5.5, 12.0), (5.75, 9.0), (6.0, 9.0), (6.001, 10.0), (7.0, 14.0)] {
            extent.push(sample(t, x));
        }
        assert_eq!(extremes(&extent), [9.0, 14.0, 9.0, 5.75, 10.0]);
        assert_eq!([5.0, 6.0, 6.001].map(|t| extent.in_inrush(t)), [true, true, false]);
        assert_eq!(extent.moments.mean(), Some(10.8));
    }

    #[test]
    fn reversed_readings_are_taken_along_their_sign() {
        let mut extent = Extent::begin(-1.0, 0.0);
        extent.push(sample(0.5, -9.0));
        extent.extend(&[2.0, 3.0], &[-12.0, -14.0], -14.0, -12.0);
        assert_eq!(extremes(&extent), [9.0, 14.0, 9.0, 0.5, 12.0]);
    }

    #[test]
    fn readings_at_once_are_the_same_as_one_by_one() {
        let x = [13.0, 11.0, 12.0, 15.0, 10.0, 12.0];
        for sign in [1.0, -1.0] {
            for from in [0.0, 0.5, 0.75, 1.0, 1.25, 4.0] {
                let t: Vec<f64> = (0..6).map(|i| from + 0.25 * f64::from(i)).collect();
                let signed = x.map(|x| sign * x);
                let low = signed.iter().copied().fold(f64::INFINITY, f64::min);
                let high = signed.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let mut at_once = Extent::begin(sign, 0.25);
                let mut one_by_one = at_once;
                at_once.extend(&t, &signed, low, high);
                t.iter().zip(signed).for_each(|(t, x)| one_by_one.push(sample(*t, x)));
                assert_eq!(extremes(&at_once), extremes(&one_by_one), "{sign} {from}");
                assert_eq!(at_once.moments.count(), 6.0);
            }
        }
    }

    #[test]
    fn what_lies_beside_a_run_can_be_taken_in_whole_or_for_its_extremes_alone() {
        let mut run = Extent::begin(1.0, 5.0);
        run.push(sample(5.5, 12.0));
        run.push(sample(8.0, 13.0));
        let mut beside = run.beside();
        assert_eq!(extremes(&beside), extremes(&Extent::begin(1.0, 5.0)));
        beside.push(sample(5.75, 9.0));
        beside.push(sample(9.0, 15.0));
        beside.push(sample(9.5, 11.0));
        let (mut all, mut alone) = (run, run);
        all.merge(&beside);
        alone.stretch_over(&beside);
        for taken in [all, alone] {
            assert_eq!(extremes(&taken), [9.0, 15.0, 9.0, 5.75, 11.0]);
        }
        assert_eq!((all.moments.count(), all.moments.mean()), (5.0, Some(12.0)));
        assert_eq!((alone.moments.count(), alone.moments.mean()), (2.0, Some(12.5)));
        // The first of two equal dips is the dip.
        let mut equal = run.beside();
        equal.push(sample(5.9, 9.0));
        all.merge(&equal);
        assert_eq!(all.early, (9.0, 5.75));
        equal.merge(&run);
        assert_eq!(equal.early, (9.0, 5.9));
    }

    #[test]
    fn a_run_lasts_from_edge_to_edge_or_as_long_as_it_was_seen() {
        let edge = |at: f64, index: u64| Edge { at, u: 0.5, index };
        let mut run = Run::begin(Some(edge(4.5, 5)), 1.0, sample(5.0, 12.0));
        run.last_s = 9.0;
        assert_eq!((run.from(), run.to(), run.length()), (4.5, 9.0, 4.5));
        assert!(run.extent.in_inrush(5.5) && !run.extent.in_inrush(5.51));
        run.off = Some(edge(9.75, 10));
        assert_eq!((run.length(), run.first_index()), (5.25, 5));
        let cut = Run::begin(None, 1.0, sample(5.0, 12.0));
        assert_eq!((cut.from(), cut.to(), cut.first_index()), (5.0, 5.0, 0));
        assert!(!cut.extent.in_inrush(5.0), "it was on before");
    }
}
