//! A finding that is worked out at once, with nobody asked and nothing measured: as the one JSON
//! object that scripts read, on standard output, and as a task of its own in a job's record. The
//! line is the result note that the operator's JSON lines carry.

use super::failure::{Exit, Failure};
use super::stamp::stamp;
use super::station::{kept_record, write_reports};
use crate::event::{Event, Finding, RunStart, RunTerms, visible};
use crate::journal::Journal;
use crate::operator;
use drivers::SystemClock;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The finding as one JSON line.
pub(super) fn result_line(finding: &Finding) -> String {
    // Numbers in a finding are finite or `null` and its maps have text keys: this cannot fail.
    operator::note(&Event::ResultReached(finding.clone())).unwrap_or_default()
}

/// Text for standard output.
pub(super) fn tell(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    let told = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    told.map_err(|e| Failure::operator_gone(&e))
}

/// A task for a job's record: what was given, what was found, how it ended and why.
pub(super) struct WorkedOut {
    pub(super) terms: RunTerms,
    pub(super) finding: Finding,
    pub(super) simulated: bool,
    pub(super) exit: Exit,
    pub(super) reason: String,
}

impl WorkedOut {
    /// Writes it into the job's record, which is begun if it is not there, and renders the
    /// reports; returns the page's path.
    pub(super) fn record(self, job: &Path) -> Result<PathBuf, Failure> {
        let (kept, past) = kept_record(job)?;
        let mut journal = match kept {
            Some(journal) => journal,
            None => Journal::create(job)?,
        };
        let clock = SystemClock::begin();
        let start = RunStart::without_meter(self.terms, self.simulated, past.torn_bytes());
        let reason = (self.exit != Exit::Done).then_some(self.reason);
        for event in [
            Event::RunStarted(start),
            Event::ResultReached(self.finding),
            Event::RunFinished {
                exit: self.exit.code(),
                reason,
                job: visible(&job.display().to_string()),
            },
        ] {
            journal.append(&event, stamp(&clock))?;
        }
        let [page, ..] = write_reports(job)?;
        Ok(page)
    }
}
