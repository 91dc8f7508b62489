//! How a person, or a machine in a person's place, is asked and shown: [`Screen`] for a terminal,
//! [`Lines`] for a plain one, [`Json`] for scripts and switch matrices; [`Eased`] adds sounds,
//! speech and a held dwell to either of the first two. An operator is a fold over events plus the
//! one ask that is open; it knows no belief, no port and no file. What is typed or sent comes
//! back through [`Operator::parse`] or [`Operator::key`], what hands say by [`Operator::tick`].

mod bells;
mod board_words;
mod dwell;
mod eased;
mod job_words;
mod json;
mod key;
mod lines;
mod output_words;
mod relay_words;
mod schema;
#[cfg(feature = "screen")]
mod screen;
mod strip;
mod zone_words;

pub use bells::Bells;
pub use dwell::{Countdown, Dwell};
pub use eased::{Eased, Said};
pub use json::{Json, note};
pub use key::Key;
pub use lines::Lines;
pub use schema::schema;
#[cfg(feature = "screen")]
pub use screen::{Look, Screen, Taken, Terminals};
pub use strip::Strip;

use crate::event::{Answer, Ask, Event};
use drivers::{Moment, Reading};
use std::io;

/// Asks, shows, and understands answers. Writing fails only when the other side is gone; the run
/// then stops as if it had been aborted.
pub trait Operator {
    /// Puts this ask; `seq` counts asks, and a repeated ask keeps its number.
    ///
    /// # Errors
    /// What the system says when nobody reads any more.
    fn ask(&mut self, seq: u64, ask: &Ask) -> io::Result<()>;

    /// Says why the last answer does not fit. The same ask follows.
    ///
    /// # Errors
    /// As for [`Operator::ask`].
    fn object(&mut self, problem: &str) -> io::Result<()>;

    /// Shows a fact, which is in the journal by then.
    ///
    /// # Errors
    /// As for [`Operator::ask`].
    fn show(&mut self, event: &Event) -> io::Result<()>;

    /// Shows a live reading, which is no fact yet.
    ///
    /// # Errors
    /// As for [`Operator::ask`].
    fn show_reading(&mut self, reading: &Reading) -> io::Result<()>;

    /// Understands one line of input, without its end.
    fn parse(&self, line: &str) -> Heard;

    /// Understands one key, where keys come one by one.
    fn key(&mut self, _key: Key) -> Heard {
        Heard::Nothing
    }

    /// It is `now`: draws what is new, rings what is due, and gives the answer that the person
    /// has given without a word, if there is one. Called after everything that arrives, and at
    /// [`Operator::wake_at`].
    ///
    /// # Errors
    /// As for [`Operator::ask`].
    fn tick(&mut self, _now: Moment) -> io::Result<Option<Answer>> {
        Ok(None)
    }

    /// When a tick is wanted, if nothing else arrives.
    fn wake_at(&self) -> Option<Moment> {
        None
    }

    /// Takes in how far a held dwell has come; shown by those who can.
    fn show_countdown(&mut self, _countdown: Option<Countdown>) {}
}

/// What a line of input says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// Nothing: a blank line where that says nothing.
    Nothing,
    /// An answer; to this ask, if it names one.
    Answer(Option<u64>, Answer),
    /// A skip of this ask, if one is named, and the operator's reason; empty where none was given.
    SkipBecause(Option<u64>, String),
    /// A text: a serial number, a label; for this ask, if it names one.
    Text(Option<u64>, String),
    /// Not understood, and why.
    Unclear(String),
}
