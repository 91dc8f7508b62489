//! Why a log cannot be used: what was expected, what was found, and one hint that can be acted
//! on. An expected state, such as a broken row among many, is no error. Text from the file stands
//! here as it came; whoever shows it makes it plain.

use super::Rows;
use std::io;
use std::path::PathBuf;

/// A log that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// The system could not read it.
    #[error("the log could not be read")]
    NotRead(#[source] io::Error),
    /// No column is known for what is needed.
    #[error("no usable header: expected a {wanted} column, found {found}")]
    NoHeader {
        /// `time` or `value`.
        wanted: &'static str,
        /// What the first line says.
        found: String,
    },
    /// A column that was asked for is not there.
    #[error("no column {wanted}: the header has {found}")]
    NoColumn {
        /// The name or number that was given.
        wanted: String,
        /// What the first line says.
        found: String,
    },
    /// Too few of its rows can be read.
    #[error("{broken} of {rows} rows are broken; the first is data row {row}: {why}")]
    TooBroken {
        /// How many.
        broken: u64,
        /// Of how many.
        rows: u64,
        /// The first broken one, counted from 1 after the header.
        row: u64,
        /// What is wrong with it.
        why: String,
    },
    /// There is no row at all.
    #[error("no readings: nothing stands below the header")]
    Empty,
}

impl LogError {
    /// What to do about it, in one line.
    #[must_use]
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::NotRead(_) => "check the path and that the file may be read",
            Self::NoHeader { .. } | Self::NoColumn { .. } => {
                "the first line must name the columns, as t_s,value,unit,overload; name others \
                 with --time-column NAME and --value-column NAME"
            }
            Self::TooBroken { .. } => {
                "times are seconds or RFC 3339 stamps, values numbers in V, mV or kV; if other \
                 columns hold them, name those with --time-column and --value-column"
            }
            Self::Empty => "a log needs at least one row of time and value",
        }
    }
}

/// A log that could not be written or read back: the run that writes it must stop.
#[derive(Debug, thiserror::Error)]
#[error("{}: log: {step}", crate::event::visible(&file.display().to_string()))]
pub struct LogFileError {
    /// The log.
    pub file: PathBuf,
    /// What was being done.
    pub step: &'static str,
    /// What the system said.
    #[source]
    pub source: io::Error,
}

impl LogFileError {
    /// What to do about it, in one line.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self.source.kind() {
            io::ErrorKind::AlreadyExists => "a log is there already: name another one",
            io::ErrorKind::NotFound => "the log or its folder is not there: check the path",
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                "make room on the disk and go on: the rows that were synced are whole"
            }
            _ => "check that the disk has room and the folder may be written",
        }
    }
}

pub(super) fn too_broken(rows: Rows) -> LogError {
    match rows.first_broken {
        Some((row, why)) => LogError::TooBroken { broken: rows.broken, rows: rows.rows, row, why },
        None => LogError::Empty,
    }
}
