//! The profile file as it is written: what serde reads, before any check of meaning. Units come
//! last in each key. Which keys belong to which kind, and what they mean together, is checked
//! in the module `check`, which turns a [`RawProfile`] into a [`Profile`](super::Profile).

use crate::reading::{Function, Unit};
use schemars::JsonSchema;
use serde::Deserialize;
use std::collections::BTreeMap;

/// A meter's profile, as a TOML file.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawProfile {
    /// Name of the profile, for reports.
    pub name: String,
    /// `scpi` (the program asks, in SCPI) or `lines` (the meter sends lines of text).
    pub kind: RawKind,
    /// What ends a line that the program sends; any line end is understood in answers.
    #[serde(default)]
    pub terminator: RawTerminator,
    /// Longest wait for an answer beside the measurement itself; for a meter that sends by
    /// itself, longest silence.
    pub timeout_ms: Option<u32>,
    /// Longest that one measurement takes, autorange included.
    pub integration_ms: Option<u32>,
    /// Pause after configuring, before the first reading.
    pub settle_ms: Option<u32>,
    /// Shortest time between two lines that the program sends.
    pub gap_ms: Option<u32>,
    /// How long the line must be silent to count as drained.
    pub quiet_ms: Option<u32>,
    /// `scpi`: shortest time from the beginning of one reading to that of the next.
    pub pace_ms: Option<u32>,
    /// Pause after opening the port, for meters that restart then.
    pub open_ms: Option<u32>,
    /// The DTR line of a serial port, where the link does not say it.
    #[serde(default)]
    pub dtr: RawDtr,
    /// Lines sent once after each opening.
    #[serde(default)]
    pub init: Vec<String>,
    /// Lines that give the program control of the meter.
    #[serde(default)]
    pub remote: Vec<String>,
    /// When to send `remote`: always, or when the meter refuses a command until then.
    #[serde(default)]
    pub remote_when: RawRemoteWhen,
    /// Lines that give the meter back to its own keys, sent at the end if `remote` was.
    #[serde(default)]
    pub local: Vec<String>,
    /// Whether the meter sends each line back before its answer; found out by itself too.
    #[serde(default)]
    pub echo: bool,
    /// Resistance of the leads that two-wire readings may contain.
    #[serde(default)]
    pub lead_ohms: f64,
    /// Words that mean overload where the number would stand.
    #[serde(default)]
    pub overload: Vec<String>,
    /// Commands per function.
    #[serde(default)]
    pub functions: BTreeMap<Function, RawFunction>,
    /// Stated accuracy per function.
    #[serde(default)]
    pub accuracy: RawAccuracy,
    /// `scpi`: asks for one entry of the error queue.
    pub error_query: Option<String>,
    /// `scpi`: asks for the function in force.
    pub function_query: Option<String>,
    /// `scpi`: asks for the event status register every so many readings.
    pub status_every_readings: Option<u32>,
    /// `scpi`: how many readings each `read` query brings, separated by commas; `configure` must
    /// set the meter so (`SAMP:COUN 10`); 1 to 10000. They all bear the time of their line.
    pub readings_per_query: Option<u32>,
    /// `lines`: a regular expression with the groups `(?<value>...)` and `(?<unit>...)`, and if
    /// need be `sign` and `function`; it sees the line without its end and its two digits of
    /// checksum. What `function` takes is put behind what `unit` takes, and the two together are
    /// the word in `units`: of `GS -013,71 mV` it is `mVGS`. Without a pattern the built-in
    /// grammar (sign, number, unit word) is used.
    pub pattern: Option<String>,
    /// `lines`: whether a comma is the decimal mark.
    #[serde(default)]
    pub decimal_comma: bool,
    /// `lines`: two hexadecimal digits at the end of each line, over all bytes before them. A mark
    /// that parts them from the reading counts too, and stays for `pattern` to match.
    #[serde(default)]
    pub checksum: RawChecksum,
    /// `lines`: the line that asks for one reading; without it the meter sends by itself.
    pub poll: Option<String>,
    /// `lines`: how many lines after an order may still belong to what was before.
    pub skip_lines: Option<u32>,
    /// `lines`: unit words, in any case, in printable ASCII as all of a line: a line with any
    /// other byte is never a reading.
    #[serde(default)]
    pub units: BTreeMap<String, RawUnit>,
}

