//! A bench with a meter and a programmable supply, and the program at work on it: led ask by ask,
//! killed, gone on with. Nothing but the supply drives the coil, and a person only clips its leads;
//! that is held here for whoever uses it.

#![allow(dead_code, reason = "each test program uses its own part of this")]

use super::program::{Ended, Job, Program, bench, relay};
use coilmark::bench::{Bench, Part, Served};
use coilmark::event::{Answer, Ask};
use serde_json::Value;

/// Words of every run.
const USUAL: [&str; 4] = ["--operator", "json", "--reconnect-for", "2s"];

/// A bench with meter and supply, and a program that identifies its part.
pub struct Station {
    pub bench: Bench,
    pub meter: Served,
    pub program: Program,
    pub last_seq: u64,
    pub job: Job,
    supply: Served,
}

impl Station {
    /// An identification of this part.
    pub fn with(name: &str, supply: impl Fn(&Bench) -> Served) -> Self {
        let pins: Vec<String> = relay(name).pins.iter().map(ToString::to_string).collect();
        Self::of(relay(name), supply, &["identify", "--pins", &pins.join(",")])
    }

    /// Pick-up and drop-out of the changeover on five pins.
    pub fn ramps() -> Self {
        let words = ["pickup", "--coil", "2,5", "--contact", "1,3", "--rated-volts", "12"];
        let part = relay("changeover_1_pole");
        Self::of(part, |bench| bench.serve_supply_pty(None).unwrap(), &words)
    }

    /// Tests of this relay board, with these further words.
    pub fn boards(name: &str, words: &[&str]) -> Self {
        let file = format!("{}/fixtures/boards/sim/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        let part = Part::parse(&std::fs::read_to_string(file).unwrap(), name).unwrap();
        let words = [&["board", "--plan", "changeover-12v"], words].concat();
        Self::of(part, |bench| bench.serve_supply_pty(None).unwrap(), &words)
    }

    fn of(part: Part, supply: impl Fn(&Bench) -> Served, words: &[&str]) -> Self {
        let bench = bench(part);
        let (supply, job) = (supply(&bench), Job::new());
        let meter = bench.serve_pty(Some(&job.home().join("meter"))).unwrap();
        let links = ["--meter", &meter.link(), "--drive", &supply.link(), "--job", &job.word()];
        let program = Program::start(&[words, &links, &USUAL].concat());
        Self { bench, meter, supply, program, last_seq: 0, job }
    }

    /// Kills the program and goes on with what it was doing.
    pub fn killed_and_resumed(&mut self) {
        self.killed();
        self.resumed();
    }

    /// Kills the program, which leaves the supply as it is.
    pub fn killed(&mut self) {
        self.program.kill();
        while self.program.next_line().is_some() {}
    }

    /// Goes on with what it was doing.
    pub fn resumed(&mut self) {
        let (meter, supply, job) = (self.meter.link(), self.supply.link(), self.job.word());
        let words = ["resume", &job, "--meter", &meter, "--drive", &supply];
        self.program = Program::start(&[&words[..], &USUAL].concat());
    }

    /// The same, with the supply on a pseudo-terminal too.
    pub fn on_pty(name: &str) -> Self {
        Self::with(name, |bench| bench.serve_supply_pty(None).unwrap())
    }

    /// Does what is asked until a line for which `until` holds, or the end.
    pub fn lead(&mut self, mut until: impl FnMut(&Value) -> bool) -> Vec<Value> {
        let mut said = Vec::new();
        while let Some(line) = self.program.next_line() {
            let line: Value = serde_json::from_str(&line).unwrap();
            said.push(line.clone());
            if until(&line) {
                break;
            }
            if line.get("ask").is_some() {
                self.does(&line);
            }
        }
        said
    }

    /// Does what this line asks, and answers.
    pub fn does(&mut self, line: &Value) {
        self.last_seq = line["seq"].as_u64().unwrap();
        let ask: Ask = serde_json::from_value(line.clone()).unwrap();
        assert!(!matches!(ask, Ask::Drive(_)), "a drive was asked of a person: {line}");
        let clip = matches!(ask, Ask::Clip { .. });
        assert!(!(clip && self.bench.is_driven()), "clipped with the output on");
        let answer = self.bench.perform(&ask);
        self.answer(line, answer);
    }

    /// Does what is asked until a line for which `until` holds; that line. A program that ends
    /// before says why.
    pub fn lead_to(&mut self, until: impl Fn(&Value) -> bool) -> Value {
        match self.lead(&until).pop() {
            Some(line) if until(&line) => line,
            last => panic!("ended after {last:?}: {}", self.program.complaint()),
        }
    }

    /// Answers an ask.
    pub fn answer(&mut self, line: &Value, answer: Answer) {
        let answer = serde_json::to_value(answer).unwrap();
        self.program.send(&format!("{{\"seq\":{},\"answer\":{answer}}}", line["seq"]));
    }

    /// Leads to the moment at which the coil is driven.
    pub fn until_driven(&mut self) {
        self.lead_to(is_energised);
        assert!(self.bench.is_driven(), "noted, and not driven");
    }

    /// Leads to the end, which leaves the output off.
    pub fn ends(mut self, code: i32) -> Ended {
        self.lead(|_| false);
        let Self { bench, program, .. } = self;
        let ended = program.finish();
        assert!(!bench.is_driven(), "the output was left on");
        ended.exits(code)
    }
}

/// Whether a line says that the coil is driven.
pub fn is_energised(line: &Value) -> bool {
    line["note"] == "drive" && line["state"] == "energised"
}
