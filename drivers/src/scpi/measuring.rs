//! At work on one order, in step with the meter: configure (and see in the error queue whether it
//! took that), see which function it says is in force, then read, one query at a time. A value is
//! held back until the meter has confirmed its function (or at least its event status), so that
//! a meter that was switched off and on is noticed before its value counts. Where `READ?` or
//! configuring does not work, one-line queries (`MEAS:RES?`) are tried, once, and remembered.

use super::error_queue::ErrorEntry;
use super::message::short_header;
use super::number::parse_value;
use super::session::{Known, Next, Support, Wanted};
use super::syncing::{ERRORS_AT_MOST, POWER_ON, event_status, refused};
use super::wire::Wire;
use crate::clock::Moment;
use crate::error::{DriverError, escape};
use crate::line::BadLine;
use crate::meter::MeterEvent;
use crate::profile::FunctionCommands;
use crate::reading::{Reading, Value};
use std::time::Duration;

#[derive(Debug)]
pub(super) struct Measuring {
    wanted: Wanted,
    commands: FunctionCommands,
    stage: Stage,
    since: Moment,
}

#[derive(Debug)]
enum Stage {
    /// Configured; the meter may need a while.
    Settling { until: Moment, first: Option<ErrorEntry> },
    /// The error query is under way, after configuring.
    Taken { deadline: Moment, left: u32, first: Option<ErrorEntry> },
    /// The function query is under way, after configuring.
    Shown { deadline: Moment },
    /// The reading is under way.
    Reading { query: String, deadline: Moment },
    /// The error query is under way, after a reading that did not come.
    Blaming { deadline: Moment, query: String },
    /// The reading is there; the function query is under way.
    Confirming { deadline: Moment, reading: Reading },
    /// The reading is there; `*ESR?` is under way.
    CheckingStatus { deadline: Moment, reading: Reading },
}

