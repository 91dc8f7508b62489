//! What can go wrong with the record, classed by what the person can do about it. Every message
//! names the file; every error has one [`hint`](JournalError::hint). A record that cannot be
//! written stops the run (exit code 5); a record that cannot be read is refused, never guessed.

use super::check::{Damage, Stop};
use crate::event::visible;
use std::io;
use std::path::{Path, PathBuf};

/// A failure of the journal.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The record could not be written or made durable: the run must stop.
    #[error("{}: not written: {step}", shown(.file))]
    NotWritten {
        /// The file or folder.
        file: PathBuf,
        /// What was being done.
        step: &'static str,
        /// What the system said.
        #[source]
        source: io::Error,
    },
    /// There is a journal in this folder already.
    #[error("{}: a job is recorded there already", shown(.file))]
    Exists {
        /// The journal.
        file: PathBuf,
    },
    /// There is no journal in this folder.
    #[error("{}: no such journal", shown(.file))]
    NoJournal {
        /// Where it was looked for.
        file: PathBuf,
    },
    /// Another process is writing this journal.
    #[error("{}: another run is writing it", shown(.file))]
    InUse {
        /// The journal.
        file: PathBuf,
    },
    /// The journal is a link, a folder or a device; following it could overwrite something else.
    #[error("{}: expected a plain file, found {found}", shown(.file))]
    NotAPlainFile {
        /// The path.
        file: PathBuf,
        /// What is there.
        found: &'static str,
    },
    /// The journal was changed, cut or reordered.
    #[error("{}: {damage}", shown(.file))]
    Damaged {
        /// The journal.
        file: PathBuf,
        /// What and where.
        damage: Damage,
    },
    /// The journal is of a format that this program does not know.
    #[error(
        "{}: line {line}: format {found}, expected {expected}",
        shown(.file),
        expected = crate::event::VERSION
    )]
    OtherVersion {
        /// The journal.
        file: PathBuf,
        /// The line.
        line: u64,
        /// The format it claims.
        found: u64,
    },
    /// A line is as it was written, and this program cannot make sense of it.
    #[error("{}: line {line}: unreadable: {}", shown(.file), visible(.reason))]
    Unreadable {
        /// The journal.
        file: PathBuf,
        /// The line.
        line: u64,
        /// Why.
        reason: String,
    },
    /// The journal could not be read.
    #[error("{}: cannot be read", shown(.file))]
    NotRead {
        /// The journal.
        file: PathBuf,
        /// What the system said.
        #[source]
        source: io::Error,
    },
}

impl JournalError {
    /// What the person at the bench can do about it: one line, without the word `hint`.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NotWritten { source, .. } => match source.kind() {
                io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                    "make room on the disk, then `coilmark resume` goes on where this stopped"
                }
                io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                    "give --job a folder that you may write to"
                }
                _ => "give --job a folder on a disk that is sound and that you may write to",
            },
            Self::Exists { .. } => "`coilmark resume` goes on with it; or give another --job",
            Self::NoJournal { .. } => "name the folder that was given to --job",
            Self::InUse { .. } => "end the other run first, or give another --job",
            Self::NotAPlainFile { .. } => "move it away, or give another --job",
            Self::Damaged { .. } => "take the copy that was never edited; nothing is built on this",
            Self::OtherVersion { .. } => "use the version of coilmark that wrote it",
            Self::Unreadable { .. } => "a newer coilmark may have written it: use that one",
            Self::NotRead { .. } => "check that the disk is sound and that you may read the file",
        }
    }

    pub(super) fn stopped(file: &Path, stop: Stop) -> Self {
        let file = file.to_owned();
        match stop {
            Stop::Damaged(damage) => Self::Damaged { file, damage },
            Stop::OtherVersion { line, found } => Self::OtherVersion { file, line, found },
            Stop::Unreadable { line, reason } => Self::Unreadable { file, line, reason },
        }
    }
}

fn shown(path: &Path) -> String {
    visible(&path.display().to_string())
}
