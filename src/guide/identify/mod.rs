//! Identifies an unmarked relay: decides which pins to touch and when to drive the coil, turns
//! settled readings into captures, and ends with a finding. [`Identify::handle`] turns what
//! arrived into facts; [`Identify::apply`] folds facts, new or replayed; [`Identify::next`] says
//! what is wanted now. All knowledge is in the [`Record`], so replaying a journal restores it.
//! Safety holds here: leads move only at rest, nothing is driven under leads in ohms.

mod decide;
mod faults;
mod finding;
mod follow;
mod insight;
mod plan;
mod record;
mod way;

pub use record::{Record, TouchRecord};
pub use way::Way;

use super::Guide;
use super::dialogue::{Dialogue, done, unread};
use super::doubt::DriveDoubt;
use super::meter::{self, Dial};
use super::settling::{Settled, Settler, Settling, Unsettled};
use crate::event::{
    Action, Answer, Ask, Caution, DriveState, Event, Finding, IdentifyStart, Input, Ladder,
    LinkNews, MeterIdentity, Pin, Placement,
};
use crate::relay::{Channel, Footprint, Prior};
use decide::Decision;
use drivers::{Function, Moment, Value};
use insight::Insight;
use plan::{Plan, Step};

/// What a run of this guide is given.
#[derive(Clone, Debug)]
pub struct Terms {
    /// How the run was begun: pins, confidence, limits.
    pub start: IdentifyStart,
    /// Whether the instruments are simulated.
    pub simulated: bool,
    /// The footprint, if stated.
    pub footprint: Option<Footprint>,
    /// When readings count as settled.
    pub settling: Settling,
    /// Whether a closed or resistive placement is captured without the operator's word.
    pub hands_free: bool,
    /// Whether another meter than the job's first is accepted.
    pub accept_meter: bool,
    /// What slips and readings are like.
    pub channel: Channel,
}

/// The guide.
#[derive(Debug)]
pub struct Identify {
    terms: Terms,
    prior: Prior,
    record: Record,
    /// What the record means, until a fact changes that.
    insight: Option<Insight>,
    talk: Dialogue,
    plan: Option<Plan>,
    listening: Option<Listening>,
    epoch: u64,
    unsettled: Unsettled,
    dial: Dial,
    doubt: DriveDoubt,
}

/// A look under way.
#[derive(Debug)]
struct Listening {
    function: Function,
    settler: Settler,
}

impl Identify {
    /// A guide at its beginning. Replay a job's events with [`Identify::apply`] to go on with it.
    #[must_use]
    pub fn new(terms: Terms) -> Self {
        let pins = terms.start.pins.clone();
        let prior = Prior::usual(pins.count());
        let prior = match &terms.footprint {
            Some(footprint) => prior.with_footprint(footprint),
            None => prior,
        };
        Self {
            terms,
            prior,
            record: Record::new(pins),
            insight: None,
            talk: Dialogue::default(),
            plan: None,
            listening: None,
            epoch: 0,
            unsettled: Unsettled::default(),
            dial: Dial::default(),
            doubt: DriveDoubt::default(),
        }
    }

    /// What the run has established so far.
    #[must_use]
    pub fn record(&self) -> &Record {
        &self.record
    }
}

impl Guide for Identify {
    fn apply(&mut self, fact: &Event) {
        self.record.apply(fact);
        self.doubt.apply(fact);
        let tells_nothing = matches!(
            fact,
            Event::LeadsPlaced(_)
                | Event::DriveChanged(_)
                | Event::BeliefUpdated(_)
                | Event::LadderPlanned(_)
        );
        if !tells_nothing {
            self.insight = None;
        }
    }

    fn drive(&self) -> &DriveState {
        &self.record.drive
    }

    fn may_be_driven(&self) -> bool {
        self.doubt.may_be_on(&self.record.drive)
    }

    fn wake_at(&self) -> Option<Moment> {
        self.listening.as_ref().filter(|_| self.talk.open().is_none()).map(|l| l.settler.limit_at())
    }

