//! What can go wrong with the archive, with the file, the step and SQLite's own words. The boards
//! are safe whatever it is: they are in their job folders, and the archive is made of those. One
//! hint says what to do.

use std::path::{Path, PathBuf};

/// The archive could not be read or written.
#[derive(Debug, thiserror::Error)]
#[error("history{}: {step}", .file.as_ref().map(|f| format!(" {}", shown(f))).unwrap_or_default())]
pub struct ArchiveError {
    file: Option<PathBuf>,
    step: String,
    #[source]
    source: Option<rusqlite::Error>,
}

fn shown(file: &Path) -> String {
    crate::event::visible(&file.display().to_string())
}

impl ArchiveError {
    pub(super) fn new(file: &Path, step: &str, source: rusqlite::Error) -> Self {
        Self { file: Some(file.to_owned()), step: step.into(), source: Some(source) }
    }

    pub(super) fn unnamed(step: &str, source: rusqlite::Error) -> Self {
        Self { file: None, step: step.into(), source: Some(source) }
    }

    pub(super) fn other_format(file: &Path, found: i64) -> Self {
        let step = format!("format {found} is not known to this program");
        Self { file: Some(file.to_owned()), step, source: None }
    }

    /// What to do about it, in one line.
    #[must_use]
    pub const fn hint(&self) -> &'static str {
        "every board is safe in its job folder; `coilmark history rebuild DIR...` makes the history \
         again, with COILMARK_DATA in another folder if this one cannot be used"
    }
}
