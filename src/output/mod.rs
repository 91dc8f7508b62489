//! A stream of readings -> what the output does: level at rest and in alarm, edges inside the
//! sampling interval, window, cadence, sag, spikes. One pass in bounded memory (about 6 MiB at
//! any length), no threshold to set; the same readings give the same answer however they are
//! handed in. Seconds and volts. Files are left to the logbook, pictures to the report, limits and
//! what to ask next to the guide.

mod counts;
mod departure;
mod describe;
mod detector;
mod moments;
mod nominal;
mod onset;
mod pace;
mod reading;
mod run;
mod trace;
mod track;
mod watch;
mod windows;

pub use counts::Counts;
pub use describe::micro;
pub use moments::{Moments, Slope};
pub use nominal::{CLASSES, nominal};
pub use watch::{SeenEdge, Watch};

use crate::event::{ChangeKind, LevelChange, OutputFinding, Trace};
use detector::{Block, Detector, Notice};
use pace::Pace;
use reading::{Place, Sample};
use trace::Tracing;
use windows::Windows;

/// Readings are looked at in blocks of this many.
const BLOCK: usize = 256;
/// The first readings, which say where the level begins and how it scatters.
const FIRST: usize = 16;
const CHANGES_MAX: usize = 10_000;

/// The analysis of one log, reading by reading.
#[derive(Clone, Debug)]
pub struct Analysis {
    t: Vec<f64>,
    x: Vec<f64>,
    last_t: f64,
    first_t: Option<f64>,
    taken: u64,
    before: Option<f64>,
    detector: Option<Detector>,
    pace: Pace,
    rest: Counts,
    on: Counts,
    rest_moments: Moments,
    windows: Windows,
    changes: Vec<LevelChange>,
    notices: Vec<Notice>,
    tracing: Tracing,
    overloads: u64,
    out_of_order: u64,
}

impl Default for Analysis {
    fn default() -> Self {
        Self {
            t: Vec::with_capacity(BLOCK),
            x: Vec::with_capacity(BLOCK),
            last_t: f64::NEG_INFINITY,
            first_t: None,
            taken: 0,
            before: None,
            detector: None,
            pace: Pace::default(),
            rest: Counts::default(),
            on: Counts::default(),
            rest_moments: Moments::default(),
            windows: Windows::default(),
            changes: Vec::new(),
            notices: Vec::new(),
            tracing: Tracing::default(),
            overloads: 0,
            out_of_order: 0,
        }
    }
}

/// Everything that was found in a log.
#[derive(Clone, Debug, PartialEq)]
pub struct Described {
    /// The figures.
    pub finding: OutputFinding,
    /// The picture.
    pub trace: Trace,
}

impl Analysis {
    /// Takes one reading: seconds on any clock that does not run backwards, and volts. A reading
    /// from before the last one is counted and left out, and so is one that is not finite.
    pub fn push(&mut self, t_s: f64, volts: f64) {
        self.extend(&[t_s], &[volts]);
    }

    /// Takes readings: seconds, and as many volts.
    pub fn extend(&mut self, t_s: &[f64], volts: &[f64]) {
        let n = t_s.len().min(volts.len());
        let (mut t, mut x) = (t_s.get(..n).unwrap_or(t_s), volts.get(..n).unwrap_or(volts));
        while !t.is_empty() {
            let part = (BLOCK - self.t.len()).min(t.len());
            let ((t_now, t_later), (x_now, x_later)) = (t.split_at(part), x.split_at(part));
            self.extend_block(t_now, x_now);
            (t, x) = (t_later, x_later);
        }
    }

