//! Getting into step with the meter, at opening and after every fault: end whatever half line it
//! may hold, drain until it is silent, `*CLS`, then a query whose answer is known (`*IDN?`).
//! Answers that come before the identification are late ones, and are thrown away; so are all
//! copies of it, when it had to be asked for more than once. On a fresh link, the event status
//! register and the error queue are read too, which also shows whether the meter has them.

use super::error_queue::ErrorEntry;
use super::message::may_be_identity;
use super::number::parse_value;
use super::session::{Known, Next, Support};
use super::wire::Wire;
use crate::clock::Moment;
use crate::error::{DriverError, escape};
use crate::line::BadLine;
use crate::meter::{Identity, MeterEvent};
use crate::profile::RemoteWhen;
use std::time::Duration;

/// The question whose answer is known.
const WHO: &str = "*IDN?";
/// How often it is asked.
const TRIES: u32 = 3;
/// The longest that draining lasts, however much comes.
const DRAIN_AT_MOST: Duration = Duration::from_millis(500);
/// At most so many entries of the error queue are read.
pub(super) const ERRORS_AT_MOST: u32 = 32;

#[derive(Debug)]
pub(super) struct Syncing {
    stage: Stage,
    asked: u32,
    began: Moment,
    asked_at: Moment,
    fresh: bool,
}

#[derive(Clone, Copy, Debug)]
enum Stage {
    /// The meter may restart because the port was opened.
    Opening { until: Moment },
    /// Until it is silent.
    Draining { quiet_at: Moment, end_at: Moment, then: AfterDrain },
    /// `*IDN?` is under way.
    Identifying { deadline: Moment },
    /// `*ESR?` is under way.
    Status { deadline: Moment },
    /// The error query is under way.
    Errors { deadline: Moment, left: u32 },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum AfterDrain {
    Clear,
    Identify,
    Learn,
}

impl Syncing {
    /// On a fresh link.
    pub(super) fn open(wire: &Wire, now: Moment) -> Self {
        let stage = Stage::Opening { until: now + wire.dialect.open };
        Self { stage, asked: 0, began: now, asked_at: now, fresh: true }
    }

    /// Whether nothing but a line end has gone out on a fresh link.
    pub(super) const fn has_sent_only_a_terminator(&self) -> bool {
        self.fresh && matches!(self.stage, Stage::Draining { then: AfterDrain::Clear, .. })
    }

    /// On a link that was in step before; a late answer is waited for at least `late`.
    pub(super) fn again(wire: &mut Wire, known: &Known, now: Moment, late: Duration) -> Self {
        let mut syncing = Self::open(wire, now);
        syncing.once_more(wire, known, now);
        if let Stage::Draining { quiet_at, end_at, .. } = &mut syncing.stage {
            *quiet_at = (*quiet_at).max(now + late);
            *end_at = (*end_at).max(*quiet_at);
        }
        syncing
    }

    pub(super) fn deadline(&self) -> Moment {
        match self.stage {
            Stage::Opening { until } => until,
            Stage::Draining { quiet_at, end_at, .. } => quiet_at.min(end_at),
            Stage::Identifying { deadline }
            | Stage::Status { deadline }
            | Stage::Errors { deadline, .. } => deadline,
        }
    }

    pub(super) const fn answer_due(&self) -> bool {
        !matches!(self.stage, Stage::Opening { .. } | Stage::Draining { .. })
    }

    /// Any byte ends the silence.
    pub(super) fn bytes_came(&mut self, wire: &Wire, now: Moment) {
        if let Stage::Draining { quiet_at, .. } = &mut self.stage {
            *quiet_at = now + wire.dialect.quiet;
        }
    }

    pub(super) fn deadline_reached(
        &mut self,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        match self.stage {
            Stage::Opening { .. } => {
                if !known.no_terminator {
                    wire.send("");
                }
                self.drain(wire, now, AfterDrain::Clear);
                Next::Stay
            }
            Stage::Draining { then, .. } => {
                wire.assembler.clear();
                match then {
                    AfterDrain::Clear => self.clear(wire, known, now),
                    AfterDrain::Identify => self.identify(wire, now),
                    AfterDrain::Learn => return self.learn(wire, known, now),
                }
                Next::Stay
            }
            Stage::Identifying { .. } if self.asked < TRIES => {
                self.once_more(wire, known, now);
                Next::Stay
            }
            Stage::Identifying { .. } => Next::Fatal(wire.no_answer(WHO, now.since(self.began))),
            Stage::Status { .. } => {
                known.status = Support::No;
                let waited = known.optional_within(wire.dialect.timeout);
                wire.complain(wire.no_answer("*ESR?", waited));
                Next::Resync
            }
            Stage::Errors { .. } => {
                known.errors = Support::No;
                let query = wire.dialect.error_query.clone().unwrap_or_default();
                let waited = known.optional_within(wire.dialect.timeout);
                wire.complain(wire.no_answer(&query, waited));
                Next::Resync
            }
        }
    }

    pub(super) fn line_received(
        &mut self,
        line: Result<String, BadLine>,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        match self.stage {
            Stage::Opening { .. } | Stage::Draining { .. } => {
                tracing::debug!(port = %wire.port, ?line, "drained");
                Next::Stay
            }
            Stage::Identifying { .. } => self.identity_received(line, wire, known, now),
            Stage::Status { .. } => self.status_received(line, wire, known, now),
            Stage::Errors { left, .. } => self.error_received(line, left, wire, known, now),
        }
    }

    fn once_more(&mut self, wire: &mut Wire, known: &Known, now: Moment) {
        self.fresh = false;
        if !known.no_terminator {
            wire.send("");
        }
        self.drain(wire, now, AfterDrain::Clear);
    }

