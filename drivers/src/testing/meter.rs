//! A SCPI meter without I/O: bytes and the time in, bytes that are due out. It numbers its
//! readings (the value *is* the number), so that a test can prove which query a value belongs
//! to; keeps an error queue and an event status register; notices a query that interrupts
//! another; and breaks in the ways a test asks for.

use crate::clock::Moment;
use crate::reading::Function;
use std::collections::VecDeque;
use std::time::Duration;

/// What this meter understands, and how it behaves on the wire.
#[derive(Clone, Debug)]
pub(crate) struct Features {
    pub identity: String,
    pub line_end: &'static str,
    pub configure: bool,
    pub read: bool,
    pub measure: bool,
    pub function_query: bool,
    pub status: bool,
    pub errors: bool,
    pub functions: Vec<Function>,
    pub echo: bool,
    /// Answers `OK` to commands that are no queries.
    pub says_ok: bool,
    /// Sends errors at once instead of keeping them.
    pub inline_errors: bool,
    /// Refuses to configure until `SYST:REM`.
    pub needs_remote: bool,
    /// Loses lines that come sooner than this after the last.
    pub min_gap: Duration,
    /// How long one reading takes.
    pub reading: Duration,
    /// Never says that its error queue is empty.
    pub endless_errors: bool,
    /// Hears nothing before this, counted from the start: it restarts when opened.
    pub deaf_for: Duration,
}

impl Default for Features {
    fn default() -> Self {
        Self {
            identity: "MAKER,MODEL,0,1.0".into(),
            line_end: "\n",
            configure: true,
            read: true,
            measure: true,
            function_query: true,
            status: true,
            errors: true,
            functions: Function::ALL.to_vec(),
            echo: false,
            says_ok: false,
            inline_errors: false,
            needs_remote: false,
            min_gap: Duration::ZERO,
            reading: Duration::from_millis(20),
            endless_errors: false,
            deaf_for: Duration::ZERO,
        }
    }
}

/// A fault that strikes one answer to a reading query.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Fault {
    /// It comes this much later.
    Late(Duration),
    /// Each of its bytes comes this much after the one before.
    Trickled(Duration),
    /// It does not come.
    Dropped,
    /// It comes twice.
    Doubled,
    /// These bytes come instead.
    Instead(Vec<u8>),
    /// These bytes come first.
    Before(Vec<u8>),
    /// These bytes come after it.
    After(Vec<u8>),
    /// The meter was off and on just before: default function, power-on bit.
    PowerCycled,
    /// Somebody turned the knob just before.
    Turned(Function),
}

/// One reading as it was begun.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Begun {
    pub number: u32,
    pub function: Function,
    pub at: Moment,
}

#[derive(Debug)]
pub(crate) struct MeterSim {
    pub features: Features,
    pub plugged: bool,
    pub begun: Vec<Begun>,
    /// Every line received, for transcripts.
    pub heard: Vec<String>,
    /// Queries that came while an answer was still under way (-410).
    pub interrupted: u32,
    /// Reads that came while no answer was due (-420).
    pub unterminated: u32,
    pub function: Function,
    pub remote: bool,
    faults: Vec<(u32, Fault)>,
    input: Vec<u8>,
    output: VecDeque<(Moment, Vec<u8>)>,
    errors: VecDeque<String>,
    status: u8,
    last_line_at: Option<Moment>,
}

impl MeterSim {
    pub(crate) fn new(features: Features) -> Self {
        Self {
            features,
            plugged: true,
            begun: Vec::new(),
            heard: Vec::new(),
            interrupted: 0,
            unterminated: 0,
            function: Function::VoltageDc,
            remote: false,
            faults: Vec::new(),
            input: Vec::new(),
            output: VecDeque::new(),
            errors: VecDeque::new(),
            status: 128,
            last_line_at: None,
        }
    }

    /// The reading with this number (from 1) is struck.
    pub(crate) fn with_fault(mut self, number: u32, fault: Fault) -> Self {
        self.faults.push((number, fault));
        self
    }

    /// Bytes left over from before, half a command and old errors.
    pub(crate) fn with_leftovers(mut self, stale: &[u8], half_command: &[u8], errors: u32) -> Self {
        self.output.push_back((Moment::START, stale.to_vec()));
        self.input.extend_from_slice(half_command);
        for _ in 0..errors {
            self.raise(-113, "Undefined header");
        }
        self
    }

    pub(crate) fn power_cycle(&mut self) {
        self.function = Function::VoltageDc;
        self.status = 128;
        self.remote = false;
        self.errors.clear();
    }

    /// Sends something by itself.
    pub(crate) fn blurt(&mut self, bytes: &[u8]) {
        self.output.push_back((Moment::START, bytes.to_vec()));
    }

    /// Unplugged: what was under way is lost.
    pub(crate) fn unplug(&mut self) {
        self.plugged = false;
        self.input.clear();
        self.output.clear();
    }

    pub(crate) fn receive(&mut self, bytes: &[u8], now: Moment) {
        if now.since_start() < self.features.deaf_for {
            return;
        }
        if self.features.echo {
            self.output.push_back((now, bytes.to_vec()));
        }
        for byte in bytes {
            if matches!(byte, b'\n' | b'\r') {
                let line = String::from_utf8_lossy(&std::mem::take(&mut self.input)).into_owned();
                self.obey(line.trim(), now);
            } else {
                self.input.push(*byte);
            }
        }
    }

