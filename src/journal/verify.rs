//! The answer to `coilmark verify`: a job folder in, what its journal is worth out. A torn last
//! line is repaired on the way, by the same act as opening. A chain shows that nothing was
//! edited, cut out or moved; it cannot show that whole lines were taken off the end, so whether
//! the last run finished is said beside it.

use super::check::{Damage, DamageKind, Stop};
use super::{FILE_NAME, Journal, JournalError, read_checked};
use crate::event::Event;
use std::fmt;
use std::path::Path;

/// What a journal is worth.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verified {
    /// Every line follows from the one before.
    Whole {
        /// How many lines.
        lines: u64,
        /// Whether the last line says that a run finished.
        finished: bool,
    },
    /// Whole, once the torn last line was set aside.
    Repaired {
        /// How many lines were kept.
        lines: u64,
        /// How many bytes were set aside.
        bytes_torn: u64,
    },
    /// A line is not what was written.
    Changed(Damage),
    /// Lines are missing.
    Cut(Damage),
    /// Lines stand in another order.
    Reordered(Damage),
    /// There is no journal.
    NoJournal,
}

impl Verified {
    /// Whether the record may be relied on.
    #[must_use]
    pub const fn is_sound(&self) -> bool {
        matches!(self, Self::Whole { .. } | Self::Repaired { .. })
    }
}

impl fmt::Display for Verified {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Whole { lines, finished: true } => write!(f, "whole: {lines} lines"),
            Self::Whole { lines, finished: false } => {
                write!(f, "whole: {lines} lines; the last run did not finish")
            }
            Self::Repaired { lines, bytes_torn } => write!(
                f,
                "repaired: {lines} lines; {bytes_torn} torn bytes at the end were set aside"
            ),
            Self::Changed(damage) | Self::Cut(damage) | Self::Reordered(damage) => damage.fmt(f),
            Self::NoJournal => f.write_str("no journal"),
        }
    }
}

/// Checks the journal in `dir`, repairing a torn last line.
///
/// # Errors
/// A journal that cannot be read, is of another format, or is torn while another run writes it.
pub fn verify(dir: &Path) -> Result<Verified, JournalError> {
    let path = dir.join(FILE_NAME);
    let checked = match read_checked(&path) {
        Err(JournalError::NoJournal { .. }) => return Ok(Verified::NoJournal),
        checked => checked?,
    };
    match checked.stop {
        Some(Stop::Damaged(damage)) => {
            return Ok(match damage.kind {
                DamageKind::Changed { .. } => Verified::Changed(damage),
                DamageKind::Cut { .. } => Verified::Cut(damage),
                DamageKind::Reordered { .. } => Verified::Reordered(damage),
            });
        }
        Some(stop) => return Err(JournalError::stopped(&path, stop)),
        None => {}
    }
    let finished =
        checked.entries.last().is_some_and(|e| matches!(e.event, Event::RunFinished { .. }));
    let lines = checked.entries.len() as u64;
    if checked.torn_bytes == 0 {
        return Ok(Verified::Whole { lines, finished });
    }
    let (_, past) = Journal::open(dir)?;
    Ok(match past.repaired {
        Some(repair) => {
            Verified::Repaired { lines: repair.lines_kept, bytes_torn: repair.bytes_torn }
        }
        None => Verified::Whole { lines: past.entries.len() as u64, finished },
    })
}
