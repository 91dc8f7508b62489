//! Serves a simulated meter to other programs: one thread moves bytes between the [`Port`] and
//! the [`Instrument`], in real time. The handle switches faults on and unplugs the port; dropping
//! it unplugs for good. The meter itself lives on while unplugged, as a real one would.

use super::Bench;
use super::instrument::Instrument;
use super::port::{Place, Port};
use drivers::Moment;
use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

/// The longest the thread waits before it looks whether it shall stop.
const LOOK: Duration = Duration::from_millis(5);
/// Bytes that nobody takes, beyond which a free-running meter's lines are lost.
const UNSENT_MAX: usize = 4096;

/// Why a meter cannot be served.
#[derive(Debug, thiserror::Error)]
#[error("{step}")]
pub struct ServeError {
    step: &'static str,
    source: io::Error,
}

impl ServeError {
    pub(crate) fn new(step: &'static str, source: io::Error) -> Self {
        Self { step, source }
    }

    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        "is the address free, and may this user open pseudo-terminals (/dev/ptmx)?"
    }
}

/// A meter that is being served.
pub struct Served {
    bench: Bench,
    instrument: Arc<Mutex<Instrument>>,
    place: Place,
    name: Option<PathBuf>,
    running: Option<Running>,
}

struct Running {
    stop: Arc<AtomicBool>,
    thread: JoinHandle<()>,
}

impl Served {
    pub(crate) fn on_pty(
        bench: Bench,
        instrument: Instrument,
        name: Option<&Path>,
    ) -> Result<Self, ServeError> {
        Self::begin(bench, instrument, Port::pty(name)?, name.map(Path::to_path_buf))
    }

    pub(crate) fn on_tcp(
        bench: Bench,
        instrument: Instrument,
        addr: SocketAddr,
    ) -> Result<Self, ServeError> {
        Self::begin(bench, instrument, Port::tcp(addr)?, None)
    }

    fn begin(
        bench: Bench,
        instrument: Instrument,
        port: Port,
        name: Option<PathBuf>,
    ) -> Result<Self, ServeError> {
        let place = port.place().map_err(|e| ServeError::new("naming the port", e))?;
        let instrument = Arc::new(Mutex::new(instrument));
        let mut served = Self { bench, instrument, place, name, running: None };
        served.run(port);
        Ok(served)
    }

    fn run(&mut self, mut port: Port) {
        let stop = Arc::new(AtomicBool::new(false));
        let (bench, instrument) = (self.bench.clone(), Arc::clone(&self.instrument));
        let stopped = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            let mut unsent = Vec::new();
            while !stopped.load(Ordering::Relaxed) {
                turn(&bench, &instrument, &mut port, &mut unsent);
            }
        });
        self.running = Some(Running { stop, thread });
    }

    /// The path of the pseudo-terminal, or its stable name; `None` on TCP.
    #[must_use]
    pub fn path(&self) -> Option<&Path> {
        match &self.place {
            Place::Path(path) => Some(path),
            Place::Addr(_) => None,
        }
    }

    /// The address; `None` on a pseudo-terminal.
    #[must_use]
    pub fn addr(&self) -> Option<SocketAddr> {
        match &self.place {
            Place::Path(_) => None,
            Place::Addr(addr) => Some(*addr),
        }
    }

    /// The link, as a command line takes it: `serial:/dev/pts/5` or `tcp:127.0.0.1:4711`.
    #[must_use]
    pub fn link(&self) -> String {
        match &self.place {
            Place::Path(path) => format!("serial:{}", path.display()),
            Place::Addr(addr) => format!("tcp:{addr}"),
        }
    }

    /// Pulls the plug: the program sees a hang-up.
    pub fn unplug(&mut self) {
        if let Some(Running { stop, thread }) = self.running.take() {
            stop.store(true, Ordering::Relaxed);
            // A thread that panicked has dropped its port too: it is unplugged either way.
            let _ = thread.join();
        }
    }

    /// Plugs in again: on TCP at the same address; a pseudo-terminal may get another number, its
    /// stable name stays. Does nothing while plugged in.
    ///
    /// # Errors
    /// [`ServeError`] where the system gives no port.
    pub fn plug(&mut self) -> Result<(), ServeError> {
        if self.running.is_some() {
            return Ok(());
        }
        let port = match &self.place {
            Place::Path(_) => Port::pty(self.name.as_deref())?,
            Place::Addr(addr) => Port::tcp(*addr)?,
        };
        self.place = port.place().map_err(|e| ServeError::new("naming the port", e))?;
        self.run(port);
        Ok(())
    }

    /// Neither hears nor answers while `on`, but stays plugged in.
    pub fn silence(&self, on: bool) {
        self.instrument().silence(on);
    }

    /// Sends back whatever it is sent, while `on`.
    pub fn echo(&self, on: bool) {
        self.instrument().echo(on);
    }

    /// These bytes arrive now, unasked.
    pub fn interject(&self, bytes: &[u8]) {
        let now = self.bench.now();
        self.instrument().interject(bytes, now);
    }

    /// These bytes arrive instead of the next answer.
    pub fn replace_answer(&self, bytes: &[u8]) {
        self.instrument().replace_next(bytes);
    }

    /// The next answer arrives this much later.
    pub fn delay_answer(&self, delay: Duration) {
        self.instrument().delay_next(delay);
    }

    /// Another meter answers from now on.
    pub fn swap_identity(&self, identity: &str) {
        self.instrument().swap_identity(identity);
    }

    /// Switches the meter off and on: its settings are gone.
    pub fn power_cycle(&self) {
        self.instrument().power_cycle(&mut self.bench.state());
    }

    fn instrument(&self) -> MutexGuard<'_, Instrument> {
        lock(&self.instrument)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        self.unplug();
    }
}

/// Moves what is there to move, and waits for more.
fn turn(bench: &Bench, instrument: &Mutex<Instrument>, port: &mut Port, unsent: &mut Vec<u8>) {
    let wake = {
        let now = bench.now();
        let mut instrument = lock(instrument);
        let said = instrument.next(&mut bench.state(), now);
        if unsent.len() < UNSENT_MAX {
            unsent.extend(said);
        }
        instrument.wake_at()
    };
    if !unsent.is_empty() {
        port.send(unsent);
    }
    let until = wake.map_or(LOOK, |wake: Moment| wake.since(bench.now()).min(LOOK));
    port.wait(!unsent.is_empty(), until);
    let heard = port.receive();
    if !heard.is_empty() {
        let now = bench.now();
        lock(instrument).push(&heard, &mut bench.state(), now);
    }
}

fn lock(instrument: &Mutex<Instrument>) -> MutexGuard<'_, Instrument> {
    instrument.lock().unwrap_or_else(PoisonError::into_inner)
}
