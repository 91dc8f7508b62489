//! A pseudo-terminal at whose other end nothing understands anything: bytes of 0x80 and above,
//! as they come from a serial port at the wrong rate, whether or not anything was asked. Raw, and
//! held open, so that nothing is lost or echoed before the program comes.

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fs::File;
use std::io::{Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

/// What comes, over and over: hardly one byte of it is text.
const NOISE: &[u8] = b"\xf8\x80\xfe\x9c\xe6\xff\x80\xb3\xf8\r\n";

/// Noise on a pseudo-terminal, until it is dropped.
pub struct Babble {
    /// The link to it.
    pub link: String,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Babble {
    /// Begins.
    pub fn begin() -> Self {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let path = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
        let flags = OFlags::RDWR | OFlags::NOCTTY;
        let held = rustix::fs::open(&path, flags, Mode::empty()).unwrap();
        let mut raw = tcgetattr(&held).unwrap();
        raw.make_raw();
        tcsetattr(&held, OptionalActions::Now, &raw).unwrap();
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            let _held = held;
            babble(&mut File::from(master), &stopped);
        });
        Self { link: format!("serial:{path}"), stop, thread: Some(thread) }
    }
}

impl Drop for Babble {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        let _ = self.thread.take().map(JoinHandle::join);
    }
}

/// A burst of noise every twenty milliseconds; what is said to it is thrown away.
fn babble(master: &mut File, stopped: &AtomicBool) {
    let turn = Timespec { tv_sec: 0, tv_nsec: 20_000_000 };
    let mut heard = [0; 512];
    while !stopped.load(Ordering::Relaxed) {
        let mut fds = [PollFd::new(&*master, PollFlags::IN)];
        if poll(&mut fds, Some(&turn)).is_ok_and(|ready| ready > 0) {
            let _ = master.read(&mut heard);
        }
        // Where nobody reads, the line is full, and more would wait for ever.
        let mut fds = [PollFd::new(&*master, PollFlags::OUT)];
        let none = Timespec { tv_sec: 0, tv_nsec: 0 };
        if poll(&mut fds, Some(&none)).is_ok_and(|ready| ready > 0) {
            let _ = master.write(NOISE);
        }
    }
}
