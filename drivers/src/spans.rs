//! A series of spans of time, in seconds, of which only counts are kept: how many there were, their
//! median and their ends. The median is that of a scale of 1 % steps, so that a day of them takes
//! as much memory as one; count, smallest and largest are exact.

use crate::watch::Spread;

/// Where the scale begins, in seconds; what is shorter counts as this.
const FIRST_SECONDS: f64 = 1e-7;
/// How much longer each step of the scale is.
const STEP: f64 = 1.01;
/// Steps up to a thousand seconds; what is longer counts in the last.
const STEPS: usize = 2315;

/// Counts of spans on a scale of 1 % steps.
#[derive(Clone, Debug)]
pub struct Spans {
    counts: Vec<u64>,
    spread: Spread,
}

impl Default for Spans {
    fn default() -> Self {
        Self { counts: vec![0; STEPS], spread: Spread::default() }
    }
}

impl Spans {
    /// Takes one more span; what is not finite is left out.
    pub fn add(&mut self, seconds: f64) {
        if !seconds.is_finite() {
            return;
        }
        self.spread.add(seconds);
        let step = (seconds.max(FIRST_SECONDS) / FIRST_SECONDS).ln() / STEP.ln();
        let last = self.counts.len() - 1;
        if let Some(count) = self.counts.get_mut((step.max(0.0) as usize).min(last)) {
            *count += 1;
        }
    }

    /// Count, mean and ends, exactly.
    #[must_use]
    pub const fn spread(&self) -> Spread {
        self.spread
    }

    /// The median, to 1 %, if there was any: the upper one of an even number.
    #[must_use]
    pub fn median(&self) -> Option<f64> {
        let (least, most) = self.spread.range()?;
        let mut left = self.spread.count() / 2;
        for (step, count) in self.counts.iter().enumerate() {
            if left < *count {
                let middle = FIRST_SECONDS * STEP.powf(step as f64 + 0.5);
                return Some(middle.clamp(least, most));
            }
            left -= count;
        }
        Some(most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_is_the_middle_one_to_one_percent() {
        let mut spans = Spans::default();
        assert_eq!(spans.median(), None);
        for ms in [5.0, 900.0, 7.0, 1.0, 6.0] {
            spans.add(ms / 1000.0);
        }
        let median = spans.median().unwrap();
        assert!((median / 0.006 - 1.0).abs() < 0.01, "{median}");
        assert_eq!(spans.spread().range(), Some((0.001, 0.9)));
        spans.add(f64::NAN);
        assert_eq!(spans.spread().count(), 5);
    }

    #[test]
    fn what_is_off_the_scale_counts_at_its_end() {
        for (seconds, count) in [(0.0, 3), (1e-9, 1), (1e6, 2), (3.3e-5, 7), (1e300, 1)] {
            let mut spans = Spans::default();
            (0..count).for_each(|_| spans.add(seconds));
            assert_eq!(spans.median(), Some(seconds), "{count} of the same are their median");
        }
    }
}
