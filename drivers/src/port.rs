//! One instrument, one thread: the only place where a link and a session meet. Orders go in by a
//! channel, events go to a sink; the thread reads, writes, keeps the session's deadlines, and opens
//! the link again when it is lost, for as long as it was told to. Dropping a [`Port`] closes it,
//! and never waits for the thread longer than a second. Where time is simulated there is no thread:
//! its owner turns the same loop by a [`Crank`].

mod pulse;
mod worker;

#[cfg(test)]
mod real_tests;
#[cfg(test)]
mod tests;
/// The loop without its thread, for tests.
#[cfg(test)]
pub(crate) mod testing {
    pub(crate) use super::Command;
    pub(crate) use super::worker::Worker;
}

use crate::clock::{Clock, Moment};
use crate::error::DriverError;
use crate::link::{CapturingLink, Dtr, Link, LinkSpec, Opener, RoundTrips, TimingLink};
use crate::meter::{MeterEvent, Order};
use crate::profile::Profile;
use crate::session::Session;
use pulse::Pulse;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::Duration;
use worker::Worker;

/// How long closing waits for the thread. A thread stuck in the system is left behind.
const CLOSE_WITHIN: Duration = Duration::from_millis(900);

/// How a port behaves when the link is lost.
#[derive(Clone, Debug)]
pub struct PortOptions {
    /// How long the port tries to open a lost link again.
    pub reconnect_for: Duration,
    /// Whether another meter than the first may answer after that.
    pub accept_other: bool,
    /// A file that receives every byte, with direction and time.
    pub trace: Option<PathBuf>,
    /// Receives the times from query to answer.
    pub round_trips: Option<Arc<RoundTrips>>,
}

impl Default for PortOptions {
    /// Thirty seconds, the same meter, no trace.
    fn default() -> Self {
        Self {
            reconnect_for: Duration::from_secs(30),
            accept_other: false,
            trace: None,
            round_trips: None,
        }
    }
}

/// A message to the thread.
#[derive(Debug)]
pub(crate) enum Command {
    Order(Order),
    Close,
}

/// Turns the loop of a port that has no thread of its own. Clones turn the same loop.
#[derive(Clone)]
pub struct Crank(Arc<Mutex<dyn FnMut() -> bool + Send>>);

impl Crank {
    /// One step of the loop, which lets a few milliseconds of the port's clock pass at most; false
    /// once the port has ended.
    pub fn turn(&self) -> bool {
        let mut step = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        step()
    }
}

/// What turns a port's loop.
enum Turned {
    /// A thread, which says when it has ended.
    ByThread(Receiver<()>),
    /// Whoever owns the port.
    ByHand(Crank),
}

/// An instrument in use.
pub struct Port {
    commands: Sender<Command>,
    turned: Turned,
    closed: bool,
    pulse: Arc<Pulse>,
    name: String,
}

impl Port {
    /// Opens the link and begins to talk. Events go to `sink`, on the port's own thread, until it
    /// returns false or [`MeterEvent::Ended`] has come; it must not block for long.
    ///
    /// # Errors
    /// What [`LinkSpec::open`] reports. A meter that does not answer is no error here: it comes
    /// as `Ended(Some(error))`.
    pub fn open(
        spec: &LinkSpec,
        profile: &Profile,
        clock: Arc<dyn Clock>,
        reconnect_for: Duration,
        sink: impl FnMut(MeterEvent) -> bool + Send + 'static,
    ) -> Result<Self, DriverError> {
        let options = PortOptions { reconnect_for, ..PortOptions::default() };
        Self::open_with(spec, profile, clock, options, sink)
    }

    /// [`Port::open`] with all options.
    ///
    /// # Errors
    /// As [`Port::open`]; [`DriverError::System`] if the trace cannot be created.
    pub fn open_with(
        spec: &LinkSpec,
        profile: &Profile,
        clock: Arc<dyn Clock>,
        options: PortOptions,
        sink: impl FnMut(MeterEvent) -> bool + Send + 'static,
    ) -> Result<Self, DriverError> {
        let session = profile.session(&spec.to_string());
        let mut opener = with_dtr(spec, profile.dtr).opener();
        if let Some(path) = &options.trace {
            opener = traced(opener, path, clock.clone())?;
        }
        if let Some(round_trips) = &options.round_trips {
            opener = timed(opener, round_trips.clone(), clock.clone());
        }
        let first = opener()?;
        let name = first.name().to_owned();
        let mut port = Self::start(Some(first), opener, session, clock, options, sink);
        port.name = name;
        Ok(port)
    }

    /// Begins to talk over links that `opener` opens, the first of them on the port's thread: an
    /// opening that fails comes as `Ended(Some(error))`.
    #[must_use]
    pub fn spawn(
        opener: Opener,
        session: Box<dyn Session>,
        clock: Arc<dyn Clock>,
        options: PortOptions,
        sink: impl FnMut(MeterEvent) -> bool + Send + 'static,
    ) -> Self {
        Self::start(None, opener, session, clock, options, sink)
    }

