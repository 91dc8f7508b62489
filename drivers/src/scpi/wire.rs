//! What every state of the session shares: lines out (one write each, no closer together than
//! the meter can bear), lines in, echoes taken out, events waiting to be fetched. It knows of no
//! state; what a line means is the state's matter.

use crate::clock::Moment;
use crate::error::DriverError;
use crate::line::{BadLine, LINE_AT_MOST, LineAssembler};
use crate::meter::MeterEvent;
use crate::profile::{Profile, ScpiDialect};
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

/// How many lines sent are remembered, to know their echoes.
const ECHOES_AT_MOST: usize = 16;
/// How many events may wait; the port fetches them after each call.
const EVENTS_AT_MOST: usize = 1024;
/// The longest that one reading of a block may be, with its comma, in bytes.
const READING_AT_MOST: usize = 40;

#[derive(Debug)]
pub(super) struct Wire {
    pub(super) profile: Arc<Profile>,
    pub(super) dialect: ScpiDialect,
    pub(super) port: String,
    pub(super) assembler: LineAssembler,
    unsent: VecDeque<(Moment, String)>,
    sent: VecDeque<String>,
    events: VecDeque<MeterEvent>,
    free_at: Moment,
    now: Moment,
}

impl Wire {
    pub(super) fn new(profile: Arc<Profile>, dialect: ScpiDialect, port: &str) -> Self {
        let line_at_most = LINE_AT_MOST.max(dialect.block * READING_AT_MOST);
        Self {
            profile,
            dialect,
            port: port.to_owned(),
            assembler: LineAssembler::with_lines_up_to(line_at_most),
            unsent: VecDeque::new(),
            sent: VecDeque::new(),
            events: VecDeque::new(),
            free_at: Moment::START,
            now: Moment::START,
        }
    }

    pub(super) fn set_now(&mut self, now: Moment) {
        self.now = now;
    }

    /// Queues a line; gives the moment at which it may go out.
    pub(super) fn send(&mut self, line: &str) -> Moment {
        self.send_at(line, self.now)
    }

    /// Queues a line that goes out at `earliest` or later; gives the moment when it may.
    pub(super) fn send_at(&mut self, line: &str, earliest: Moment) -> Moment {
        let at = self.free_at.max(earliest);
        self.free_at = at + self.dialect.gap;
        self.unsent.push_back((at, line.to_owned()));
        at
    }

    /// Queues a query; gives the moment by which its answer must be whole.
    pub(super) fn ask(&mut self, query: &str, within: Duration) -> Moment {
        self.send(query) + within
    }

    pub(super) fn next_output(&mut self) -> Option<Vec<u8>> {
        loop {
            let (at, _) = self.unsent.front()?;
            if *at > self.now {
                return None;
            }
            let (_, line) = self.unsent.pop_front()?;
            let end = self.dialect.terminator.bytes();
            let mut bytes = Vec::with_capacity(line.len() + end.len());
            bytes.extend_from_slice(line.as_bytes());
            bytes.extend_from_slice(end);
            if !line.is_empty() {
                if self.sent.len() >= ECHOES_AT_MOST {
                    self.sent.pop_front();
                }
                self.sent.push_back(line);
            }
            if !bytes.is_empty() {
                return Some(bytes);
            }
        }
    }

    /// Whether something is still to be sent: then nothing that comes in answers it.
    pub(super) fn has_unsent(&self) -> bool {
        !self.unsent.is_empty()
    }

    /// When the next line may go out, if it has to wait.
    pub(super) fn unsent_at(&self) -> Option<Moment> {
        self.unsent.front().map(|(at, _)| *at).filter(|at| *at > self.now)
    }

    /// The next line that is no echo of what was sent.
    pub(super) fn next_line(&mut self) -> Option<Result<String, BadLine>> {
        loop {
            let line = self.assembler.next()?;
            let Ok(text) = &line else { return Some(line) };
            let echo = self.sent.iter().position(|sent| sent.trim() == text.trim());
            match echo {
                Some(place) => drop(self.sent.drain(..=place)),
                None => return Some(line),
            }
        }
    }

    /// Forgets what came in and what was not sent.
    pub(super) fn clear(&mut self) {
        self.assembler.clear();
        self.unsent.clear();
        self.sent.clear();
        // What was not sent needs no pause behind it.
        self.free_at = self.free_at.min(self.now + self.dialect.gap);
    }

    pub(super) fn tell(&mut self, event: MeterEvent) {
        if self.events.len() < EVENTS_AT_MOST {
            self.events.push_back(event);
        }
    }

    pub(super) fn complain(&mut self, error: DriverError) {
        self.tell(MeterEvent::Complained(error));
    }

    pub(super) fn next_event(&mut self) -> Option<MeterEvent> {
        self.events.pop_front()
    }

    pub(super) fn no_answer(&self, query: &str, waited: Duration) -> DriverError {
        DriverError::NoAnswer {
            port: self.port.clone(),
            query: crate::error::escape(query.as_bytes(), 64),
            waited_ms: u64::try_from(waited.as_millis()).unwrap_or(u64::MAX),
        }
    }

    pub(super) fn garbled(&self, expected: &str, line: &Result<String, BadLine>) -> DriverError {
        match line {
            Ok(text) => crate::line::garbled(&self.port, expected, text.as_bytes()),
            Err(bad) => bad.clone().into_error(&self.port, expected),
        }
    }
}