/// The kind of dialect.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum RawKind {
    /// Queries and answers in SCPI.
    Scpi,
    /// Lines of text, by themselves or when polled.
    Lines,
}

/// What ends a line that the program sends.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum RawTerminator {
    /// Line feed.
    #[default]
    Lf,
    /// Carriage return.
    Cr,
    /// Both.
    CrLf,
    /// Nothing.
    None,
}

/// The DTR line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum RawDtr {
    /// Raise it.
    On,
    /// Lower it.
    Off,
    /// As the system has it.
    #[default]
    Leave,
}

/// When the meter is put under remote control.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum RawRemoteWhen {
    /// After each opening.
    Always,
    /// When it refuses a command because it is under local control.
    #[default]
    Refused,
}

/// How lines are protected.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum RawChecksum {
    /// Not at all.
    #[default]
    None,
    /// Exclusive or of all bytes before the digits.
    Xor,
    /// Sum of all bytes before the digits, modulo 256.
    Sum,
}

/// The commands of one function.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawFunction {
    /// Lines that set the function.
    #[serde(default)]
    pub configure: Vec<String>,
    /// Sets the function and asks for one reading, in one line.
    pub measure: Option<String>,
    /// Asks for one reading in the function set; `READ?` if left out.
    pub read: Option<String>,
    /// What `function_query` answers in this function, in SCPI short form.
    #[serde(default)]
    pub shown_as: Vec<String>,
}

/// What a unit word means.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawUnit {
    /// The unit.
    pub unit: Unit,
    /// The functions in which this word is sent; the first names readings nobody ordered.
    pub functions: Vec<Function>,
    /// The number is multiplied by this to give the unit.
    #[serde(default = "one")]
    pub factor: f64,
}

const fn one() -> f64 {
    1.0
}

/// Stated accuracy per function; the ranges of each in rising order.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawAccuracy {
    /// DC volts.
    #[serde(default)]
    pub voltage_dc: Vec<RawVoltsAccuracy>,
    /// AC volts.
    #[serde(default)]
    pub voltage_ac: Vec<RawVoltsAccuracy>,
    /// Two-wire ohms.
    #[serde(default)]
    pub resistance: Vec<RawOhmsAccuracy>,
    /// Four-wire ohms.
    #[serde(default)]
    pub resistance_4w: Vec<RawOhmsAccuracy>,
    /// Continuity.
    #[serde(default)]
    pub continuity: Vec<RawOhmsAccuracy>,
    /// Diode test.
    #[serde(default)]
    pub diode: Vec<RawVoltsAccuracy>,
}

/// Accuracy in one range of a voltage function.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawVoltsAccuracy {
    /// Largest magnitude of this range; left out in the last.
    pub up_to_volts: Option<f64>,
    /// Percent of the reading.
    #[serde(default)]
    pub percent: f64,
    /// Constant part.
    #[serde(default)]
    pub floor_volts: f64,
    /// Counts of the last digit.
    #[serde(default)]
    pub counts: f64,
    /// One count of the last digit.
    #[serde(default)]
    pub count_volts: f64,
}

/// Accuracy in one range of a resistance function.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawOhmsAccuracy {
    /// Largest magnitude of this range; left out in the last.
    pub up_to_ohms: Option<f64>,
    /// Percent of the reading.
    #[serde(default)]
    pub percent: f64,
    /// Constant part.
    #[serde(default)]
    pub floor_ohms: f64,
    /// Counts of the last digit.
    #[serde(default)]
    pub counts: f64,
    /// One count of the last digit.
    #[serde(default)]
    pub count_ohms: f64,
}
