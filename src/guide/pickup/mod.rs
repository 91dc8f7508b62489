//! The guide that measures pick-up and drop-out: coil ohms first, then the leads rest on a contact
//! and the drive goes up and down in steps, by a supply or by hand. What the looks amount to and
//! which volts come next, [`ramp`](crate::fit::ramp) says; this guide brings the bench there. Its
//! state is a fold over its events, so a run that broke off goes on where it was.

mod record;
#[cfg(test)]
mod tests;

use super::Guide;
use super::dialogue::{Dialogue, done, unread};
use super::doubt::DriveDoubt;
use super::ladder::{self, Allowed};
use super::meter::{self, Dial};
use super::settling::{Settled, Settler, Settling, Unsettled};
use crate::cable::copper::to_20_celsius;
use crate::event::{
    Action, Answer, Ask, Caution, DriveState, Event, Finding, Input, LinkNews, MeterIdentity,
    PickUpFinding, PickUpStart, Pin, Placement, RatedVolts, Verdict,
};
use crate::fit::ramp::{Wanted, follow, thresholds};
use drivers::{Function, Moment};
use record::Record;

/// What the guide is told.
#[derive(Clone, Debug)]
pub struct Terms {
    /// How the measurement was begun.
    pub start: PickUpStart,
    /// Whether the instruments are simulated.
    pub simulated: bool,
    /// How readings settle.
    pub settling: Settling,
    /// Whether another meter than before may answer.
    pub accept_meter: bool,
}

/// The guide.
#[derive(Debug)]
pub struct PickUp {
    terms: Terms,
    record: Record,
    talk: Dialogue,
    listening: Option<Settler>,
    unsettled: Unsettled,
    epoch: u64,
    dial: Dial,
    doubt: DriveDoubt,
}

impl PickUp {
    /// A guide at its beginning.
    #[must_use]
    pub fn new(terms: Terms) -> Self {
        let record = Record::new(terms.start.clone());
        Self {
            terms,
            record,
            talk: Dialogue::default(),
            listening: None,
            unsettled: Unsettled::default(),
            epoch: 0,
            dial: Dial::default(),
            doubt: DriveDoubt::default(),
        }
    }
}

impl Guide for PickUp {
    fn apply(&mut self, fact: &Event) {
        self.record.apply(fact);
        self.doubt.apply(fact);
    }

    fn drive(&self) -> &DriveState {
        &self.record.drive
    }

    fn may_be_driven(&self) -> bool {
        self.doubt.may_be_on(&self.record.drive)
    }

    fn wake_at(&self) -> Option<Moment> {
        self.listening.as_ref().filter(|_| self.talk.open().is_none()).map(Settler::limit_at)
    }

    fn handle(&mut self, input: Input, now: Moment) -> Vec<Event> {
        match input {
            Input::Begun => Vec::new(),
            Input::MeterAnswered(meter, gap_s) => self.meter_answered(meter, gap_s),
            Input::MeterLost(text) => {
                self.listening = None;
                vec![Event::LinkChanged(LinkNews::Lost { text })]
            }
            Input::AnswerReceived(answer) => self.answered(answer),
            Input::ReadingArrived(epoch, reading) if epoch == self.epoch => {
                self.dial.agrees();
                let settled = self.listening.as_mut().and_then(|l| l.push(&reading));
                settled.map(|settled| self.capture(settled)).unwrap_or_default()
            }
            Input::ReadingArrived(..) | Input::TextReceived(_) | Input::DriveLimited(_) => {
                Vec::new()
            }
            Input::OtherFunctionArrived => {
                self.dial.disagrees(self.talk.open());
                if self.dial.is_doubted() {
                    self.listening = None;
                }
                Vec::new()
            }
            Input::FunctionRefused(function) => {
                self.talk.end(3, Some(format!("the meter has no {function}")));
                vec![Event::FunctionRefused { function }]
            }
            Input::DeadlineReached => {
                // The loop looks now and then, whether anything is due or not.
                let due = self.wake_at().is_some_and(|due| due <= now);
                if due { self.unsettled() } else { Vec::new() }
            }
            Input::StopRequested(reason) => {
                self.talk.stop(reason);
                Vec::new()
            }
        }
    }