    /// Takes readings that fit into the block.
    fn extend_block(&mut self, t: &[f64], x: &[f64]) {
        if !in_order(self.last_t, t, x) {
            for (t, x) in t.iter().zip(x) {
                if *t >= self.last_t && t.is_finite() && x.is_finite() {
                    self.last_t = *t;
                    self.t.push(*t);
                    self.x.push(*x);
                } else {
                    self.out_of_order += 1;
                }
            }
        } else if t.len() == BLOCK {
            self.last_t = t.last().copied().unwrap_or(self.last_t);
            self.take_block(t, x);
        } else {
            self.last_t = t.last().copied().unwrap_or(self.last_t);
            self.t.extend_from_slice(t);
            self.x.extend_from_slice(x);
        }
        if self.t.len() == BLOCK {
            self.take_gathered();
        }
    }

    /// Takes an overload reading: counted and drawn, no part of any figure.
    pub fn overload(&mut self, t_s: f64) {
        self.overloads += 1;
        if t_s.is_finite() {
            self.tracing.overload(t_s);
        }
    }

    fn take_gathered(&mut self) {
        let (mut t, mut x) = (std::mem::take(&mut self.t), std::mem::take(&mut self.x));
        self.take_block(&t, &x);
        t.clear();
        x.clear();
        (self.t, self.x) = (t, x);
    }

    fn take_block(&mut self, t: &[f64], x: &[f64]) {
        if let (Some(first), None) = (t.first(), self.first_t) {
            self.first_t = Some(*first);
            self.begin(t, x);
        }
        let (low, high) = extremes(x);
        let even = self.keep_pace(t);
        self.tracing.extend(t, x, low, high);
        let calm = self.detector.as_ref().and_then(|d| d.calm(t, low, high));
        match calm.filter(|_| even) {
            Some(place) => self.absorb(t, x, low, high, place),
            None => self.look_at_each(t, x),
        }
        self.before = t.last().copied().or(self.before);
        self.taken += t.len() as u64;
    }

    fn begin(&mut self, t: &[f64], x: &[f64]) {
        let n = t.len().min(FIRST);
        let (t, x) = (t.get(..n).unwrap_or(t), x.get(..n).unwrap_or(x));
        self.pace = Pace::begin(t);
        let level = ranked(x.iter().take(3).copied().collect(), 0.5);
        if let (Some(t), Some(first)) = (t.first(), x.first()) {
            let first = Sample { t: *t, x: *first, index: 0 };
            self.detector = Some(Detector::begin(first, level, scatter(x)));
        }
    }

    /// Follows the intervals; whether none of them is a gap.
    fn keep_pace(&mut self, t: &[f64]) -> bool {
        let (Some(first), Some(last)) = (t.first(), t.last()) else { return true };
        let head = self.before.map_or(0.0, |before| first - before);
        let (mut longest, mut shortest) = (head, f64::INFINITY);
        for pair in t.windows(2) {
            let step = pair[1] - pair[0];
            longest = if step > longest { step } else { longest };
            shortest = if step < shortest { step } else { shortest };
        }
        let n = len(t);
        let mean = if n > 1.0 { (last - first) / (n - 1.0) } else { head };
        if self.pace.push_block(mean, n, shortest, longest) {
            return true;
        }
        let from = self.before.into_iter().chain(t.iter().copied());
        let to = t.iter().copied().skip(usize::from(self.before.is_none()));
        from.zip(to).for_each(|(from, to)| self.pace.push(from, to));
        false
    }

    fn absorb(&mut self, t: &[f64], x: &[f64], low: f64, high: f64, place: Place) {
        let interval = self.pace.interval();
        if let Some(detector) = self.detector.as_mut() {
            let block = Block { t, x, first_index: self.taken, low, high };
            detector.absorb(&block, interval);
        }
        if place == Place::On {
            self.on.extend(x);
        } else {
            self.rest.extend(x);
            self.rest_moments.extend(t, x);
        }
    }