    fn handle(&mut self, input: Input, now: Moment) -> Vec<Event> {
        match input {
            Input::Begun => Vec::new(),
            Input::MeterAnswered(meter, gap_s) => self.meter_answered(meter, gap_s),
            Input::MeterLost(text) => {
                self.listening = None;
                self.plan = None;
                vec![Event::LinkChanged(LinkNews::Lost { text })]
            }
            Input::AnswerReceived(answer) => self.answered(answer),
            Input::ReadingArrived(epoch, reading) if epoch == self.epoch => {
                self.dial.agrees();
                let settled = self.listening.as_mut().and_then(|l| l.settler.push(&reading));
                settled.map(|s| self.capture(s)).unwrap_or_default()
            }
            Input::ReadingArrived(..) | Input::TextReceived(_) => Vec::new(),
            Input::OtherFunctionArrived => {
                self.dial.disagrees(self.talk.open());
                Vec::new()
            }
            Input::FunctionRefused(function) => {
                self.listening = None;
                vec![Event::FunctionRefused { function }]
            }
            Input::DriveLimited(limit) => {
                self.talk.close();
                self.listening = None;
                self.plan = None;
                vec![Event::DriveLimited(limit)]
            }
            Input::DeadlineReached => self.gave_up_settling(now),
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
        if let Some(ask) = self.talk.open() {
            return match ask {
                Ask::Place { function, .. } if self.listens_on_the_way() => {
                    let function = *function;
                    self.listen_on_the_way(function, now)
                }
                _ => Action::Nothing,
            };
        }
        if let Some(finding) = &self.record.finding {
            let undecided = finding.result == crate::event::Outcome::Undecided;
            self.talk.end(u8::from(undecided), finding.reason.clone());
            return self.next(now);
        }
        let cautions = [Caution::DeadCircuit, Caution::NotACertificate];
        if let Some(ask) = unread(cautions, &self.record.cautions) {
            return self.ask(ask);
        }
        if self.record.meter.is_none() || self.listening_undisturbed() {
            return Action::Nothing;
        }
        if self.record.leads.is_none() && self.may_be_driven() {
            return self.ask(Ask::Drive(DriveState::Rest));
        }
        self.go_on(now)
    }

    fn doubts_coils(&self) -> bool {
        true
    }

    /// The diode test can be done without; ohms cannot.
    fn needs(&self, function: Function) -> bool {
        function == Function::Resistance
    }
}

impl Identify {
    /// The plan's next step, or a new plan, or the finding.
    fn go_on(&mut self, now: Moment) -> Action {
        let insight = self.insight.take();
        let insight =
            insight.unwrap_or_else(|| Insight::of(&self.record, &self.terms, &self.prior));
        let action = self.go_on_knowing(&insight, now);
        self.insight = Some(insight);
        action
    }

    fn go_on_knowing(&mut self, insight: &Insight, now: Moment) -> Action {
        if self.plan.is_none() && self.record.believed_at != Some(self.record.last_capture) {
            return Action::Record(Box::new(Event::BeliefUpdated(
                insight.summary(&self.record, &self.terms),
            )));
        }
        let plan = match self.plan.take() {
            Some(plan) => plan,
            None => match decide::decide(&self.record, insight, &self.terms) {
                Decision::Touch(plan) => plan,
                Decision::Conclude(mut finding) => {
                    finding.decisive_touches = self.decisive_touches(insight);
                    return Action::Record(Box::new(Event::ResultReached(Finding::Identify(
                        finding,
                    ))));
                }
            },
        };
        match self.step(&plan, insight) {
            Some(step) => {
                let untold = self.untold_ladder(insight, &step);
                let action = match untold {
                    Some(ladder) => Action::Record(Box::new(Event::LadderPlanned(ladder))),
                    None => self.perform(&plan, step, now),
                };
                self.plan = Some(plan);
                action
            }
            None => self.go_on_knowing(insight, now),
        }
    }

