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