impl Measuring {
    /// Begins with what the order needs first; `None` if the profile has no such function.
    pub(super) fn begin(
        wanted: Wanted,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Option<Self> {
        let commands = wire.dialect.functions.get(&wanted.function)?.clone();
        if commands.configure.is_empty() {
            known.one_shot.insert(wanted.function);
        }
        let mut measuring = Self {
            wanted,
            commands,
            stage: Stage::Settling { until: now, first: None },
            since: now,
        };
        if known.configured == Some(wanted.function) || known.one_shot.contains(&wanted.function) {
            measuring.read(wire, known, now);
        } else {
            measuring.configure(wire, now);
        }
        Some(measuring)
    }

    pub(super) const fn deadline(&self) -> Moment {
        match &self.stage {
            Stage::Settling { until, .. } => *until,
            Stage::Taken { deadline, .. }
            | Stage::Shown { deadline }
            | Stage::Reading { deadline, .. }
            | Stage::Blaming { deadline, .. }
            | Stage::Confirming { deadline, .. }
            | Stage::CheckingStatus { deadline, .. } => *deadline,
        }
    }

    pub(super) const fn answer_due(&self) -> bool {
        !matches!(self.stage, Stage::Settling { .. })
    }

    /// Some meters answer commands that are no queries: that harms nothing before a reading.
    pub(super) const fn tolerates_strays(&self) -> bool {
        matches!(self.stage, Stage::Settling { .. } | Stage::Taken { .. })
    }

    /// How long the query under way has been waited for.
    pub(super) fn waited(&self, now: Moment) -> Duration {
        now.since(self.since)
    }

    pub(super) fn deadline_reached(
        &mut self,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        match &self.stage {
            Stage::Settling { first, .. } => {
                let first = first.clone();
                self.ask_taken(ERRORS_AT_MOST, first, wire, known, now)
            }
            Stage::Taken { .. } => {
                known.errors = Support::No;
                let query = wire.dialect.error_query.clone().unwrap_or_default();
                wire.complain(wire.no_answer(&query, self.waited(now)));
                Next::Resync
            }
            Stage::Shown { .. } => {
                known.function_query = Support::No;
                tracing::debug!(port = %wire.port, "no function query");
                Next::Resync
            }
            Stage::Reading { query, .. } => {
                let query = query.clone();
                self.blame(query, wire, known, now)
            }
            Stage::Blaming { query, .. } => {
                let error = wire.no_answer(query, self.waited(now));
                self.read_failed(error, known)
            }
            Stage::Confirming { .. } => self.unconfirmed("function query", wire, now),
            Stage::CheckingStatus { .. } => self.unconfirmed("*ESR?", wire, now),
        }
    }

    fn unconfirmed(&self, query: &str, wire: &Wire, now: Moment) -> Next {
        Next::Failed(wire.no_answer(query, self.waited(now)))
    }

    pub(super) fn line_received(
        &mut self,
        line: Result<String, BadLine>,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        let stage = std::mem::replace(&mut self.stage, Stage::Settling { until: now, first: None });
        match stage {
            Stage::Settling { until, first } => {
                // Some meters say at once what they refuse, instead of keeping it.
                let entry = line.as_deref().ok().and_then(ErrorEntry::parse);
                let refusal = entry.filter(|entry| entry.number < 0);
                if refusal.is_none() {
                    wire.complain(wire.garbled("nothing after a command", &line));
                }
                self.stage = Stage::Settling { until, first: first.or(refusal) };
                Next::Stay
            }
            Stage::Taken { deadline, left, first } => {
                match line.as_deref().ok().and_then(ErrorEntry::parse) {
                    Some(entry) => self.taken(entry, left, first, wire, known, now),
                    None => {
                        wire.complain(wire.garbled("an entry of the error queue", &line));
                        self.stage = Stage::Taken { deadline, left, first };
                        Next::Stay
                    }
                }
            }
            Stage::Shown { .. } => self.shown(&line, wire, known, now),
            Stage::Reading { query, .. } => self.value_received(&line, &query, wire, known, now),
            Stage::Blaming { query, .. } => self.blamed(&line, &query, wire, known, now),
            Stage::Confirming { reading, .. } => self.confirmed(&line, reading, wire, known, now),
            Stage::CheckingStatus { reading, .. } => {
                self.status_received(&line, reading, wire, known)
            }
        }
    }

    // Configuring.

    fn configure(&mut self, wire: &mut Wire, now: Moment) {
        let mut at = now;
        for line in &self.commands.configure {
            at = wire.send(line);
        }
        self.stage = Stage::Settling { until: at + wire.dialect.settle, first: None };
    }

    fn ask_taken(
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

    fn taken(
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
    fn after_configuring(
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

    fn decline(&self, error: DriverError, wire: &mut Wire, known: &mut Known) -> Next {
        wire.tell(MeterEvent::Declined { epoch: self.wanted.epoch, error });
        if known.wanted == Some(self.wanted) {
            known.wanted = None;
        }
        Next::Ready
    }

    fn ask_shown(&mut self, wire: &mut Wire, known: &mut Known, now: Moment) -> Next {
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

    fn function_query(&self, wire: &Wire, known: &Known) -> Option<String> {
        let asks = known.function_query != Support::No && !self.commands.shown_as.is_empty();
        wire.dialect.function_query.clone().filter(|_| asks)
    }

    fn shown(
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

    fn shows_function(&self, line: &Result<String, BadLine>) -> bool {
        line.as_deref().is_ok_and(|text| self.commands.shown_as.contains(&short_header(text)))
    }

    fn setting_lost(&self, line: &Result<String, BadLine>, wire: &Wire) -> DriverError {
        let found = match line {
            Ok(text) => escape(text.as_bytes(), 64),
            Err(_) => "noise".to_owned(),
        };
        let expected = self.wanted.function.to_string();
        DriverError::SettingLost { port: wire.port.clone(), expected, found }
    }

    // Reading.

    fn read(&mut self, wire: &mut Wire, known: &mut Known, now: Moment) {
        let one_shot = known.one_shot.contains(&self.wanted.function);
        let query = match &self.commands.measure {
            Some(measure) if one_shot => measure.clone(),
            _ => self.commands.read.clone(),
        };
        let paced = known.read_at.map_or(now, |last| (last + wire.dialect.pace).max(now));
        let at = wire.send_at(&query, paced);
        known.read_at = Some(at);
        self.since = at;
        let deadline = at + wire.dialect.timeout + wire.dialect.integration;
        self.stage = Stage::Reading { query, deadline };
    }

    fn value_received(
        &mut self,
        line: &Result<String, BadLine>,
        query: &str,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        let value = match line {
            Ok(text) => self.parse(text, wire).map(|value| (value, text)),
            Err(_) => None,
        };
        let Some((value, text)) = value else {
            let error = wire.garbled(&format!("a reading for `{query}`"), line);
            return self.read_failed(error, known);
        };
        let function = self.wanted.function;
        let reading = Reading {
            value,
            unit: function.unit(),
            function,
            u: wire.profile.standard_uncertainty(function, value),
            text: escape(text.as_bytes(), 200),
            at: now,
        };
        known.reads = Support::Yes;
        self.since = now;
        match self.function_query(wire, known) {
            Some(query) if known.function_query == Support::Yes => {
                let deadline = wire.ask(&query, wire.dialect.timeout);
                self.stage = Stage::Confirming { deadline, reading };
                Next::Stay
            }
            _ if known.one_shot.contains(&function) => self.deliver(reading, wire, known),
            _ => self.check_status(reading, wire, known),
        }
    }

    fn parse(&self, text: &str, wire: &Wire) -> Option<Value> {
        let word = text.trim().trim_start_matches(['+', '-']).to_ascii_uppercase();
        if wire.dialect.overload.contains(&word) {
            return Some(Value::Overload);
        }
        parse_value(text).ok()
    }

    fn confirmed(
        &mut self,
        line: &Result<String, BadLine>,
        reading: Reading,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        if !self.shows_function(line) {
            return Next::Failed(self.setting_lost(line, wire));
        }
        known.since_status += 1;
        self.since = now;
        if known.since_status < wire.dialect.status_every {
            return self.deliver(reading, wire, known);
        }
        known.since_status = 0;
        self.check_status(reading, wire, known)
    }

    fn check_status(&mut self, reading: Reading, wire: &mut Wire, known: &mut Known) -> Next {
        if known.status != Support::Yes {
            return self.deliver(reading, wire, known);
        }
        let deadline = wire.ask("*ESR?", wire.dialect.timeout);
        self.stage = Stage::CheckingStatus { deadline, reading };
        Next::Stay
    }

    fn status_received(
        &self,
        line: &Result<String, BadLine>,
        reading: Reading,
        wire: &mut Wire,
        known: &mut Known,
    ) -> Next {
        match line.as_deref().ok().and_then(event_status) {
            Some(status) if status & POWER_ON == 0 => self.deliver(reading, wire, known),
            Some(_) => {
                let found = Ok("its state after power on".to_owned());
                Next::Failed(self.setting_lost(&found, wire))
            }
            None => Next::Failed(wire.garbled("the event status register, 0 to 255", line)),
        }
    }

    fn deliver(&self, reading: Reading, wire: &mut Wire, known: &mut Known) -> Next {
        known.failures = 0;
        if known.wanted == Some(self.wanted) {
            wire.tell(MeterEvent::ReadingTaken { epoch: self.wanted.epoch, reading });
        }
        Next::Ready
    }

    // Readings that did not come.

    /// Asks the meter what it did not understand.
    fn blame(&mut self, query: String, wire: &mut Wire, known: &mut Known, now: Moment) -> Next {
        match wire.dialect.error_query.clone() {
            Some(errors) if known.errors == Support::Yes => {
                let deadline = wire.ask(&errors, wire.dialect.timeout);
                self.stage = Stage::Blaming { deadline, query };
                Next::Stay
            }
            _ => {
                let error = wire.no_answer(&query, self.waited(now));
                self.read_failed(error, known)
            }
        }
    }

    fn blamed(
        &mut self,
        line: &Result<String, BadLine>,
        query: &str,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        let entry = line.as_deref().ok().and_then(ErrorEntry::parse);
        match entry.filter(|entry| !entry.is_none()) {
            // -4xx is the meter's complaint about the conversation, not about the command.
            Some(entry) if entry.number <= -400 => {
                let error = wire.no_answer(query, self.waited(now));
                self.read_failed(error, known)
            }
            Some(entry) => {
                let error = refused(&wire.port, query, &entry);
                if known.one_shot.contains(&self.wanted.function) {
                    let _ = self.decline(error, wire, known);
                    return Next::Resync;
                }
                self.read_failed(error, known)
            }
            None => {
                let error = wire.no_answer(query, self.waited(now));
                self.read_failed(error, known)
            }
        }
    }

    /// A reading that never worked is tried the other way from now on.
    fn read_failed(&self, error: DriverError, known: &mut Known) -> Next {
        if known.reads != Support::Yes && self.commands.measure.is_some() {
            known.one_shot.insert(self.wanted.function);
        }
        Next::Failed(error)
    }
}
