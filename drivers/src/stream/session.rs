//! Listening to a meter that sends lines, by itself or when polled. The first line after opening
//! is never used (its head may be missing), and neither are lines that may have been measured
//! before an order arrived. The function of a reading is what its unit says; a reading in another
//! function than ordered is reported as such and is no reading of the order.

use super::grammar::{LineReading, parse_line};
use crate::clock::Moment;
use crate::error::{DriverError, escape};
use crate::line::{BadLine, LineAssembler, READ_AT_MOST, garbled};
use crate::meter::{Identity, MeterEvent, Order};
use crate::profile::{LinesDialect, Profile};
use crate::reading::{Function, Reading};
use crate::session::{Input, Session};
use std::collections::VecDeque;
use std::sync::Arc;

/// So many lines in a row that are no readings, and the dialect is wrong.
const BAD_LINES_AT_MOST: u32 = 12;
/// So many polls in a row without an answer, and the link counts as dead.
const SILENT_POLLS_AT_MOST: u32 = 3;
/// At most so many events wait to be fetched.
const EVENTS_AT_MOST: usize = READ_AT_MOST / 2;

/// A session with a meter of lines. Without I/O: see [`Session`].
#[derive(Debug)]
pub struct LineSession {
    profile: Arc<Profile>,
    dialect: LinesDialect,
    port: String,
    assembler: LineAssembler,
    events: VecDeque<MeterEvent>,
    unsent: VecDeque<(Moment, String)>,
    now: Moment,
    link: Link,
    wanted: Option<Wanted>,
    lost_at: Option<Moment>,
    was_announced: bool,
}

/// The state of the link.
#[derive(Debug)]
enum Link {
    Closed,
    /// Open; the meter may restart.
    Opening {
        until: Moment,
    },
    /// Open.
    Listening(Listening),
}

#[derive(Debug)]
struct Listening {
    /// The meter has been heard.
    announced: bool,
    /// The next line may lack its head.
    torn: bool,
    /// Silence until here is silence for too long.
    silent_until: Moment,
    /// A poll is under way.
    polled: bool,
    silent_polls: u32,
    bad_lines: u32,
    /// The last line that was no reading, until the meter is heard: what comes and cannot be
    /// read must not be called silence.
    misread: Option<Result<String, BadLine>>,
}

/// The order in force.
#[derive(Clone, Copy, Debug)]
struct Wanted {
    function: Function,
    epoch: u64,
    /// Lines still to be skipped.
    skip: u32,
    /// Readings that end before this were begun before the order.
    not_before: Moment,
}

impl LineSession {
    /// A session that speaks `dialect`; `port` is the link's name in messages.
    #[must_use]
    pub fn new(profile: Arc<Profile>, dialect: LinesDialect, port: &str) -> Self {
        Self {
            profile,
            dialect,
            port: port.to_owned(),
            assembler: LineAssembler::new(),
            events: VecDeque::new(),
            unsent: VecDeque::new(),
            now: Moment::START,
            link: Link::Closed,
            wanted: None,
            lost_at: None,
            was_announced: false,
        }
    }

    fn tell(&mut self, event: MeterEvent) {
        if self.events.len() < EVENTS_AT_MOST {
            self.events.push_back(event);
        }
    }

    fn send(&mut self, line: &str, now: Moment) -> Moment {
        let last = self.unsent.back().map_or(now, |(at, _)| *at + self.dialect.gap);
        let at = last.max(now);
        self.unsent.push_back((at, line.to_owned()));
        at
    }

    fn begin_listening(&mut self, now: Moment) {
        self.assembler.clear();
        for line in self.dialect.init.clone() {
            self.send(&line, now);
        }
        self.link = Link::Listening(Listening {
            announced: false,
            torn: self.dialect.poll.is_none(),
            silent_until: now + self.dialect.timeout,
            polled: false,
            silent_polls: 0,
            bad_lines: 0,
            misread: None,
        });
        if let Some(wanted) = self.wanted {
            self.apply(wanted.function, wanted.epoch, now);
        }
        self.poll(now);
    }

    /// Asks for one reading, if the meter must be asked and something is to be learned.
    fn poll(&mut self, now: Moment) {
        let Some(poll) = self.dialect.poll.clone() else { return };
        let Link::Listening(listening) = &mut self.link else { return };
        if listening.polled || (listening.announced && self.wanted.is_none()) {
            return;
        }
        listening.polled = true;
        let at = self.send(&poll, now + self.dialect.gap);
        if let Link::Listening(listening) = &mut self.link {
            listening.silent_until = at + self.dialect.timeout;
        }
    }

