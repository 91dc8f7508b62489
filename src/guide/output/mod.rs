//! Finds out what a switched output does: volts at rest, then a log of every reading through the
//! alarm and the end of its window. [`Output::handle`] turns what arrived into facts and rows of
//! the log; [`Output::next`] says what is wanted now. Volts only, and set before the leads touch:
//! nothing here ever asks for another function. What was established is in the [`Record`]; the
//! log's rows are handed back by [`Output::recall`] when a run goes on.

mod answers;
mod conclusion;
mod record;
mod rows;
#[cfg(test)]
mod tests;

pub use record::{Log, Record};

use super::dialogue::{Dialogue, unread};
use super::meter::{self, Dial};
use super::settling::{Settled, Settler, Settling, Unsettled};
use super::{EXTRA_LOW_VOLTS_MAX, Guide};
use crate::event::{
    Action, AlarmState, Ask, AskedDrive, Caution, DriveState, Event, Input, LinkNews, LogEnd,
    LogNews, OutputStart, Pin,
};
use crate::output::micro;
use drivers::{Function, Moment};
use rows::Rows;

/// The output's terminals, as they are asked for.
const PLUS: &str = "plus";
const MINUS: &str = "minus";
/// So much of the level at rest stands in the log before the alarm is asked for: seconds, and
/// readings.
const REST_S: f64 = 2.0;
const REST_READINGS: u64 = 4;
/// An output at this many volts at rest is in alarm already: common practice, no source.
const ALREADY_ON_VOLTS: f64 = 3.0;

/// What a run of this guide is given.
#[derive(Clone, Debug)]
pub struct Terms {
    /// How the run was begun.
    pub start: OutputStart,
    /// Whether the instruments are simulated.
    pub simulated: bool,
    /// When readings at rest count as settled.
    pub settling: Settling,
    /// Whether the ask for the alarm closes by itself when the output comes on.
    pub hands_free: bool,
    /// Whether another meter than the task's first is accepted.
    pub accept_meter: bool,
    /// The log's time when this part of the run began, if it goes on with one, in seconds.
    pub goes_on_at_s: f64,
}

/// The guide.
#[derive(Debug)]
pub struct Output {
    terms: Terms,
    record: Record,
    talk: Dialogue,
    listening: Option<Settler>,
    epoch: u64,
    /// Whether the meter was told to measure, and is there to do so.
    measuring: bool,
    away: bool,
    unsettled: Unsettled,
    dial: Dial,
    rows: Rows,
}

impl Output {
    /// A guide at its beginning. To go on, replay the task's events with [`Guide::apply`] and
    /// hand its log's rows to [`Output::recall`].
    #[must_use]
    pub fn new(terms: Terms) -> Self {
        Self {
            terms,
            record: Record::default(),
            talk: Dialogue::default(),
            listening: None,
            epoch: 0,
            measuring: false,
            away: false,
            unsettled: Unsettled::default(),
            dial: Dial::default(),
            rows: Rows::default(),
        }
    }

    /// What the run has established so far.
    #[must_use]
    pub fn record(&self) -> &Record {
        &self.record
    }

    /// Takes rows that stand in the log already: seconds, and volts or overload.
    pub fn recall(&mut self, t_s: f64, volts: Option<f64>) {
        self.rows.take(t_s, volts);
    }
}

