//! What a run of an output has established so far, as a fold over its events: the cautions, the
//! meter, where the leads are, the level at rest, the log and what was seen in it. Nothing here
//! decides anything; the same events always give the same record, so a run that goes on stands
//! where the broken one stood. The log's readings are not in it; they stand in their file.

use crate::event::{
    AlarmState, Ask, Capture, Caution, Event, Finding, LogEnd, LogNews, MeterIdentity,
    OutputFinding,
};
use drivers::Function;
use std::collections::BTreeSet;

/// The fold.
#[derive(Clone, Debug, Default)]
pub struct Record {
    /// Cautions acknowledged in this task.
    pub cautions: BTreeSet<Caution>,
    /// The meter, once it answered.
    pub meter: Option<MeterIdentity>,
    /// Where the dial of a dial meter stands, by the operator's word.
    pub dial: Option<Function>,
    /// Whether the leads rest on the output, by the operator's word.
    pub placed: bool,
    /// Number of the last touch.
    pub last_touch: u32,
    /// Number of the last capture.
    pub last_capture: u32,
    /// The output at rest.
    pub rest: Option<Capture>,
    /// Whether it was asked, or refused, to take the equipment out of alarm.
    pub alarm_taken_off: bool,
    /// The log.
    pub log: Option<Log>,
    /// Whether the output's terminals cannot be reached.
    pub unreachable: bool,
    /// The finding, once reached.
    pub finding: Option<OutputFinding>,
}

/// The log so far.
#[derive(Clone, Debug, PartialEq)]
pub struct Log {
    /// Its file.
    pub file: String,
    /// Whether nothing is written to it any more.
    pub closed: bool,
    /// When the alarm began, by the operator's word, in seconds of the log.
    pub alarm_s: Option<f64>,
    /// Whether the operator cannot bring the equipment into alarm.
    pub no_alarm: bool,
    /// When the output came on.
    pub came_on_s: Option<f64>,
    /// Whether it is written down that it went off.
    pub went_off: bool,
    /// Whether its picture is written down.
    pub drawn: bool,
}

impl Record {
    /// Takes in one event.
    pub fn apply(&mut self, fact: &Event) {
        match fact {
            Event::RunStarted(_) => self.placed = false,
            Event::MeterIdentified(meter) => self.meter = Some(meter.clone()),
            Event::CautionAcknowledged { caution, .. } => {
                self.cautions.insert(*caution);
            }
            Event::DialTurned { function } => self.dial = Some(*function),
            Event::LeadsPlaced(placement) => {
                self.placed = true;
                self.last_touch = placement.touch;
            }
            Event::ReadingCaptured(capture) => {
                self.last_capture = capture.capture;
                self.rest = Some(capture.clone());
            }
            Event::CaptureTakenBack { .. } => {
                self.rest = None;
                self.placed = false;
                self.alarm_taken_off = false;
            }
            Event::AskSkipped { ask } => self.skip(ask),
            Event::AlarmChanged { state: AlarmState::Off } => {
                self.rest = None;
                self.alarm_taken_off = true;
            }
            Event::Logged(news) => self.log_news(news),
            Event::ResultReached(Finding::Output(finding)) => {
                self.finding = Some((**finding).clone());
            }
            _ => {}
        }
    }

    fn skip(&mut self, ask: &Ask) {
        match ask {
            Ask::Place { .. } => self.unreachable = true,
            Ask::Alarm { state: AlarmState::Off } => self.alarm_taken_off = true,
            Ask::Alarm { state: AlarmState::On } => {
                if let Some(log) = &mut self.log {
                    log.no_alarm = true;
                }
            }
            _ => {}
        }
    }

    fn log_news(&mut self, news: &LogNews) {
        match (news, &mut self.log) {
            (LogNews::Opened { file, .. }, Some(log)) if log.file == *file => {}
            (LogNews::Opened { file, .. }, log) => {
                *log = Some(Log {
                    file: file.clone(),
                    closed: false,
                    alarm_s: None,
                    no_alarm: false,
                    came_on_s: None,
                    went_off: false,
                    drawn: false,
                });
            }
            (LogNews::Closed { why: LogEnd::TakenBack, .. }, log) => *log = None,
            (LogNews::Closed { .. }, Some(log)) => log.closed = true,
            (LogNews::AlarmBegun { t_s }, Some(log)) => log.alarm_s = Some(*t_s),
            (LogNews::CameOn { t_s, .. }, Some(log)) => log.came_on_s = Some(*t_s),
            (LogNews::WentOff { .. }, Some(log)) => log.went_off = true,
            (LogNews::Drawn(_), Some(log)) => log.drawn = true,
            (_, None) => {}
        }
    }
}
