//! An SCPI multimeter, or a supply, for tests whose commands are read by the interpreter of the
//! `microscpi` crate, not by code of ours: what our side sends is judged by somebody else's
//! grammar. It is served on a pseudo-terminal or on TCP from a thread of its own; a closure gives
//! each reading. It keeps what it heard and the errors it raised. It answers at once, and it does
//! not keep the IEEE 488.2 message-exchange state, so it never raises -410 or -420; the simulated
//! bench does.

#![allow(dead_code, unused_imports, reason = "each test uses its part of the instrument")]
#![allow(clippy::unwrap_used, reason = "an instrument that cannot start fails its test")]

mod supply_voice;
mod voice;

pub use supply_voice::{Output, SUPPLY_IDENTITY};
pub use voice::{IDENTITY, OVERLOAD};

use drivers::Function;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fs::File;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener};
use std::os::fd::{AsFd, OwnedFd};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use supply_voice::SupplyVoice;
use voice::Voice;

/// The longest command that is kept.
const COMMAND_BYTES_MAX: usize = 4096;

/// From one line to its answer, and the errors that it raised.
type Speak = Box<dyn FnMut(&[u8]) -> (Vec<u8>, Vec<String>) + Send>;

/// A served instrument; dropping it unplugs it.
pub struct Instrument {
    place: Place,
    heard: Arc<Heard>,
    thread: Option<JoinHandle<()>>,
}

enum Place {
    Terminal(PathBuf),
    Network(SocketAddr),
}

/// What the instrument and its owner share.
#[derive(Default)]
struct Heard {
    unplugged: AtomicBool,
    commands: Mutex<Vec<String>>,
    errors: Mutex<Vec<String>>,
}

impl Instrument {
    /// On a new pseudo-terminal. `measure` gives a reading in the function's unit;
    /// [`OVERLOAD`] or more is an overload.
    pub fn on_pty(measure: impl FnMut(Function) -> f64 + Send + 'static) -> Self {
        Self::speaking_on_pty(meter(measure))
    }

    /// A supply on a new pseudo-terminal; `output` is what it does.
    pub fn supply_on_pty(output: Arc<Mutex<Output>>) -> Self {
        Self::speaking_on_pty(supply(output))
    }

    /// A supply on a free TCP port of this machine.
    pub fn supply_on_tcp(output: Arc<Mutex<Output>>) -> Self {
        Self::speaking_on_tcp(supply(output))
    }

    fn speaking_on_pty(speak: Speak) -> Self {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let path = PathBuf::from(ptsname(&master, Vec::new()).unwrap().into_string().unwrap());
        // Raw before the name is known, or the terminal echoes the first answer; and held open,
        // or the master reads an error whenever no client is there.
        let flags = OFlags::RDWR | OFlags::NOCTTY;
        let held: OwnedFd = rustix::fs::open(&path, flags, Mode::empty()).unwrap();
        let mut raw = tcgetattr(&held).unwrap();
        raw.make_raw();
        tcsetattr(&held, OptionalActions::Now, &raw).unwrap();
        Self::begin(Place::Terminal(path), speak, move |heard, speak| {
            converse(File::from(master), heard, speak);
            drop(held);
        })
    }

    /// On a free TCP port of this machine, for one client after another.
    pub fn on_tcp(measure: impl FnMut(Function) -> f64 + Send + 'static) -> Self {
        Self::speaking_on_tcp(meter(measure))
    }

    fn speaking_on_tcp(speak: Speak) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        Self::begin(Place::Network(address), speak, move |heard, speak| {
            while wait_readable(&listener, heard) {
                if let Ok((client, _)) = listener.accept() {
                    converse(client, heard, speak);
                }
            }
        })
    }

    fn begin(
        place: Place,
        mut speak: Speak,
        serve: impl FnOnce(&Heard, &mut Speak) + Send + 'static,
    ) -> Self {
        let heard = Arc::new(Heard::default());
        let shared = Arc::clone(&heard);
        let thread = std::thread::spawn(move || serve(&shared, &mut speak));
        Self { place, heard, thread: Some(thread) }
    }

    /// Where it is, as a link is written: `serial:PATH` or `tcp:HOST:PORT`.
    pub fn link(&self) -> String {
        match &self.place {
            Place::Terminal(path) => format!("serial:{}", path.display()),
            Place::Network(address) => format!("tcp:{address}"),
        }
    }

    /// The terminal's path; none on TCP.
    pub fn path(&self) -> Option<&Path> {
        match &self.place {
            Place::Terminal(path) => Some(path),
            Place::Network(_) => None,
        }
    }

    /// The TCP address; none on a terminal.
    pub fn address(&self) -> Option<SocketAddr> {
        match self.place {
            Place::Terminal(_) => None,
            Place::Network(address) => Some(address),
        }
    }

    /// Every line that arrived, without its end, in order.
    pub fn commands(&self) -> Vec<String> {
        self.heard.commands.lock().unwrap().clone()
    }

    /// Every error that was raised, as `-113 Undefined header`, whether or not it was asked for.
    pub fn errors(&self) -> Vec<String> {
        self.heard.errors.lock().unwrap().clone()
    }

    /// Pulls the plug: when this returns, the line is hung up and the port is closed.
    pub fn unplug(&mut self) {
        self.heard.unplugged.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            assert!(thread.join().is_ok() || std::thread::panicking(), "the instrument panicked");
        }
    }
}

impl Drop for Instrument {
    fn drop(&mut self) {
        self.unplug();
    }
}

fn meter(measure: impl FnMut(Function) -> f64 + Send + 'static) -> Speak {
    let mut voice = Voice::new(Box::new(measure));
    Box::new(move |line| (voice.answer(line), voice.take_raised()))
}

fn supply(output: Arc<Mutex<Output>>) -> Speak {
    let mut voice = SupplyVoice::new(output);
    Box::new(move |line| (voice.answer(line), voice.take_raised()))
}

/// Answers until the client goes or the plug is pulled.
fn converse(mut line: impl Read + Write + AsFd, heard: &Heard, speak: &mut Speak) {
    let mut pending = Vec::new();
    let mut chunk = [0; 512];
    while wait_readable(&line, heard) {
        let Ok(count @ 1..) = line.read(&mut chunk) else { return };
        pending.extend_from_slice(&chunk[..count]);
        while let Some(end) = pending.iter().position(|b| *b == b'\n') {
            let command: Vec<u8> = pending.drain(..=end).collect();
            let text = String::from_utf8_lossy(&command).trim_end().to_string();
            heard.commands.lock().unwrap().push(text);
            let (answer, raised) = speak(&command);
            heard.errors.lock().unwrap().extend(raised);
            if line.write_all(&answer).is_err() {
                return;
            }
        }
        if pending.len() > COMMAND_BYTES_MAX {
            pending.clear();
        }
    }
}

/// Waits until there is something to read; false once the plug is pulled.
fn wait_readable(line: &impl AsFd, heard: &Heard) -> bool {
    let turn = Timespec { tv_sec: 0, tv_nsec: 10_000_000 };
    while !heard.unplugged.load(Ordering::Relaxed) {
        let mut fds = [PollFd::new(line, PollFlags::IN)];
        if poll(&mut fds, Some(&turn)).is_ok_and(|ready| ready > 0) {
            return true;
        }
    }
    false
}
