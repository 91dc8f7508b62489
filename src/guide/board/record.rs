//! What a run of board tests has established so far, as a fold over its events: the bench (meter,
//! leads, drive, cautions), the board that is on it with its captures, and the last finding of each
//! serial number. The same events always give the same record, so a resumed batch stands where the
//! broken one stood.

use crate::board::Way;
use crate::event::{
    Ask, BoardFinding, Capture, Caution, DriveState, Event, Finding, LinkNews, MeterIdentity,
    Placement, RunTerms, Verdict,
};
use drivers::Function;
use std::collections::{BTreeMap, BTreeSet};

/// The board on the bench.
#[derive(Clone, Debug, Default)]
pub struct OnBench {
    /// Its serial number.
    pub serial: String,
    /// Its captures, in order, without those taken back.
    pub captures: Vec<Capture>,
    /// Placements that cannot be reached.
    pub unreachable: BTreeSet<Way>,
    /// The checks that were judged so far, by name.
    pub judged: BTreeMap<String, Verdict>,
    /// Whether the operator said that no drive is possible.
    pub drive_refused: bool,
    /// Place asks answered ready.
    pub placements: u32,
    /// Leads that changed pin.
    pub lead_moves: u32,
    /// Drive asks answered ready that changed the supply.
    pub drive_changes: u32,
}

/// The last finding of a serial number, and how many there were.
#[derive(Clone, Debug)]
pub struct Tested {
    /// How often.
    pub times: u32,
    /// The last finding.
    pub last: BoardFinding,
}

/// The fold.
#[derive(Clone, Debug)]
pub struct Record {
    /// Cautions acknowledged.
    pub cautions: BTreeSet<Caution>,
    /// The meter, once it answered.
    pub meter: Option<MeterIdentity>,
    /// Where the dial of a dial meter stands, by the operator's word.
    pub dial: Option<Function>,
    /// Functions that the meter does not have.
    pub refused: BTreeSet<Function>,
    /// Where the leads rest. `None` in the air or unknown.
    pub leads: Option<Way>,
    /// Number of the last touch.
    pub last_touch: u32,
    /// What is applied.
    pub drive: DriveState,
    /// Number of the last capture.
    pub last_capture: u32,
    /// Captures with both tips on one terminal, of this part of the run.
    pub nulls: Vec<Capture>,
    /// The board on the bench.
    pub board: Option<OnBench>,
    /// A serial number that was given and not yet begun.
    pub given: Option<String>,
    /// Boards finished in this part of the run.
    pub finished: u32,
    /// By serial number.
    pub tested: BTreeMap<String, Tested>,
}

impl Default for Record {
    fn default() -> Self {
        Self {
            cautions: BTreeSet::new(),
            meter: None,
            dial: None,
            refused: BTreeSet::new(),
            leads: None,
            last_touch: 0,
            drive: DriveState::Rest,
            last_capture: 0,
            nulls: Vec::new(),
            board: None,
            given: None,
            finished: 0,
            tested: BTreeMap::new(),
        }
    }
}

impl Record {
    /// Takes in one event.
    pub fn apply(&mut self, fact: &Event) {
        match fact {
            Event::RunStarted(start) => {
                self.leads = None;
                self.nulls.clear();
                self.finished = 0;
                if let RunTerms::Board(terms) = &start.terms {
                    self.begin(terms.serial.as_deref());
                }
            }
            Event::MeterIdentified(meter) => self.meter = Some(meter.clone()),
            Event::CautionAcknowledged { caution, .. } => {
                self.cautions.insert(*caution);
            }
            Event::DialTurned { function } => self.dial = Some(*function),
            Event::FunctionRefused { function } => {
                self.refused.insert(*function);
            }
            Event::LeadsPlaced(placement) => self.placed(placement),
            Event::DriveChanged(drive) => {
                let changed = u32::from(self.drive != *drive);
                self.on_board(|board| board.drive_changes += changed);
                self.drive = drive.clone();
            }
            Event::ReadingCaptured(capture) => self.captured(capture),
            Event::CaptureTakenBack { capture } => {
                let number = *capture;
                self.on_board(|board| board.captures.retain(|c| c.capture != number));
            }
            Event::AskSkipped { ask } => self.skipped(ask),
            Event::BoardBegun { serial } => {
                self.given = None;
                self.board = Some(OnBench { serial: serial.clone(), ..OnBench::default() });
            }
            Event::CheckJudged(news) => self.on_board(|board| {
                board.judged.insert(news.check.clone(), news.verdict);
            }),
            Event::ResultReached(Finding::Board(finding)) => self.found(finding),
            Event::LinkChanged(LinkNews::Restored { .. } | LinkNews::Lost { .. }) => {
                self.leads = None;
            }
            _ => {}
        }
    }

    /// How many leads change terminal to get there; two for a fresh touch of the same.
    #[must_use]
    pub fn moves_to(&self, way: &Way) -> u32 {
        way.moves_from(self.leads.as_ref())
    }

    /// How many boards of this job did not pass when they were last tested, and of how many.
    #[must_use]
    pub fn not_passed(&self) -> (usize, usize) {
        let bad = self.tested.values().filter(|tested| tested.last.result != Verdict::Pass);
        (bad.count(), self.tested.len())
    }

    /// A part of the run that names another board than the one under way puts that one aside.
    fn begin(&mut self, serial: Option<&str>) {
        let Some(serial) = serial else { return };
        if self.board.as_ref().is_none_or(|board| board.serial != serial) {
            self.board = None;
            self.given = Some(serial.to_owned());
        }
    }

    fn placed(&mut self, placement: &Placement) {
        let moves = placement.lead_moves;
        self.on_board(|board| {
            board.placements += 1;
            board.lead_moves += moves;
        });
        self.last_touch = placement.touch;
        self.leads = Some(Way { red: placement.red.clone(), black: placement.black.clone() });
    }

    fn captured(&mut self, capture: &Capture) {
        self.last_capture = capture.capture;
        if capture.red == capture.black {
            self.nulls.push(capture.clone());
        } else {
            self.on_board(|board| board.captures.push(capture.clone()));
        }
    }

    fn skipped(&mut self, ask: &Ask) {
        match ask {
            Ask::Place { red, black, .. } => {
                let way = Way { red: red.clone(), black: black.clone() };
                self.on_board(|board| {
                    board.unreachable.insert(way);
                });
            }
            Ask::Drive(_) => self.on_board(|board| board.drive_refused = true),
            _ => {}
        }
    }

    fn found(&mut self, finding: &BoardFinding) {
        let times = self.tested.get(&finding.serial).map_or(0, |tested| tested.times) + 1;
        let tested = Tested { times, last: finding.clone() };
        self.tested.insert(finding.serial.clone(), tested);
        self.board = None;
        self.finished += 1;
    }

    fn on_board(&mut self, change: impl FnOnce(&mut OnBench)) {
        if let Some(board) = &mut self.board {
            change(board);
        }
    }
}