    fn drain(&mut self, wire: &Wire, now: Moment, then: AfterDrain) {
        let quiet_at = now + wire.dialect.quiet;
        self.stage = Stage::Draining { quiet_at, end_at: now + DRAIN_AT_MOST, then };
    }

    fn clear(&mut self, wire: &mut Wire, known: &mut Known, now: Moment) {
        let at = wire.send("*CLS");
        if !known.announced && self.asked == 0 {
            for line in wire.dialect.init.clone() {
                wire.send(&line);
            }
            if wire.dialect.remote_when == RemoteWhen::Always {
                for line in wire.dialect.remote.clone() {
                    wire.send(&line);
                    known.remote_sent = true;
                }
            }
        }
        self.drain(wire, at.max(now), AfterDrain::Identify);
    }

    fn identify(&mut self, wire: &mut Wire, now: Moment) {
        self.asked += 1;
        self.asked_at = now;
        self.stage = Stage::Identifying { deadline: wire.ask(WHO, wire.dialect.timeout) };
    }

    fn identity_received(
        &mut self,
        line: Result<String, BadLine>,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        let text = match &line {
            Ok(text) if may_be_identity(text) => escape(text.trim().as_bytes(), 200),
            _ => {
                wire.complain(wire.garbled("an identification", &line));
                return Next::Stay;
            }
        };
        match &known.identity {
            Some(expected) if *expected != text && !known.accept_other => {
                if self.asked < TRIES {
                    self.once_more(wire, known, now);
                    return Next::Stay;
                }
                return Next::Fatal(DriverError::OtherMeter {
                    port: wire.port.clone(),
                    expected: expected.clone(),
                    found: text,
                });
            }
            Some(expected) if *expected == text => {}
            _ => known.forget_abilities(),
        }
        known.identity = Some(text);
        known.round_trip = now.since(self.asked_at);
        if self.asked > 1 {
            self.drain(wire, now, AfterDrain::Learn);
            return Next::Stay;
        }
        self.learn(wire, known, now)
    }

    /// On a fresh link: what does it understand, and has it something to say?
    fn learn(&mut self, wire: &mut Wire, known: &mut Known, now: Moment) -> Next {
        if known.announced {
            return Next::Ready;
        }
        if known.status == Support::Unknown {
            let within = known.optional_within(wire.dialect.timeout);
            self.stage = Stage::Status { deadline: wire.ask("*ESR?", within) };
            return Next::Stay;
        }
        self.ask_errors(ERRORS_AT_MOST, wire, known, now)
    }

    fn status_received(
        &mut self,
        line: Result<String, BadLine>,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        match line.as_deref().ok().and_then(event_status) {
            // `*CLS` has just cleared it: a meter that still says "power on" always does.
            Some(status) if status & POWER_ON != 0 => known.status = Support::No,
            Some(_) => known.status = Support::Yes,
            None => {
                wire.complain(wire.garbled("the event status register, 0 to 255", &line));
                known.status = Support::No;
                return Next::Resync;
            }
        }
        self.ask_errors(ERRORS_AT_MOST, wire, known, now)
    }

    fn ask_errors(&mut self, left: u32, wire: &mut Wire, known: &mut Known, now: Moment) -> Next {
        match wire.dialect.error_query.clone() {
            Some(query) if known.errors != Support::No => {
                let within = match known.errors {
                    Support::Unknown => known.optional_within(wire.dialect.timeout),
                    _ => wire.dialect.timeout,
                };
                self.stage = Stage::Errors { deadline: wire.ask(&query, within), left };
                Next::Stay
            }
            _ => Self::announce(wire, known, now),
        }
    }

    fn error_received(
        &mut self,
        line: Result<String, BadLine>,
        left: u32,
        wire: &mut Wire,
        known: &mut Known,
        now: Moment,
    ) -> Next {
        let Some(entry) = line.as_deref().ok().and_then(ErrorEntry::parse) else {
            wire.complain(wire.garbled("an entry of the error queue", &line));
            return Next::Stay;
        };
        if entry.is_none() {
            known.errors = Support::Yes;
            return Self::announce(wire, known, now);
        }
        wire.complain(refused(&wire.port, "something before this run", &entry));
        if left <= 1 {
            // A queue that never ends is no queue.
            known.errors = Support::No;
            return Self::announce(wire, known, now);
        }
        self.ask_errors(left - 1, wire, known, now)
    }

    fn announce(wire: &mut Wire, known: &mut Known, now: Moment) -> Next {
        known.announced = true;
        let identity = Identity {
            text: known.identity.clone().unwrap_or_default(),
            link: wire.port.clone(),
            profile: wire.profile.name.clone(),
            commanded: true,
        };
        let gap = known.lost_at.take().map(|lost| now.since(lost));
        wire.tell(MeterEvent::Answered { identity, gap });
        Next::Ready
    }
}

/// Bit 7 of the event status register: power on (IEEE 488.2, 11.5.1).
pub(super) const POWER_ON: u8 = 128;

/// An answer to `*ESR?`: a whole number from 0 to 255.
pub(super) fn event_status(line: &str) -> Option<u8> {
    let number = parse_value(line).ok()?.number()?;
    let whole = number as u8;
    (f64::from(whole) - number == 0.0 && !line.contains(['.', 'e', 'E'])).then_some(whole)
}

pub(super) fn refused(port: &str, command: &str, entry: &ErrorEntry) -> DriverError {
    DriverError::Refused {
        port: port.to_owned(),
        command: escape(command.as_bytes(), 64),
        number: entry.number,
        text: escape(entry.text.as_bytes(), 160),
    }
}
