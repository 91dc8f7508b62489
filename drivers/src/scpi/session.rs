//! The conversation with a SCPI meter: one query at a time, each with a deadline; a value counts
//! only while both ends are known to be in step. Any timeout, garbage or extra line ends that,
//! and [`Syncing`] has to find it again before the next reading. [`Measuring`] configures, reads
//! and verifies. What is known of the meter (its identity, what it understands) outlives both.

use super::measuring::Measuring;
use super::syncing::Syncing;
use super::wire::Wire;
use crate::clock::Moment;
use crate::error::DriverError;
use crate::line::BadLine;
use crate::meter::{MeterEvent, Order};
use crate::profile::{Profile, ScpiDialect};
use crate::reading::Function;
use crate::session::{Input, Session};
use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

/// So many failures without a reading between them, and the link counts as dead.
const FAILURES_AT_MOST: u32 = 5;

/// An answer that may never come is waited for at least so long.
const OPTIONAL_AT_LEAST: Duration = Duration::from_millis(300);

/// A session with a SCPI meter. Without I/O: see [`Session`].
#[derive(Debug)]
pub struct ScpiSession {
    wire: Wire,
    known: Known,
    state: State,
}

/// Whether the meter understands something that not all meters do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Support {
    /// Not tried yet.
    #[default]
    Unknown,
    /// It answered as it should.
    Yes,
    /// It did not; not asked again.
    No,
}

/// What is known of the meter and wanted from it.
#[derive(Debug, Default)]
pub(super) struct Known {
    /// Its identification.
    pub(super) identity: Option<String>,
    /// Whether it was announced on this link.
    pub(super) announced: bool,
    pub(super) lost_at: Option<Moment>,
    pub(super) accept_other: bool,
    /// The error queue.
    pub(super) errors: Support,
    /// The event status register.
    pub(super) status: Support,
    /// The function query.
    pub(super) function_query: Support,
    /// Whether reading after configuring has worked.
    pub(super) reads: Support,
    /// Functions that are measured by one-line queries.
    pub(super) one_shot: BTreeSet<Function>,
    /// Whether a configuring command was ever taken.
    pub(super) configures: bool,
    /// The function in force, as far as we know.
    pub(super) configured: Option<Function>,
    pub(super) remote_sent: bool,
    pub(super) failures: u32,
    pub(super) since_status: u32,
    /// When the last reading was begun.
    pub(super) read_at: Option<Moment>,
    /// From the last identification's query to its answer.
    pub(super) round_trip: Duration,
    /// The link was lost over a bare line end, before anything else was sent.
    pub(super) no_terminator: bool,
    pub(super) wanted: Option<Wanted>,
}

impl Known {
    /// How long to wait for an answer that may never come, because not all meters know the
    /// query: a multiple of the round trip, so that finding out does not take for ever.
    pub(super) fn optional_within(&self, timeout: Duration) -> Duration {
        timeout.min((self.round_trip * 5).max(OPTIONAL_AT_LEAST))
    }

    /// Another meter: what the first one understood says nothing of it.
    pub(super) fn forget_abilities(&mut self) {
        self.errors = Support::Unknown;
        self.status = Support::Unknown;
        self.function_query = Support::Unknown;
        self.reads = Support::Unknown;
        self.one_shot.clear();
        self.configures = false;
        self.announced = false;
    }
}

/// The order in force.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Wanted {
    pub(super) function: Function,
    pub(super) epoch: u64,
}

#[derive(Debug)]
enum State {
    /// No link.
    Closed,
    /// Finding out who is there and getting into step.
    Syncing(Syncing),
    /// In step, nothing wanted.
    Idle,
    /// In step, and at work on an order.
    Measuring(Measuring),
}

/// What a state says after each step.
#[derive(Debug)]
pub(super) enum Next {
    /// It goes on.
    Stay,
    /// It has done its work, and both ends are in step: see what is wanted.
    Ready,
    /// Both ends are out of step; the failure counts.
    Failed(DriverError),
    /// Both ends may be out of step for a reason that is understood; it does not count.
    Resync,
    /// This link cannot be used any more.
    Fatal(DriverError),
}