    fn apply(&mut self, function: Function, epoch: u64, now: Moment) {
        let mut at = now;
        if let Some(lines) = self.dialect.functions.get(&function).cloned() {
            for line in lines {
                at = self.send(&line, now);
            }
            at = at + self.dialect.settle;
        }
        // A poll under way was answered, in part, before the order.
        let under_way = matches!(&self.link, Link::Listening(state) if state.polled);
        let skip = self.dialect.skip_lines.max(u32::from(under_way));
        let not_before = at + self.dialect.integration;
        self.wanted = Some(Wanted { function, epoch, skip, not_before });
    }

    fn take_order(&mut self, order: Order, now: Moment) {
        match order {
            Order::Rest => self.wanted = None,
            Order::Measure { function, epoch } if self.dialect.supports(function) => {
                self.apply(function, epoch, now);
                // Silence counts from the order, not from a rest before it.
                if let Link::Listening(listening) = &mut self.link
                    && !listening.polled
                {
                    listening.silent_until = now + self.dialect.timeout;
                }
                self.poll(now);
            }
            Order::Measure { function, epoch } => {
                self.wanted = None;
                let what = function.to_string();
                let error = DriverError::Unsupported { port: self.port.clone(), what };
                self.tell(MeterEvent::Declined { epoch, error });
            }
        }
    }

    fn take_line(&mut self, line: Result<String, BadLine>, now: Moment) -> Result<(), DriverError> {
        let Link::Listening(listening) = &mut self.link else { return Ok(()) };
        if line.is_ok() && line.as_deref().ok().map(str::trim) == self.dialect.poll.as_deref() {
            return Ok(()); // our own poll, sent back
        }
        listening.polled = false;
        if std::mem::take(&mut listening.torn) {
            tracing::debug!(port = %self.port, ?line, "first line not used");
            return Ok(());
        }
        match read_line(&line, &self.dialect, &self.port) {
            Ok((reading, text)) => {
                listening.bad_lines = 0;
                listening.silent_polls = 0;
                listening.silent_until = now + self.dialect.timeout;
                if !std::mem::replace(&mut listening.announced, true) {
                    listening.misread = None;
                    self.announce(now);
                }
                self.take_reading(reading, text, now);
            }
            Err(error) => {
                listening.bad_lines += 1;
                if !listening.announced {
                    listening.misread = Some(line.clone());
                }
                if listening.bad_lines >= BAD_LINES_AT_MOST {
                    self.link = Link::Closed;
                    return Err(error);
                }
                self.tell(MeterEvent::Complained(error));
                // Whatever was lost may have been the line that was to be skipped: skip again.
                if let Some(wanted) = &mut self.wanted {
                    wanted.skip = wanted.skip.max(u32::from(self.dialect.skip_lines > 0));
                }
            }
        }
        self.poll(now);
        Ok(())
    }

    fn announce(&mut self, now: Moment) {
        self.was_announced = true;
        let identity = Identity {
            text: String::new(),
            link: self.port.clone(),
            profile: self.profile.name.clone(),
            commanded: !self.dialect.functions.is_empty(),
        };
        let gap = self.lost_at.take().map(|lost| now.since(lost));
        self.tell(MeterEvent::Answered { identity, gap });
    }

    fn take_reading(&mut self, got: LineReading, text: &str, now: Moment) {
        let Some(wanted) = &mut self.wanted else { return };
        if wanted.skip > 0 || now < wanted.not_before {
            wanted.skip = wanted.skip.saturating_sub(1);
            return;
        }
        let epoch = wanted.epoch;
        let as_ordered = got.functions.contains(&wanted.function);
        let function = match got.functions.first() {
            _ if as_ordered => wanted.function,
            Some(first) => *first,
            None => return,
        };
        let reading = Reading {
            value: got.value,
            unit: got.unit,
            function,
            u: self.profile.standard_uncertainty(function, got.value),
            text: escape(text.as_bytes(), 200),
            at: now,
        };
        self.tell(if as_ordered {
            MeterEvent::ReadingTaken { epoch, reading }
        } else {
            MeterEvent::OtherFunction { epoch, reading }
        });
    }