    fn look_at_each(&mut self, t: &[f64], x: &[f64]) {
        let interval = self.pace.interval();
        for (i, (t, x)) in t.iter().zip(x).enumerate() {
            let reading = Sample { t: *t, x: *x, index: self.taken + i as u64 };
            let Some(detector) = self.detector.as_mut() else { return };
            let mut notices = std::mem::take(&mut self.notices);
            let place = detector.push(reading, interval, &mut notices);
            for notice in notices.drain(..) {
                self.note(notice);
            }
            self.notices = notices;
            match place {
                Place::Rest => {
                    self.rest.push(*x);
                    self.rest_moments.push(*t, *x);
                }
                Place::On => self.on.push(*x),
                Place::Between => {}
            }
            if place != Place::Rest {
                self.rest_moments.part();
            }
        }
    }

    fn note(&mut self, notice: Notice) {
        let (edge, change) = match notice {
            Notice::On(edge) => {
                if !self.windows.joins(edge) {
                    self.windows.close(self.on.median(), &self.pace, None);
                    self.on.clear();
                }
                (edge, ChangeKind::On)
            }
            Notice::Off(run) => {
                let off = run.off.unwrap_or_default();
                self.windows.push(*run);
                (off, ChangeKind::Off)
            }
            Notice::Step(edge) => (edge, ChangeKind::Step),
            Notice::Spike(volts) => {
                self.windows.strays.spike(volts);
                return;
            }
        };
        if self.changes.len() < CHANGES_MAX {
            let (at_s, at_s_u) = (edge.at, edge.u.max(self.pace.stamp_u()));
            self.changes.push(LevelChange { at_s, at_s_u, reading: edge.index, change });
        }
    }

    /// Ends the log and says what was found.
    #[must_use]
    pub fn finish(mut self) -> Described {
        self.take_gathered();
        describe::describe(self)
    }
}

/// Whether all of these are finite, and none is from before the one ahead of it. Looks at all of
/// them, which is quicker than leaving off at the first that is not.
fn in_order(last_t: f64, t: &[f64], x: &[f64]) -> bool {
    let (Some(first), Some(last)) = (t.first(), t.last()) else { return true };
    let ordered = t.iter().zip(t.iter().skip(1)).fold(true, |all, (a, b)| all & (a <= b));
    let finite = x.iter().fold(true, |all, x| all & (x.abs() < f64::INFINITY));
    ordered & finite & (*first >= last_t) & first.is_finite() & last.is_finite()
}

fn len(of: &[f64]) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a block is short")]
    let n = of.len() as f64;
    n
}

/// The standard deviation of the first readings; 0 where they are too few to tell. Three in four
/// of |a - b| lie below 1.1503 sqrt(2) sigma, if the scatter is normal; an edge or two among them
/// moves that little.
fn scatter(x: &[f64]) -> f64 {
    if x.len() >= 4 { by_steps(x, 0.75, 1.1503) } else { 0.0 }
}

/// The standard deviation of readings of which this share of |a - b| lies below so many sqrt(2)
/// sigma.
fn by_steps(x: &[f64], share: f64, sigmas: f64) -> f64 {
    let steps = x.iter().zip(x.iter().skip(1)).map(|(a, b)| (b - a).abs()).collect();
    ranked(steps, share) / (sigmas * 2.0_f64.sqrt())
}

fn ranked(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few values")]
    let place = (len(&values) * share) as usize;
    values.get(place).copied().unwrap_or(0.0)
}

/// Lowest and highest of finite values.
fn extremes(x: &[f64]) -> (f64, f64) {
    let mut low = [f64::INFINITY; 4];
    let mut high = [f64::NEG_INFINITY; 4];
    let mut fours = x.chunks_exact(4);
    for four in fours.by_ref() {
        for k in 0..4 {
            low[k] = if four[k] < low[k] { four[k] } else { low[k] };
            high[k] = if four[k] > high[k] { four[k] } else { high[k] };
        }
    }
    let rest = fours.remainder();
    let low = low.iter().chain(rest).copied().fold(f64::INFINITY, f64::min);
    let high = high.iter().chain(rest).copied().fold(f64::NEG_INFINITY, f64::max);
    (low, high)
}

#[cfg(test)]
mod tests;
