//! The far end of every row: it answers each line at once, with one reading, with a block of them,
//! or with who it is, and it counts what it answered. On TCP it takes one client after another; on
//! a pseudo-terminal it is raw and held open. Its thread blocks in reads: it ends with the process.

use rustix::fs::{Mode, OFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fs::File;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// One reading of an answer.
const READING: &str = "+1.23456789E+00";

/// An instrument that takes no time.
pub struct FarEnd {
    link: String,
    answered: Arc<AtomicU64>,
}

impl FarEnd {
    /// On a free TCP port.
    pub fn on_tcp(block: usize) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let link = format!("tcp:{}", listener.local_addr().unwrap());
        let answered = Arc::new(AtomicU64::new(0));
        let counter = answered.clone();
        std::thread::spawn(move || {
            while let Ok((stream, _)) = listener.accept() {
                stream.set_nodelay(true).unwrap();
                answer(stream, block, &counter);
            }
        });
        Self { link, answered }
    }

    /// On a new pseudo-terminal.
    pub fn on_pty(block: usize) -> Self {
        let (path, master, near) = pty();
        let answered = Arc::new(AtomicU64::new(0));
        let counter = answered.clone();
        std::thread::spawn(move || {
            answer(master, block, &counter);
            drop(near);
        });
        Self { link: format!("serial:{path}"), answered }
    }

    /// Where it is.
    pub fn link(&self) -> String {
        self.link.clone()
    }

    /// How many queries it has answered.
    pub fn answered(&self) -> u64 {
        self.answered.load(Ordering::Relaxed)
    }
}

/// A raw pseudo-terminal: the path of its near end, the far end, and the near end held open.
pub fn pty() -> (String, File, File) {
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&master).unwrap();
    unlockpt(&master).unwrap();
    let path = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
    let near = rustix::fs::open(&path, OFlags::RDWR | OFlags::NOCTTY, Mode::empty()).unwrap();
    let mut raw = tcgetattr(&near).unwrap();
    raw.make_raw();
    tcsetattr(&near, OptionalActions::Now, &raw).unwrap();
    (path, File::from(master), File::from(near))
}

fn answer(mut line: impl Read + Write, block: usize, answered: &AtomicU64) {
    let one = format!("{READING}\n");
    let many = format!("{}\n", vec![READING; block].join(","));
    let mut heard = Vec::new();
    let mut chunk = [0; 4096];
    while let Ok(count @ 1..) = line.read(&mut chunk) {
        heard.extend_from_slice(&chunk[..count]);
        while let Some(end) = heard.iter().position(|byte| *byte == b'\n') {
            let answer = match heard[..end].trim_ascii() {
                b"*IDN?" => "MAKER,MODEL,0,1.0\n",
                b"*ESR?" | b"*OPC?" => "0\n",
                b"SYST:ERR?" => "0,\"No error\"\n",
                b"FUNC?" => "\"VOLT\"\n",
                b"READ?" => &one,
                b"FETC?" => &many,
                _ => "",
            };
            heard.drain(..=end);
            if !answer.is_empty() {
                if line.write_all(answer.as_bytes()).is_err() {
                    return;
                }
                answered.fetch_add(1, Ordering::Relaxed);
            }
        }
    }
}
