//! From runs of being on to alarms: pulses that belong together, bounces of a contact, losses of a
//! reading or two, and spikes that are no alarm. Pulses belong together while a pulse and its pause
//! last ten seconds at most, the pause five (common practice, no source: sounders and beacons beat
//! faster). Seconds and volts; at most 2,048 runs of an alarm are held one by one.

use super::pace::Pace;
use super::reading::Edge;
use super::run::{Extent, Run};
use crate::event::{InrushDip, OutputWindow, Shape};

const PERIOD_MAX_S: f64 = 10.0;
/// Pulses further apart are alarms of their own.
pub(super) const PAUSE_MAX_S: f64 = 5.0;
/// A bounce and its pause are shorter than this, and than a tenth of the longest run.
const BOUNCE_S: f64 = 0.1;
/// Longer than this is no spike.
pub(super) const SPIKE_S: f64 = 0.5;
const RUNS_MAX: usize = 2048;
const WINDOWS_MAX: usize = 1000;

/// What was counted beside alarms.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Strays {
    pub(super) spikes: u64,
    pub(super) spike_volts: Option<f64>,
    pub(super) dropouts: u64,
    pub(super) bounces: u64,
    /// Alarms beyond those that are listed.
    pub(super) unlisted: u64,
}

impl Strays {
    pub(super) fn spike(&mut self, volts: f64) {
        self.spikes += 1;
        if self.spike_volts.is_none_or(|most| volts.abs() > most.abs()) {
            self.spike_volts = Some(volts);
        }
    }
}

/// The alarms so far, and the runs of the one that may still go on.
#[derive(Clone, Debug, Default)]
pub(super) struct Windows {
    runs: Vec<Run>,
    beyond: Option<Beyond>,
    pub(super) closed: Vec<OutputWindow>,
    pub(super) strays: Strays,
}

/// Runs beyond those that are held.
#[derive(Clone, Copy, Debug)]
struct Beyond {
    n: u64,
    on_s: f64,
    last: Run,
}

impl Windows {
    /// Whether a run that begins here belongs to the alarm before it.
    pub(super) fn joins(&self, on: Edge) -> bool {
        let last = self.beyond.map(|b| b.last).or_else(|| self.runs.last().copied());
        let Some((last, off)) = last.and_then(|run| run.off.map(|off| (run, off))) else {
            return false;
        };
        let pause = on.at - off.at;
        let brief = on.index.saturating_sub(off.index) <= 2 || pause <= BOUNCE_S;
        pause <= PAUSE_MAX_S && (brief || last.length() + pause <= PERIOD_MAX_S)
    }

    pub(super) fn push(&mut self, run: Run) {
        if self.runs.len() < RUNS_MAX {
            self.runs.push(run);
            return;
        }
        if let Some(last) = self.runs.last_mut() {
            last.extent.merge(&run.extent);
        }
        let before = self.beyond.map_or((0, 0.0), |b| (b.n, b.on_s));
        self.beyond = Some(Beyond { n: before.0 + 1, on_s: before.1 + run.length(), last: run });
    }

    /// Ends the alarm: `median` is that of its readings, `end_s` the end of the log if it is that.
    pub(super) fn close(&mut self, median: Option<f64>, pace: &Pace, end_s: Option<f64>) {
        let runs = std::mem::take(&mut self.runs);
        let beyond = self.beyond.take();
        let runs = self.sorted_out(runs);
        let (Some(first), Some(last)) = (runs.first(), runs.last()) else { return };
        let last = beyond.map_or(*last, |b| b.last);
        let Some(volts) = median.or_else(|| first.extent.moments.mean()) else { return };
        let mut window =
            OutputWindow { volts, resolved: true, regular: true, ..Default::default() };
        cadence(&mut window, &runs, beyond, pace);
        levels(&mut window, &runs);
        edges(&mut window, first, &last, pace);
        if let Some(end) = end_s {
            let pause = window.period_s.unwrap_or(0.0) * (1.0 - window.duty.unwrap_or(0.0));
            let unsure = window.pulses > 1 && end - last.to() < pause + 2.0 * pace.longest();
            if last.off.is_none() || unsure {
                window.shape = Shape::Held;
                (window.off_at_s, window.off_at_s_u) = (None, None);
                (window.window_s, window.window_s_u) = (None, None);
            }
        }
        if self.closed.len() < WINDOWS_MAX {
            self.closed.push(window);
        } else {
            self.strays.unlisted += 1;
        }
    }

    /// The runs without what only seems one.
    fn sorted_out(&mut self, runs: Vec<Run>) -> Vec<Run> {
        let longest = runs.iter().map(Run::length).fold(0.0, f64::max);
        let mut kept: Vec<Run> = Vec::with_capacity(runs.len());
        for run in runs {
            let Some(last) = kept.last_mut() else {
                kept.push(run);
                continue;
            };
            let pause = run.from() - last.to();
            let least = last.length().min(run.length());
            let bounce = pause.max(least) < BOUNCE_S.min(0.1 * longest);
            let off = last.off.map_or(run.first_index(), |off| off.index);
            let brief = run.first_index().saturating_sub(off) <= 2;
            let dropout = brief && pause < 0.1 * least;
            if !(bounce || dropout) {
                kept.push(run);
                continue;
            }
            self.strays.bounces += u64::from(bounce);
            self.strays.dropouts += u64::from(!bounce);
            join(last, &run);
        }
        let longest = kept.iter().map(Run::length).fold(0.0, f64::max);
        let alone = kept.len() == 1;
        let all = kept.iter().all(is_spike);
        let few = kept.len() < 4 || share_on(&kept) < 0.2;
        let stray = |run: &Run| {
            is_spike(run) && ((all && few) || (!alone && run.length() < 0.25 * longest))
        };
        for run in kept.iter().filter(|run| stray(run)) {
            self.strays.spike(run.peak * run.sign);
        }
        kept.retain(|run| !stray(run));
        kept
    }
}

