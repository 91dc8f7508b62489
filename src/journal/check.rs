//! Reads a journal's bytes and says how far they are good: the longest prefix of whole lines in
//! which each line follows from the one before, and what ended it. A tail without its newline,
//! or a last line with NUL bytes in it, is what power loss leaves behind: torn, not damaged.
//! Anything else that does not fit is located by line. Changes nothing on disk.

use super::line::{self, Entry, FIRST_CHAIN, LINE_MAX, Parts};
use crate::event::VERSION;
use std::fmt;

/// What is wrong with a journal, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Damage {
    /// The first line that does not fit, from 1.
    pub line: u64,
    /// In what way.
    pub kind: DamageKind,
}

/// The ways in which a journal can be damaged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DamageKind {
    /// The line, or the one before it, is not what was written.
    Changed {
        /// What gives it away.
        reason: String,
    },
    /// Lines are missing before this one.
    Cut {
        /// The first number that is missing.
        from_seq: u64,
        /// The last number that is missing.
        to_seq: u64,
    },
    /// This line stands where another belongs, and that one is elsewhere in the file.
    Reordered {
        /// The number that belongs here.
        expected_seq: u64,
        /// The number that is here.
        found_seq: u64,
    },
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: ", self.line)?;
        match &self.kind {
            DamageKind::Changed { reason } => write!(f, "changed: {reason}"),
            DamageKind::Cut { from_seq, to_seq } if from_seq == to_seq => {
                write!(f, "cut: entry {from_seq} is missing before it")
            }
            DamageKind::Cut { from_seq, to_seq } => {
                write!(f, "cut: entries {from_seq} to {to_seq} are missing before it")
            }
            DamageKind::Reordered { expected_seq, found_seq } => {
                write!(f, "reordered: entry {found_seq} stands where {expected_seq} belongs")
            }
        }
    }
}

/// What ended the good prefix, other than the end of the file or a torn tail.
#[derive(Debug)]
pub(super) enum Stop {
    Damaged(Damage),
    OtherVersion { line: u64, found: u64 },
    Unreadable { line: u64, reason: String },
}

/// How far a journal's bytes are good.
#[derive(Debug)]
pub(super) struct Checked {
    pub(super) entries: Vec<Entry>,
    pub(super) good_bytes: usize,
    pub(super) last_chain: String,
    /// The chain of every line, in order.
    pub(super) chains: Vec<String>,
    /// Bytes after the good prefix that power loss tore.
    pub(super) torn_bytes: usize,
    pub(super) stop: Option<Stop>,
}

/// Checks all of `bytes`.
pub(super) fn check(bytes: &[u8]) -> Checked {
    let mut checked = Checked {
        entries: Vec::new(),
        good_bytes: 0,
        last_chain: FIRST_CHAIN.to_owned(),
        chains: Vec::new(),
        torn_bytes: 0,
        stop: None,
    };
    while checked.good_bytes < bytes.len() {
        let rest = &bytes[checked.good_bytes..];
        let end = rest.iter().position(|b| *b == b'\n');
        let last = end.is_none_or(|end| end + 1 == rest.len());
        let Some(end) = end.filter(|end| !(last && rest[..*end].contains(&0))) else {
            checked.torn_bytes = rest.len();
            break;
        };
        match one_line(&rest[..end], &rest[end + 1..], &checked) {
            Ok((entry, chain)) => {
                checked.entries.push(entry);
                checked.chains.push(chain.clone());
                checked.last_chain = chain;
                checked.good_bytes += end + 1;
            }
            Err(stop) => {
                checked.stop = Some(stop);
                break;
            }
        }
    }
    checked
}

fn one_line(bytes: &[u8], rest: &[u8], before: &Checked) -> Result<(Entry, String), Stop> {
    let line = before.entries.len() as u64 + 1;
    let damaged = |kind| Stop::Damaged(Damage { line, kind });
    let changed = |reason: &str| damaged(DamageKind::Changed { reason: reason.to_owned() });
    if bytes.len() > LINE_MAX {
        return Err(changed("it is longer than any line that is written"));
    }
    if let Some(found) = line::version(bytes).filter(|v| *v != u64::from(VERSION)) {
        return Err(Stop::OtherVersion { line, found });
    }
    let parts = Parts::split(bytes).ok_or_else(|| changed("it is no whole line of a journal"))?;
    if !parts.follows(&before.last_chain) {
        return Err(match line::seq(bytes) {
            Some(found) if found != line => damaged(out_of_order(line, found, rest)),
            _ => changed("it does not follow from the line before"),
        });
    }
    let entry: Entry = serde_json::from_slice(bytes)
        .map_err(|e| Stop::Unreadable { line, reason: e.to_string() })?;
    if entry.seq != line {
        return Err(damaged(out_of_order(line, entry.seq, rest)));
    }
    Ok((entry, parts.chain.to_owned()))
}

fn out_of_order(expected_seq: u64, found_seq: u64, rest: &[u8]) -> DamageKind {
    let elsewhere = rest.split(|b| *b == b'\n').any(|l| line::seq(l) == Some(expected_seq));
    if found_seq < expected_seq || elsewhere {
        DamageKind::Reordered { expected_seq, found_seq }
    } else {
        DamageKind::Cut { from_seq: expected_seq, to_seq: found_seq - 1 }
    }
}
