//! A guide's side of the talk with the operator, the same for every guide: the one ask that is
//! open, the objection to an answer that does not fit it, and the end of the run. What an answer
//! means beyond that is the guide's; [`done`] is the fact that an ask becomes whose answer says it
//! all.

use crate::event::{Action, Answer, Ask, Caution, Event};
use std::collections::BTreeSet;

/// The talk so far.
#[derive(Debug, Default)]
pub(super) struct Dialogue {
    open: Option<Ask>,
    objection: Option<String>,
    ended: Option<(u8, Option<String>)>,
}

impl Dialogue {
    /// The ask that is open.
    pub(super) const fn open(&self) -> Option<&Ask> {
        self.open.as_ref()
    }

    /// Puts an ask.
    pub(super) fn ask(&mut self, ask: Ask) -> Action {
        self.open = Some(ask.clone());
        Action::Ask(ask)
    }

    /// Closes the ask that is open without an answer: what it asked for was seen.
    pub(super) fn close(&mut self) -> Option<Ask> {
        self.open.take()
    }

    /// The answer does not do, and why; the same ask comes again.
    pub(super) fn object(&mut self, problem: impl Into<String>) {
        self.objection = Some(problem.into());
    }

    /// The run is over, with this exit code and reason.
    pub(super) fn end(&mut self, exit: u8, reason: Option<String>) {
        self.ended = Some((exit, reason));
    }

    /// The run was stopped. That a drive is still on, the loop says, however a run ends.
    pub(super) fn stop(&mut self, reason: impl Into<String>) {
        self.end(4, Some(reason.into()));
    }

    /// The operator has stopped the run: no fact comes of it but its end.
    pub(super) fn abort(&mut self) -> Vec<Event> {
        self.stop("stopped by the operator");
        Vec::new()
    }

    /// What comes before anything else: the end, or an objection.
    pub(super) fn due(&mut self) -> Option<Action> {
        match &self.ended {
            Some((exit, reason)) => Some(Action::Finish(*exit, reason.clone())),
            None => self.objection.take().map(Action::AskAgain),
        }
    }

    /// The ask that this answer closes. `None` where none is open, or where the answer does not
    /// fit: an objection is due then, and the ask stays open. `newest` says whether there is a
    /// capture that [`Answer::Again`] can take back.
    pub(super) fn take(&mut self, answer: Answer, newest: bool) -> Option<Ask> {
        let ask = self.open.as_ref()?;
        if !ask.accepts(answer) {
            self.objection = Some(ask.misfit(answer));
            return None;
        }
        if answer == Answer::Again && !newest {
            self.object("there is no capture to take back");
            return None;
        }
        self.open.take()
    }
}

/// The ask to read the first of these cautions that was not read yet.
pub(super) fn unread(wanted: [Caution; 2], read: &BTreeSet<Caution>) -> Option<Ask> {
    wanted.into_iter().find(|caution| !read.contains(caution)).map(Ask::caution)
}

/// The fact that an ask has become; none for a placement, which the guide numbers, for a text,
/// which comes by itself, for what only a talk of a job asks, and for clipping a supply, which is
/// between the loop and the operator.
pub(super) fn done(ask: Ask) -> Vec<Event> {
    match ask {
        Ask::Acknowledge { caution, text } => vec![Event::CautionAcknowledged { caution, text }],
        Ask::Drive(drive) => vec![Event::DriveChanged(drive)],
        Ask::Dial { function } => vec![Event::DialTurned { function }],
        Ask::Alarm { state } => vec![Event::AlarmChanged { state }],
        Ask::Place { .. }
        | Ask::Serial { .. }
        | Ask::Clip { .. }
        | Ask::Label { .. }
        | Ask::Step { .. }
        | Ask::Point { .. } => Vec::new(),
    }
}