impl ScpiSession {
    /// A session that speaks `dialect`; `port` is the link's name in messages.
    #[must_use]
    pub fn new(profile: Arc<Profile>, dialect: ScpiDialect, port: &str) -> Self {
        Self {
            wire: Wire::new(profile, dialect, port),
            known: Known::default(),
            state: State::Closed,
        }
    }

    fn deadline(&self) -> Option<Moment> {
        match &self.state {
            State::Closed | State::Idle => None,
            State::Syncing(syncing) => Some(syncing.deadline()),
            State::Measuring(measuring) => Some(measuring.deadline()),
        }
    }

    fn check_deadline(&mut self, now: Moment) -> Result<(), DriverError> {
        // Each state sets its next deadline after now; the cap is for a profile of zeros.
        for _ in 0..16 {
            if self.deadline().is_none_or(|deadline| deadline > now) {
                break;
            }
            let next = match &mut self.state {
                State::Syncing(syncing) => {
                    syncing.deadline_reached(&mut self.wire, &mut self.known, now)
                }
                State::Measuring(measuring) => {
                    measuring.deadline_reached(&mut self.wire, &mut self.known, now)
                }
                State::Closed | State::Idle => Next::Stay,
            };
            self.turn(next, now)?;
        }
        Ok(())
    }

    fn take_bytes(&mut self, bytes: &[u8], now: Moment) -> Result<(), DriverError> {
        self.wire.assembler.push(bytes);
        if let State::Syncing(syncing) = &mut self.state {
            syncing.bytes_came(&self.wire, now);
        }
        while let Some(line) = self.wire.next_line() {
            self.take_line(line, now)?;
        }
        let torn = self.wire.has_unsent() && self.wire.assembler.has_partial();
        if torn && matches!(self.state, State::Measuring(_) | State::Idle) {
            let found = "a line begun before the query".to_owned();
            self.stray(&Ok(found), now)?;
        }
        Ok(())
    }

    fn take_line(&mut self, line: Result<String, BadLine>, now: Moment) -> Result<(), DriverError> {
        let unsent = self.wire.has_unsent();
        let next = match &mut self.state {
            State::Closed => Next::Stay,
            State::Syncing(syncing) => {
                syncing.line_received(line, &mut self.wire, &mut self.known, now)
            }
            State::Measuring(measuring) if !unsent || measuring.tolerates_strays() => {
                measuring.line_received(line, &mut self.wire, &mut self.known, now)
            }
            State::Measuring(_) | State::Idle => return self.stray(&line, now),
        };
        self.turn(next, now)
    }

    /// A line that nobody asked for: from here on, no answer can be trusted.
    fn stray(&mut self, line: &Result<String, BadLine>, now: Moment) -> Result<(), DriverError> {
        let error = self.wire.garbled("nothing, as nothing was asked", line);
        let next = match self.state {
            State::Measuring(_) => Next::Failed(error),
            _ => {
                self.wire.complain(error);
                Next::Resync
            }
        };
        self.turn(next, now)
    }

    /// Goes where a state has said.
    fn turn(&mut self, next: Next, now: Moment) -> Result<(), DriverError> {
        match next {
            Next::Stay => {}
            Next::Ready => self.see_what_is_wanted(now),
            Next::Failed(error) => {
                self.known.failures += 1;
                if self.known.failures >= FAILURES_AT_MOST {
                    return self.give_up(error);
                }
                self.wire.complain(error);
                self.resync(now);
            }
            Next::Resync => self.resync(now),
            Next::Fatal(error) => return self.give_up(error),
        }
        Ok(())
    }

    fn give_up(&mut self, error: DriverError) -> Result<(), DriverError> {
        self.state = State::Closed;
        self.wire.clear();
        Err(error)
    }

