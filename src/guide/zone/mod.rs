//! Proves a zone loop at the panel's terminals: volts at rest, in alarm and after it, and with the
//! tamper contact open where the loop has one. [`Zone::handle`] turns what arrived into facts,
//! [`Zone::next`] says what is wanted now. Volts come first and are set before the leads touch;
//! ohms are asked for only where no more than half a volt stands at the terminals and the loop
//! is not as it should be. What was established is in the [`Record`].

mod conclusion;
mod log;
mod record;
#[cfg(test)]
mod tests;
mod watch;

pub use record::Record;

use super::dialogue::{Dialogue, done, unread};
use super::meter::{self, Dial};
use super::settling::{Settled, Settler, Settling, Unsettled};
use super::{EXTRA_LOW_VOLTS_MAX, Guide};
use crate::event::{
    Action, AlarmState, Answer, Ask, AskedDrive, Caution, DriveState, Event, Finding, Input,
    LinkNews, Pin, Placement, Verdict, ZoneState,
};
use crate::zone::Design;
use drivers::{Function, Moment, Reading};
use log::Log;
use record::Step;
use std::time::Duration;
use watch::Watch;

/// The zone's terminals, as they are asked for.
const ZONE: &str = "zone";
const COMMON: &str = "common";
/// Above this a loop is live, and no ohms are measured on it.
const LIVE_VOLTS: f64 = 0.5;

/// What a run of this guide is given.
#[derive(Clone, Debug)]
pub struct Terms {
    /// The loop that is to be there.
    pub design: Design,
    /// Whether the instruments are simulated.
    pub simulated: bool,
    /// When readings count as settled.
    pub settling: Settling,
    /// How long the loop may take to follow the equipment.
    pub follow_within: Duration,
    /// Whether an ask for the alarm closes by itself when the loop follows.
    pub hands_free: bool,
    /// Whether another meter than the task's first is accepted.
    pub accept_meter: bool,
}

/// The guide.
#[derive(Debug)]
pub struct Zone {
    terms: Terms,
    record: Record,
    watch: Watch,
    log: Log,
    talk: Dialogue,
    listening: Option<Settler>,
    /// Until when the loop may follow the equipment.
    follows_by: Option<Moment>,
    epoch: u64,
    measuring: Option<Function>,
    away: bool,
    unsettled: Unsettled,
    dial: Dial,
}

impl Zone {
    /// A guide at its beginning. Replay a task's events with [`Guide::apply`] to go on with it.
    #[must_use]
    pub fn new(terms: Terms) -> Self {
        let record = Record::new(terms.design.clone());
        let watch = Watch::default();
        Self {
            terms,
            record,
            watch,
            log: Log::default(),
            talk: Dialogue::default(),
            listening: None,
            follows_by: None,
            epoch: 0,
            measuring: None,
            away: false,
            unsettled: Unsettled::default(),
            dial: Dial::default(),
        }
    }

    /// What the run has established so far.
    #[must_use]
    pub fn record(&self) -> &Record {
        &self.record
    }
}

impl Guide for Zone {
    fn apply(&mut self, fact: &Event) {
        self.record.apply(fact);
    }

    fn wake_at(&self) -> Option<Moment> {
        self.listening.as_ref().filter(|_| self.talk.open().is_none()).map(Settler::limit_at)
    }

