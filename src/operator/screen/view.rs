//! What the screen knows: events, asks, readings and time in, one [`View`] to draw from out. It is
//! a fold like any other operator; what it does not know in detail it keeps in the words of
//! [`Lines`], so that a new ask or event shows as it stands. Everything that grows has a cap.

use super::chart::Thinned;
use super::keys::Mode;
use super::logged::Logged;
use crate::event::{
    Ask, BeliefSummary, CheckSoFar, DriveState, Event, LinkNews, LogNews, OutputStart, Pin,
    RunStart, RunTerms,
};
use crate::operator::{Countdown, Lines, Operator};
use drivers::{Moment, Reading, Value};
use std::collections::VecDeque;

/// So many past lines are kept.
const PAST_MAX: usize = 60;
/// So many readings that agree fill the settling bar: what a capture wants at least.
pub(super) const SETTLED: usize = 3;

/// What is known of the link to the meter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum LinkState {
    /// Nothing has answered yet.
    Waiting,
    /// The meter answers.
    Up,
    /// It went away.
    Lost,
}

/// Everything that is drawn.
pub(super) struct View {
    pub(super) began: Option<Moment>,
    pub(super) now: Moment,
    pub(super) start: Option<RunStart>,
    pub(super) ask: Option<(u64, Ask)>,
    /// The ask in words, as plain lines.
    pub(super) ask_lines: Vec<String>,
    pub(super) objection: Option<String>,
    /// The newest readings.
    pub(super) readings: VecDeque<Reading>,
    /// All readings of this function, or of the log that is open, thinned.
    pub(super) thinned: Thinned,
    /// The log of volts that is open.
    pub(super) log: Option<Logged>,
    pub(super) belief: Option<BeliefSummary>,
    /// The board on the bench: its serial number, and its checks as they were judged.
    pub(super) board: Option<(String, Vec<CheckSoFar>)>,
    pub(super) leads: Option<(Pin, Pin)>,
    pub(super) drive: DriveState,
    pub(super) past: VecDeque<String>,
    pub(super) link: LinkState,
    pub(super) countdown: Option<Countdown>,
    pub(super) mode: Mode,
    words: Lines<Vec<u8>>,
}

impl View {
    pub(super) const fn new() -> Self {
        Self {
            began: None,
            now: Moment::START,
            start: None,
            ask: None,
            ask_lines: Vec::new(),
            objection: None,
            readings: VecDeque::new(),
            thinned: Thinned::new(),
            log: None,
            belief: None,
            board: None,
            leads: None,
            drive: DriveState::Rest,
            past: VecDeque::new(),
            link: LinkState::Waiting,
            countdown: None,
            mode: Mode::Work,
            words: Lines::unwrapped(),
        }
    }

    pub(super) fn ask(&mut self, seq: u64, ask: &Ask) {
        if self.ask.as_ref().is_none_or(|(open, _)| *open != seq) {
            self.objection = None;
            self.mode = Mode::Work;
        }
        if self.words.ask(seq, ask).is_ok() {
            self.ask_lines = self.taken();
        }
        self.ask = Some((seq, ask.clone()));
    }

    pub(super) fn object(&mut self, problem: &str) {
        self.objection = Some(crate::event::visible(problem));
    }

    pub(super) fn show(&mut self, event: &Event) {
        if event.closes_an_ask() {
            self.ask = None;
            self.countdown = None;
            self.objection = None;
        }
        match event {
            Event::RunStarted(start) => self.start = Some(start.clone()),
            Event::MeterIdentified(_) => self.link = LinkState::Up,
            Event::LeadsPlaced(placement) => {
                self.leads = Some((placement.red.clone(), placement.black.clone()));
            }
            Event::DriveChanged(drive) => self.drive = drive.clone(),
            Event::BeliefUpdated(belief) => {
                self.belief = Some(belief.clone());
                return;
            }
            Event::BoardBegun { serial } => self.board = Some((serial.clone(), Vec::new())),
            Event::CheckJudged(news) => {
                if let Some((_, checks)) = &mut self.board {
                    checks.retain(|check| check.check != news.check);
                    checks.push(news.clone());
                }
            }
            Event::Logged(news) => {
                if matches!(news, LogNews::Opened { rows: 0, .. }) {
                    self.thinned = Thinned::new();
                }
                self.log = Logged::after(self.log.take(), news, self.now);
            }
            Event::LinkChanged(LinkNews::Lost { .. }) => self.link = LinkState::Lost,
            Event::LinkChanged(LinkNews::Restored { .. }) => self.link = LinkState::Up,
            _ => {}
        }
        if self.words.show(event).is_ok() {
            let lines = self.taken();
            self.past.extend(lines.into_iter().filter(|line| !line.trim().is_empty()));
            while self.past.len() > PAST_MAX {
                self.past.pop_front();
            }
        }
    }

    pub(super) fn read(&mut self, reading: &Reading) {
        // A run that goes on does not ask again who the meter is.
        if self.link == LinkState::Waiting {
            self.link = LinkState::Up;
        }
        if self.readings.back().is_some_and(|last| last.function != reading.function) {
            self.readings.clear();
            self.thinned = Thinned::new();
        }
        self.thinned.push(reading);
        if let Some(log) = &mut self.log {
            log.count();
        }
        self.readings.push_back(reading.clone());
        while self.readings.len() > SETTLED {
            self.readings.pop_front();
        }
    }

    /// The pins of the part, where the command is about one.
    pub(super) fn pins(&self) -> Option<(Vec<Pin>, Option<&str>)> {
        match &self.start.as_ref()?.terms {
            RunTerms::Identify(terms) => {
                Some((terms.pins.iter().cloned().collect(), terms.footprint.as_deref()))
            }
            _ => None,
        }
    }

    /// The terms of the log of an output, if that is what runs.
    pub(super) fn output(&self) -> Option<&OutputStart> {
        match &self.start.as_ref()?.terms {
            RunTerms::Output(terms) => Some(terms),
            _ => None,
        }
    }

    /// Whether nothing is measured in this run.
    pub(super) fn only_talks(&self) -> bool {
        self.start.as_ref().is_some_and(|start| matches!(start.terms, RunTerms::Job(_)))
    }

    /// How many of the newest readings agree, up to [`SETTLED`]: within half a per cent and a
    /// twentieth of a unit of the newest, or all of them overload.
    pub(super) fn agreeing(&self) -> usize {
        let Some(last) = self.readings.back() else { return 0 };
        let agrees = |reading: &&Reading| match (reading.value, last.value) {
            (Value::Number(a), Value::Number(b)) => (a - b).abs() <= 0.005 * b.abs() + 0.05,
            (Value::Overload, Value::Overload) => true,
            _ => false,
        };
        self.readings.iter().rev().take(SETTLED).take_while(agrees).count()
    }

    /// Whole seconds since the run began.
    pub(super) fn elapsed_s(&self) -> u64 {
        self.began.map_or(0, |began| self.now.since(began).as_secs())
    }

    fn taken(&mut self) -> Vec<String> {
        String::from_utf8_lossy(&self.words.take()).lines().map(str::to_owned).collect()
    }
}
