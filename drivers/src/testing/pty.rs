//! The far end of a pseudo-terminal: what an instrument on a serial port is to the program. The
//! near end is a path that a serial link opens. Held open here too, so that it can be written
//! before anyone listens; dropping it is the unplug.

use super::meter::MeterSim;
use crate::clock::{Clock, SystemClock};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::pty::{OpenptFlags, grantpt, ioctl_tiocgptpeer, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fs::File;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::os::fd::{AsFd, OwnedFd};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

pub(crate) struct FarEnd {
    pub master: File,
    pub path: String,
    _near: OwnedFd,
}

impl FarEnd {
    /// A raw pseudo-terminal.
    pub(crate) fn open() -> Self {
        let far_end = Self::open_cooked();
        let mut settings = tcgetattr(&far_end._near).unwrap();
        settings.make_raw();
        tcsetattr(&far_end._near, OptionalActions::Now, &settings).unwrap();
        far_end
    }

    /// As the system makes it: it sends everything back, and CR becomes LF.
    pub(crate) fn open_cooked() -> Self {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let path = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
        let near = ioctl_tiocgptpeer(&master, flags).unwrap();
        Self { master: File::from(master), path, _near: near }
    }

    pub(crate) fn send(&mut self, bytes: &[u8]) {
        self.master.write_all(bytes).unwrap();
    }

    /// Answers as `sim` would, until the returned handle is dropped, which is the unplug.
    pub(crate) fn serve(self, sim: MeterSim) -> Served {
        let stop = Arc::new(AtomicBool::new(false));
        let stopping = stop.clone();
        let thread = thread::spawn(move || serve(self.master, sim, &stopping));
        Served { stop, thread: Some(thread), _near: Some(self._near) }
    }
}

/// A simulated meter at work on a thread of its own.
pub(crate) struct Served {
    stop: Arc<AtomicBool>,
    thread: Option<thread::JoinHandle<MeterSim>>,
    _near: Option<OwnedFd>,
}

impl Served {
    /// A simulated meter on a TCP connection.
    pub(crate) fn on_stream(stream: TcpStream, sim: MeterSim) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let stopping = stop.clone();
        let thread = thread::spawn(move || serve(stream, sim, &stopping));
        Self { stop, thread: Some(thread), _near: None }
    }

    /// Ends it, and gives back the meter.
    pub(crate) fn stop(mut self) -> MeterSim {
        self.stop.store(true, Ordering::SeqCst);
        self.thread.take().unwrap().join().unwrap()
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn serve<F: Read + Write + AsFd>(mut wire: F, mut sim: MeterSim, stop: &AtomicBool) -> MeterSim {
    let clock = SystemClock::begin();
    let mut buffer = [0; 256];
    while !stop.load(Ordering::SeqCst) {
        let ready = {
            let mut polled = [PollFd::new(&wire, PollFlags::IN)];
            let timeout = Timespec { tv_sec: 0, tv_nsec: 2_000_000 };
            poll(&mut polled, Some(&timeout)).unwrap_or(0) > 0
        };
        if ready {
            match wire.read(&mut buffer) {
                Ok(count) if count > 0 => sim.receive(&buffer[..count], clock.now()),
                _ => break,
            }
        }
        let due = sim.send(clock.now());
        if !due.is_empty() && wire.write_all(&due).is_err() {
            break;
        }
    }
    sim
}
