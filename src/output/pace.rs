//! How fast the readings come: the usual interval, pauses of more than four of them, and stamps
//! that are coarser than the readings. Seconds; times arrive in order. What a gap means for an
//! edge or a window is for those who ask.

/// This many usual intervals without a reading are a gap.
const GAP_INTERVALS: f64 = 4.0;
const GAPS_MAX: usize = 1000;

/// The rhythm of a log.
#[derive(Clone, Debug, Default)]
pub(super) struct Pace {
    interval: f64,
    n: f64,
    longest: f64,
    same: u64,
    step: f64,
    /// How many gaps.
    pub(super) gaps: u64,
    /// Their total length.
    pub(super) gaps_s: f64,
    /// The first thousand, from and to.
    pub(super) listed: Vec<(f64, f64)>,
    spare: f64,
}

impl Pace {
    /// Begins with the median interval of the first readings.
    pub(super) fn begin(first: &[f64]) -> Self {
        let pairs = first.iter().zip(first.iter().skip(1));
        let mut steps: Vec<f64> = pairs.map(|(a, b)| b - a).collect();
        steps.sort_by(f64::total_cmp);
        let positive: Vec<f64> = steps.iter().copied().filter(|s| *s > 0.0).collect();
        let middle = |of: &[f64]| of.get(of.len() / 2).copied().unwrap_or(0.0);
        let median = middle(&steps);
        let all = match (first.first(), first.last()) {
            (Some(a), Some(b)) if median <= 0.0 => (b - a) / positive.len().max(1) as f64,
            _ => median,
        };
        Self { interval: all, n: 1.0, ..Self::default() }
    }

    /// Usual time between readings.
    pub(super) const fn interval(&self) -> f64 {
        self.interval
    }

    /// The longest time between readings that is no gap.
    pub(super) const fn longest(&self) -> f64 {
        self.longest
    }

    /// Half the step of the stamps, where several readings share one.
    pub(super) fn stamp_u(&self) -> f64 {
        if self.same > 0 && self.step.is_finite() { self.step / 2.0 } else { 0.0 }
    }

    /// Whether this is longer than a usual pause.
    fn is_gap(&self, step: f64) -> bool {
        self.interval > 0.0 && step > GAP_INTERVALS * self.interval.max(self.step)
    }

    /// Takes the step from one reading to the next.
    pub(super) fn push(&mut self, from: f64, to: f64) {
        let step = to - from;
        let gap = self.is_gap(step);
        if step > 0.0 {
            self.step = if self.step > 0.0 { self.step.min(step) } else { step };
        } else {
            self.same += 1;
        }
        if gap {
            self.gaps += 1;
            self.gaps_s += step;
            // A log that goes on at another rate is not one gap after another.
            self.spare += 1.0;
            if self.spare >= 8.0 {
                (self.interval, self.n, self.spare) = (step, 1.0, 0.0);
            }
            if self.listed.len() < GAPS_MAX {
                self.listed.push((from, to));
            }
            return;
        }
        self.spare = 0.0;
        self.longest = self.longest.max(step);
        self.learn(step, 1.0);
    }

    /// Takes a block by the mean of its `n` steps, unless it has a gap in it or readings that share
    /// a stamp: then `false`, and each step is to be pushed by itself.
    pub(super) fn push_block(&mut self, mean: f64, n: f64, shortest: f64, longest: f64) -> bool {
        if self.is_gap(longest) {
            return false;
        }
        self.longest = self.longest.max(longest);
        if shortest <= 0.0 {
            return false;
        }
        self.step = if self.step > 0.0 { self.step.min(shortest) } else { shortest };
        self.spare = 0.0;
        self.learn(mean, n);
        true
    }

    fn learn(&mut self, step: f64, n: f64) {
        self.n = (self.n + n).min(4096.0);
        self.interval += (step - self.interval) * (n / self.n).min(1.0);
    }

