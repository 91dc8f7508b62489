//! At work on one order, in step with the meter: configure (and see in the error queue whether it
//! took that), see which function it says is in force, then read, one query at a time. A value is
//! held back until the meter has confirmed its function (or at least its event status), so that
//! a meter that was switched off and on is noticed before its value counts. Where `READ?` or
//! configuring does not work, one-line queries (`MEAS:RES?`) are tried, once, and remembered.

use super::error_queue::ErrorEntry;
use super::session::{Known, Next, Support, Wanted};
use super::syncing::{ERRORS_AT_MOST, POWER_ON, event_status, refused};
use super::values::parse_values;
use super::wire::Wire;
use crate::block::Block;
use crate::clock::Moment;
use crate::error::DriverError;
use crate::line::BadLine;
use crate::meter::MeterEvent;
use crate::profile::FunctionCommands;
use std::sync::Arc;
use std::time::Duration;

#[derive(Debug)]
pub(super) struct Measuring {
    pub(super) wanted: Wanted,
    pub(super) commands: Arc<FunctionCommands>,
    pub(super) stage: Stage,
    pub(super) since: Moment,
}

#[derive(Debug)]
pub(super) enum Stage {
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
    Confirming { deadline: Moment, answer: Answer },
    /// The reading is there; `*ESR?` is under way.
    CheckingStatus { deadline: Moment, answer: Answer },
}

/// What came for a reading. Thousands at once are read while the next answer is on its way.
#[derive(Debug)]
pub(super) enum Answer {
    /// Not looked at yet, and when it came.
    Unread(String, Moment),
    /// As many readings as were asked for.
    Read(Block),
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

