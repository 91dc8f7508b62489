//! A terminal that a test looks at and types into: a `tmux` server of its own, in a folder of its
//! own, with a plain shell in it. Waiting is done by the drivers' clock, in short pauses with a
//! limit, after which the page is shown and the test fails.

use drivers::{Clock, SystemClock};
use std::process::{Command, Output};
use std::time::Duration;

/// One look at the page, and the pause to the next.
const PAUSE: Duration = Duration::from_millis(60);
/// So many looks until a wait fails.
const LOOKS_MAX: usize = 1000;

/// A terminal.
pub struct Terminal {
    home: tempfile::TempDir,
    clock: SystemClock,
    waited: usize,
    before: String,
}

impl Terminal {
    /// A terminal of this size; `None`, with the reason said, where there is no `tmux`.
    pub fn start(columns: u16, rows: u16) -> Option<Self> {
        if Command::new("tmux").arg("-V").output().is_err() {
            println!("skipped: there is no `tmux` here");
            return None;
        }
        let home = tempfile::tempdir().unwrap();
        let mut terminal =
            Self { home, clock: SystemClock::begin(), waited: 0, before: String::new() };
        let (x, y) = (columns.to_string(), rows.to_string());
        let shell = "env -i PATH=\"$PATH\" TERM=screen HOME=. PS1='ready> ' sh";
        terminal.tmux(&["-f", "/dev/null", "new-session", "-d", "-x", &x, "-y", &y, shell]);
        terminal.until("ready>");
        terminal.type_text("stty -a > before; clear");
        terminal.press("Enter");
        terminal.before = terminal.file("before");
        Some(terminal)
    }

    fn tmux(&self, words: &[&str]) -> Output {
        let socket = self.home.path().join("socket");
        let mut tmux = Command::new("tmux");
        tmux.arg("-S").arg(socket).args(words).current_dir(self.home.path());
        tmux.output().unwrap()
    }

    /// Runs the program, and then says with what it ended.
    pub fn run(&mut self, words: &[&str]) {
        let program = env!("CARGO_BIN_EXE_coilmark");
        let script =
            format!("#!/bin/sh\nclear\n'{program}' '{}'\necho exit=$?\n", words.join("' '"));
        std::fs::write(self.home.path().join("go"), script).unwrap();
        self.type_text("sh ./go");
        self.press("Enter");
    }

    /// What stands there.
    pub fn page(&self) -> String {
        String::from_utf8_lossy(&self.tmux(&["capture-pane", "-p"]).stdout).into_owned()
    }

    pub fn press(&mut self, key: &str) {
        self.waited = 0;
        self.tmux(&["send-keys", key]);
    }

    pub fn type_text(&mut self, text: &str) {
        self.tmux(&["send-keys", "-l", text]);
    }

    pub fn resize(&self, columns: u16, rows: u16) {
        let (x, y) = (columns.to_string(), rows.to_string());
        self.tmux(&["resize-window", "-x", &x, "-y", &y]);
    }

    /// Sends a signal to the program.
    pub fn signal(&self, signal: &str) {
        let own = self.tmux(&["display-message", "-p", "#{pane_pid}"]);
        let shell = String::from_utf8_lossy(&own.stdout).trim().to_owned();
        let children = |of: &str| {
            let file = format!("/proc/{of}/task/{of}/children");
            let text = std::fs::read_to_string(file).unwrap_or_default();
            text.split_whitespace().map(str::to_owned).collect::<Vec<_>>()
        };
        // The shell, the script's shell, the program.
        let mut program = shell;
        while let Some(child) = children(&program).into_iter().next() {
            program = child;
        }
        Command::new("kill").args([format!("-{signal}"), program]).status().unwrap();
    }

    pub fn wait_a_moment(&mut self) {
        self.waited += 1;
        self.clock.pause(PAUSE);
    }

    /// How many moments were waited since the last key.
    pub const fn waited(&self) -> usize {
        self.waited
    }

    /// Waits until this stands there.
    #[track_caller]
    pub fn until(&mut self, text: &str) {
        self.until_so(text, |page| page.contains(text));
    }

    /// Waits until the page has so many lines, the last with this text.
    #[track_caller]
    pub fn until_lines(&mut self, lines: usize, text: &str) {
        self.until_so(text, |page| {
            page.lines().count() == lines && page.lines().last().is_some_and(|l| l.contains(text))
        });
    }

    #[track_caller]
    fn until_so(&mut self, what: &str, so: impl Fn(&str) -> bool) {
        for _ in 0..LOOKS_MAX {
            if so(&self.page()) {
                return;
            }
            self.wait_a_moment();
        }
        panic!("`{what}` did not come:\n{}", self.page());
    }

    /// The terminal's settings are those from before, and its cursor shows.
    #[track_caller]
    pub fn is_as_it_was(&mut self) {
        self.type_text("stty -a > after");
        self.press("Enter");
        assert_eq!(self.file("after"), self.before);
        let cursor = self.tmux(&["display-message", "-p", "#{cursor_flag} #{alternate_on}"]);
        assert_eq!(String::from_utf8_lossy(&cursor.stdout).trim(), "1 0");
    }

    /// A file that the shell is writing, once it is there.
    fn file(&mut self, name: &str) -> String {
        for _ in 0..LOOKS_MAX {
            match std::fs::read_to_string(self.home.path().join(name)) {
                Ok(text) if text.ends_with('\n') => return text,
                _ => self.wait_a_moment(),
            }
        }
        panic!("`{name}` was not written:\n{}", self.page());
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        self.tmux(&["kill-server"]);
    }
}