    fn start(
        first: Option<Box<dyn Link>>,
        opener: Opener,
        mut session: Box<dyn Session>,
        clock: Arc<dyn Clock>,
        options: PortOptions,
        sink: impl FnMut(MeterEvent) -> bool + Send + 'static,
    ) -> Self {
        session.accept_other(options.accept_other);
        let (commands, orders) = mpsc::channel();
        let (ending, ended) = mpsc::channel();
        let pulse = Arc::new(Pulse::default());
        let worker = Worker::new(opener, session, clock, options.reconnect_for, orders, sink)
            .with_pulse(pulse.clone());
        let run = move || {
            worker.run(first);
            drop(ending);
        };
        // A thread that cannot be started drops the sink and the channel: the port reads as ended.
        if let Err(error) = thread::Builder::new().name("meter".into()).spawn(run) {
            tracing::error!(%error, "no thread for the meter");
        }
        let turned = Turned::ByThread(ended);
        Self { commands, turned, closed: false, pulse, name: "the meter's link".into() }
    }

    /// A port without a thread, for a world in which time is simulated: its loop goes on only when
    /// its crank is turned, and while the port is closed. As for [`Port::spawn`] otherwise; the
    /// link and the clock let simulated time pass where real ones would wait.
    #[must_use]
    pub fn by_hand(
        opener: Opener,
        mut session: Box<dyn Session>,
        clock: Arc<dyn Clock>,
        options: PortOptions,
        sink: impl FnMut(MeterEvent) -> bool + Send + 'static,
    ) -> (Self, Crank) {
        session.accept_other(options.accept_other);
        let (commands, orders) = mpsc::channel();
        let pulse = Arc::new(Pulse::default());
        let mut worker = Worker::new(opener, session, clock, options.reconnect_for, orders, sink)
            .with_pulse(pulse.clone());
        let crank = Crank(Arc::new(Mutex::new(move || worker.step())));
        let turned = Turned::ByHand(crank.clone());
        let name = "the meter's link".into();
        (Self { commands, turned, closed: false, pulse, name }, crank)
    }

    /// Whether the port's thread hangs in the system, seen from outside: [`DriverError::Stuck`]
    /// once it is two seconds later than the longest that any call should take. A port that is
    /// stuck can only be dropped; its thread is left behind.
    #[must_use]
    pub fn stuck(&self, now: Moment) -> Option<DriverError> {
        let (late, step) = self.pulse.late(now)?;
        let late_ms = u64::try_from(late.as_millis()).unwrap_or(u64::MAX);
        Some(DriverError::Stuck { port: self.name.clone(), step, late_ms })
    }

    /// Tells the meter what to do. Readings that were begun before this are not credited to it.
    /// After the end of the port, nothing happens.
    pub fn order(&self, order: Order) {
        let _ = self.commands.send(Command::Order(order));
    }

    /// Closes the port: the meter gets its own keys back, the link is closed, and
    /// [`MeterEvent::Ended`] comes. Returns within a second, whatever the system does.
    pub fn close(mut self) {
        self.finish();
    }

    fn finish(&mut self) {
        if std::mem::replace(&mut self.closed, true) {
            return;
        }
        let _ = self.commands.send(Command::Close);
        match &self.turned {
            Turned::ByHand(crank) => while crank.turn() {},
            Turned::ByThread(ended) => {
                if ended.recv_timeout(CLOSE_WITHIN) == Err(mpsc::RecvTimeoutError::Timeout) {
                    tracing::warn!("the meter's link is stuck; its thread is left behind");
                }
            }
        }
    }
}

impl Drop for Port {
    fn drop(&mut self) {
        self.finish();
    }
}

/// The profile's DTR setting, where the link leaves it.
fn with_dtr(spec: &LinkSpec, dtr: Dtr) -> LinkSpec {
    let mut spec = spec.clone();
    if let LinkSpec::Serial { settings, .. } = &mut spec
        && settings.dtr == Dtr::Leave
    {
        settings.dtr = dtr;
    }
    spec
}

/// An opener whose links are measured.
fn timed(mut inner: Opener, round_trips: Arc<RoundTrips>, clock: Arc<dyn Clock>) -> Opener {
    Box::new(move || Ok(Box::new(TimingLink::new(inner()?, clock.clone(), round_trips.clone()))))
}

/// An opener whose links are captured, one after another, in one file.
fn traced(mut inner: Opener, path: &Path, clock: Arc<dyn Clock>) -> Result<Opener, DriverError> {
    let system = |source| DriverError::System {
        port: crate::error::escape(path.to_string_lossy().as_bytes(), 200),
        step: "creating the trace".into(),
        source,
    };
    let file = std::fs::File::create(path).map_err(system)?;
    Ok(Box::new(move || {
        let link = inner()?;
        let file = file.try_clone().map_err(|source| DriverError::System {
            port: link.name().to_owned(),
            step: "writing the trace".into(),
            source,
        })?;
        Ok(Box::new(CapturingLink::new(link, Box::new(file), clock.clone())))
    }))
}

#[cfg(test)]
mod dtr_tests {
    use super::*;

    // F36: some adapters need the line, some meters restart on it.
    #[test]
    fn the_profiles_dtr_holds_where_the_link_leaves_it() {
        let of = |link: &str, dtr| match with_dtr(&link.parse().unwrap(), dtr) {
            LinkSpec::Serial { settings, .. } => settings.dtr,
            _ => Dtr::Leave,
        };
        assert_eq!(of("serial:/dev/x", Dtr::On), Dtr::On);
        assert_eq!(of("serial:/dev/x?dtr=off", Dtr::On), Dtr::Off);
        assert_eq!(of("serial:/dev/x?dtr=on", Dtr::Leave), Dtr::On);
    }
}