    fn handle(&mut self, input: Input, now: Moment) -> Vec<Event> {
        match input {
            Input::Begun => Vec::new(),
            Input::MeterAnswered(meter, gap_s) => {
                (self.measuring, self.away, self.listening) = (None, false, None);
                let known = self.record.meter.as_ref();
                let accept = self.terms.accept_meter;
                meter::answered(known, meter, gap_s, accept, &mut self.talk)
            }
            Input::MeterLost(text) => {
                (self.measuring, self.away, self.listening) = (None, true, None);
                vec![Event::LinkChanged(LinkNews::Lost { text })]
            }
            Input::AnswerReceived(answer) => self.answered(answer),
            Input::ReadingArrived(epoch, reading) if epoch == self.epoch => {
                self.dial.agrees();
                self.reading(&reading)
            }
            Input::ReadingArrived(..) | Input::TextReceived(_) | Input::DriveLimited(_) => {
                Vec::new()
            }
            Input::OtherFunctionArrived => {
                self.dial.disagrees(self.talk.open());
                Vec::new()
            }
            Input::FunctionRefused(function) => {
                (self.measuring, self.listening) = (None, None);
                vec![Event::FunctionRefused { function }]
            }
            Input::DeadlineReached => self.deadline(now),
            Input::StopRequested(reason) => {
                self.talk.stop(reason);
                Vec::new()
            }
        }
    }

    fn next(&mut self, now: Moment) -> Action {
        if let Some(action) = self.log.due() {
            return action;
        }
        if let Some(action) = self.talk.due() {
            return action;
        }
        if self.talk.open().is_some() {
            return Action::Nothing;
        }
        if let Some(finding) = &self.record.finding {
            let passed = finding.result == Verdict::Pass;
            let reason = (!passed).then(|| finding.reason.clone());
            return Action::Finish(u8::from(!passed), reason);
        }
        let cautions = [Caution::PanelTerminals, Caution::NoProofOfSite];
        if let Some(ask) = unread(cautions, &self.record.cautions) {
            return self.ask(ask);
        }
        if self.record.meter.is_none() || self.away {
            return Action::Nothing;
        }
        let step = self.record.step();
        let function = match step {
            Step::Ohms => Function::Resistance,
            _ => Function::VoltageDc,
        };
        if self.dial_is_elsewhere(function) {
            self.measuring = None;
            return self.ask(Ask::Dial { function });
        }
        // Before the leads touch: the meter may still stand at ohms.
        if self.measuring != Some(function) {
            (self.measuring, self.listening) = (Some(function), None);
            self.epoch += 1;
            return Action::Measure(function, self.epoch);
        }
        self.perform(step, now)
    }

    fn needs(&self, function: Function) -> bool {
        function == Function::VoltageDc
    }
}

impl Zone {
    fn perform(&mut self, step: Step, now: Moment) -> Action {
        match step {
            Step::Place => self.ask(place("volts first: is the loop live")),
            Step::TooHigh => {
                let found = format!("more than {EXTRA_LOW_VOLTS_MAX} V at the terminals");
                self.end_with(&format!("{found}: this is no zone input; stop here"))
            }
            Step::Unreachable => self.end_with("the zone's terminals cannot be reached"),
            Step::Rest | Step::Ohms | Step::Tamper => {
                self.listen(now);
                Action::Nothing
            }
            Step::Begin(state) => self.ask(Ask::Alarm { state }),
            Step::Follow(_) => {
                if self.listening.is_none() {
                    self.follows_by.get_or_insert(now + self.terms.follow_within);
                    self.listen(now);
                }
                Action::Nothing
            }
            Step::PlaceTamper => {
                let why = "open the tamper contact (lift the cover), then touch again";
                self.ask(place(why))
            }
            Step::Conclude => {
                if let Some(end) = self.log.close() {
                    return end;
                }
                let finding = conclusion::finding(&self.record, &self.watch, self.terms.simulated);
                Action::Record(Box::new(Event::ResultReached(Finding::ZoneCheck(Box::new(
                    finding,
                )))))
            }
        }
    }

    fn listen(&mut self, now: Moment) {
        let settling = self.terms.settling;
        self.listening.get_or_insert_with(|| Settler::confirmed(settling, now));
    }

    fn ask(&mut self, ask: Ask) -> Action {
        (self.listening, self.follows_by) = (None, None);
        self.dial.agrees();
        self.talk.ask(ask)
    }

    fn end_with(&mut self, reason: &str) -> Action {
        self.talk.end(1, Some(reason.into()));
        Action::Finish(1, Some(reason.into()))
    }

