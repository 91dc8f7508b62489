//! A talk of a job about one of its steps: cautions to read, labels to name, points of the wiring
//! to look at, and whether a step is done now. Its topics come in order, each answer becomes a
//! fact, and nothing is measured. A talk is short: one that broke off is begun again.

#[cfg(test)]
mod tests;

use super::Guide;
use super::dialogue::{Dialogue, done};
use crate::event::{Action, Answer, Ask, Caution, Event, Input, JobLabel, JobStep, visible};
use drivers::{Function, Moment};
use std::collections::VecDeque;

/// The longest text that is taken, in characters.
const TEXT_MAX: usize = 200;

/// Something that a talk comes to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Topic {
    /// A caution is read.
    Caution(Caution),
    /// A name that is known already becomes a fact, with nobody asked.
    Stated(JobLabel, String),
    /// Something is named.
    Label(JobLabel, String),
    /// Whether the step is done now; a skip ends the talk.
    Step(String),
    /// A point of the wiring is looked at.
    Point(String),
}

/// What the guide is told.
#[derive(Clone, Debug)]
pub struct Terms {
    /// The step that is talked about.
    pub step: JobStep,
    /// What comes up, in order.
    pub topics: Vec<Topic>,
    /// Whether the step is done with the talk; else a command of its own does it.
    pub settles: bool,
}

/// A talk under way.
pub struct Talk {
    step: JobStep,
    topics: VecDeque<Topic>,
    settles: bool,
    talk: Dialogue,
    points_not_so: u32,
}

impl Talk {
    /// A talk at its beginning.
    #[must_use]
    pub fn new(terms: Terms) -> Self {
        Self {
            step: terms.step,
            topics: terms.topics.into(),
            settles: terms.settles,
            talk: Dialogue::default(),
            points_not_so: 0,
        }
    }

    fn answered(&mut self, answer: Answer) -> Vec<Event> {
        let Some(ask) = self.talk.take(answer, false) else { return Vec::new() };
        match (answer, ask) {
            (Answer::Abort, _) => self.talk.abort(),
            (Answer::Skip, Ask::Point { text }) => {
                self.points_not_so += 1;
                vec![Event::PointLookedAt { text, as_designed: false }]
            }
            (Answer::Skip, ask) => {
                self.topics.clear();
                self.settles = false;
                vec![Event::AskSkipped { ask }]
            }
            (_, Ask::Point { text }) => vec![Event::PointLookedAt { text, as_designed: true }],
            (_, ask) => done(ask),
        }
    }

    fn named(&mut self, text: &str) -> Vec<Event> {
        let Some(Ask::Label { label, .. }) = self.talk.open() else { return Vec::new() };
        let (label, text) = (*label, text.trim());
        if text.chars().count() > TEXT_MAX || visible(text) != text {
            self.talk.object(format!("up to {TEXT_MAX} characters that can be seen"));
            return Vec::new();
        }
        self.talk.close();
        if text.is_empty() {
            return Vec::new();
        }
        vec![Event::LabelStated { label, text: text.into() }]
    }

    fn end(&mut self) -> Action {
        let reason = match self.points_not_so {
            0 => None,
            1 => Some("a point of the wiring is not as designed".to_owned()),
            n => Some(format!("{n} points of the wiring are not as designed")),
        };
        Action::Finish(u8::from(reason.is_some()), reason)
    }
}

impl Guide for Talk {
    fn handle(&mut self, input: Input, _: Moment) -> Vec<Event> {
        match input {
            Input::AnswerReceived(answer) => self.answered(answer),
            Input::TextReceived(text) => self.named(&text),
            Input::StopRequested(reason) => {
                self.talk.stop(reason);
                Vec::new()
            }
            _ => Vec::new(),
        }
    }

    fn apply(&mut self, fact: &Event) {
        if matches!(fact, Event::StepSettled { step } if *step == self.step) {
            self.settles = false;
        }
    }

    fn next(&mut self, _: Moment) -> Action {
        if let Some(action) = self.talk.due() {
            return action;
        }
        if self.talk.open().is_some() {
            return Action::Nothing;
        }
        match self.topics.pop_front() {
            Some(Topic::Caution(caution)) => self.talk.ask(Ask::caution(caution)),
            Some(Topic::Stated(label, text)) => {
                Action::Record(Box::new(Event::LabelStated { label, text }))
            }
            Some(Topic::Label(label, text)) => self.talk.ask(Ask::Label { label, text }),
            Some(Topic::Step(text)) => self.talk.ask(Ask::Step { step: self.step, text }),
            Some(Topic::Point(text)) => self.talk.ask(Ask::Point { text }),
            None if self.settles => {
                Action::Record(Box::new(Event::StepSettled { step: self.step }))
            }
            None => self.end(),
        }
    }

    fn wake_at(&self) -> Option<Moment> {
        None
    }

    fn needs(&self, _: Function) -> bool {
        false
    }
}