    /// The numbers of the touches that decided.
    fn decisive_touches(&self, insight: &Insight) -> Vec<u32> {
        let weighed = self.record.touches.iter().filter(|t| t.ohms_captures().next().is_some());
        let numbers: Vec<u32> = weighed.map(|t| t.touch).collect();
        let decisive = insight::decisive(insight, &self.terms, &self.prior);
        decisive.into_iter().filter_map(|place| numbers.get(place).copied()).collect()
    }

    /// The ladder of drives, before a drive, where the operator has not been told it yet.
    fn untold_ladder(&self, insight: &Insight, step: &Step) -> Option<Ladder> {
        if step.drive == DriveState::Rest || insight.effect.mover.is_some() {
            return None;
        }
        let ladder = insight.ladder(self.record.pins(), &self.terms)?;
        let told = self.record.ladder.as_ref().is_some_and(|told| told.tries_as(&ladder));
        (!told).then_some(ladder)
    }

    /// The next look that the plan wants; `None` when it has seen all.
    fn step(&self, plan: &Plan, insight: &Insight) -> Option<Step> {
        let untouched;
        let touch = match self.record.current_touch() {
            Some(touch) if !plan.fresh && touch.way == plan.way => touch,
            _ => {
                untouched = TouchRecord { touch: 0, way: plan.way, captures: vec![] };
                &untouched
            }
        };
        match plan.purpose {
            plan::Purpose::Look => plan::next_at_rest(touch),
            plan::Purpose::Coil => {
                plan::next_on_coil(touch, !self.record.refused.contains(&Function::Diode))
            }
            plan::Purpose::BringBack => {
                let latch = insight.effect.latch.as_ref()?;
                plan::next_to_bring_back(touch, latch, &insight.drives)
            }
            plan::Purpose::LookDriven if !insight.may_be_driven_at(plan.way.pair()) => None,
            plan::Purpose::LookDriven => plan::next_driven(touch, &insight.effect, &insight.drives),
        }
    }

    /// One thing that brings the bench nearer to the step: leads, drive, dial, then the meter.
    fn perform(&mut self, plan: &Plan, step: Step, now: Moment) -> Action {
        let there = !plan.fresh && self.record.leads == Some(plan.way);
        if !there && self.record.drive != DriveState::Rest {
            return self.ask(Ask::Drive(DriveState::Rest));
        }
        if self.dial_is_elsewhere(step.function) {
            return self.ask(Ask::Dial { function: step.function });
        }
        let (red, black) = self.pins_of(plan.way);
        if !there {
            let (function, drive) = (step.function, self.record.drive.asked());
            return self.ask(Ask::Place {
                red,
                black,
                function,
                drive,
                why: Some(plan.why.clone()),
            });
        }
        if self.record.drive != step.drive {
            if step.function.sources_current() && step.drive.is_across(&red, &black) {
                let reason = format!("bug: a drive was planned across the leads on {red}-{black}");
                self.talk.end(1, Some(reason));
                return self.next(now);
            }
            if !self.record.cautions.contains(&Caution::CoilDrive) {
                return self.ask(Ask::caution(Caution::CoilDrive));
            }
            return self.ask(Ask::Drive(step.drive));
        }
        let settler = Settler::confirmed(self.terms.settling, now);
        self.listen(step.function, settler)
    }

    fn listen(&mut self, function: Function, settler: Settler) -> Action {
        self.epoch += 1;
        self.listening = Some(Listening { function, settler });
        Action::Measure(function, self.epoch)
    }

    fn pins_of(&self, way: Way) -> (Pin, Pin) {
        let pins = self.record.pins();
        (pins.at(way.red()).clone(), pins.at(way.black()).clone())
    }

    fn listens_on_the_way(&self) -> bool {
        self.terms.hands_free && self.listening.is_none() && self.record.meter.is_some()
    }

    fn listen_on_the_way(&mut self, function: Function, now: Moment) -> Action {
        let before = self.record.newest_capture().filter(|_| self.record.leads.is_some());
        let before = before.map(|c| c.value.map_or(Value::Overload, Value::Number));
        self.listen(function, Settler::on_the_way(self.terms.settling, now, before))
    }

    /// A look is under way and its dial is not in doubt.
    fn listening_undisturbed(&self) -> bool {
        self.listening.is_some() && !self.dial.is_doubted()
    }

