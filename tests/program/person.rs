//! The person at the bench: hears the program's lines through the [`Ledger`], does what is asked
//! on the test's own [`Bench`], and answers. Knows no relay either; what a test wants done
//! differently it says ask by ask.

use super::ledger::{Asked, Ledger, Line, Note, answer_line};
use super::process::{Ended, Program};
use coilmark::bench::Bench;
use coilmark::event::{Answer, Ask, DriveState};

/// What to do about an ask.
#[derive(Clone, Debug, PartialEq)]
pub enum Reply {
    /// Do it and say so.
    Perform,
    /// Do nothing and answer this.
    Say(Answer),
    /// Leave it open and come back to the test.
    Leave,
}

/// A person with a bench.
pub struct Person {
    /// What the hands work on.
    pub bench: Bench,
    /// What was heard and said.
    pub ledger: Ledger,
}

impl Person {
    /// One who begins a job.
    pub fn at(bench: &Bench) -> Self {
        Self { bench: bench.clone(), ledger: Ledger::new() }
    }

    /// The next line; none at the end of the output.
    #[track_caller]
    pub fn hear(&mut self, program: &mut Program) -> Option<Line> {
        program.next_line().map(|text| self.ledger.hear(&text))
    }

    /// Hears until something is asked.
    #[track_caller]
    pub fn until_asked(&mut self, program: &mut Program) -> Asked {
        loop {
            match self.hear(program) {
                Some(Line::Ask(asked)) => return asked,
                Some(Line::Note(_)) => {}
                None => panic!("nothing more is asked: {:#?}", self.ledger.notes.last()),
            }
        }
    }

    /// Hears until this is noted.
    #[track_caller]
    pub fn until_noted(&mut self, program: &mut Program, name: &str) -> Note {
        loop {
            match self.hear(program) {
                Some(Line::Note(note)) if note.name == name => return note,
                Some(_) => {}
                None => panic!("`{name}` was not noted: {:#?}", self.ledger.notes.last()),
            }
        }
    }

    /// Does what is asked and says so.
    pub fn perform(&mut self, program: &mut Program, asked: &Asked) {
        let answer = self.bench.perform(&asked.ask);
        self.say(program, asked.seq, answer);
    }

    /// Answers the ask that is open.
    pub fn say(&mut self, program: &mut Program, seq: u64, answer: Answer) {
        self.ledger.answered(answer);
        program.send(&answer_line(seq, answer));
    }

    /// Leads on, replying to each ask as `reply` says, until the output ends or an ask is left
    /// open, which is returned.
    #[track_caller]
    pub fn lead(
        &mut self,
        program: &mut Program,
        mut reply: impl FnMut(&Asked) -> Reply,
    ) -> Option<Asked> {
        assert_eq!(self.ledger.open(), None, "this is to be answered first");
        while let Some(line) = self.hear(program) {
            let Line::Ask(asked) = line else { continue };
            match reply(&asked) {
                Reply::Perform => self.perform(program, &asked),
                Reply::Say(answer) => self.say(program, asked.seq, answer),
                Reply::Leave => return Some(asked),
            }
        }
        None
    }

    /// Leads to an ask of this kind, which stays open.
    #[track_caller]
    pub fn lead_to(&mut self, program: &mut Program, wanted: impl Fn(&Ask) -> bool) -> Asked {
        let left = self.lead(program, |asked| match wanted(&asked.ask) {
            true => Reply::Leave,
            false => Reply::Perform,
        });
        left.unwrap_or_else(|| panic!("not asked: {:#?}", self.ledger.notes.last()))
    }

    /// Does whatever is asked until the end, which is `finished` with this exit code.
    #[track_caller]
    pub fn finish(&mut self, mut program: Program, code: i32) -> Ended {
        self.lead(&mut program, |_| Reply::Perform);
        self.ends(program, code)
    }

    /// The end: `finished` was the last line, with the exit code of the process.
    #[track_caller]
    pub fn ends(&mut self, mut program: Program, code: i32) -> Ended {
        while self.hear(&mut program).is_some() {}
        let said = self.ledger.finished().cloned();
        let ended = program.finish();
        let said = said.unwrap_or_else(|| panic!("no `finished`: {ended:#?}"));
        assert_eq!(said["exit"], code, "{said} {ended:#?}");
        ended.exits(code)
    }

    /// The program was killed: what the record does not know of does not count, but what hands did
    /// is done all the same: a drive that was applied stays on.
    pub fn survive(&mut self, record: &[serde_json::Value]) {
        self.ledger.reconcile(record);
        let drives = record.iter().rev().find(|line| line["event"] == "drive");
        let drive = drives.map_or(DriveState::Rest, |line| {
            serde_json::from_value(line.clone()).expect("a drive is recorded as one")
        });
        self.ledger.drive = drive;
        self.ledger.resume();
    }
}
