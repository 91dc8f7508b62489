//! The guide that measures pick-up and drop-out: coil ohms first, then the leads rest on a contact
//! and the drive goes up and down in steps, by a supply or by hand. What the looks amount to and
//! which volts come next, [`ramp`](crate::fit::ramp) says; this guide brings the bench there. Its
//! state is a fold over its events, so a run that broke off goes on where it was.

mod record;

use super::settling::{Settled, Settler, Settling};
use super::{Guide, meter};
use crate::event::{
    Action, Answer, Ask, Capture, Caution, DriveState, Event, Finding, Input, LinkNews,
    MeterIdentity, PickUpFinding, PickUpStart, Pin, Placement, Verdict,
};
use crate::fit::ramp::{Wanted, follow, thresholds};
use drivers::{Function, Moment};
use record::Record;

/// Readings in another function than was asked for, after which the dial is doubted.
const OTHER_FUNCTION_MIN: u32 = 3;

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
    asked: Option<Ask>,
    listening: Option<Settler>,
    epoch: u64,
    dial_doubted: u32,
    objection: Option<String>,
    ended: Option<(u8, Option<String>)>,
}

impl PickUp {
    /// A guide at its beginning.
    #[must_use]
    pub fn new(terms: Terms) -> Self {
        let record = Record::new(terms.start.clone());
        Self {
            terms,
            record,
            asked: None,
            listening: None,
            epoch: 0,
            dial_doubted: 0,
            objection: None,
            ended: None,
        }
    }
}

impl Guide for PickUp {
    fn apply(&mut self, fact: &Event) {
        self.record.apply(fact);
    }

    fn wake_at(&self) -> Option<Moment> {
        self.listening.as_ref().filter(|_| self.asked.is_none()).map(Settler::limit_at)
    }

    fn handle(&mut self, input: Input, _: Moment) -> Vec<Event> {
        match input {
            Input::Begun => Vec::new(),
            Input::MeterAnswered(meter, gap_s) => self.meter_answered(meter, gap_s),
            Input::MeterLost(text) => {
                self.listening = None;
                vec![Event::LinkChanged(LinkNews::Lost { text })]
            }
            Input::AnswerReceived(answer) => self.answered(answer),
            Input::ReadingArrived(epoch, reading) if epoch == self.epoch => {
                self.dial_doubted = 0;
                let settled = self.listening.as_mut().and_then(|l| l.push(&reading));
                settled.map(|settled| self.capture(settled)).unwrap_or_default()
            }
            Input::ReadingArrived(..) | Input::SerialReceived(_) => Vec::new(),
            Input::OtherFunctionArrived => {
                self.dial_doubted += 1;
                if self.dial_doubted >= OTHER_FUNCTION_MIN {
                    self.listening = None;
                    self.record.dial = None;
                }
                Vec::new()
            }
            Input::FunctionRefused(function) => {
                self.ended = Some((3, Some(format!("the meter has no {function}"))));
                vec![Event::FunctionRefused { function }]
            }
            Input::DeadlineReached => {
                self.listening = None;
                self.stop("the readings do not settle");
                Vec::new()
            }
            Input::StopRequested(reason) => {
                self.stop(&reason);
                Vec::new()
            }
        }
    }

    fn next(&mut self, now: Moment) -> Action {
        if let Some((exit, reason)) = self.ended.clone() {
            return Action::Finish(exit, reason);
        }
        if let Some(objection) = self.objection.take() {
            return Action::AskAgain(objection);
        }
        if self.asked.is_some() {
            return Action::Nothing;
        }
        if let Some(finding) = &self.record.finding {
            let failed = finding.result != Verdict::Pass;
            self.ended = Some((u8::from(failed), failed.then(|| finding.reason.clone())));
            return self.next(now);
        }
        let first = [Caution::DeadCircuit, Caution::NotACertificate];
        if let Some(caution) = first.into_iter().find(|c| !self.record.cautions.contains(c)) {
            return self.ask(Ask::caution(caution));
        }
        if self.record.meter.is_none() || self.listening.is_some() {
            return Action::Nothing;
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
        let commanded = self.record.meter.as_ref().is_some_and(|meter| meter.commanded);
        if !commanded && self.record.dial != Some(Function::Resistance) {
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
        let most = start.volts_max.min((start.coil_watts_max * coil_ohms).sqrt());
        let most = (most * 1000.0).floor() / 1000.0;
        let (_, wanted) = follow(self.record.looks(), start.step_volts, start.ramps, most);
        let volts = match wanted {
            Wanted::Done => return self.conclude(None),
            Wanted::Hopeless(why) => return self.conclude(Some(why)),
            Wanted::Look(volts) => volts,
        };
        let [plus, minus] = start.coil.clone();
        let drive = match volts > 0.0 {
            true => DriveState::Energised { plus, minus, volts },
            false => DriveState::Rest,
        };
        self.look(&start.contact, &drive, "the witness: it shows when the contacts change", now)
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
        let result = match (&both, why_not) {
            (Some((up, down)), None) => Verdict::of_all([up.verdict, down.verdict]),
            _ => Verdict::Undecided,
        };
        let reason = match (why_not, start.rated_volts, result) {
            (Some(why), ..) => why.to_owned(),
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

    fn capture(&mut self, settled: Settled) -> Vec<Event> {
        self.listening = None;
        let Some([red, black]) = self.record.leads.clone() else { return Vec::new() };
        vec![Event::ReadingCaptured(Capture {
            capture: self.record.last_capture + 1,
            touch: self.record.last_touch,
            red,
            black,
            function: Function::Resistance,
            drive: self.record.drive.clone(),
            overload: settled.value.is_none(),
            value: settled.value,
            unit: settled.unit,
            u: settled.u,
            spread: settled.spread,
            samples: u32::try_from(settled.samples).unwrap_or(u32::MAX),
            raw: settled.raw,
        })]
    }

    fn meter_answered(&mut self, meter: MeterIdentity, gap_s: Option<f64>) -> Vec<Event> {
        let known = self.record.meter.as_ref();
        let (facts, refused) = meter::answered(known, meter, gap_s, self.terms.accept_meter);
        if let Some(reason) = refused {
            self.ended = Some((3, Some(reason)));
        }
        facts
    }

    fn ask(&mut self, ask: Ask) -> Action {
        self.asked = Some(ask.clone());
        Action::Ask(ask)
    }

    fn answered(&mut self, answer: Answer) -> Vec<Event> {
        let Some(ask) = self.asked.clone() else { return Vec::new() };
        if !ask.accepts(answer) {
            self.objection = Some(ask.misfit(answer));
            return Vec::new();
        }
        if answer == Answer::Again && self.record.last_capture == 0 {
            self.objection = Some("there is no capture to take back".into());
            return Vec::new();
        }
        self.asked = None;
        match (answer, ask) {
            (Answer::Abort, _) => {
                self.stop("stopped by the operator");
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
                vec![Event::LeadsPlaced(Placement {
                    touch: self.record.last_touch + 1,
                    lead_moves: self.record.moves_to(&red, &black),
                    red,
                    black,
                })]
            }
            (_, Ask::Drive(drive)) => vec![Event::DriveChanged(drive)],
            (_, Ask::Dial { function }) => vec![Event::DialTurned { function }],
            (_, Ask::Alarm { .. } | Ask::Clip { .. } | Ask::Serial { .. }) => Vec::new(),
        }
    }

    fn stop(&mut self, reason: &str) {
        self.ended = Some((4, Some(reason.into())));
    }
}