impl Guide for Output {
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
                (self.measuring, self.away, self.listening) = (false, false, None);
                let known = self.record.meter.as_ref();
                let accept = self.terms.accept_meter;
                meter::answered(known, meter, gap_s, accept, &mut self.talk)
            }
            Input::MeterLost(text) => {
                (self.measuring, self.away, self.listening) = (false, true, None);
                vec![Event::LinkChanged(LinkNews::Lost { text })]
            }
            Input::AnswerReceived(answer) => self.answered(answer, now),
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
            Input::FunctionRefused(function) => vec![Event::FunctionRefused { function }],
            Input::DeadlineReached => self.gave_up_settling(now),
            Input::StopRequested(reason) => {
                self.talk.stop(reason);
                Vec::new()
            }
        }
    }

    fn next(&mut self, now: Moment) -> Action {
        if let Some((t_s, volts)) = self.rows.take_waiting() {
            return Action::Log(t_s, volts);
        }
        if let Some(action) = self.talk.due() {
            return action;
        }
        let end = self.end();
        if self.talk.open().is_some() && !(self.asks_for_the_alarm() && end.is_some()) {
            return Action::Nothing;
        }
        if self.record.finding.is_some() {
            return Action::Finish(0, None);
        }
        let cautions = [Caution::EnergizerHighVoltage, Caution::LiveOutput];
        if let Some(ask) = unread(cautions, &self.record.cautions) {
            return self.ask(ask);
        }
        if self.record.meter.is_none() || self.away {
            return Action::Nothing;
        }
        match self.record.log.clone() {
            Some(log) if log.closed => self.conclude(&log),
            log => self.measure(log, end, now),
        }
    }

    fn needs(&self, function: Function) -> bool {
        function == Function::VoltageDc
    }
}

impl Output {
    /// The meter is there, and the log is open or yet to be opened.
    fn measure(&mut self, log: Option<Log>, end: Option<LogEnd>, now: Moment) -> Action {
        if self.dial_is_elsewhere() {
            return self.ask(Ask::Dial { function: Function::VoltageDc });
        }
        // Before the leads touch: the meter may still stand at ohms.
        if !self.measuring {
            self.measuring = true;
            self.epoch += 1;
            return Action::Measure(Function::VoltageDc, self.epoch);
        }
        match log {
            Some(log) => self.go_on_logging(&log, end, now),
            None => self.prepare(now),
        }
    }

    /// Up to the log's beginning: the leads, the level at rest.
    fn prepare(&mut self, now: Moment) -> Action {
        if self.record.unreachable {
            return self.end_with(1, "the output's terminals cannot be reached");
        }
        if !self.record.placed {
            return self.ask(place());
        }
        let Some(rest) = &self.record.rest else {
            self.listening.get_or_insert_with(|| Settler::confirmed(self.terms.settling, now));
            return Action::Nothing;
        };
        let volts = rest.value.map_or(f64::INFINITY, f64::abs);
        if volts > EXTRA_LOW_VOLTS_MAX {
            let found = rest.value.map_or("overload".into(), |v| format!("{v:.1} V"));
            return self.end_with(1, &format!("{found} at rest: {TOO_HIGH}"));
        }
        if volts >= ALREADY_ON_VOLTS && !self.record.alarm_taken_off {
            return self.ask(Ask::Alarm { state: AlarmState::Off });
        }
        self.rows = Rows::beginning(now, 0.0);
        Action::OpenLog(None, 0.0)
    }

    fn go_on_logging(&mut self, log: &Log, end: Option<LogEnd>, now: Moment) -> Action {
        if !self.rows.is_counting() {
            let t_s = self.terms.goes_on_at_s;
            self.rows.go_on(Moment::START, t_s);
            return Action::OpenLog(Some(log.file.clone()), self.rows.t_s(now));
        }
        if let Some(end) = end {
            if let (LogEnd::Dropped, Some(off), false) = (end, self.rows.off_since(), log.went_off)
            {
                let off = LogNews::WentOff { t_s: micro(off.t_s), t_s_u: micro(off.t_s_u) };
                return Action::Record(Box::new(Event::Logged(off)));
            }
            self.talk.close();
            self.listening = None;
            return Action::CloseLog(end);
        }
        let rested = self.rows.rested(REST_S, REST_READINGS);
        if log.alarm_s.is_none() && log.came_on_s.is_none() && rested {
            return self.ask(Ask::Alarm { state: AlarmState::On });
        }
        Action::Nothing
    }