    /// Total length of the gaps that lie between two moments.
    pub(super) fn gaps_within(&self, from: f64, to: f64) -> f64 {
        let inside = self.listed.iter().filter(|(a, b)| *a >= from && *b <= to);
        inside.map(|(a, b)| b - a).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn close(found: f64, wanted: f64) {
        assert!((found - wanted).abs() < 1e-9, "{found}, truly {wanted}");
    }

    /// Four readings a second.
    fn quarters() -> Pace {
        Pace::begin(&[0.0, 0.25, 0.5, 0.75])
    }

    #[test]
    fn the_first_interval_is_the_middle_one() {
        close(Pace::begin(&[0.0, 0.1, 0.2, 1.2, 1.3]).interval(), 0.1);
        close(Pace::begin(&[0.0, 0.1, 0.5, 0.7, 1.0]).interval(), 0.3);
        close(Pace::begin(&[5.0, 5.3, 5.5, 5.6]).interval(), 0.2);
        // Where most readings share their stamp, it is the middle of the stamps.
        close(Pace::begin(&[0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 2.0]).interval(), 1.0);
        for none in [&[][..], &[5.0], &[5.0, 5.0]] {
            let mut pace = Pace::begin(none);
            close(pace.interval(), 0.0);
            pace.push(5.0, 60.0);
            assert_eq!(pace.gaps, 0, "nothing is known of the usual one");
        }
    }

    #[test]
    fn more_than_four_intervals_are_a_gap() {
        let mut pace = quarters();
        pace.push(0.75, 1.75);
        assert_eq!((pace.gaps, pace.longest()), (0, 1.0));
        // The usual interval is 0.625 s now, the middle of 0.25 and 1.
        pace.push(1.75, 4.25);
        assert_eq!((pace.gaps, pace.longest()), (0, 2.5));
        let mut pace = quarters();
        pace.push(0.75, 1.8);
        pace.push(1.8, 2.05);
        pace.push(2.05, 5.05);
        assert_eq!(pace.gaps, 2);
        close(pace.longest(), 0.25);
        close(pace.gaps_s, 4.05);
        assert_eq!(pace.listed, [(0.75, 1.8), (2.05, 5.05)]);
        close(pace.interval(), 0.25);
    }

    #[test]
    fn coarse_stamps_are_no_gaps_and_half_a_stamp_is_unsure() {
        let mut pace = quarters();
        for (from, to) in [(0.0, 2.0), (2.0, 2.0), (2.0, 2.0), (2.0, 5.0), (5.0, 7.0)] {
            pace.interval = 0.5;
            pace.push(from, to);
        }
        assert_eq!(pace.gaps, 0);
        close(pace.stamp_u(), 1.0);
        let mut apart = quarters();
        apart.push(0.75, 1.0);
        close(apart.stamp_u(), 0.0);
        let mut still = Pace::begin(&[1.0, 1.0]);
        still.push(1.0, 1.0);
        assert!(still.push_block(1.0, 1.0, f64::INFINITY, 1.0));
        close(still.stamp_u(), 0.0);
    }

    #[test]
    fn eight_gaps_on_end_are_another_rate() {
        let mut pace = quarters();
        let mut at = 0.0;
        let mut push = |pace: &mut Pace, step: f64| {
            pace.push(at, at + step);
            at += step;
        };
        push(&mut pace, 0.25);
        (0..7).for_each(|_| push(&mut pace, 10.0));
        push(&mut pace, 0.25);
        (0..7).for_each(|_| push(&mut pace, 10.0));
        close(pace.interval(), 0.25);
        assert!(pace.push_block(0.25, 4.0, 0.25, 0.25));
        (0..7).for_each(|_| push(&mut pace, 10.0));
        close(pace.interval(), 0.25);
        push(&mut pace, 10.0);
        close(pace.interval(), 10.0);
        assert_eq!(pace.gaps, 22);
        // It is learnt from here on.
        push(&mut pace, 12.0);
        close(pace.interval(), 11.0);
        (0..8).for_each(|_| push(&mut pace, 100.0));
        assert_eq!(pace.gaps, 30);
        close(pace.interval(), 100.0);
    }

    #[test]
    fn the_usual_interval_is_the_mean_of_four_thousand() {
        let mut pace = Pace::begin(&[0.0, 1.0]);
        pace.push(1.0, 4.0);
        close(pace.interval(), 2.0);
        pace.push(4.0, 9.0);
        close(pace.interval(), 3.0);
        assert!(pace.push_block(7.0, 3.0, 7.0, 7.0));
        close(pace.interval(), 5.0);
        assert!(pace.push_block(6.0, 10_000.0, 6.0, 6.0));
        close(pace.interval(), 6.0);
        pace.push(0.0, 6.0 + 4.096);
        close(pace.interval(), 6.001);
    }

    #[test]
    fn a_block_with_a_gap_or_shared_stamps_is_to_be_pushed_by_itself() {
        let mut pace = quarters();
        assert!(!pace.push_block(0.3, 9.0, 0.25, 1.3));
        assert!(!pace.push_block(0.2, 9.0, 0.0, 0.25));
        close(pace.interval(), 0.25);
        assert!(pace.push_block(0.5, 1.0, 0.2, 1.0));
        assert_eq!(pace.longest(), 1.0);
        close(pace.interval(), 0.375);
        pace.push(0.0, 0.0);
        close(pace.stamp_u(), 0.1);
        assert!(pace.push_block(0.3, 1.0, 0.3, 0.3));
        close(pace.stamp_u(), 0.1);
        assert!(pace.push_block(0.3, 1.0, 0.1, 0.3));
        close(pace.stamp_u(), 0.05);
    }

    #[test]
    fn a_thousand_gaps_are_listed_and_those_between_two_moments_added_up() {
        let mut pace = quarters();
        for k in 0..1001 {
            let from = 4.0 * f64::from(k);
            pace.push(from, from + 3.75);
            pace.push(from + 3.75, from + 4.0);
        }
        assert_eq!((pace.gaps, pace.listed.len()), (1001, 1000));
        close(pace.gaps_s, 1001.0 * 3.75);
        close(pace.gaps_within(4.0, 11.75), 7.5);
        close(pace.gaps_within(4.001, 11.75), 3.75);
        close(pace.gaps_within(4.0, 11.749), 3.75);
        close(pace.gaps_within(4.1, 7.7), 0.0);
    }
}