    /// Whether a reading is under way, or waits for its time.
    pub(super) const fn is_reading(&self) -> bool {
        matches!(self.stage, Stage::Reading { .. })
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
            Stage::Reading { query, .. } => self.value_received(line, &query, wire, known, now),
            Stage::Blaming { query, .. } => self.blamed(&line, &query, wire, known, now),
            Stage::Confirming { answer, .. } => self.confirmed(&line, answer, wire, known, now),
            Stage::CheckingStatus { answer, .. } => {
                self.status_received(&line, answer, wire, known)
            }
        }
    }

    pub(super) fn read(&mut self, wire: &mut Wire, known: &mut Known, now: Moment) {
        let query = self.query(known).to_owned();
        if known.one_shot.contains(&self.wanted.function) {
            // A query that names its function sets the meter to it, whatever was set before.
            known.configured = None;
        }
        let paced = known.read_at.map_or(now, |last| (last + wire.dialect.pace).max(now));
        let at = wire.send_at(&query, paced);
        known.read_at = Some(at);
        self.since = at;
        let count = u32::try_from(self.block(wire, known)).unwrap_or(u32::MAX);
        let deadline = at + wire.dialect.timeout + wire.dialect.integration * count;
        self.stage = Stage::Reading { query, deadline };
    }

    /// What asks for a reading.
    fn query(&self, known: &Known) -> &str {
        match &self.commands.measure {
            Some(measure) if known.one_shot.contains(&self.wanted.function) => measure,
            _ => &self.commands.read,
        }
    }

    fn value_received(
        &mut self,
        line: Result<String, BadLine>,
        query: &str,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        let mut answer = match line {
            Ok(text) => Answer::Unread(text, now),
            Err(bad) => return self.garbled(&Err(bad), query, wire, known),
        };
        // One reading is looked at before anything else is asked.
        if self.block(wire, known) == 1 {
            answer = match self.read_answer(answer, wire, known) {
                Ok(block) => Answer::Read(block),
                Err(failed) => return failed,
            };
        }
        self.since = now;
        match self.function_query(wire, known) {
            Some(query) if known.function_query == Support::Yes => {
                let deadline = wire.ask(&query, wire.dialect.timeout);
                self.stage = Stage::Confirming { deadline, answer };
                Next::Stay
            }
            _ if known.one_shot.contains(&self.wanted.function) => {
                self.deliver(answer, wire, known)
            }
            _ => self.check_status(answer, wire, known),
        }
    }

    /// The time until the next answer is used to read the one before.
    pub(super) fn output_sent(&mut self, wire: &mut Wire, known: &mut Known, now: Moment) -> Next {
        let settling = Stage::Settling { until: now, first: None };
        let stage = std::mem::replace(&mut self.stage, settling);
        let mut read = |answer| self.read_answer(answer, wire, known).map(Answer::Read);
        let stage = match stage {
            Stage::Confirming { deadline, answer } => {
                read(answer).map(|answer| Stage::Confirming { deadline, answer })
            }
            Stage::CheckingStatus { deadline, answer } => {
                read(answer).map(|answer| Stage::CheckingStatus { deadline, answer })
            }
            stage => Ok(stage),
        };
        match stage {
            Ok(stage) => {
                self.stage = stage;
                Next::Stay
            }
            Err(failed) => failed,
        }
    }

    /// How many readings the query under way brings: one-line queries set the meter to one.
    fn block(&self, wire: &Wire, known: &Known) -> usize {
        if known.one_shot.contains(&self.wanted.function) { 1 } else { wire.dialect.block }
    }

    /// The readings of one answer: exactly as many as were asked for.
    fn read_answer(&self, answer: Answer, wire: &Wire, known: &mut Known) -> Result<Block, Next> {
        let (text, at) = match answer {
            Answer::Read(block) => return Ok(block),
            Answer::Unread(text, at) => (text, at),
        };
        let count = self.block(wire, known);
        match parse_values(&text, count, &wire.dialect.overload) {
            Some(values) => {
                known.reads = Support::Yes;
                Ok(Block::new(text, values, &wire.profile, (self.wanted.function, at)))
            }
            None => Err(self.garbled(&Ok(text), self.query(known), wire, known)),
        }
    }

    fn garbled(
        &self,
        line: &Result<String, BadLine>,
        query: &str,
        wire: &Wire,
        known: &mut Known,
    ) -> Next {
        self.read_failed(wire.garbled(&format!("a reading for `{query}`"), line), known)
    }

    fn confirmed(
        &mut self,
        line: &Result<String, BadLine>,
        answer: Answer,
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
            return self.deliver(answer, wire, known);
        }
        known.since_status = 0;
        self.check_status(answer, wire, known)
    }

    fn check_status(&mut self, answer: Answer, wire: &mut Wire, known: &mut Known) -> Next {
        if known.status != Support::Yes {
            return self.deliver(answer, wire, known);
        }
        let deadline = wire.ask("*ESR?", wire.dialect.timeout);
        self.stage = Stage::CheckingStatus { deadline, answer };
        Next::Stay
    }

    fn status_received(
        &self,
        line: &Result<String, BadLine>,
        answer: Answer,
        wire: &mut Wire,
        known: &mut Known,
    ) -> Next {
        match line.as_deref().ok().and_then(event_status) {
            Some(status) if status & POWER_ON == 0 => self.deliver(answer, wire, known),
            Some(_) => {
                let found = Ok("its state after power on".to_owned());
                Next::Failed(self.setting_lost(&found, wire))
            }
            None => Next::Failed(wire.garbled("the event status register, 0 to 255", line)),
        }
    }

    fn deliver(&self, answer: Answer, wire: &mut Wire, known: &mut Known) -> Next {
        let block = match self.read_answer(answer, wire, known) {
            Ok(block) => block,
            Err(failed) => return failed,
        };
        known.failures = 0;
        if known.wanted == Some(self.wanted) {
            let event = MeterEvent::BlockTaken { epoch: self.wanted.epoch, block };
            match wire.dialect.block {
                1 => event.singly().for_each(|event| wire.tell(event)),
                _ => wire.tell(event),
            }
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
