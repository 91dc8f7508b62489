//! Tests relay boards against a plan, one after another: asks for the leads in the order of fewest
//! moves, drives the input up and down while they rest on a contact, and ends each board with its
//! verdict. [`Boards::handle`] turns what arrived into facts, the [`Record`] folds them, and
//! [`Boards::next`] says what is wanted. Safety holds here: leads move only at rest, nothing is
//! driven before its input was measured, and never under leads in ohms.

mod looks;
mod record;

pub use record::{OnBench, Record, Tested};

use super::Guide;
use super::dialogue::{Dialogue, done, unread};
use super::doubt::DriveDoubt;
use super::meter::{self, Dial};
use super::settling::{Settled, Settler, Settling, Unsettled};
use crate::board::{self, Plan, Way};
use crate::event::{
    Action, Answer, Ask, BoardStart, Caution, DriveState, Event, Finding, Input, LinkNews,
    MeterIdentity, Placement,
};
use drivers::{Function, Moment, Value};
use looks::{Look, View, good_null, towards};

/// The longest serial number, in characters.
const SERIAL_MAX: usize = 40;

/// What a run of this guide is given.
#[derive(Clone, Debug)]
pub struct Terms {
    /// How the run was begun.
    pub start: BoardStart,
    /// Its plan, checked.
    pub plan: Plan,
    /// Whether the instruments are simulated.
    pub simulated: bool,
    /// When readings count as settled.
    pub settling: Settling,
    /// Whether a closed or resistive placement is captured without the operator's word.
    pub hands_free: bool,
    /// Whether another meter than the job's first is accepted.
    pub accept_meter: bool,
}

/// The guide.
#[derive(Debug)]
pub struct Boards {
    terms: Terms,
    record: Record,
    talk: Dialogue,
    /// The look that is being made, and whether its fresh touch is still to come.
    look: Option<Look>,
    listening: Option<(Function, Settler)>,
    /// The function that the meter was last ordered to.
    ordered: Option<Function>,
    /// Whether a drive waits until the meter has shown that it is in its function.
    arming: bool,
    epoch: u64,
    unsettled: Unsettled,
    dial: Dial,
    doubt: DriveDoubt,
}

