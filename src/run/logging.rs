//! The loop's side of a log: opening it, writing rows, syncing them in time, closing it. What the
//! guide orders becomes a file in the job folder and a fact in the journal; what the file holds is
//! the guide's matter, how it is held is [`crate::logbook`]'s.

use super::Run;
use super::failure::Failure;
use crate::event::{Event, LogEnd, LogNews};
use crate::logbook::LogFile;
use drivers::Moment;
use std::path::{Path, PathBuf};

impl Run<'_> {
    /// Begins a log, or goes on with one; its time is `t_s` now.
    pub(super) fn open_log(&mut self, file: Option<String>, t_s: f64) -> Result<(), Failure> {
        let dir = self.folder();
        let (log, torn_bytes) = match file {
            None => (LogFile::create(&dir, self.log_kind)?, 0),
            Some(file) => LogFile::go_on(&dir, &file)?,
        };
        let (file, rows) = (log.name().to_owned(), log.rows());
        self.log = Some(log);
        self.record(&Event::Logged(LogNews::Opened { file, t_s, rows, torn_bytes }))
    }

    /// Writes a row.
    pub(super) fn log(&mut self, t_s: f64, volts: Option<f64>) -> Result<(), Failure> {
        let now = self.on.clock.now();
        match &mut self.log {
            Some(log) => Ok(log.write(t_s, volts, now)?),
            None => Ok(()),
        }
    }

    /// Ends the log, with what it is, so that anyone can check later that it is still that.
    pub(super) fn close_log(&mut self, why: LogEnd) -> Result<(), Failure> {
        let Some(log) = self.log.take() else { return Ok(()) };
        let file = log.name().to_owned();
        let digest = log.close()?;
        let (rows, sha256) = (digest.rows, digest.sha256);
        self.record(&Event::Logged(LogNews::Closed { file, rows, sha256, why }))
    }

    /// When the loop is wanted: by the guide, by the operator, or by rows that are not on disk yet.
    pub(super) fn wake_at(&self) -> Option<Moment> {
        let log = self.log.as_ref().and_then(LogFile::sync_at);
        let operator = self.on.operator.wake_at();
        self.on.guide.wake_at().into_iter().chain(operator).chain(log).min()
    }

    /// Syncs what is due.
    pub(super) fn keep_log(&mut self) -> Result<(), Failure> {
        let now = self.on.clock.now();
        match &mut self.log {
            Some(log) if log.sync_at().is_some_and(|due| due <= now) => Ok(log.sync()?),
            _ => Ok(()),
        }
    }

    fn folder(&self) -> PathBuf {
        self.on.journal.path().parent().unwrap_or(Path::new(".")).to_owned()
    }
}
