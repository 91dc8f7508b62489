//! The loop of a port's thread. In each round: orders, output, whatever arrives within the next few
//! milliseconds, deadlines, events. It sleeps only in the link, or where no byte can come. Before
//! an order is handed over, everything that has already arrived is: it belongs to what was before.
//! All waiting is in slices, so that closing is never far away; whoever turns the loop by hand has
//! it back after each of them.

use super::Command;
use super::pulse::Pulse;
use crate::clock::{Clock, Moment};
use crate::error::DriverError;
use crate::line::READ_AT_MOST;
use crate::link::{Flow, Link, Opener, Received};
use crate::meter::MeterEvent;
use crate::session::{Input, Session};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::Duration;

/// The longest wait in one round: so late may an order be noticed.
const SLICE: Duration = Duration::from_millis(10);
/// How long the link may take to accept one line.
const WRITE_WITHIN: Duration = Duration::from_secs(1);
/// How long opening a link may take: a name is looked up, a few addresses are tried.
const OPEN_WITHIN: Duration = Duration::from_secs(15);
/// How long a read of a message may take beyond the wait it is given: the kernel's own timeout.
const MESSAGE_WITHIN: Duration = Duration::from_secs(5);
/// How long the last lines may take on closing.
const FAREWELL_WITHIN: Duration = Duration::from_millis(200);
/// Pause before the first attempt to open a lost link; doubled up to the longest.
const FIRST_PAUSE: Duration = Duration::from_millis(100);
const LONGEST_PAUSE: Duration = Duration::from_secs(2);
/// A link that was empty is looked at again after this. What an instrument sends within it may as
/// well be on its way while the query goes out: no look can tell the two apart.
const LOOK_AGAIN_AFTER: Duration = Duration::from_micros(100);
/// A meter that sends faster than it is read must not keep an order waiting.
const CHUNKS_BEFORE_ORDER: usize = 64;

pub(crate) struct Worker<S> {
    opener: Opener,
    session: Box<dyn Session>,
    clock: Arc<dyn Clock>,
    reconnect_for: Duration,
    commands: Receiver<Command>,
    sink: S,
    pulse: Arc<Pulse>,
    /// What one read brings.
    buffer: Box<[u8]>,
    /// Whether the meter has answered at least once.
    answered: bool,
    /// Whether it has answered on this link.
    answers: bool,
    /// Whether a link that was lost before the first answer has been opened once more.
    tried_again: bool,
    /// When the link was lost, until the meter answers again.
    lost_at: Option<Moment>,
    /// When a read last brought all that the link had.
    emptied_at: Option<Moment>,
    at: At,
}

/// Where the loop stands between two of its steps.
enum At {
    /// Nothing was said yet; the first link, if somebody has opened it.
    Begun(Option<Box<dyn Link>>),
    /// A link is open; whether the session knows it.
    Linked(Box<dyn Link>, bool),
    /// There is none.
    Away(Absence),
    /// It is over.
    Over,
}

/// A link that is gone, and is opened again.
struct Absence {
    /// The next attempt.
    next: Moment,
    /// The pause before it.
    pause: Duration,
    /// No attempt after this.
    limit: Moment,
    /// What ends the port if the attempts fail; `None`: what the last of them says.
    otherwise: Option<DriverError>,
}

/// Why a link is not used any more.
enum Stop {
    /// Told to: close or sink.
    Told,
    /// This went wrong with it.
    Lost(DriverError),
}

impl From<DriverError> for Stop {
    fn from(error: DriverError) -> Self {
        Self::Lost(error)
    }
}

impl<S: FnMut(MeterEvent) -> bool> Worker<S> {
    pub(crate) fn new(
        opener: Opener,
        session: Box<dyn Session>,
        clock: Arc<dyn Clock>,
        reconnect_for: Duration,
        commands: Receiver<Command>,
        sink: S,
    ) -> Self {
        Self {
            opener,
            session,
            clock,
            reconnect_for,
            commands,
            sink,
            pulse: Arc::default(),
            buffer: vec![0; READ_AT_MOST].into(),
            answered: false,
            answers: false,
            tried_again: false,
            lost_at: None,
            emptied_at: None,
            at: At::Begun(None),
        }
    }

    /// With signs of life for whoever looks at `pulse`.
    pub(crate) fn with_pulse(self, pulse: Arc<Pulse>) -> Self {
        Self { pulse, ..self }
    }