impl Boards {
    /// A guide at its beginning. Replay a job's events with [`Guide::apply`] to go on with it.
    #[must_use]
    pub fn new(terms: Terms) -> Self {
        Self {
            terms,
            record: Record::default(),
            talk: Dialogue::default(),
            look: None,
            listening: None,
            ordered: None,
            arming: false,
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

impl Guide for Boards {
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
        let settler = self.listening.as_ref().filter(|_| self.talk.open().is_none());
        settler.map(|(_, settler)| settler.limit_at())
    }

    fn handle(&mut self, input: Input, now: Moment) -> Vec<Event> {
        match input {
            Input::MeterAnswered(meter, gap_s) => self.meter_answered(meter, gap_s),
            Input::MeterLost(text) => {
                self.arming = false;
                self.listening = None;
                self.look = None;
                vec![Event::LinkChanged(LinkNews::Lost { text })]
            }
            Input::AnswerReceived(answer) => self.answered(answer),
            Input::TextReceived(text) => self.named(&text),
            Input::ReadingArrived(epoch, reading) if epoch == self.epoch => {
                self.dial.agrees();
                self.arming = false;
                let settled = self.listening.as_mut().and_then(|(_, s)| s.push(&reading));
                settled.map(|s| self.capture(s)).unwrap_or_default()
            }
            Input::OtherFunctionArrived => {
                self.dial.disagrees(self.talk.open());
                Vec::new()
            }
            Input::FunctionRefused(function) => {
                self.arming = false;
                self.listening = None;
                self.look = None;
                vec![Event::FunctionRefused { function }]
            }
            Input::DeadlineReached => self.gave_up_settling(now),
            Input::StopRequested(reason) => {
                self.talk.stop(reason);
                Vec::new()
            }
            Input::Begun | Input::ReadingArrived(..) | Input::DriveLimited(_) => Vec::new(),
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
        let cautions = [Caution::DeadBoard, Caution::NoInsulationTest];
        if let Some(ask) = unread(cautions, &self.record.cautions) {
            return self.ask(ask);
        }
        let undisturbed = self.listening.is_some() && !self.dial.is_doubted();
        if self.record.meter.is_none() || undisturbed || self.arming {
            return Action::Nothing;
        }
        if self.record.leads.is_none() && self.may_be_driven() {
            return self.ask(Ask::Drive(DriveState::Rest));
        }
        match &self.record.board {
            Some(_) => self.go_on(now),
            None => self.between_boards(now),
        }
    }

    /// Everything but ohms can be done without; what wanted it stays undecided.
    fn needs(&self, function: Function) -> bool {
        function == Function::Resistance
    }
}

impl Boards {
    /// The next board, or the end.
    fn between_boards(&mut self, now: Moment) -> Action {
        if let Some(serial) = self.record.given.clone() {
            return Action::Record(Box::new(Event::BoardBegun { serial }));
        }
        let none_yet = self.record.finished == 0 && self.terms.start.serial.is_none();
        if self.terms.start.batch || none_yet {
            return self.ask(Ask::Serial { last: self.last_in_words() });
        }
        self.finish();
        self.next(now)
    }

    fn finish(&mut self) {
        let (bad, all) = self.record.not_passed();
        let reason = (bad > 0).then(|| format!("{bad} of {all} boards did not pass"));
        let reason = reason.or_else(|| (all == 0).then(|| "no board was tested".into()));
        self.talk.end(u8::from(reason.is_some()), reason);
    }

    fn last_in_words(&self) -> Option<String> {
        let finding = self.record.tested.values().max_by_key(|t| newest(&t.last))?;
        let again = match finding.last.result {
            crate::event::Verdict::Pass => "",
            _ => "; the same serial number again repeats what did not pass",
        };
        Some(format!("{}: {}{again}", finding.last.serial, finding.last.result))
    }

    /// The next look at the board on the bench, or its verdict.
    fn go_on(&mut self, now: Moment) -> Action {
        let Some(on) = self.record.board.as_ref() else { return Action::Nothing };
        let bench = board::Bench {
            leads: good_null(&self.terms.plan, &self.record),
            celsius: self.terms.start.ambient_celsius,
        };
        let view = View { plan: &self.terms.plan, record: &self.record, on, bench: &bench };
        if self.look.is_none()
            && let Some(news) = view.news()
        {
            return Action::Record(Box::new(Event::CheckJudged(news)));
        }
        let look = self.look.take().or_else(|| view.next());
        match look {
            Some(look) => {
                let action = self.perform(&look, now);
                if !matches!(action, Action::Finish(..)) {
                    self.look = Some(look);
                }
                action
            }
            None if self.record.drive != DriveState::Rest => self.ask(Ask::Drive(DriveState::Rest)),
            None => {
                let finding = Box::new(view.finding(self.terms.simulated));
                Action::Record(Box::new(Event::ResultReached(Finding::Board(finding))))
            }
        }
    }

    /// One thing that brings the bench nearer to the look: leads, dial, drive, then the meter.
    fn perform(&mut self, look: &Look, now: Moment) -> Action {
        let there = !look.fresh && self.record.leads.as_ref() == Some(&look.way);
        if !there && self.record.drive != DriveState::Rest {
            return self.ask(Ask::Drive(DriveState::Rest));
        }
        let dial = self.dial_is_elsewhere(look.function);
        if dial && self.record.drive != DriveState::Rest {
            return self.ask(Ask::Drive(DriveState::Rest));
        }
        if dial {
            return self.ask(Ask::Dial { function: look.function });
        }
        let Way { red, black } = look.way.clone();
        if !there {
            let (function, drive) = (look.function, self.record.drive.asked());
            return self.ask(Ask::Place {
                red,
                black,
                function,
                drive,
                why: Some(look.why.clone()),
            });
        }
        let wanted = self.terms.plan.drive(look.level);
        if self.record.drive != wanted {
            return self.drive(
                towards(&self.terms.plan, &self.record.drive, look.level),
                look,
                now,
            );
        }
        let settler = Settler::confirmed(self.terms.settling, now);
        self.listen(look.function, settler)
    }

    /// Asks for a drive, once the meter is in a function that bears it.
    fn drive(&mut self, drive: DriveState, look: &Look, now: Moment) -> Action {
        if drive.is_across(&look.way.red, &look.way.black) && look.function.sources_current() {
            let reason = format!("bug: a drive was planned across the leads on {:?}", look.way);
            self.talk.end(1, Some(reason));
            return self.next(now);
        }
        if self.ordered != Some(look.function) {
            self.arming = true;
            return self.order(look.function);
        }
        if drive != DriveState::Rest && !self.record.cautions.contains(&Caution::CoilDrive) {
            return self.ask(Ask::caution(Caution::CoilDrive));
        }
        self.ask(Ask::Drive(drive))
    }

    fn order(&mut self, function: Function) -> Action {
        self.epoch += 1;
        self.ordered = Some(function);
        Action::Measure(function, self.epoch)
    }

    fn listen(&mut self, function: Function, settler: Settler) -> Action {
        self.listening = Some((function, settler));
        self.order(function)
    }

    fn listens_on_the_way(&self) -> bool {
        self.terms.hands_free && self.listening.is_none() && self.record.meter.is_some()
    }

    fn listen_on_the_way(&mut self, function: Function, now: Moment) -> Action {
        let newest = self.record.board.as_ref().and_then(|board| board.captures.last());
        let newest = newest.or(self.record.nulls.last()).filter(|_| self.record.leads.is_some());
        let before = newest.map(|c| c.value.map_or(Value::Overload, Value::Number));
        self.listen(function, Settler::on_the_way(self.terms.settling, now, before))
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
        self.ordered = None;
        self.arming = false;
        let known = self.record.meter.as_ref();
        let accept = self.terms.accept_meter;
        meter::answered(known, meter, gap_s, accept, &mut self.talk)
    }

    /// A serial number for the board that comes next.
    fn named(&mut self, text: &str) -> Vec<Event> {
        if !matches!(self.talk.open(), Some(Ask::Serial { .. })) {
            return Vec::new();
        }
        let serial = text.trim();
        let fits = (1..=SERIAL_MAX).contains(&serial.chars().count());
        if !fits || crate::event::visible(serial) != serial {
            let wanted =
                format!("a serial number has 1 to {SERIAL_MAX} characters that can be seen");
            self.talk.object(wanted);
            return Vec::new();
        }
        self.talk.close();
        vec![Event::BoardBegun { serial: serial.to_owned() }]
    }

    fn answered(&mut self, answer: Answer) -> Vec<Event> {
        let newest = self.record.board.as_ref().and_then(|board| board.captures.last());
        let newest = newest.map(|capture| capture.capture);
        let Some(ask) = self.talk.take(answer, newest.is_some()) else { return Vec::new() };
        self.listening = None;
        match (answer, ask) {
            (Answer::Abort, _) => self.talk.abort(),
            (Answer::Again, _) => {
                self.look = None;
                newest.map(|capture| Event::CaptureTakenBack { capture }).into_iter().collect()
            }
            (Answer::Skip, ask) => {
                self.look = None;
                vec![Event::AskSkipped { ask }]
            }
            (_, Ask::Serial { .. }) => {
                self.finish();
                Vec::new()
            }
            (_, Ask::Place { red, black, .. }) => vec![self.placed(Way { red, black })],
            (_, ask) => done(ask),
        }
    }

    fn placed(&mut self, way: Way) -> Event {
        if let Some(look) = &mut self.look {
            look.fresh = false;
        }
        let lead_moves = self.record.moves_to(&way);
        let Way { red, black } = way;
        Event::LeadsPlaced(Placement { touch: self.record.last_touch + 1, red, black, lead_moves })
    }

    /// The look under way has settled. While the place ask is still open, the leads have
    /// announced themselves: the touch began too.
    fn capture(&mut self, settled: Settled) -> Vec<Event> {
        let Some((function, _)) = self.listening.take() else { return Vec::new() };
        let mut facts = Vec::new();
        let mut touch = self.record.last_touch;
        let way = match self.talk.close() {
            Some(Ask::Place { red, black, .. }) => {
                let way = Way { red, black };
                facts.push(self.placed(way.clone()));
                touch += 1;
                way
            }
            _ => match self.record.leads.clone() {
                Some(way) => way,
                None => return Vec::new(),
            },
        };
        // A place ask shows the function of the look, but the drive comes after it: what was
        // seen on the way counts only for a look at rest.
        self.unsettled = Unsettled::default();
        let at_level = self.look.as_ref().map(|look| self.terms.plan.drive(look.level));
        if at_level.is_some_and(|drive| drive != self.record.drive) {
            return facts;
        }
        self.look = None;
        let capture = self.record.last_capture + 1;
        let drive = self.record.drive.clone();
        facts.push(settled.captured(capture, touch, [way.red, way.black], function, drive));
        facts
    }

    fn gave_up_settling(&mut self, now: Moment) -> Vec<Event> {
        let due = self.listening.as_ref().is_some_and(|(_, s)| s.limit_at() <= now);
        let (true, Some(look)) = (due, &mut self.look) else { return Vec::new() };
        self.listening = None;
        look.fresh = true;
        let Way { red, black } = look.way.clone();
        let function = look.function;
        let text = format!("the readings on {red}-{black} did not settle: hold the leads still");
        let mut facts = vec![Event::MeterComplained { text }];
        if self.unsettled.gives_up() {
            self.look = None;
            let drive = self.record.drive.asked();
            let ask = Ask::Place { red, black, function, drive, why: None };
            facts.push(Event::AskSkipped { ask });
        }
        facts
    }
}

/// Later findings stand on later captures.
fn newest(finding: &crate::event::BoardFinding) -> Option<u32> {
    finding.checks.iter().filter_map(|check| check.capture).max()
}