    fn next(&mut self, now: Moment) -> Action {
        if let Some(action) = self.talk.due() {
            return action;
        }
        if self.talk.open().is_some() {
            return Action::Nothing;
        }
        if let Some(finding) = &self.record.finding {
            let failed = finding.result != Verdict::Pass;
            self.talk.end(u8::from(failed), failed.then(|| finding.reason.clone()));
            return self.next(now);
        }
        let cautions = [Caution::DeadCircuit, Caution::NotACertificate];
        if let Some(ask) = unread(cautions, &self.record.cautions) {
            return self.ask(ask);
        }
        if self.record.meter.is_none() || self.listening.is_some() {
            return Action::Nothing;
        }
        if self.record.leads.is_none() && self.may_be_driven() {
            return self.ask(Ask::Drive(DriveState::Rest));
        }
        self.go_on(now)
    }

    fn needs(&self, function: Function) -> bool {
        function == Function::Resistance
    }
}

impl PickUp {
    /// The next thing that brings the bench nearer to the next look.
    fn go_on(&mut self, now: Moment) -> Action {
        let wanted = Function::Resistance;
        if self.dial.is_elsewhere(self.record.meter.as_ref(), self.record.dial, wanted) {
            return self.ask(Ask::Dial { function: Function::Resistance });
        }
        if self.record.gave_up.is_some() {
            return self.conclude(None);
        }
        let start = self.terms.start.clone();
        let Some(coil_ohms) = self.record.coil_ohms else {
            let why = "the coil first: its ohms set the limits of the drive";
            return self.look(&start.coil, &DriveState::Rest, why, now);
        };
        let most = self.most_volts(coil_ohms);
        let (_, wanted) = follow(self.record.looks(), start.step_volts, start.ramps, most);
        let volts = match wanted {
            Wanted::Done => return self.conclude(None),
            Wanted::Hopeless(why) => return self.conclude(Some(why)),
            Wanted::Look(volts) => volts,
        };
        if volts > 0.0 && self.record.ladder.is_none() {
            let ratings = self.ratings(coil_ohms);
            let stated = start.rated_volts.is_some();
            let allowed = self.allowed();
            let ladder = ladder::of_ramp(start.coil, coil_ohms, ratings, stated, allowed);
            return Action::Record(Box::new(Event::LadderPlanned(ladder)));
        }
        let [plus, minus] = start.coil.clone();
        let drive = match volts > 0.0 {
            true => DriveState::Energised { plus, minus, volts },
            false => DriveState::Rest,
        };
        self.look(&start.contact, &drive, "the witness: it shows when the contacts change", now)
    }

    fn allowed(&self) -> Allowed {
        let PickUpStart { volts_max, coil_watts_max, .. } = self.terms.start;
        Allowed { volts_max, coil_watts_max }
    }

    /// The rated volts that the coil may have: as stated, or as its ohms leave plausible.
    fn ratings(&self, coil_ohms: f64) -> Vec<RatedVolts> {
        match self.terms.start.rated_volts {
            Some(volts) => vec![RatedVolts { volts, p: 1.0 }],
            None => {
                let ohms = to_20_celsius(coil_ohms, self.terms.start.ambient_celsius);
                ladder::plausible(ohms, self.record.coil_ohms_u)
            }
        }
    }

    /// The most that may be driven now.
    fn most_volts(&self, coil_ohms: f64) -> f64 {
        let permitted = self.allowed().volts_in(coil_ohms);
        ladder::ceiling(&self.ratings(coil_ohms), self.record.still_volts(), permitted)
    }

    /// Leads, drive, then the meter.
    fn look(&mut self, pins: &[Pin; 2], drive: &DriveState, why: &str, now: Moment) -> Action {
        if self.record.leads.as_ref() != Some(pins) {
            if self.record.drive != DriveState::Rest {
                return self.ask(Ask::Drive(DriveState::Rest));
            }
            let [red, black] = pins.clone();
            return self.ask(Ask::Place {
                red,
                black,
                function: Function::Resistance,
                drive: self.record.drive.asked(),
                why: Some(why.into()),
            });
        }
        if self.record.drive != *drive {
            if !self.record.cautions.contains(&Caution::CoilDrive) {
                return self.ask(Ask::caution(Caution::CoilDrive));
            }
            return self.ask(Ask::Drive(drive.clone()));
        }
        self.epoch += 1;
        self.listening = Some(Settler::confirmed(self.terms.settling, now));
        Action::Measure(Function::Resistance, self.epoch)
    }

