//! A journal read for a few kinds of entries only, fast: the chain is checked over every line, but
//! only lines of the kinds that are wanted are understood. Reads the longest prefix that is whole
//! and says whether that was all. Each entry comes with its line's chain, which is its name in the
//! world: no other line has it. Changes nothing on disk.

use super::line::{Entry, FIRST_CHAIN, LINE_MAX, Parts};
use super::{FILE_NAME, JournalError};
use std::path::Path;

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Sifted {
    /// The entries with their chains, in order.
    pub entries: Vec<(Entry, String)>,
    /// Whether the whole journal was good.
    pub whole: bool,
}

/// Entries of these kinds (`result`, `started`) from the journal in `dir`.
///
/// # Errors
/// [`JournalError::NoJournal`] or [`JournalError::NotRead`].
pub fn sift(dir: &Path, kinds: &[&str]) -> Result<Sifted, JournalError> {
    let path = dir.join(FILE_NAME);
    let bytes = super::read_bytes(&path)?;
    let marks: Vec<String> = kinds.iter().map(|kind| format!("\"event\":\"{kind}\"")).collect();
    let mut entries = Vec::new();
    let mut before = FIRST_CHAIN.to_owned();
    let mut rest = bytes.as_slice();
    while let Some(end) = rest.iter().position(|byte| *byte == b'\n') {
        let (line, after) = (&rest[..end], &rest[end + 1..]);
        let parts = Parts::split(line).filter(|_| line.len() <= LINE_MAX);
        let Some(parts) = parts.filter(|parts| parts.follows(&before)) else {
            return Ok(Sifted { entries, whole: false });
        };
        before = parts.chain.to_owned();
        // The mark stands near the line's beginning; a text that holds one too is understood for
        // nothing, and its kind is looked at again below.
        let head = &line[..line.len().min(256)];
        let wanted =
            marks.iter().any(|mark| head.windows(mark.len()).any(|w| w == mark.as_bytes()));
        if wanted {
            match serde_json::from_slice::<Entry>(line) {
                Ok(entry) => entries.push((entry, before.clone())),
                Err(_) => return Ok(Sifted { entries, whole: false }),
            }
        }
        rest = after;
    }
    Ok(Sifted { entries, whole: rest.is_empty() })
}
