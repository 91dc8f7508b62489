//! The real binary from outside: it is started, its lines are read with a deadline on a thread of
//! their own, and the test plays the person. The truth behind the meter is a simulated bench in
//! the test's own process, or a second process joined by pipes.

#![allow(dead_code, reason = "each test program uses its own part of this")]

use coilmark::event::{Answer, Ask};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// No answer of the program takes longer, on a machine that is busy.
const WITHIN: Duration = Duration::from_secs(60);

/// The program under test.
pub fn coilmark() -> Command {
    Command::new(env!("CARGO_BIN_EXE_coilmark"))
}

/// Runs it to its end with no input.
pub fn output(arguments: &[&str]) -> Output {
    coilmark().args(arguments).stdin(Stdio::null()).output().expect("the program starts")
}

/// The path of a relay fixture.
pub fn relay(name: &str) -> String {
    format!("{}/fixtures/relays/{name}.toml", env!("CARGO_MANIFEST_DIR"))
}

/// The program with the JSON operator.
pub struct Program {
    child: Child,
    input: Option<ChildStdin>,
    lines: Receiver<String>,
    /// Every line it has written.
    pub said: Vec<Value>,
}

impl Program {
    /// Starts it with these arguments.
    pub fn start(arguments: &[&str]) -> Self {
        let mut child = coilmark()
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let output = child.stdout.take().expect("it was piped");
        let (sender, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(output).lines().map_while(Result::ok) {
                if sender.send(line).is_err() {
                    return;
                }
            }
        });
        let input = child.stdin.take();
        Self { child, input, lines, said: Vec::new() }
    }

    /// The next line; `None` at the end. Every line is one JSON object.
    pub fn next(&mut self) -> Option<Value> {
        let line = self.lines.recv_timeout(WITHIN).ok()?;
        let value: Value = serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"));
        assert!(value.is_object(), "{line}");
        self.said.push(value.clone());
        Some(value)
    }

    /// The next ask with its number, passing over notes; `None` at the end.
    pub fn next_ask(&mut self) -> Option<(u64, Ask)> {
        loop {
            let line = self.next()?;
            if line.get("ask").is_some() {
                let ask = serde_json::from_value(line.clone()).expect("an ask");
                return Some((line["seq"].as_u64().expect("a number"), ask));
            }
        }
    }

    /// Sends a line as it is.
    pub fn send(&mut self, line: &str) {
        let input = self.input.as_mut().expect("the input is open");
        writeln!(input, "{line}").expect("the program reads");
    }

    /// Answers an ask.
    pub fn answer(&mut self, seq: u64, answer: Answer) {
        self.send(&json!({ "seq": seq, "answer": answer.name() }).to_string());
    }

    /// Ends the input.
    pub fn hang_up(&mut self) {
        self.input = None;
    }

    /// Sends a signal by name.
    pub fn signal(&self, name: &str) {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill").args([&format!("-{name}"), &pid]).status();
        assert!(sent.is_ok_and(|status| status.success()));
    }

    /// Reads to the end; the exit code and what it said on standard error.
    pub fn end(mut self) -> (i32, String, Vec<Value>) {
        while self.next().is_some() {}
        let said = std::mem::take(&mut self.said);
        let output = self.child.wait_with_output().expect("it ends");
        let code = output.status.code().unwrap_or(-1);
        (code, String::from_utf8_lossy(&output.stderr).into_owned(), said)
    }
}

/// The notes of this name.
pub fn notes<'a>(said: &'a [Value], name: &str) -> Vec<&'a Value> {
    said.iter().filter(|line| line["note"] == name).collect()
}

/// A job folder that does not exist yet, in a temporary folder.
pub fn job(folder: &Path) -> String {
    folder.join("job").display().to_string()
}
