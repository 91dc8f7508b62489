//! How a meter talks, checked: commands and times of a SCPI meter, grammar and unit words of a
//! meter that sends lines. Nothing downstream checks these again; what a file said, unchecked, is
//! the raw profile's.

use crate::reading::{Function, Unit};
use regex_lite::Regex;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

/// The kind of dialect, with all that belongs to it.
#[derive(Clone, Debug)]
pub enum Dialect {
    /// Queries and answers in SCPI.
    Scpi(ScpiDialect),
    /// Lines of text, by themselves or when polled.
    Lines(LinesDialect),
}

/// What ends a line that the program sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Terminator {
    /// Line feed.
    Lf,
    /// Carriage return.
    Cr,
    /// Carriage return and line feed.
    CrLf,
    /// Nothing.
    Nothing,
}

impl Terminator {
    /// Its bytes.
    #[must_use]
    pub const fn bytes(self) -> &'static [u8] {
        match self {
            Self::Lf => b"\n",
            Self::Cr => b"\r",
            Self::CrLf => b"\r\n",
            Self::Nothing => b"",
        }
    }
}

/// When the meter is put under remote control.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RemoteWhen {
    /// After each opening.
    Always,
    /// When it refuses a command under local control (-201, -203).
    Refused,
}

/// The commands of one function.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FunctionCommands {
    /// Lines that set the function; may be empty if there is a `measure`.
    pub configure: Vec<String>,
    /// Sets the function and asks for one reading.
    pub measure: Option<String>,
    /// Asks for one reading in the function set.
    pub read: String,
    /// Answers of the function query in this function.
    pub shown_as: Vec<String>,
}

/// A SCPI meter.
#[derive(Clone, Debug)]
pub struct ScpiDialect {
    /// What ends a line that the program sends.
    pub terminator: Terminator,
    /// Longest wait for an answer beside the measurement.
    pub timeout: Duration,
    /// Longest that one measurement takes.
    pub integration: Duration,
    /// Pause after configuring.
    pub settle: Duration,
    /// Shortest time between two lines sent.
    pub gap: Duration,
    /// How long the line must be silent to count as drained.
    pub quiet: Duration,
    /// Shortest time from the beginning of one reading to that of the next.
    pub pace: Duration,
    /// Pause after opening.
    pub open: Duration,
    /// Lines sent after each opening.
    pub init: Vec<String>,
    /// Lines that take the meter under control.
    pub remote: Vec<String>,
    /// When they are sent.
    pub remote_when: RemoteWhen,
    /// Lines that give it back.
    pub local: Vec<String>,
    /// Whether lines sent come back first.
    pub echo: bool,
    /// Words that mean overload.
    pub overload: Vec<String>,
    /// Asks for one entry of the error queue.
    pub error_query: Option<String>,
    /// Asks for the function in force.
    pub function_query: Option<String>,
    /// How many readings each query brings.
    pub block: usize,
    /// The event status register is asked for every so many queries.
    pub status_every: u32,
    /// Commands per function.
    pub functions: BTreeMap<Function, Arc<FunctionCommands>>,
}

/// How lines are protected by two hexadecimal digits at their end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Checksum {
    /// Not at all.
    None,
    /// Exclusive or of the bytes before them.
    Xor,
    /// Sum of the bytes before them, modulo 256.
    Sum,
}

/// What a unit word means.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitWord {
    /// The unit.
    pub unit: Unit,
    /// Functions in which this word is sent, at least one.
    pub functions: Vec<Function>,
    /// Factor to the unit.
    pub factor: f64,
}

/// A meter that sends lines.
#[derive(Clone, Debug)]
pub struct LinesDialect {
    /// What ends a line that the program sends.
    pub terminator: Terminator,
    /// Longest silence, or longest wait for a polled answer.
    pub timeout: Duration,
    /// Longest that one measurement takes: lines that end sooner after an order are not its.
    pub integration: Duration,
    /// Pause after configuring.
    pub settle: Duration,
    /// Shortest time between two lines sent, and so between two polls.
    pub gap: Duration,
    /// Pause after opening.
    pub open: Duration,
    /// Lines sent after each opening.
    pub init: Vec<String>,
    /// Lines sent at the end.
    pub local: Vec<String>,
    /// The line that asks for one reading, if the meter must be asked.
    pub poll: Option<String>,
    /// How many lines after an order may still belong to what was before.
    pub skip_lines: u32,
    /// The grammar, if it is not the built-in one.
    pub pattern: Option<Regex>,
    /// Whether a comma is the decimal mark.
    pub decimal_comma: bool,
    /// How lines are protected.
    pub checksum: Checksum,
    /// Words that mean overload, in capitals.
    pub overload: Vec<String>,
    /// Unit words, in capitals.
    pub units: BTreeMap<String, UnitWord>,
    /// Lines that set each function; empty if the operator turns the dial.
    pub functions: BTreeMap<Function, Vec<String>>,
}

impl LinesDialect {
    /// Whether a reading in this function can come.
    #[must_use]
    pub fn supports(&self, function: Function) -> bool {
        self.units.values().any(|word| word.functions.contains(&function))
    }
}
