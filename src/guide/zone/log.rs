//! The volts at a zone's terminals, row by row, from the first touch to the end of the check: what
//! orders the loop gets so that they stand in a file of the job. Seconds from the first row; volts
//! are signed as the meter showed them. A part that goes on begins a new file.

use crate::event::{Action, LogEnd};
use drivers::{Moment, Reading, Value};
use std::collections::VecDeque;

/// The log of a check.
#[derive(Debug, Default)]
pub(super) struct Log {
    began: Option<Moment>,
    rows: VecDeque<(f64, Option<f64>)>,
    state: State,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum State {
    #[default]
    NotYet,
    Open,
    Closed,
}

impl Log {
    /// Takes a reading.
    pub(super) fn push(&mut self, reading: &Reading) {
        if self.state == State::Closed {
            return;
        }
        let began = *self.began.get_or_insert(reading.at);
        let volts = match reading.value {
            Value::Number(volts) => Some(volts),
            _ => None,
        };
        self.rows.push_back((reading.at.since(began).as_secs_f64(), volts));
    }

    /// What is to be done for it now.
    pub(super) fn due(&mut self) -> Option<Action> {
        match self.state {
            State::NotYet if !self.rows.is_empty() => {
                self.state = State::Open;
                Some(Action::OpenLog(None, 0.0))
            }
            State::Open => self.rows.pop_front().map(|(t_s, volts)| Action::Log(t_s, volts)),
            _ => None,
        }
    }

    /// Ends it, once.
    pub(super) fn close(&mut self) -> Option<Action> {
        let open = std::mem::replace(&mut self.state, State::Closed) == State::Open;
        open.then_some(Action::CloseLog(LogEnd::Concluded))
    }
}
