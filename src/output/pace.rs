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
        step > GAP_INTERVALS * self.interval.max(self.step) && step > 0.0 && self.interval > 0.0
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