    /// Does something that may wait in the system, for at most `within`.
    fn watched<T>(
        &mut self,
        within: Duration,
        step: &'static str,
        call: impl FnOnce(&mut Self) -> T,
    ) -> T {
        self.pulse.back_by(self.clock.now() + within, step);
        let result = call(self);
        self.pulse.is_back();
        result
    }

    /// Works until told to stop, or until the link is lost for good.
    pub(crate) fn run(mut self, first: Option<Box<dyn Link>>) {
        self.at = At::Begun(first);
        while self.step() {}
    }

    /// One step: at most one round on a link, or one slice of waiting for one. False once it is
    /// over, and the end was told.
    pub(crate) fn step(&mut self) -> bool {
        let end = match std::mem::replace(&mut self.at, At::Over) {
            At::Over => return false,
            at => match self.after(at) {
                Ok(at) => {
                    self.at = at;
                    return true;
                }
                Err(Stop::Told) => None,
                Err(Stop::Lost(error)) => Some(error),
            },
        };
        (self.sink)(MeterEvent::Ended(end));
        false
    }

    fn after(&mut self, at: At) -> Result<At, Stop> {
        match at {
            At::Begun(Some(link)) => Ok(At::Linked(link, false)),
            At::Begun(None) => {
                let link = self.open()?;
                Ok(At::Linked(link, false))
            }
            At::Linked(mut link, known) => {
                let done = if known { self.round(&mut *link) } else { self.greet() };
                match done {
                    Ok(()) => Ok(At::Linked(link, true)),
                    Err(Stop::Told) => {
                        self.farewell(&mut *link);
                        Err(Stop::Told)
                    }
                    Err(Stop::Lost(error)) => {
                        drop(link);
                        self.lost(error)
                    }
                }
            }
            At::Away(absence) => self.away(absence),
            At::Over => Err(Stop::Told),
        }
    }

    fn open(&mut self) -> Result<Box<dyn Link>, DriverError> {
        self.watched(OPEN_WITHIN, "opening it", |worker| (worker.opener)())
    }

    /// A fresh link.
    fn greet(&mut self) -> Result<(), Stop> {
        self.answers = false;
        Ok(self.session.handle(Input::LinkOpened, self.clock.now())?)
    }

    /// What follows when a link is lost.
    fn lost(&mut self, error: DriverError) -> Result<At, Stop> {
        let now = self.clock.now();
        // What the session had to say before the loss is still said.
        let heard = self.session.handle(Input::LinkLost, now).is_ok() && self.tell();
        if !heard {
            return Err(Stop::Told);
        }
        let (next, pause) = (now + FIRST_PAUSE, FIRST_PAUSE);
        // Some instruments restart, or hang up, over the first byte of a fresh link.
        let first_loss = !self.answered && matches!(error, DriverError::LinkLost { .. });
        if first_loss && !std::mem::replace(&mut self.tried_again, true) {
            let otherwise = Some(error);
            return Ok(At::Away(Absence { next, pause, limit: now, otherwise }));
        }
        if !self.answered || is_final(&error) || self.reconnect_for.is_zero() {
            return Err(Stop::Lost(error));
        }
        let limit = match self.lost_at.filter(|_| !self.answers) {
            // The link was back, but not the meter: still the same loss.
            Some(lost) if now >= lost + self.reconnect_for => return Err(Stop::Lost(error)),
            Some(lost) => lost + self.reconnect_for,
            None => {
                self.lost_at = Some(now);
                if !(self.sink)(MeterEvent::WentAway(error)) {
                    return Err(Stop::Told);
                }
                now + self.reconnect_for
            }
        };
        Ok(At::Away(Absence { next, pause, limit, otherwise: None }))
    }

    /// Lets a slice of time pass without a link, or tries to open it. Orders are kept, closing ends
    /// it.
    fn away(&mut self, mut absence: Absence) -> Result<At, Stop> {
        while let Some(command) = self.next_command()? {
            self.obey(command)?;
        }
        if !self.tell() {
            return Err(Stop::Told);
        }
        let left = absence.next.since(self.clock.now());
        if !left.is_zero() {
            self.clock.pause(left.min(SLICE));
            return Ok(At::Away(absence));
        }
        match self.open() {
            Ok(link) => return Ok(At::Linked(link, false)),
            Err(error) if is_final(&error) || self.clock.now() >= absence.limit => {
                return Err(Stop::Lost(absence.otherwise.unwrap_or(error)));
            }
            Err(error) => tracing::info!(%error, "the link is not back yet"),
        }
        let now = self.clock.now();
        absence.pause = (absence.pause * 2).min(LONGEST_PAUSE).min(absence.limit.since(now));
        absence.next = now + absence.pause;
        Ok(At::Away(absence))
    }

