//! What ends a run, in one message: the culprit, what was expected and found, and a hint that
//! says what to do with hands or flags. The exit codes stand here, and which of them each error of
//! another room gets.

use crate::archive::ArchiveError;
use crate::bench::{BadPart, ServeError, StandaloneError};
use crate::journal::{JournalError, SignatureError};
use crate::logbook::LogFileError;
use crate::zone::BadPanel;
use drivers::DriverError;
use std::error::Error;
use std::fmt;
use std::io;

/// The process exit codes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Finished, and passed or identified.
    Done,
    /// Finished, and a limit failed or the part stays undecided.
    NotPassed,
    /// The invocation, a plan or a file is wrong.
    BadInput,
    /// The instrument or its link failed.
    Instrument,
    /// The operator stopped it.
    Aborted,
    /// The record could not be written.
    RecordNotWritten,
}

impl Exit {
    /// The code that the process ends with.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::NotPassed => 1,
            Self::BadInput => 2,
            Self::Instrument => 3,
            Self::Aborted => 4,
            Self::RecordNotWritten => 5,
        }
    }

    /// The exit of this code; an unknown one did not pass.
    #[must_use]
    pub const fn from_code(code: u8) -> Self {
        match code {
            0 => Self::Done,
            2 => Self::BadInput,
            3 => Self::Instrument,
            4 => Self::Aborted,
            5 => Self::RecordNotWritten,
            _ => Self::NotPassed,
        }
    }
}

/// A failure with its exit code and its hint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    /// The exit code.
    pub exit: Exit,
    message: String,
    hint: String,
}

impl Failure {
    /// The same failure with one more thing to know.
    #[must_use]
    pub fn with_more(mut self, more: &str) -> Self {
        self.message = format!("{}; {more}", self.message);
        self
    }

    /// A failure of this exit.
    #[must_use]
    pub fn new(exit: Exit, message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { exit, message: message.into(), hint: hint.into() }
    }

    /// A file or an invocation that is wrong.
    #[must_use]
    pub fn bad_input(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Exit::BadInput, message, hint)
    }

    /// The guide refused the meter that answers.
    #[must_use]
    pub fn other_meter(reason: impl Into<String>) -> Self {
        let hint = "connect the meter that began this job, or say --accept-meter";
        Self::new(Exit::Instrument, reason, hint)
    }

    /// Nobody reads what the operator is shown any more.
    #[must_use]
    pub fn operator_gone(source: &io::Error) -> Self {
        Self::new(
            Exit::Aborted,
            format!("the operator's output was closed: {source}"),
            "the record is whole; `coilmark resume` goes on",
        )
    }

    /// What to do about it, in one line.
    #[must_use]
    pub fn hint(&self) -> &str {
        &self.hint
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl Error for Failure {}

impl From<&DriverError> for Exit {
    fn from(error: &DriverError) -> Self {
        match error {
            DriverError::BadLink { .. } | DriverError::BadProfile { .. } => Self::BadInput,
            _ => Self::Instrument,
        }
    }
}

impl From<DriverError> for Failure {
    fn from(error: DriverError) -> Self {
        Self::new(Exit::from(&error), chain(&error), error.hint())
    }
}

impl From<ServeError> for Failure {
    fn from(error: ServeError) -> Self {
        Self::new(Exit::Instrument, chain(&error), error.hint())
    }
}

impl From<StandaloneError> for Failure {
    fn from(error: StandaloneError) -> Self {
        Self::new(Exit::Instrument, chain(&error), error.hint())
    }
}

impl From<BadPart> for Failure {
    fn from(bad: BadPart) -> Self {
        Self::bad_input(chain(&bad), bad.hint)
    }
}

impl From<BadPanel> for Failure {
    fn from(bad: BadPanel) -> Self {
        Self::bad_input(chain(&bad), bad.hint)
    }
}

impl From<LogFileError> for Failure {
    fn from(error: LogFileError) -> Self {
        let hint = "make room, or give the folder write permission; `coilmark resume` goes on";
        Self::new(Exit::RecordNotWritten, chain(&error), hint)
    }
}

impl From<ArchiveError> for Failure {
    fn from(error: ArchiveError) -> Self {
        Self::new(Exit::RecordNotWritten, chain(&error), error.hint())
    }
}

impl From<JournalError> for Failure {
    fn from(error: JournalError) -> Self {
        let exit = match error {
            JournalError::NotWritten { .. } => Exit::RecordNotWritten,
            _ => Exit::BadInput,
        };
        Self::new(exit, chain(&error), error.hint())
    }
}

impl From<SignatureError> for Failure {
    fn from(error: SignatureError) -> Self {
        let (message, hint) = (chain(&error), error.hint());
        match error {
            SignatureError::Journal(error) => error.into(),
            SignatureError::NotWritten { .. } => Self::new(Exit::RecordNotWritten, message, hint),
            _ => Self::new(Exit::BadInput, message, hint),
        }
    }
}

/// An error with all its sources, in one line.
#[must_use]
pub fn chain(error: &dyn Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        text = format!("{text}: {cause}");
        source = cause.source();
    }
    text
}