    fn resync(&mut self, now: Moment) {
        self.known.configured = None;
        let late = match &self.state {
            State::Measuring(measuring) => measuring.waited(now) / 4,
            _ => Duration::ZERO,
        };
        self.wire.clear();
        self.state = State::Syncing(Syncing::again(&mut self.wire, &self.known, now, late));
    }

    fn see_what_is_wanted(&mut self, now: Moment) {
        let Some(wanted) = self.known.wanted else {
            self.state = State::Idle;
            return;
        };
        match Measuring::begin(wanted, &mut self.wire, &mut self.known, now) {
            Some(measuring) => self.state = State::Measuring(measuring),
            None => {
                let what = wanted.function.to_string();
                let error = DriverError::Unsupported { port: self.wire.port.clone(), what };
                self.wire.tell(MeterEvent::Declined { epoch: wanted.epoch, error });
                self.known.wanted = None;
                self.state = State::Idle;
            }
        }
    }

    fn take_order(&mut self, order: Order, now: Moment) {
        self.known.wanted = match order {
            Order::Measure { function, epoch } => Some(Wanted { function, epoch }),
            Order::Rest => None,
        };
        // A reading that only waits for its time has not begun: the new order comes first.
        let waits = matches!(&self.state, State::Measuring(measuring) if measuring.is_reading())
            && self.wire.has_unsent();
        if waits {
            self.wire.clear();
            self.known.read_at = None;
        }
        if waits || matches!(self.state, State::Idle) {
            self.see_what_is_wanted(now);
        }
    }

    fn open(&mut self, now: Moment) {
        self.wire.clear();
        self.known.announced = false;
        self.known.configured = None;
        self.known.remote_sent = false;
        self.known.failures = 0;
        self.state = State::Syncing(Syncing::open(&self.wire, now));
    }

    fn close(&mut self) {
        self.wire.clear();
        if self.known.remote_sent {
            for line in self.wire.dialect.local.clone() {
                self.wire.send(&line);
            }
        }
        self.state = State::Closed;
    }
}

impl Session for ScpiSession {
    fn handle(&mut self, input: Input<'_>, now: Moment) -> Result<(), DriverError> {
        self.wire.set_now(now);
        self.check_deadline(now)?;
        match input {
            Input::LinkOpened => self.open(now),
            Input::LinkLost => {
                if self.known.announced || self.known.lost_at.is_none() {
                    self.known.lost_at = self.known.identity.as_ref().map(|_| now);
                }
                self.known.announced = false;
                if let State::Syncing(syncing) = &self.state {
                    self.known.no_terminator |= syncing.has_sent_only_a_terminator();
                }
                self.wire.clear();
                self.state = State::Closed;
            }
            Input::BytesReceived(bytes) => self.take_bytes(bytes, now)?,
            Input::OrderGiven(order) => self.take_order(order, now),
            Input::OutputSent => {
                if let State::Measuring(measuring) = &mut self.state {
                    let next = measuring.output_sent(&mut self.wire, &mut self.known, now);
                    self.turn(next, now)?;
                }
            }
            Input::DeadlineReached => {}
            Input::Closing => self.close(),
        }
        self.check_deadline(now)
    }

    fn wake_at(&self) -> Option<Moment> {
        [self.deadline(), self.wire.unsent_at()].into_iter().flatten().min()
    }

    fn next_output(&mut self) -> Option<Vec<u8>> {
        self.wire.next_output()
    }

    fn next_event(&mut self) -> Option<MeterEvent> {
        self.wire.next_event()
    }

    fn answer_due(&self) -> bool {
        !self.wire.has_unsent()
            && match &self.state {
                State::Closed | State::Idle => false,
                State::Syncing(syncing) => syncing.answer_due(),
                State::Measuring(measuring) => measuring.answer_due(),
            }
    }

    fn accept_other(&mut self, accept: bool) {
        self.known.accept_other = accept;
    }
}

#[cfg(test)]
mod tests;
