//! One process of the program: its standard output line by line, its input, its end. Threads of
//! their own read both outputs, so that neither can fill up and stop it; every wait has a limit,
//! after which the test fails and the process is killed. A process never outlives its test.

use std::io::{BufRead, BufReader, Read, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::time::Duration;

/// How long any one line, and the end of a process, may be waited for.
pub const DEADLINE: Duration = Duration::from_secs(30);

/// A process of the program.
pub struct Program {
    child: Child,
    stdin: Option<ChildStdin>,
    lines: Receiver<String>,
    complaints: Receiver<String>,
    words: String,
    /// Its data folder: a history of its own, never the user's.
    _data: tempfile::TempDir,
}

/// What a process left behind.
#[derive(Debug)]
pub struct Ended {
    /// Its exit code; none where a signal ended it.
    pub code: Option<i32>,
    /// What was not read yet of its standard output.
    pub lines: Vec<String>,
    /// Its standard error.
    pub stderr: String,
}

impl Program {
    /// Starts it with these words.
    pub fn start<S: AsRef<std::ffi::OsStr>>(words: &[S]) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_coilmark"));
        command.args(words).env_remove("RUST_LOG").env("TZ", "UTC");
        // Nobody's settings.
        command.env("XDG_CONFIG_HOME", concat!(env!("CARGO_MANIFEST_DIR"), "/no-settings"));
        let data = tempfile::tempdir().expect("a temporary folder");
        command.env("COILMARK_DATA", data.path());
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("the program starts");
        let stdin = child.stdin.take();
        let stdout = child.stdout.take().expect("its output is piped");
        let mut stderr = child.stderr.take().expect("its error output is piped");
        let (line_out, lines) = mpsc::channel();
        std::thread::spawn(move || {
            for line in BufReader::new(stdout).lines() {
                let line = line.unwrap_or_else(|error| format!("not text: {error}"));
                if line_out.send(line).is_err() {
                    return;
                }
            }
        });
        let (text_out, complaints) = mpsc::channel();
        std::thread::spawn(move || {
            let mut bytes = Vec::new();
            let _ = stderr.read_to_end(&mut bytes);
            let _ = text_out.send(String::from_utf8_lossy(&bytes).into_owned());
        });
        let words: Vec<_> = words.iter().map(|w| w.as_ref().to_string_lossy()).collect();
        Self { child, stdin, lines, complaints, words: words.join(" "), _data: data }
    }

    /// Runs it to its end with nothing on its input.
    pub fn run<S: AsRef<std::ffi::OsStr>>(words: &[S]) -> Ended {
        let mut program = Self::start(words);
        program.end_input();
        program.finish()
    }

    /// The next line of its output; none once it has closed it.
    pub fn next_line(&mut self) -> Option<String> {
        match self.lines.recv_timeout(DEADLINE) {
            Ok(line) => Some(line),
            Err(mpsc::RecvTimeoutError::Disconnected) => None,
            Err(mpsc::RecvTimeoutError::Timeout) => {
                self.kill();
                panic!("`{}`: no line within {DEADLINE:?}", self.words);
            }
        }
    }

    /// Writes one line to its input. One that is gone does not hear it.
    pub fn send(&mut self, line: &str) {
        if let Some(stdin) = &mut self.stdin {
            let _ = stdin.write_all(format!("{line}\n").as_bytes()).and_then(|()| stdin.flush());
        }
    }

    /// Closes its input.
    pub fn end_input(&mut self) {
        self.stdin = None;
    }

    /// Kills it, as loss of power would.
    pub fn kill(&mut self) {
        let _ = self.child.kill();
    }

    /// Kills it after this long, while somebody reads its output. To be joined before it is
    /// finished with, so that nobody else of the same number is killed.
    pub fn kill_after(&self, span: Duration) -> std::thread::JoinHandle<()> {
        let pid = rustix::process::Pid::from_child(&self.child);
        std::thread::spawn(move || {
            drivers::Clock::pause(&drivers::SystemClock::begin(), span);
            let _ = rustix::process::kill_process(pid, rustix::process::Signal::KILL);
        })
    }

    /// Interrupts it, as the terminal does.
    pub fn interrupt(&self) {
        let pid = rustix::process::Pid::from_child(&self.child);
        let _ = rustix::process::kill_process(pid, rustix::process::Signal::INT);
    }

    /// What it said on its standard error, once it has closed it.
    pub fn complaint(&self) -> String {
        self.complaints.recv_timeout(DEADLINE).unwrap_or_default()
    }

    /// Waits for its end.
    pub fn finish(mut self) -> Ended {
        let mut lines = Vec::new();
        while let Some(line) = self.next_line() {
            lines.push(line);
        }
        let Ok(stderr) = self.complaints.recv_timeout(DEADLINE) else {
            panic!("`{}` closed its output and goes on", self.words);
        };
        let code = self.child.wait().expect("it can be waited for").code();
        Ended { code, lines, stderr }
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Ended {
    /// Asserts this exit code, and shows everything if it is another.
    #[track_caller]
    pub fn exits(self, code: i32) -> Self {
        assert_eq!(self.code, Some(code), "{self:#?}");
        self
    }

    /// Asserts a failure that a person can act on: nothing on standard output, one message that
    /// names each culprit and one hint on standard error, at most twelve lines, nothing that
    /// could act on a terminal.
    #[track_caller]
    pub fn refuses(self, code: i32, culprits: &[&str]) -> Self {
        let ended = self.exits(code);
        assert_eq!(ended.lines, Vec::<String>::new(), "{ended:#?}");
        ended.complains(culprits)
    }

    /// Asserts what standard error must be like after a failure.
    #[track_caller]
    pub fn complains(self, culprits: &[&str]) -> Self {
        let lines: Vec<&str> = self.stderr.lines().collect();
        let begin = |word: &str| lines.iter().filter(|line| line.starts_with(word)).count();
        assert_eq!((begin("error: "), begin("hint: ")), (1, 1), "{}", self.stderr);
        assert!(lines[0].starts_with("error: "), "{}", self.stderr);
        assert!(lines.last().is_some_and(|l| l.starts_with("hint: ")), "{}", self.stderr);
        assert!(lines.len() <= 12, "{}", self.stderr);
        let harmful = |c: char| c != '\n' && (c.is_control() || c == '\u{202e}');
        assert!(!self.stderr.contains(harmful), "{:?}", self.stderr);
        for culprit in culprits {
            assert!(self.stderr.contains(culprit), "does not name {culprit}:\n{}", self.stderr);
        }
        self
    }
}