fn is_spike(run: &Run) -> bool {
    let short = run.readings <= 1 || (run.readings <= 2 && run.length() < SPIKE_S);
    short && run.off.is_some() && run.on.is_some()
}

fn share_on(runs: &[Run]) -> f64 {
    let on: f64 = runs.iter().map(Run::length).sum();
    match (runs.first(), runs.last()) {
        (Some(a), Some(b)) => on / (b.to() - a.from()),
        _ => 1.0,
    }
}

fn join(last: &mut Run, run: &Run) {
    if run.length() > last.length() {
        // What stands out for its inrush is the longer one.
        let early = run.extent.early;
        last.extent.merge(&run.extent);
        last.extent.early = early;
    } else {
        last.extent.merge(&run.extent);
    }
    last.off = run.off;
    last.readings += run.readings;
    last.last_s = run.last_s;
    last.peak = last.peak.max(run.peak);
}

/// Period and duty, where the meter was fast enough for them.
fn cadence(window: &mut OutputWindow, runs: &[Run], beyond: Option<Beyond>, pace: &Pace) {
    window.pulses = runs.len() as u64 + beyond.map_or(0, |b| b.n);
    window.shape = if window.pulses > 1 { Shape::Pulsed } else { Shape::Steady };
    let (Some(first), Some(last)) = (runs.first(), runs.last()) else { return };
    if window.pulses < 2 {
        return;
    }
    let last = beyond.map_or(*last, |b| b.last);
    // A pulse that was cut by the start or the end of the log says nothing about lengths.
    let whole = runs.iter().filter(|run| run.on.is_some() && run.off.is_some());
    let lengths: Vec<f64> = whole.map(Run::length).collect();
    let more = beyond.map_or((0.0, 0.0), |b| (count(b.n), b.on_s));
    let from = runs.iter().find(|run| run.on.is_some()).unwrap_or(first);
    let skipped = if from.from() > first.from() { 1.0 } else { 0.0 };
    let periods = count(window.pulses) - 1.0 - skipped;
    let (period, on) = if periods >= 1.0 {
        let period = (last.from() - from.from()) / periods;
        let on = (lengths.iter().sum::<f64>() + more.1) / (count(lengths.len() as u64) + more.0);
        (period, on)
    } else {
        // One pause between two cut pulses.
        (0.0, 0.0)
    };
    let off = period - on;
    let single = runs.iter().filter(|run| run.readings <= 1).count() * 2 > runs.len();
    window.resolved = pace.longest() < on.min(off) && !single;
    let starts: Vec<f64> = runs.iter().filter(|r| r.on.is_some()).map(Run::from).collect();
    let apart = starts.windows(2).map(|pair| (pair[1] - pair[0] - period).abs());
    let slack = (0.1 * period).max(2.0 * pace.longest());
    window.regular = apart.fold(0.0, f64::max) <= slack;
    if window.resolved {
        window.period_s = Some(period);
        window.duty = Some((on / period).clamp(0.0, 1.0));
    }
}

fn levels(window: &mut OutputWindow, runs: &[Run]) {
    let Some((first, others)) = runs.split_first() else { return };
    let mut all: Extent = first.extent;
    for run in others {
        all.merge(&run.extent);
    }
    let (low, high) = (first.sign * all.min, first.sign * all.max);
    let finite = |x: f64| if x.is_finite() { x } else { window.volts };
    (window.volts_min, window.volts_max) = (finite(low.min(high)), finite(low.max(high)));
    window.noise_volts = all.moments.noise();
    if let Some(slope) = all.moments.slope() {
        window.sag_volts_per_min = Some(slope.volts_per_s * 60.0);
        window.sag_volts_per_min_u = Some(slope.volts_per_s_u * 60.0);
    }
    let level = window.volts.abs();
    let deep = (6.0 * window.noise_volts.unwrap_or(0.0)).max(0.03 * level);
    let (early, at) = first.extent.early;
    let recovers = first.extent.late_min - early > deep / 2.0;
    if early < level - deep && recovers && first.extent.late_min.is_finite() {
        window.inrush = Some(InrushDip { volts: first.sign * early, at_s: at });
    }
}

fn edges(window: &mut OutputWindow, first: &Run, last: &Run, pace: &Pace) {
    let u = |edge: Edge| edge.u.max(pace.stamp_u());
    window.on_at_s = first.on.map(|edge| edge.at);
    window.on_at_s_u = first.on.map(u);
    window.off_at_s = last.off.map(|edge| edge.at);
    window.off_at_s_u = last.off.map(u);
    window.seen_until_s = last.last_s;
    if let (Some(on), Some(off)) = (first.on, last.off) {
        window.window_s = Some(off.at - on.at);
        window.window_s_u = Some(u(on) + u(off) + pace.gaps_within(on.at, off.at));
    }
}

#[expect(clippy::cast_precision_loss, reason = "far fewer than 2^52 pulses")]
const fn count(n: u64) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests;