    fn dial_is_elsewhere(&self, function: Function) -> bool {
        self.dial.is_elsewhere(self.record.meter.as_ref(), self.record.dial, function)
    }

    /// One reading: a part of the watch where it is volts, and of the state that is wanted.
    fn reading(&mut self, reading: &Reading) -> Vec<Event> {
        let volts_asked = self.measuring == Some(Function::VoltageDc);
        if volts_asked && self.record.touch.is_some() {
            self.log.push(reading);
        }
        if volts_asked && self.record.rest().is_some() {
            let volts = reading.value.number().map(f64::abs);
            let reads = volts.map(|volts| self.record.reads(volts));
            self.watch.push(reading.at, reads);
            if let Some(fact) = self.followed_by_itself() {
                return vec![fact];
            }
        }
        if self.talk.open().is_some() {
            return Vec::new();
        }
        let settled = self.listening.as_mut().and_then(|settler| settler.push(reading));
        settled.map(|settled| self.settled(settled, reading.at)).unwrap_or_default()
    }

    /// The ask for the alarm answers itself when a person watches and the loop follows.
    fn followed_by_itself(&mut self) -> Option<Event> {
        let Some(&Ask::Alarm { state }) = self.talk.open() else { return None };
        let followed = (self.watch.reads()? == ZoneState::Ready) == (state == AlarmState::Off);
        if !self.terms.hands_free || !followed || self.record.rests_unready() {
            return None;
        }
        self.talk.close();
        Some(Event::AlarmChanged { state })
    }

    /// A settled state is captured, unless the loop may still be about to follow.
    fn settled(&mut self, settled: Settled, now: Moment) -> Vec<Event> {
        self.listening = None;
        if let Step::Follow(state) = self.record.step() {
            let reads = settled.value.map(|volts| self.record.reads(volts.abs()));
            let wanted =
                reads.map(|reads| reads == ZoneState::Ready) == Some(state == AlarmState::Off);
            if !wanted && self.follows_by.is_some_and(|by| now < by) {
                self.listen(now);
                return Vec::new();
            }
        }
        let Some(touch) = self.record.touch else { return Vec::new() };
        (self.unsettled, self.follows_by) = (Unsettled::default(), None);
        let capture = self.record.last_capture + 1;
        let function = self.measuring.unwrap_or(Function::VoltageDc);
        let pins = [ZONE, COMMON].map(Pin::new);
        vec![settled.captured(capture, touch, pins, function, DriveState::Rest)]
    }

    fn deadline(&mut self, now: Moment) -> Vec<Event> {
        let due = self.listening.as_ref().is_some_and(|l| l.limit_at() <= now);
        if !due {
            return Vec::new();
        }
        self.listening = None;
        if self.unsettled.gives_up() {
            self.talk.end(1, Some("the volts at the terminals did not settle".into()));
        }
        let text = "the readings did not settle: hold the leads still".into();
        vec![Event::MeterComplained { text }]
    }

    fn answered(&mut self, answer: Answer) -> Vec<Event> {
        let Some(ask) = self.talk.take(answer, self.record.last_kept().is_some()) else {
            return Vec::new();
        };
        match (answer, ask) {
            (Answer::Abort, _) => self.talk.abort(),
            (Answer::Again, _) => {
                let taken = self.record.last_kept();
                taken.map(|capture| Event::CaptureTakenBack { capture }).into_iter().collect()
            }
            (Answer::Skip, ask) => vec![Event::AskSkipped { ask }],
            (_, Ask::Place { red, black, .. }) => {
                let touch = self.record.last_touch + 1;
                vec![Event::LeadsPlaced(Placement { touch, red, black, lead_moves: 2 })]
            }
            (_, ask) => done(ask),
        }
    }
}

fn place(why: &str) -> Ask {
    Ask::Place {
        red: Pin::new(ZONE),
        black: Pin::new(COMMON),
        function: Function::VoltageDc,
        drive: AskedDrive::Rest,
        why: Some(why.into()),
    }
}