    /// When the next bytes are due.
    pub(crate) fn due_at(&self) -> Option<Moment> {
        self.output.iter().map(|(at, _)| *at).min()
    }

    /// Takes what is due, in order.
    pub(crate) fn send(&mut self, now: Moment) -> Vec<u8> {
        let mut sent = Vec::new();
        while self.output.front().is_some_and(|(at, _)| *at <= now) {
            if let Some((_, bytes)) = self.output.pop_front() {
                sent.extend_from_slice(&bytes);
            }
        }
        sent
    }

    fn raise(&mut self, number: i32, text: &str) {
        let entry = format!("{number},\"{text}\"");
        if self.features.inline_errors {
            let end = self.features.line_end;
            self.output.push_back((Moment::START, format!("{entry}{end}").into_bytes()));
        } else if self.errors.len() >= 20 {
            self.errors.pop_back();
            self.errors.push_back("-350,\"Queue overflow\"".into());
        } else {
            self.errors.push_back(entry);
        }
    }

    fn obey(&mut self, line: &str, now: Moment) {
        let soon = self.last_line_at.is_some_and(|last| now.since(last) < self.features.min_gap);
        self.last_line_at = Some(now);
        if line.is_empty() || soon {
            return;
        }
        self.heard.push(line.to_owned());
        if self.output.iter().any(|(at, _)| *at > now) {
            self.interrupted += 1;
        }
        let header = crate::scpi::short_header(line.trim_end_matches('?'));
        if line.ends_with('?') {
            self.answer(&header, now);
        } else {
            self.command(&header, now);
        }
    }

    fn command(&mut self, header: &str, now: Moment) {
        let known = match header {
            "*CLS" => {
                self.errors.clear();
                self.status = 0;
                true
            }
            "SYST:REM" => {
                self.remote = true;
                true
            }
            "SYST:LOC" => {
                self.remote = false;
                true
            }
            _ => match header.strip_prefix("CONF:").and_then(function_of) {
                Some(_) if self.features.needs_remote && !self.remote => {
                    self.raise(-203, "Command protected");
                    return;
                }
                Some(function) if self.features.configure => {
                    let has = self.features.functions.contains(&function);
                    if has {
                        self.function = function;
                    }
                    has
                }
                _ => false,
            },
        };
        if !known {
            self.raise(-113, "Undefined header");
        } else if self.features.says_ok {
            self.reply("OK", now);
        }
    }

    fn answer(&mut self, header: &str, now: Moment) {
        let features = self.features.clone();
        match header {
            "*IDN" => self.reply(&features.identity, now),
            "*ESR" if features.status => {
                let status = std::mem::take(&mut self.status);
                self.reply(&status.to_string(), now);
            }
            "SYST:ERR" if features.errors => {
                let entry = self.errors.pop_front();
                let none = if features.endless_errors { "7,\"again\"" } else { "+0,\"No error\"" };
                self.reply(&entry.unwrap_or_else(|| none.into()), now);
            }
            "FUNC" if features.function_query => {
                let shown = format!("\"{}\"", name_of(self.function));
                self.reply(&shown, now);
            }
            "READ" if features.read => self.take_reading(now),
            _ => match header.strip_prefix("MEAS:").and_then(function_of) {
                Some(function) if features.measure && features.functions.contains(&function) => {
                    self.function = function;
                    self.take_reading(now);
                }
                _ => self.raise(-113, "Undefined header"),
            },
        }
    }

    fn take_reading(&mut self, now: Moment) {
        let number = u32::try_from(self.begun.len()).unwrap() + 1;
        let struck: Vec<Fault> =
            self.faults.iter().filter(|(n, _)| *n == number).map(|(_, f)| f.clone()).collect();
        let mut text =
            vec![format!("{:+.8E}{}", f64::from(number), self.features.line_end).into_bytes()];
        let mut at = now + self.features.reading;
        let mut apart = Duration::ZERO;
        for fault in struck {
            match fault {
                Fault::Late(span) => at = at + span,
                Fault::Trickled(span) => apart = span,
                Fault::Dropped => text.clear(),
                Fault::Doubled => text.push(text[0].clone()),
                Fault::Instead(bytes) => text = vec![bytes],
                Fault::Before(bytes) => text.insert(0, bytes),
                Fault::After(bytes) => text.push(bytes),
                Fault::PowerCycled => self.power_cycle(),
                Fault::Turned(function) => self.function = function,
            }
        }
        self.begun.push(Begun { number, function: self.function, at: now });
        let text = text.concat();
        if apart.is_zero() {
            self.output.push_back((at, text));
            return;
        }
        for byte in text {
            self.output.push_back((at, vec![byte]));
            at = at + apart;
        }
    }

    fn reply(&mut self, text: &str, now: Moment) {
        // One after another: an answer does not overtake the one before.
        let at = self.output.back().map_or(now, |(at, _)| (*at).max(now));
        self.output.push_back((at, format!("{text}{}", self.features.line_end).into_bytes()));
    }
}

fn function_of(header: &str) -> Option<Function> {
    Function::ALL.into_iter().find(|function| {
        name_of(*function) == header || (*function == Function::VoltageDc && header == "VOLT:DC")
    })
}

const fn name_of(function: Function) -> &'static str {
    match function {
        Function::VoltageDc => "VOLT",
        Function::VoltageAc => "VOLT:AC",
        Function::Resistance => "RES",
        Function::Resistance4w => "FRES",
        Function::Continuity => "CONT",
        Function::Diode => "DIOD",
    }
}