    fn next_command(&self) -> Result<Option<Command>, Stop> {
        match self.commands.try_recv() {
            Ok(command) => Ok(Some(command)),
            Err(TryRecvError::Empty) => Ok(None),
            Err(TryRecvError::Disconnected) => Err(Stop::Told),
        }
    }

    fn obey(&mut self, command: Command) -> Result<(), Stop> {
        match command {
            Command::Close => Err(Stop::Told),
            Command::Order(order) => {
                let now = self.clock.now();
                Ok(self.session.handle(Input::OrderGiven(order), now)?)
            }
        }
    }

    /// One round on a link.
    fn round(&mut self, link: &mut dyn Link) -> Result<(), Stop> {
        while let Some(command) = self.next_command()? {
            if link.flow() == Flow::Stream {
                for _ in 0..CHUNKS_BEFORE_ORDER {
                    if !self.receive(link, Duration::ZERO)? {
                        break;
                    }
                }
            }
            self.obey(command)?;
        }
        // What is already here came before what is sent next.
        if link.flow() == Flow::Stream && !self.has_just_looked() {
            self.receive(link, Duration::ZERO)?;
        }
        self.send(link)?;
        if !self.tell() {
            return Err(Stop::Told);
        }
        let now = self.clock.now();
        let wait = self.session.wake_at().map_or(SLICE, |at| at.since(now).min(SLICE));
        if link.flow() == Flow::Stream || self.session.answer_due() {
            self.receive(link, wait)?;
        } else {
            self.clock.pause(wait); // no byte can come
        }
        let now = self.clock.now();
        if self.session.wake_at().is_some_and(|at| at <= now) {
            self.session.handle(Input::DeadlineReached, now)?;
        }
        // The instrument works on the next query while its last answer is told.
        if self.has_just_looked() {
            self.send(link)?;
        }
        if self.tell() { Ok(()) } else { Err(Stop::Told) }
    }

    /// Sends what the session has to say.
    fn send(&mut self, link: &mut dyn Link) -> Result<(), Stop> {
        let mut sent = false;
        while let Some(bytes) = self.session.next_output() {
            self.watched(WRITE_WITHIN, "sending", |_| link.write(&bytes, WRITE_WITHIN))?;
            sent = true;
        }
        if sent {
            self.session.handle(Input::OutputSent, self.clock.now())?;
        }
        Ok(())
    }

    /// Hands over what arrives within `wait`; whether anything did.
    fn receive(&mut self, link: &mut dyn Link, wait: Duration) -> Result<bool, Stop> {
        let within = if link.flow() == Flow::Messages { wait + MESSAGE_WITHIN } else { wait };
        let read = |worker: &mut Self| link.read_some(&mut worker.buffer, wait);
        match self.watched(within, "reading", read)? {
            Received::Bytes(count) => {
                let now = self.clock.now();
                let all = link.drains() && count < self.buffer.len();
                self.emptied_at = all.then_some(now);
                let bytes = self.buffer.get(..count).unwrap_or_default();
                self.session.handle(Input::BytesReceived(bytes), now)?;
                Ok(true)
            }
            Received::Nothing => Ok(false),
        }
    }

    /// Whether the link was read empty so short a time ago that another look would bring nothing.
    fn has_just_looked(&self) -> bool {
        let ago = |emptied: Moment| self.clock.now().since(emptied);
        self.emptied_at.is_some_and(|emptied| ago(emptied) < LOOK_AGAIN_AFTER)
    }

    /// Passes the session's events on; false once the sink wants no more.
    fn tell(&mut self) -> bool {
        while let Some(event) = self.session.next_event() {
            if matches!(event, MeterEvent::Answered { .. }) {
                self.answered = true;
                self.answers = true;
            }
            if !(self.sink)(event) {
                return false;
            }
        }
        true
    }

    /// Leaves the meter as a person would want it, if it still listens.
    fn farewell(&mut self, link: &mut dyn Link) {
        if self.session.handle(Input::Closing, self.clock.now()).is_ok() {
            while let Some(bytes) = self.session.next_output() {
                if link.write(&bytes, FAREWELL_WITHIN).is_err() {
                    break;
                }
            }
        }
    }
}

/// Opening the link again cannot help against these.
const fn is_final(error: &DriverError) -> bool {
    matches!(
        error,
        DriverError::OtherMeter { .. }
            | DriverError::Unsupported { .. }
            | DriverError::TraceOver { .. }
    )
}
