//! A speech program beside the run: lines of text on its standard input, and nothing else. It is
//! started from its own words without a shell, so that no text can become a command. Its own
//! thread writes, and what it does not take in time is dropped: a program that hangs or dies stops
//! nothing. At the end it gets a moment to take the last lines.

use super::failure::Failure;
use std::io::Write;
use std::process::{Command, Stdio};
use std::sync::mpsc::{self, Receiver, SyncSender};
use std::time::Duration;

/// So many lines may wait.
const WAITING_MAX: usize = 32;
/// The longest that the end of a run waits for the last lines to be taken.
const END_MAX: Duration = Duration::from_secs(1);

/// A speech program that was started.
#[derive(Debug)]
pub(super) struct Speech {
    lines: Option<SyncSender<String>>,
    ended: Receiver<()>,
}

impl Speech {
    /// Starts the program that the first word names, with the others.
    pub(super) fn begin(words: &str) -> Result<Self, Failure> {
        let mut words = words.split_whitespace();
        let program = words.next().unwrap_or_default();
        let child = Command::new(program)
            .args(words)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let mut child = child.map_err(|error| {
            Failure::bad_input(
                format!("--say {program}: {error}"),
                "name a program that speaks what it reads, with its path if it is not found",
            )
        })?;
        let (lines, waiting) = mpsc::sync_channel::<String>(WAITING_MAX);
        let (end, ended) = mpsc::channel();
        let mut input = child.stdin.take();
        std::thread::spawn(move || {
            while let (Some(input), Ok(line)) = (&mut input, waiting.recv()) {
                if input.write_all(line.as_bytes()).and_then(|()| input.flush()).is_err() {
                    tracing::info!("the speech program has ended");
                    break;
                }
            }
            drop(input);
            let _ = end.send(());
            let _ = child.wait();
        });
        Ok(Self { lines: Some(lines), ended })
    }

    /// Says a line, if there is time for it.
    pub(super) fn say(&mut self, line: &str) {
        if let Some(lines) = &self.lines {
            let _ = lines.try_send(format!("{line}\n"));
        }
    }
}

impl Drop for Speech {
    fn drop(&mut self) {
        self.lines = None;
        let _ = self.ended.recv_timeout(END_MAX);
    }
}