    fn dial_is_elsewhere(&self, function: Function) -> bool {
        self.dial.is_elsewhere(self.record.meter.as_ref(), self.record.dial, function)
    }

    fn ask(&mut self, ask: Ask) -> Action {
        self.listening = None;
        self.dial.agrees();
        self.talk.ask(ask)
    }

    fn meter_answered(&mut self, meter: MeterIdentity, gap_s: Option<f64>) -> Vec<Event> {
        self.listening = None;
        let known = self.record.meter.as_ref();
        let accept = self.terms.accept_meter;
        meter::answered(known, meter, gap_s, accept, &mut self.talk)
    }

    fn answered(&mut self, answer: Answer) -> Vec<Event> {
        let Some(ask) = self.talk.take(answer, self.record.newest_capture().is_some()) else {
            return Vec::new();
        };
        self.listening = None;
        match (answer, ask) {
            (Answer::Abort, _) => self.talk.abort(),
            (Answer::Again, _) => self.take_back(),
            (Answer::Skip, ask) => {
                self.plan = None;
                vec![Event::AskSkipped { ask }]
            }
            (_, Ask::Place { red, black, .. }) => {
                vec![Event::LeadsPlaced(self.placed(red, black))]
            }
            (_, ask) => done(ask),
        }
    }

    fn placed(&mut self, red: Pin, black: Pin) -> Placement {
        if let Some(plan) = &mut self.plan {
            plan.fresh = false;
        }
        let lead_moves = self.record.way(&red, &black).map_or(2, |way| self.record.moves_to(way));
        let touch = self.record.touches.last().map_or(0, |t| t.touch) + 1;
        Placement { touch, red, black, lead_moves }
    }

    fn take_back(&mut self) -> Vec<Event> {
        let Some(newest) = self.record.newest_capture().cloned() else { return Vec::new() };
        let touch = self.record.touches.iter().find(|t| t.touch == newest.touch);
        self.plan = touch.map(|touch| {
            let insight = Insight::of(&self.record, &self.terms, &self.prior);
            Plan {
                way: touch.way,
                purpose: insight.purpose_on(touch.pair()),
                fresh: true,
                why: "once more: the last capture was taken back".into(),
            }
        });
        vec![Event::CaptureTakenBack { capture: newest.capture }]
    }

    /// The look under way has settled. While the place ask is still open, the leads have
    /// announced themselves: the touch began too.
    fn capture(&mut self, settled: Settled) -> Vec<Event> {
        let Some(listening) = self.listening.take() else { return Vec::new() };
        let mut facts = Vec::new();
        let (touch, red, black) = match self.talk.close() {
            Some(Ask::Place { red, black, .. }) => {
                let placement = self.placed(red, black);
                facts.push(Event::LeadsPlaced(placement.clone()));
                (placement.touch, placement.red, placement.black)
            }
            _ => {
                let Some(touch) = self.record.current_touch() else { return Vec::new() };
                let (red, black) = self.pins_of(touch.way);
                (touch.touch, red, black)
            }
        };
        self.unsettled = Unsettled::default();
        let capture = self.record.last_capture + 1;
        let drive = self.record.drive.clone();
        facts.push(settled.captured(capture, touch, [red, black], listening.function, drive));
        facts
    }

    fn gave_up_settling(&mut self, now: Moment) -> Vec<Event> {
        let due = self.listening.as_ref().is_some_and(|l| l.settler.limit_at() <= now);
        let (true, Some(plan)) = (due, &mut self.plan) else { return Vec::new() };
        self.listening = None;
        plan.fresh = true;
        let way = plan.way;
        let (red, black) = self.pins_of(way);
        let text = format!("the readings on {red}-{black} did not settle: hold the leads still");
        let mut facts = vec![Event::MeterComplained { text }];
        if self.unsettled.gives_up() {
            self.plan = None;
            let drive = self.record.drive.asked();
            let ask = Ask::Place { red, black, function: Function::Resistance, drive, why: None };
            facts.push(Event::AskSkipped { ask });
        }
        facts
    }
}
