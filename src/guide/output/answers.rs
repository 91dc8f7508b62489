//! What an answer of the operator's becomes: facts, or an objection and the same ask again. Taking
//! the placement back ends the log that was begun on it, which stays as it is; a new one is begun
//! on the new placement.

use super::super::dialogue::done;
use super::Output;
use crate::event::{AlarmState, Answer, Ask, Event, LogNews, Placement};
use drivers::Moment;

impl Output {
    pub(super) fn answered(&mut self, answer: Answer, now: Moment) -> Vec<Event> {
        let Some(ask) = self.talk.take(answer, self.record.rest.is_some()) else {
            return Vec::new();
        };
        match (answer, ask) {
            (Answer::Abort, _) => self.talk.abort(),
            (Answer::Again, _) => {
                vec![Event::CaptureTakenBack { capture: self.record.last_capture }]
            }
            (Answer::Skip, ask) => vec![Event::AskSkipped { ask }],
            (_, Ask::Place { red, black, .. }) => {
                let touch = self.record.last_touch + 1;
                vec![Event::LeadsPlaced(Placement { touch, red, black, lead_moves: 2 })]
            }
            (_, Ask::Alarm { state: AlarmState::On }) => {
                let t_s = self.rows.t_s(now);
                let begun = Event::Logged(LogNews::AlarmBegun { t_s });
                vec![Event::AlarmChanged { state: AlarmState::On }, begun]
            }
            (_, ask) => done(ask),
        }
    }
}
