//! What an answer of the operator's becomes: facts, or an objection and the same ask again. Taking
//! the placement back ends the log that was begun on it, which stays as it is; a new one is begun
//! on the new placement.

use super::Output;
use crate::event::{AlarmState, Answer, Ask, Event, LogNews, Placement};
use drivers::Moment;

impl Output {
    pub(super) fn answered(&mut self, answer: Answer, now: Moment) -> Vec<Event> {
        let Some(ask) = self.asked.clone() else { return Vec::new() };
        if !ask.accepts(answer) {
            self.objection = Some(ask.misfit(answer));
            return Vec::new();
        }
        if answer == Answer::Again && self.record.rest.is_none() {
            self.objection = Some("there is no capture to take back".into());
            return Vec::new();
        }
        self.asked = None;
        match (answer, ask) {
            (Answer::Abort, _) => {
                self.ended = Some((4, Some("stopped by the operator".into())));
                Vec::new()
            }
            (Answer::Again, _) => {
                vec![Event::CaptureTakenBack { capture: self.record.last_capture }]
            }
            (Answer::Skip, ask) => vec![Event::AskSkipped { ask }],
            (_, Ask::Acknowledge { caution, text }) => {
                vec![Event::CautionAcknowledged { caution, text }]
            }
            (_, Ask::Place { red, black, .. }) => {
                let touch = self.record.last_touch + 1;
                vec![Event::LeadsPlaced(Placement { touch, red, black, lead_moves: 2 })]
            }
            (_, Ask::Dial { function }) => vec![Event::DialTurned { function }],
            (_, Ask::Alarm { state: AlarmState::Off }) => {
                vec![Event::AlarmChanged { state: AlarmState::Off }]
            }
            (_, Ask::Alarm { state: AlarmState::On }) => {
                let t_s = self.rows.t_s(now);
                let begun = Event::Logged(LogNews::AlarmBegun { t_s });
                vec![Event::AlarmChanged { state: AlarmState::On }, begun]
            }
            // No coil is ever driven here.
            (_, Ask::Drive(_) | Ask::Clip { .. } | Ask::Serial { .. }) => Vec::new(),
        }
    }
}
