//! A terminal for the program to run on: the near end of a pseudo-terminal is its standard output,
//! with a size, and everything that it shows there is read from the far end. The program's input is
//! empty; its end is waited for, since it was told for how long to run.

use rustix::fs::{Mode, OFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};
use std::fs::File;
use std::io::Read;
use std::process::{Command, Stdio};

pub struct Terminal {
    far: File,
    near: File,
}

impl Terminal {
    /// One of so many columns, and 24 rows.
    pub fn of_columns(columns: u16) -> Self {
        let far = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&far).unwrap();
        unlockpt(&far).unwrap();
        let path = ptsname(&far, Vec::new()).unwrap().into_string().unwrap();
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let near = rustix::fs::open(&path, flags, Mode::empty()).unwrap();
        let size = Winsize { ws_row: 24, ws_col: columns, ws_xpixel: 0, ws_ypixel: 0 };
        tcsetwinsize(&near, size).unwrap();
        Self { far: File::from(far), near: File::from(near) }
    }

    /// Runs the program on it to its end: its exit code, and all that was shown.
    pub fn run(self, words: &[&str]) -> (Option<i32>, String) {
        let Self { mut far, near } = self;
        let mut command = Command::new(env!("CARGO_BIN_EXE_coilmark"));
        command.args(words).stdin(Stdio::null()).stdout(near).stderr(Stdio::inherit());
        let mut child = command.spawn().unwrap();
        // The near end is the program's alone from here on: reading ends with it.
        drop(command);
        let mut shown = Vec::new();
        let mut buffer = [0; 4096];
        while let Ok(count @ 1..) = far.read(&mut buffer) {
            shown.extend_from_slice(&buffer[..count]);
        }
        let code = child.wait().unwrap().code();
        (code, String::from_utf8(shown).unwrap())
    }
}
