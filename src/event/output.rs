//! What a switched output does, as scripts and reports read it: rest, level, window, cadence. The
//! shape is the product's contract: fields are added, never changed. Times are seconds on the
//! log's own clock, volts are signed as the meter showed them, and `_u` beside an edge or a window
//! is the largest error that the sampling allows, in the same unit.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What the readings of an output say about it. Fields that the log cannot tell are `null`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OutputFinding {
    /// Always `described`: a description has no limit to pass.
    pub result: String,
    /// Median at rest, in volts.
    pub rest_volts: Option<f64>,
    /// Median while on, in volts, signed as measured.
    pub alarm_volts: Option<f64>,
    /// Lowest while on, spikes and edges left out, in volts; signed, so below `alarm_volts`.
    pub alarm_volts_min: Option<f64>,
    /// Highest while on, spikes and edges left out, in volts; signed.
    pub alarm_volts_max: Option<f64>,
    /// Which way round the leads are.
    pub polarity: Option<Polarity>,
    /// What it does in alarm.
    pub shape: Shape,
    /// Time from one pulse to the next, in seconds.
    pub period_s: Option<f64>,
    /// Share of the period that it is on, 0 to 1.
    pub duty: Option<f64>,
    /// When it came on.
    pub on_at_s: Option<f64>,
    /// When it went off for good.
    pub off_at_s: Option<f64>,
    /// How long the alarm lasted.
    pub window_s: Option<f64>,
    /// Largest error of `window_s` that sampling and gaps allow.
    pub window_s_u: Option<f64>,
    /// Change of the level while on, in volts per minute.
    pub sag_volts_per_min: Option<f64>,
    /// How many readings were used.
    pub readings: u64,
    /// Whether the instruments were simulated.
    pub simulated: bool,
    /// Standard uncertainty of `sag_volts_per_min`.
    pub sag_volts_per_min_u: Option<f64>,
    /// Largest error of `on_at_s` that the sampling allows.
    pub on_at_s_u: Option<f64>,
    /// Largest error of `off_at_s` that the sampling allows.
    pub off_at_s_u: Option<f64>,
    /// For how long it was seen on without coming to an end, in seconds; with shape `held` only.
    pub held_s_min: Option<f64>,
    /// Standard deviation from reading to reading while on, in volts.
    pub noise_volts: Option<f64>,
    /// Standard deviation from reading to reading at rest, in volts.
    pub rest_noise_volts: Option<f64>,
    /// The class of supply that the level fits: 6, 12 or 24 V (common practice, no source).
    pub nominal_volts: Option<f64>,
    /// The dip just after coming on, if there is one.
    pub inrush: Option<InrushDip>,
    /// What the meter's rate could tell about a cadence.
    pub cadence: Cadence,
    /// Every alarm in the log, in order; the fields above describe the first.
    pub windows: Vec<OutputWindow>,
    /// Where the level changed: edges, and steps while on; at most 10,000.
    pub changes: Vec<LevelChange>,
    /// What was counted beside readings.
    pub counts: LogCounts,
    /// What a reader of these figures must know, in sentences.
    pub warnings: Vec<String>,
}

/// What the output does in alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// On throughout its window.
    Steady,
    /// On and off within its window.
    Pulsed,
    /// Never came on.
    #[default]
    None,
    /// Still on when the log ended.
    Held,
}

/// Which way round the leads are on the output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Polarity {
    /// Red is on the output's plus.
    #[serde(rename = "as connected")]
    AsConnected,
    /// Red is on the output's minus.
    #[serde(rename = "reversed")]
    Reversed,
}

/// A dip of the level just after coming on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InrushDip {
    /// The lowest reading in it, in volts.
    pub volts: f64,
    /// When that was.
    pub at_s: f64,
}

/// What the meter's rate could tell about a cadence.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Cadence {
    /// Whether on and off times were long enough for this meter; `null` without an alarm.
    pub resolved: Option<bool>,
    /// An on or off time shorter than this could have gone unseen, in seconds.
    pub unseen_below_s: Option<f64>,
    /// How many pulses were counted in the first window.
    pub pulses: u64,
}