    /// The finding; first the drive comes off.
    fn conclude(&mut self, why_not: Option<&str>) -> Action {
        if self.record.drive != DriveState::Rest {
            return self.ask(Ask::Drive(DriveState::Rest));
        }
        let start = &self.terms.start;
        let (course, _) = follow(self.record.looks(), start.step_volts, start.ramps, f64::MAX);
        let both = thresholds(&course.fine, start);
        let why_not = self.record.gave_up.as_deref().or(why_not);
        let too_late = why_not.and_then(|_| self.too_late());
        let result = match (&both, why_not) {
            (Some((up, down)), None) => Verdict::of_all([up.verdict, down.verdict]),
            _ if too_late.is_some() => Verdict::Fail,
            _ => Verdict::Undecided,
        };
        let reason = match (why_not, start.rated_volts, result) {
            (Some(why), ..) => too_late.unwrap_or_else(|| why.to_owned()),
            (None, None, _) => "measured; without the rated volts there is no limit to hold it to \
                                (--rated-volts)"
                .into(),
            (None, Some(_), Verdict::Pass) => "pick-up and drop-out keep their limits".into(),
            (None, Some(_), Verdict::Fail) => "pick-up or drop-out does not keep its limit".into(),
            (None, Some(_), Verdict::Undecided) => {
                "a value lies nearer to its limit than it is known".into()
            }
        };
        Action::Record(Box::new(Event::ResultReached(Finding::PickUp(Box::new(PickUpFinding {
            result,
            reason,
            coil_ohms: self.record.coil_ohms,
            pick_up: both.map(|both| both.0),
            drop_out: both.map(|both| both.1),
            closed_at_rest: course.closed_at_rest,
            ramps: course.fine,
            rated_volts: start.rated_volts,
            simulated: self.terms.simulated,
        })))))
    }

    /// What was seen of a contact that did not change though the drive went beyond the limit of
    /// pick-up, the drive's own doubt allowed for.
    fn too_late(&self) -> Option<String> {
        let start = &self.terms.start;
        let limit = start.rated_volts? * start.operate_percent / 100.0;
        let still = self.record.still_volts();
        let sure =
            to_20_celsius(still, start.ambient_celsius) * (1.0 - start.drive_percent / 100.0);
        let [a, b] = &start.contact;
        (self.record.never_moved() && sure > limit).then(|| {
            format!(
                "the contact between {a} and {b} did not change up to {still} V; it has to by \
                 {limit:.2} V, {} % of the rated volts",
                start.operate_percent
            )
        })
    }

    /// The readings did not settle in time: they are listened to again, some times.
    fn unsettled(&mut self) -> Vec<Event> {
        self.listening = None;
        if self.unsettled.gives_up() {
            self.talk.end(1, Some("the readings on the contact did not settle".into()));
        }
        let text = "the readings did not settle: hold the leads still".into();
        vec![Event::MeterComplained { text }]
    }

    fn capture(&mut self, settled: Settled) -> Vec<Event> {
        self.unsettled = Unsettled::default();
        self.listening = None;
        let Some(pins) = self.record.leads.clone() else { return Vec::new() };
        let (capture, touch) = (self.record.last_capture + 1, self.record.last_touch);
        let drive = self.record.drive.clone();
        vec![settled.captured(capture, touch, pins, Function::Resistance, drive)]
    }

    fn meter_answered(&mut self, meter: MeterIdentity, gap_s: Option<f64>) -> Vec<Event> {
        let known = self.record.meter.as_ref();
        let accept = self.terms.accept_meter;
        meter::answered(known, meter, gap_s, accept, &mut self.talk)
    }

    fn ask(&mut self, ask: Ask) -> Action {
        self.dial.agrees();
        self.talk.ask(ask)
    }

    fn answered(&mut self, answer: Answer) -> Vec<Event> {
        let Some(ask) = self.talk.take(answer, self.record.last_capture > 0) else {
            return Vec::new();
        };
        match (answer, ask) {
            (Answer::Abort, _) => self.talk.abort(),
            (Answer::Again, _) => {
                vec![Event::CaptureTakenBack { capture: self.record.last_capture }]
            }
            (Answer::Skip, ask) => vec![Event::AskSkipped { ask }],
            (_, Ask::Place { red, black, .. }) => {
                vec![Event::LeadsPlaced(Placement {
                    touch: self.record.last_touch + 1,
                    lead_moves: self.record.moves_to(&red, &black),
                    red,
                    black,
                })]
            }
            (_, ask) => done(ask),
        }
    }
}
