//! One command or one query at a time with a supply, each with one absolute deadline. A query's
//! answer counts only when it is one whole line; after a failure the next query waits until the
//! supply has said its own name again, so that no late answer is credited to a later query. No
//! command is ever sent twice by itself.

use crate::clock::{Clock, Moment};
use crate::error::{DriverError, escape};
use crate::line::{LineAssembler, garbled};
use crate::link::{Link, Received};
use crate::reading::Value;
use crate::scpi::{ErrorEntry, parse_value};
use std::sync::Arc;
use std::time::Duration;

/// How long one command or answer may take.
const WITHIN: Duration = Duration::from_secs(1);
/// How often it is asked who answers before nobody does.
const INTRODUCTIONS: u32 = 3;
/// How long one look at the link lasts.
const LOOK: Duration = Duration::from_millis(20);
/// How long leftovers are waited for.
const QUIET: Duration = Duration::from_millis(40);
/// An error queue that is longer than this never ends.
const ERRORS_MAX: usize = 20;

/// The conversation.
pub(super) struct Exchange {
    link: Box<dyn Link>,
    clock: Arc<dyn Clock>,
    lines: LineAssembler,
    /// Whether something may still come that nobody waits for.
    stale: bool,
    /// What it answers to `*IDN?`, once that is known.
    name: Option<String>,
}

impl Exchange {
    pub(super) fn new(link: Box<dyn Link>, clock: Arc<dyn Clock>) -> Self {
        Self { link, clock, lines: LineAssembler::new(), stale: true, name: None }
    }

    pub(super) fn name(&self) -> &str {
        self.link.name()
    }

    pub(super) fn pause(&self, span: Duration) {
        self.clock.pause(span);
    }

    /// Ends half a command that a killed program may have left, and forgets its errors.
    pub(super) fn begin(&mut self) -> Result<(), DriverError> {
        self.link.clear_input()?;
        self.tell("")?;
        self.tell("*CLS")
    }

    /// Sends a command.
    pub(super) fn tell(&mut self, command: &str) -> Result<(), DriverError> {
        self.link.write(format!("{command}\n").as_bytes(), WITHIN)
    }

    /// Sends a query; its answer, whole, without its end.
    pub(super) fn ask(&mut self, query: &str) -> Result<String, DriverError> {
        if std::mem::replace(&mut self.stale, true) {
            self.drain()?;
            if let Some(name) = self.name.clone() {
                self.answer_to("*IDN?", |line| line == name)?;
            }
        }
        let answer = self.answer_to(query, |_| true)?;
        self.stale = false;
        Ok(answer)
    }

    /// Asks who answers, and remembers it. A supply that was just plugged in may not answer at
    /// once: it is asked again, and the answers that come late are waited out.
    pub(super) fn introduce(&mut self) -> Result<String, DriverError> {
        let mut asked = 1;
        let name = loop {
            match self.ask("*IDN?") {
                Err(DriverError::NoAnswer { .. }) if asked < INTRODUCTIONS => asked += 1,
                answer => break answer?,
            }
        };
        self.stale = asked > 1;
        self.name = Some(name.clone());
        Ok(name)
    }

    /// Sends a query; the first line that can be its answer.
    fn answer_to(
        &mut self,
        query: &str,
        fits: impl Fn(&str) -> bool,
    ) -> Result<String, DriverError> {
        self.tell(query)?;
        let until = self.clock.now() + WITHIN;
        loop {
            match self.lines.next() {
                // An instrument that sends back what it is sent, or an answer that came too late.
                Some(Ok(line)) if line.trim() == query || !fits(&line) => {}
                Some(Ok(line)) => return Ok(line),
                Some(Err(bad)) => return Err(bad.into_error(self.link.name(), "an answer")),
                None if self.clock.now() >= until => return Err(self.no_answer(query)),
                None => self.listen(until)?,
            }
        }
    }

    /// Sends a query whose answer is a number.
    pub(super) fn ask_number(&mut self, query: &str) -> Result<f64, DriverError> {
        let answer = self.ask(query)?;
        match parse_value(&answer) {
            Ok(Value::Number(x)) => Ok(x),
            _ => {
                Err(garbled(self.link.name(), &format!("a number for {query}"), answer.as_bytes()))
            }
        }
    }

    /// Empties the error queue.
    ///
    /// # Errors
    /// [`DriverError::Refused`] with its first entry, if there is one.
    pub(super) fn no_errors(&mut self, after: &str) -> Result<(), DriverError> {
        let mut first = None;
        for _ in 0..ERRORS_MAX {
            let answer = self.ask("SYST:ERR?")?;
            let Some(entry) = ErrorEntry::parse(&answer) else {
                return Err(garbled(self.link.name(), "an error entry", answer.as_bytes()));
            };
            if entry.is_none() {
                break;
            }
            first.get_or_insert(entry);
        }
        match first {
            None => Ok(()),
            Some(entry) => Err(DriverError::Refused {
                port: self.link.name().to_owned(),
                command: after.to_owned(),
                number: entry.number,
                text: escape(entry.text.as_bytes(), 100),
            }),
        }
    }

    pub(super) fn setting_lost(&self, expected: &str, found: &str) -> DriverError {
        DriverError::SettingLost {
            port: self.link.name().to_owned(),
            expected: expected.to_owned(),
            found: escape(found.as_bytes(), 64),
        }
    }

    fn listen(&mut self, until: Moment) -> Result<(), DriverError> {
        let wait = until.since(self.clock.now()).min(LOOK);
        let mut bytes = [0; 512];
        if let Received::Bytes(count) = self.link.read_some(&mut bytes, wait)? {
            self.lines.push(&bytes[..count]);
        }
        Ok(())
    }

    /// Throws away what comes until it is quiet.
    fn drain(&mut self) -> Result<(), DriverError> {
        let until = self.clock.now() + WITHIN;
        let mut bytes = [0; 512];
        while self.link.read_some(&mut bytes, QUIET)? != Received::Nothing
            && self.clock.now() < until
        {}
        self.lines.clear();
        Ok(())
    }

    fn no_answer(&self, query: &str) -> DriverError {
        DriverError::NoAnswer {
            port: self.link.name().to_owned(),
            query: escape(query.as_bytes(), 64),
            waited_ms: u64::try_from(WITHIN.as_millis()).unwrap_or(u64::MAX),
        }
    }
}
