//! How a person, or a machine in a person's place, is asked and shown: [`Lines`] for a plain
//! terminal, [`Json`] for scripts and switch matrices. An operator is a fold over events plus the
//! one ask that is open; it knows no belief, no port and no file. What is typed or sent comes
//! back through [`Operator::parse`].

mod json;
mod lines;
mod output_words;
mod schema;
mod strip;

pub use json::Json;
pub use lines::Lines;
pub use schema::schema;
pub use strip::Strip;

use crate::event::{Answer, Ask, Event};
use drivers::Reading;
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
}

/// What a line of input says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// Nothing: a blank line where that says nothing.
    Nothing,
    /// An answer; to this ask, if it names one.
    Answer(Option<u64>, Answer),
    /// Not understood, and why.
    Unclear(String),
}
