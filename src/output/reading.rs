//! One reading as the analysis sees it, what it belongs to, and an edge between two of them.
//! Seconds on the log's clock, volts as the meter signed them, and the reading's place among
//! those used, counted from 0.

/// One reading.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Sample {
    pub(super) t: f64,
    pub(super) x: f64,
    pub(super) index: u64,
}

/// What a reading belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Place {
    /// The level at rest.
    Rest,
    /// An alarm.
    On,
    /// Neither: on the way from one to the other.
    Between,
}

/// One edge of an alarm, or a step inside it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Edge {
    /// When, in seconds.
    pub(super) at: f64,
    /// The largest error of `at`, in seconds.
    pub(super) u: f64,
    /// The first reading beyond it.
    pub(super) index: u64,
}

/// The last few readings.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Recent {
    kept: [Sample; 4],
    n: usize,
}

impl Recent {
    pub(super) const fn push(&mut self, reading: Sample) {
        self.kept = [reading, self.kept[0], self.kept[1], self.kept[2]];
        self.n = if self.n < 4 { self.n + 1 } else { 4 };
    }

    /// The newest first.
    pub(super) fn newest_first(&self) -> &[Sample] {
        self.kept.get(..self.n).unwrap_or(&[])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_four_are_kept_newest_first() {
        let mut recent = Recent::default();
        for index in 0..7 {
            let kept: Vec<u64> = recent.newest_first().iter().map(|s| s.index).collect();
            let wanted: Vec<u64> = (0..index).rev().take(4).collect();
            assert_eq!(kept, wanted);
            recent.push(Sample { index, ..Sample::default() });
        }
    }
}