    fn check_deadline(&mut self, now: Moment) -> Result<(), DriverError> {
        match &mut self.link {
            Link::Opening { until } if *until <= now => self.begin_listening(now),
            Link::Listening(listening) if listening.silent_until <= now => {
                // A meter that nobody listens to may be silent.
                let idle = listening.announced && self.wanted.is_none();
                if idle {
                    listening.silent_until = now + self.dialect.timeout;
                    listening.polled = false;
                    return Ok(());
                }
                listening.silent_polls += 1;
                if !listening.polled || listening.silent_polls >= SILENT_POLLS_AT_MOST {
                    let misread = listening.misread.take();
                    self.link = Link::Closed;
                    return Err(self.silence_after(misread.as_ref()));
                }
                listening.polled = false;
                // The answer may still come, and is then not the next poll's.
                if let Some(wanted) = &mut self.wanted {
                    wanted.skip += 1;
                }
                let error = self.silence();
                self.tell(MeterEvent::Complained(error));
                self.assembler.clear();
                self.poll(now);
            }
            _ => {}
        }
        Ok(())
    }

    /// Silence, or why the last line that came before it was no reading.
    fn silence_after(&self, misread: Option<&Result<String, BadLine>>) -> DriverError {
        misread
            .and_then(|line| read_line(line, &self.dialect, &self.port).err())
            .unwrap_or_else(|| self.silence())
    }

    fn silence(&self) -> DriverError {
        let query = self.dialect.poll.clone().unwrap_or_else(|| "listening".to_owned());
        let waited = self.dialect.timeout;
        DriverError::NoAnswer {
            port: self.port.clone(),
            query,
            waited_ms: u64::try_from(waited.as_millis()).unwrap_or(u64::MAX),
        }
    }

    fn lose(&mut self, now: Moment) {
        if self.was_announced && self.lost_at.is_none() {
            self.lost_at = Some(now);
        }
        self.link = Link::Closed;
        self.assembler.clear();
        self.unsent.clear();
    }
}

/// What a line says, with its text.
fn read_line<'a>(
    line: &'a Result<String, BadLine>,
    dialect: &LinesDialect,
    port: &str,
) -> Result<(LineReading, &'a str), DriverError> {
    match line {
        Ok(text) => match parse_line(text, dialect) {
            Ok(reading) => Ok((reading, text)),
            Err(fault) => Err(garbled(port, &fault.expected(dialect), text.as_bytes())),
        },
        Err(bad) => Err(bad.clone().into_error(port, "a reading with its unit")),
    }
}

impl Session for LineSession {
    fn handle(&mut self, input: Input<'_>, now: Moment) -> Result<(), DriverError> {
        self.now = now;
        match input {
            Input::LinkOpened => {
                self.unsent.clear();
                self.link = Link::Opening { until: now + self.dialect.open };
            }
            Input::LinkLost => self.lose(now),
            Input::BytesReceived(bytes) => {
                self.assembler.push(bytes);
                while let Some(line) = self.assembler.next() {
                    self.take_line(line, now)?;
                }
            }
            Input::OrderGiven(order) => self.take_order(order, now),
            Input::OutputSent | Input::DeadlineReached => {}
            Input::Closing => {
                self.unsent.clear();
                for line in self.dialect.local.clone() {
                    self.unsent.push_back((now, line));
                }
                self.link = Link::Closed;
            }
        }
        self.check_deadline(now)
    }

    fn wake_at(&self) -> Option<Moment> {
        let state = match &self.link {
            Link::Closed => None,
            Link::Opening { until } => Some(*until),
            Link::Listening(listening) => Some(listening.silent_until),
        };
        let unsent = self.unsent.front().map(|(at, _)| *at).filter(|at| *at > self.now);
        [state, unsent].into_iter().flatten().min()
    }

    fn next_output(&mut self) -> Option<Vec<u8>> {
        self.unsent.front().filter(|(at, _)| *at <= self.now)?;
        let (_, line) = self.unsent.pop_front()?;
        let mut bytes = line.into_bytes();
        bytes.extend_from_slice(self.dialect.terminator.bytes());
        Some(bytes)
    }

    fn next_event(&mut self) -> Option<MeterEvent> {
        self.events.pop_front()
    }

    fn answer_due(&self) -> bool {
        matches!(&self.link, Link::Listening(listening)
            if listening.polled || self.dialect.poll.is_none())
    }

    fn accept_other(&mut self, _accept: bool) {}
}

#[cfg(test)]
mod tests;
