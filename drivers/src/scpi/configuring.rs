//! The first half of [`Measuring`]: set the function, see in the error queue whether the meter
//! took it, and ask which function is in force. A refusal under local control is answered by
//! taking control, once; any other leads to one-line queries, or declines the order. Where
//! nothing says whether a function was taken, only queries that name it are used.

use super::error_queue::ErrorEntry;
use super::measuring::{Measuring, Stage};
use super::message::short_header;
use super::session::{Known, Next, Support};
use super::syncing::refused;
use super::wire::Wire;
use crate::clock::Moment;
use crate::error::{DriverError, escape};
use crate::line::BadLine;
use crate::meter::MeterEvent;

impl Measuring {
    pub(super) fn configure(&mut self, wire: &mut Wire, now: Moment) {
        let mut at = now;
        for line in &self.commands.configure {
            at = wire.send(line);
        }
        self.stage = Stage::Settling { until: at + wire.dialect.settle, first: None };
    }

    pub(super) fn ask_taken(
        &mut self,
        left: u32,
        first: Option<ErrorEntry>,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        self.since = now;
        match wire.dialect.error_query.clone() {
            Some(query) if known.errors != Support::No => {
                let deadline = wire.ask(&query, wire.dialect.timeout);
                self.stage = Stage::Taken { deadline, left, first };
                Next::Stay
            }
            _ => self.after_configuring(first, wire, known, now),
        }
    }

    pub(super) fn taken(
        &mut self,
        entry: ErrorEntry,
        left: u32,
        first: Option<ErrorEntry>,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        if !entry.is_none() && left > 1 {
            return self.ask_taken(left - 1, first.or(Some(entry)), wire, known, now);
        }
        known.errors = if entry.is_none() { Support::Yes } else { Support::No };
        self.after_configuring(first, wire, known, now)
    }

    /// Goes on if the meter took it; `refusal` is what it said against it.
    pub(super) fn after_configuring(
        &mut self,
        refusal: Option<ErrorEntry>,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        let Some(error) = refusal else {
            known.configures |= known.errors == Support::Yes;
            return self.ask_shown(wire, known, now);
        };
        if error.is_local() && !known.remote_sent && !wire.dialect.remote.is_empty() {
            for line in wire.dialect.remote.clone() {
                wire.send(&line);
            }
            known.remote_sent = true;
            self.configure(wire, now);
            return Next::Stay;
        }
        let refusal = refused(&wire.port, &self.commands.configure.join(";"), &error);
        if known.configures || self.commands.measure.is_none() {
            return self.decline(refusal, wire, known);
        }
        wire.complain(refusal);
        known.one_shot.insert(self.wanted.function);
        self.read(wire, known, now);
        Next::Stay
    }

    pub(super) fn decline(&self, error: DriverError, wire: &mut Wire, known: &mut Known) -> Next {
        wire.tell(MeterEvent::Declined { epoch: self.wanted.epoch, error });
        if known.wanted == Some(self.wanted) {
            known.wanted = None;
        }
        Next::Ready
    }

    pub(super) fn ask_shown(&mut self, wire: &mut Wire, known: &mut Known, now: Moment) -> Next {
        known.configured = Some(self.wanted.function);
        known.since_status = 0;
        self.since = now;
        match self.function_query(wire, known) {
            Some(query) => {
                let within = match known.function_query {
                    Support::Unknown => known.optional_within(wire.dialect.timeout),
                    _ => wire.dialect.timeout,
                };
                self.stage = Stage::Shown { deadline: wire.ask(&query, within) };
            }
            None => {
                // Nothing says whether it took the function: only a query that names it is safe.
                if known.errors != Support::Yes && self.commands.measure.is_some() {
                    known.one_shot.insert(self.wanted.function);
                }
                self.read(wire, known, now);
            }
        }
        Next::Stay
    }

    pub(super) fn function_query(&self, wire: &Wire, known: &Known) -> Option<String> {
        let asks = known.function_query != Support::No && !self.commands.shown_as.is_empty();
        wire.dialect.function_query.clone().filter(|_| asks)
    }

    pub(super) fn shown(
        &mut self,
        line: &Result<String, BadLine>,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        if self.shows_function(line) {
            known.function_query = Support::Yes;
        } else if known.function_query == Support::Yes {
            return Next::Failed(self.setting_lost(line, wire));
        } else {
            // It answers something else: it cannot be used to confirm anything, and it may be
            // that the function was not taken. Queries that name their function are safe.
            known.function_query = Support::No;
            known.configures = false;
            if self.commands.measure.is_some() {
                known.one_shot.insert(self.wanted.function);
            }
            if line.as_deref().is_ok_and(|text| text.starts_with(['"', '\''])) {
                self.read(wire, known, now);
                return Next::Stay;
            }
            return Next::Resync;
        }
        self.read(wire, known, now);
        Next::Stay
    }

    pub(super) fn shows_function(&self, line: &Result<String, BadLine>) -> bool {
        line.as_deref().is_ok_and(|text| self.commands.shown_as.contains(&short_header(text)))
    }

    pub(super) fn setting_lost(&self, line: &Result<String, BadLine>, wire: &Wire) -> DriverError {
        let found = match line {
            Ok(text) => escape(text.as_bytes(), 64),
            Err(_) => "noise".to_owned(),
        };
        let expected = self.wanted.function.to_string();
        DriverError::SettingLost { port: wire.port.clone(), expected, found }
    }
}
