//! The status side of a commanded instrument: the error queue, the standard event status
//! register and the status byte. Numbers and texts are those of SCPI-99 vol. 2 chapter 21; the
//! bits those of IEEE 488.2 clauses 11.2 and 11.5.1. Who raises what is the voice's matter.

use std::collections::VecDeque;

/// Most entries of the error queue.
const QUEUE_MAX: usize = 16;

/// Operation complete.
pub(crate) const OPC: u8 = 1;
/// Query error.
const QYE: u8 = 4;
/// Device-specific error.
const DDE: u8 = 8;
/// Execution error.
const EXE: u8 = 16;
/// Command error.
const CME: u8 = 32;
/// Power on.
const PON: u8 = 128;

/// An error of the instrument.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ScpiError {
    InvalidCharacter,
    DataType,
    ParameterNotAllowed,
    MissingParameter,
    UndefinedHeader,
    InvalidCharacterInNumber,
    InvalidCharacterData,
    InvalidString,
    InitIgnored,
    DataOutOfRange,
    IllegalParameter,
    DataStale,
    QueueOverflow,
    InputOverrun,
    Interrupted,
    Unterminated,
    UnterminatedAfterIndefinite,
}

impl ScpiError {
    /// Number and text.
    pub(crate) const fn entry(self) -> (i32, &'static str) {
        match self {
            Self::InvalidCharacter => (-101, "Invalid character"),
            Self::DataType => (-104, "Data type error"),
            Self::ParameterNotAllowed => (-108, "Parameter not allowed"),
            Self::MissingParameter => (-109, "Missing parameter"),
            Self::UndefinedHeader => (-113, "Undefined header"),
            Self::InvalidCharacterInNumber => (-121, "Invalid character in number"),
            Self::InvalidCharacterData => (-141, "Invalid character data"),
            Self::InvalidString => (-151, "Invalid string data"),
            Self::InitIgnored => (-213, "Init ignored"),
            Self::DataOutOfRange => (-222, "Data out of range"),
            Self::IllegalParameter => (-224, "Illegal parameter value"),
            Self::DataStale => (-230, "Data corrupt or stale"),
            Self::QueueOverflow => (-350, "Queue overflow"),
            Self::InputOverrun => (-363, "Input buffer overrun"),
            Self::Interrupted => (-410, "Query INTERRUPTED"),
            Self::Unterminated => (-420, "Query UNTERMINATED"),
            Self::UnterminatedAfterIndefinite => {
                (-440, "Query UNTERMINATED after indefinite response")
            }
        }
    }

    const fn event_bit(self) -> u8 {
        match self.entry().0 {
            -199..=-100 => CME,
            -299..=-200 => EXE,
            -399..=-300 => DDE,
            _ => QYE,
        }
    }
}

/// Registers and queue.
#[derive(Clone, Debug)]
pub(crate) struct Status {
    queue: VecDeque<ScpiError>,
    event: u8,
    pub(crate) event_enable: u8,
    pub(crate) service_enable: u8,
}

impl Status {
    /// As after switching on.
    pub(crate) fn powered_on() -> Self {
        Self { queue: VecDeque::new(), event: PON, event_enable: 0, service_enable: 0 }
    }

    /// Enters an error. When the queue is full the newest entry becomes the overflow.
    pub(crate) fn raise(&mut self, error: ScpiError) {
        self.event |= error.event_bit();
        if self.queue.len() < QUEUE_MAX {
            self.queue.push_back(error);
        } else if let Some(newest) = self.queue.back_mut() {
            *newest = ScpiError::QueueOverflow;
            self.event |= DDE;
        }
    }

    /// Sets bits of the event register.
    pub(crate) fn set_event(&mut self, bits: u8) {
        self.event |= bits;
    }

    /// Reads and clears the event register.
    pub(crate) fn take_event(&mut self) -> u8 {
        std::mem::take(&mut self.event)
    }

    /// The oldest error, as `SYSTem:ERRor?` says it.
    pub(crate) fn take_error(&mut self) -> String {
        let (number, text) = self.queue.pop_front().map_or((0, "No error"), ScpiError::entry);
        format!("{number:+},\"{text}\"")
    }

    /// How many errors wait.
    pub(crate) fn errors(&self) -> usize {
        self.queue.len()
    }

    /// `*CLS`.
    pub(crate) fn clear(&mut self) {
        self.queue.clear();
        self.event = 0;
    }

    /// The status byte, given whether a response waits.
    pub(crate) fn byte(&self, message_available: bool) -> u8 {
        let mut byte = u8::from(!self.queue.is_empty()) * 4;
        byte |= u8::from(message_available) * 16;
        byte |= u8::from(self.event & self.event_enable != 0) * 32;
        byte | (u8::from(byte & self.service_enable != 0) * 64)
    }
}
