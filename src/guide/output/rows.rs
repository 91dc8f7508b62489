//! The log's rows in the guide: readings in, rows to be written out, each at its time on the log's
//! own clock; and with them the watch over the output and the analysis of all of it. The log's
//! clock counts from its beginning; a run that goes on counts from the time that it was told.
//! Seconds and volts; nothing is held but what is yet to be written.

use crate::guide::EXTRA_LOW_VOLTS_MAX;
use crate::output::{Analysis, Described, SeenEdge, Watch, micro};
use drivers::{Moment, Reading, Value};
use std::collections::VecDeque;

/// So many readings in a row that are too high are no spike.
const HIGH_MIN: u32 = 3;

/// Rows, watched and analysed.
#[derive(Debug, Default)]
pub(super) struct Rows {
    /// A moment, and the log's time at it.
    origin: Option<(Moment, f64)>,
    waiting: VecDeque<(f64, Option<f64>)>,
    watch: Watch,
    analysis: Analysis,
    taken: u64,
    first_s: Option<f64>,
    last_s: Option<f64>,
    last_volts: f64,
    /// Readings in a row, newest last, that are too high or overload.
    high: u32,
    described: Option<Described>,
}

impl Rows {
    /// A new log, whose time is `t_s` now.
    pub(super) fn beginning(now: Moment, t_s: f64) -> Self {
        Self { origin: Some((now, t_s)), ..Self::default() }
    }

    /// Goes on after what was recalled: at `moment` the log's time is `t_s`, and never less than
    /// that of its last row.
    pub(super) fn go_on(&mut self, moment: Moment, t_s: f64) {
        self.origin = Some((moment, t_s.max(self.last_s.unwrap_or(0.0))));
    }

    /// Whether the log's clock is set.
    pub(super) const fn is_counting(&self) -> bool {
        self.origin.is_some()
    }

    /// The log's time at a moment.
    pub(super) fn t_s(&self, at: Moment) -> f64 {
        let (from, t_s) = self.origin.unwrap_or((at, 0.0));
        micro(t_s + at.since(from).as_secs_f64())
    }

    /// A reading has arrived. One without a number is no row: the meter itself had none.
    pub(super) fn arrived(&mut self, reading: &Reading) {
        let volts = match reading.value {
            Value::Number(volts) => Some(volts),
            Value::Overload => None,
            Value::NotANumber => return,
        };
        let t_s = self.t_s(reading.at);
        self.waiting.push_back((t_s, volts));
        self.take(t_s, volts);
    }

    /// A row that is written, or about to be.
    pub(super) fn take(&mut self, t_s: f64, volts: Option<f64>) {
        let is_high = volts.is_none_or(|v| v.abs() > EXTRA_LOW_VOLTS_MAX);
        self.high = if is_high { self.high + 1 } else { 0 };
        match volts {
            Some(volts) => {
                self.watch.push(t_s, volts);
                self.analysis.push(t_s, volts);
                self.last_volts = volts;
            }
            None => self.analysis.overload(t_s),
        }
        self.taken += 1;
        self.first_s = self.first_s.or(Some(t_s));
        self.last_s = Some(t_s);
    }

    /// The next row to be written.
    pub(super) fn take_waiting(&mut self) -> Option<(f64, Option<f64>)> {
        self.waiting.pop_front()
    }

    /// Whether the log holds so much: seconds, and rows.
    pub(super) fn rested(&self, seconds: f64, rows: u64) -> bool {
        let long = self.last_s.zip(self.first_s).is_some_and(|(to, from)| to - from >= seconds);
        long && self.taken >= rows
    }

    /// Whether the last readings are all too high, or overload.
    pub(super) const fn too_high(&self) -> bool {
        self.high >= HIGH_MIN
    }

    pub(super) const fn last_s(&self) -> Option<f64> {
        self.last_s
    }

    pub(super) const fn last_volts(&self) -> f64 {
        self.last_volts
    }

    pub(super) fn came_on(&self) -> Option<SeenEdge> {
        self.watch.came_on()
    }

    pub(super) fn off_since(&self) -> Option<SeenEdge> {
        self.watch.off_since()
    }

    /// What all rows say; none is taken any more.
    pub(super) fn described(&mut self) -> &Described {
        let analysis = &mut self.analysis;
        self.described.get_or_insert_with(|| std::mem::take(analysis).finish())
    }
}