/// One alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OutputWindow {
    /// When it came on; `null` where it was on as the log began.
    pub on_at_s: Option<f64>,
    /// Largest error of `on_at_s` that the sampling allows.
    pub on_at_s_u: Option<f64>,
    /// When it went off for good; `null` where the log ended first.
    pub off_at_s: Option<f64>,
    /// Largest error of `off_at_s` that the sampling allows.
    pub off_at_s_u: Option<f64>,
    /// Its length.
    pub window_s: Option<f64>,
    /// Largest error of `window_s`, gaps inside it included.
    pub window_s_u: Option<f64>,
    /// `steady`, `pulsed` or `held`.
    pub shape: Shape,
    /// Time from one pulse to the next, where it was resolved.
    pub period_s: Option<f64>,
    /// Share of the period that it is on, where it was resolved.
    pub duty: Option<f64>,
    /// How many pulses.
    pub pulses: u64,
    /// Whether its pulses were long enough for this meter.
    pub resolved: bool,
    /// Whether its pulses come at equal distances.
    pub regular: bool,
    /// Median while on, in volts.
    pub volts: f64,
    /// Lowest while on, in volts, signed.
    pub volts_min: f64,
    /// Highest while on, in volts, signed.
    pub volts_max: f64,
    /// Standard deviation from reading to reading, in volts.
    pub noise_volts: Option<f64>,
    /// Change of the level, in volts per minute.
    pub sag_volts_per_min: Option<f64>,
    /// Standard uncertainty of `sag_volts_per_min`.
    pub sag_volts_per_min_u: Option<f64>,
    /// The dip just after coming on, if there is one.
    pub inrush: Option<InrushDip>,
    /// When it was last seen on, for a window that has no end.
    pub seen_until_s: f64,
}

/// One change of level.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LevelChange {
    /// When.
    pub at_s: f64,
    /// Largest error of `at_s` that the sampling allows.
    pub at_s_u: f64,
    /// The first reading of the new level, counted from 0 over the readings used.
    pub reading: u64,
    /// What changed.
    pub change: ChangeKind,
}

/// What changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ChangeKind {
    /// It came on.
    On,
    /// It went off.
    Off,
    /// It stayed on, at another level.
    Step,
}

/// What was counted in a log.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LogCounts {
    /// Overload readings: shown, and left out of every figure.
    pub overloads: u64,
    /// Pauses between readings of more than four usual intervals.
    pub gaps: u64,
    /// Their total length, in seconds.
    pub gaps_s: f64,
    /// Readings whose time lies before the reading ahead of them: left out.
    pub out_of_order: u64,
    /// Rows that could not be read: left out.
    pub broken_rows: u64,
    /// Short excursions that are no alarm.
    pub spikes: u64,
    /// The spike that went furthest, in volts.
    pub spike_volts: Option<f64>,
    /// Short losses of the level inside an alarm.
    pub dropouts: u64,
    /// Contact bounces at the edges of an alarm.
    pub bounces: u64,
    /// Usual time between readings, in seconds.
    pub interval_s: Option<f64>,
    /// Time of the first reading.
    pub first_s: Option<f64>,
    /// Time of the last reading.
    pub last_s: Option<f64>,
}

/// A log thinned for drawing: lowest and highest of each span of time, so that no peak is lost.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// Start of the first span, in seconds.
    pub start_s: f64,
    /// Length of a span, in seconds.
    pub span_s: f64,
    /// The spans in order; some may hold no reading.
    pub spans: Vec<TraceSpan>,
    /// Pauses in the log, from and to, in seconds; the first thousand.
    pub gaps: Vec<(f64, f64)>,
}

/// One span of a [`Trace`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TraceSpan {
    /// Lowest reading, in volts; above `max` where there is none.
    pub min: f64,
    /// Highest reading, in volts.
    pub max: f64,
    /// Whether an overload reading fell into it.
    pub overload: bool,
}

impl TraceSpan {
    /// A span without readings.
    pub const EMPTY: Self = Self { min: f64::INFINITY, max: f64::NEG_INFINITY, overload: false };

    /// Whether no reading fell into it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.min > self.max
    }
}