    /// Why the log is over, if it is.
    fn end(&self) -> Option<LogEnd> {
        let log = self.record.log.as_ref().filter(|log| !log.closed)?;
        let last_s = self.rows.last_s()?;
        if self.record.rest.is_none() {
            return Some(LogEnd::TakenBack);
        }
        if self.rows.too_high() {
            return Some(LogEnd::TooHigh);
        }
        if log.no_alarm {
            return Some(LogEnd::NoAlarm);
        }
        let guard_s = self.terms.start.guard_s;
        if log.came_on_s.is_some()
            && self.rows.off_since().is_some_and(|off| last_s - off.t_s >= guard_s)
        {
            return Some(LogEnd::Dropped);
        }
        let began = [log.alarm_s, log.came_on_s].into_iter().flatten().reduce(f64::min)?;
        (last_s - began >= self.terms.start.for_s).then_some(LogEnd::TimeOver)
    }

    fn ask(&mut self, ask: Ask) -> Action {
        self.listening = None;
        self.dial.agrees();
        self.talk.ask(ask)
    }

    fn asks_for_the_alarm(&self) -> bool {
        matches!(self.talk.open(), Some(Ask::Alarm { state: AlarmState::On }))
    }

    fn end_with(&mut self, exit: u8, reason: &str) -> Action {
        self.talk.end(exit, Some(reason.into()));
        Action::Finish(exit, Some(reason.into()))
    }

    fn dial_is_elsewhere(&self) -> bool {
        self.dial.is_elsewhere(self.record.meter.as_ref(), self.record.dial, Function::VoltageDc)
    }

    /// One reading: a row of the log where it is open, else a part of the level at rest.
    fn reading(&mut self, reading: &drivers::Reading) -> Vec<Event> {
        let open = self.record.log.as_ref().is_some_and(|log| !log.closed);
        if open && self.rows.is_counting() {
            self.rows.arrived(reading);
            return self.noticed();
        }
        let settled = self.listening.as_mut().and_then(|settler| settler.push(reading));
        settled.map(|settled| self.rest(settled)).into_iter().collect()
    }

    /// The output has come on, if that is new.
    fn noticed(&mut self) -> Vec<Event> {
        let unseen = self.record.log.as_ref().is_some_and(|log| log.came_on_s.is_none());
        let (true, Some(on)) = (unseen, self.rows.came_on()) else { return Vec::new() };
        let came_on = Event::Logged(LogNews::CameOn {
            t_s: micro(on.t_s),
            t_s_u: micro(on.t_s_u),
            volts: self.rows.last_volts(),
        });
        if self.terms.hands_free && self.asks_for_the_alarm() {
            self.talk.close();
            return vec![Event::AlarmChanged { state: AlarmState::On }, came_on];
        }
        vec![came_on]
    }

    fn rest(&mut self, settled: Settled) -> Event {
        (self.listening, self.unsettled) = (None, Unsettled::default());
        let (capture, touch) = (self.record.last_capture + 1, self.record.last_touch);
        let pins = [PLUS, MINUS].map(Pin::new);
        settled.captured(capture, touch, pins, Function::VoltageDc, DriveState::Rest)
    }

    fn gave_up_settling(&mut self, now: Moment) -> Vec<Event> {
        if self.listening.as_ref().is_none_or(|settler| settler.limit_at() > now) {
            return Vec::new();
        }
        self.listening = None;
        if self.unsettled.gives_up() {
            let reason = "the output does not settle at rest: it is no switched output, or a \
                          lead does not hold";
            self.talk.end(1, Some(reason.into()));
        }
        let text = "the readings at rest did not settle: do the leads hold?";
        vec![Event::MeterComplained { text: text.into() }]
    }
}

const TOO_HIGH: &str = "this is no low-voltage output; take the leads off";

fn place() -> Ask {
    Ask::Place {
        red: Pin::new(PLUS),
        black: Pin::new(MINUS),
        function: Function::VoltageDc,
        drive: AskedDrive::Rest,
        why: Some(
            "the output's own two terminals, the equipment not in alarm; clip the leads on, they \
             stay there to the end"
                .into(),
        ),
    }
}
