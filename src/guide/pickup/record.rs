//! What a measurement of pick-up and drop-out has established so far, as a fold over its events:
//! where the leads rest, what is applied, the coil's ohms, and every look at the witness in order.
//! A contact is closed below [`CLOSED_OHMS_MAX`]; nothing here decides anything.

use crate::event::{
    Ask, Capture, Caution, DriveState, Event, Finding, Ladder, LinkNews, MeterIdentity,
    PickUpFinding, PickUpStart, Pin, Placement,
};
use crate::fit::ramp::Seen;
use crate::guide::CLOSED_OHMS_MAX;
use drivers::Function;
use std::collections::BTreeSet;

/// So many ramps that the link has broken off are enough: each is begun from its foot again.
const BROKEN_RAMPS_MAX: u32 = 8;

/// The fold.
#[derive(Debug)]
pub(super) struct Record {
    start: PickUpStart,
    pub(super) cautions: BTreeSet<Caution>,
    pub(super) meter: Option<MeterIdentity>,
    pub(super) dial: Option<Function>,
    pub(super) leads: Option<[Pin; 2]>,
    pub(super) drive: DriveState,
    pub(super) coil_ohms: Option<f64>,
    pub(super) coil_ohms_u: f64,
    /// The ladder of drives as the operator was told it.
    pub(super) ladder: Option<Ladder>,
    pub(super) last_capture: u32,
    pub(super) last_touch: u32,
    pub(super) finding: Option<Box<PickUpFinding>>,
    /// Why the operator's hands cannot go on.
    pub(super) gave_up: Option<String>,
    broken_ramps: u32,
    looks: Vec<Seen>,
    /// The numbers of the captures behind `looks`.
    numbers: Vec<u32>,
}

impl Record {
    pub(super) fn new(start: PickUpStart) -> Self {
        Self {
            start,
            cautions: BTreeSet::new(),
            meter: None,
            dial: None,
            leads: None,
            drive: DriveState::Rest,
            coil_ohms: None,
            coil_ohms_u: 0.0,
            ladder: None,
            last_capture: 0,
            last_touch: 0,
            finding: None,
            gave_up: None,
            broken_ramps: 0,
            looks: Vec::new(),
            numbers: Vec::new(),
        }
    }

    pub(super) fn looks(&self) -> &[Seen] {
        &self.looks
    }

    /// The highest drive, in volts, at which the witness was as it is at rest; 0 where there was
    /// none.
    pub(super) fn still_volts(&self) -> f64 {
        let Some(rest) = self.looks.first().map(|look| look.closed) else { return 0.0 };
        let still = self.looks.iter().filter(|look| look.closed == rest);
        still.map(|look| look.volts).fold(0.0, f64::max)
    }

    /// Whether no drive has moved the witness.
    pub(super) fn never_moved(&self) -> bool {
        self.looks.iter().all(|look| Some(look.closed) == self.looks.first().map(|l| l.closed))
    }

    /// How many leads move to these pins.
    pub(super) fn moves_to(&self, red: &Pin, black: &Pin) -> u32 {
        let leads = self.leads.as_ref().map(|[red, black]| (red, black));
        Placement::moves(leads, (red, black))
    }

    pub(super) fn apply(&mut self, fact: &Event) {
        match fact {
            // A new part of the run begins with the leads nobody knows where. A drive that was on
            // may still be on: it has to come off before they are placed.
            Event::RunStarted(_) => {
                self.leads = None;
                self.forget_the_ramp_under_way();
            }
            Event::MeterIdentified(meter) => self.meter = Some(meter.clone()),
            Event::CautionAcknowledged { caution, .. } => {
                self.cautions.insert(*caution);
            }
            Event::DialTurned { function } => self.dial = Some(*function),
            Event::LeadsPlaced(placed) => {
                self.leads = Some([placed.red.clone(), placed.black.clone()]);
                self.last_touch = placed.touch;
            }
            Event::LadderPlanned(ladder) => self.ladder = Some(ladder.clone()),
            Event::DriveChanged(drive) => self.drive = drive.clone(),
            Event::ReadingCaptured(capture) => self.captured(capture),
            Event::CaptureTakenBack { capture } => self.take_back(*capture),
            Event::AskSkipped { ask } => {
                self.gave_up = Some(match ask {
                    Ask::Place { .. } => "the pins cannot be reached".into(),
                    _ => "no drive is possible".into(),
                });
            }
            Event::LinkChanged(LinkNews::Restored { .. } | LinkNews::Lost { .. }) => {
                self.leads = None;
                let before = self.looks.len();
                self.forget_the_ramp_under_way();
                self.broken_ramps += u32::from(self.looks.len() + 1 < before);
                if self.broken_ramps >= BROKEN_RAMPS_MAX {
                    let why = format!("the link broke off {BROKEN_RAMPS_MAX} ramps: mend it first");
                    self.gave_up = Some(why);
                }
            }
            Event::ResultReached(Finding::PickUp(finding)) => self.finding = Some(finding.clone()),
            _ => {}
        }
    }

    fn captured(&mut self, capture: &Capture) {
        self.last_capture = capture.capture;
        let pins = [capture.red.clone(), capture.black.clone()];
        if pins == self.start.coil {
            match capture.value {
                Some(ohms) if ohms > CLOSED_OHMS_MAX => {
                    self.coil_ohms = Some(ohms);
                    self.coil_ohms_u = capture.u.unwrap_or(0.0);
                }
                _ => self.gave_up = Some("no coil is measured on the coil's pins".into()),
            }
            return;
        }
        let closed = capture.value.is_some_and(|ohms| ohms < CLOSED_OHMS_MAX);
        self.looks.push(Seen { volts: capture.drive.volts(), closed });
        self.numbers.push(capture.capture);
    }

    fn take_back(&mut self, number: u32) {
        if self.numbers.last() == Some(&number) {
            self.numbers.pop();
            self.looks.pop();
        } else if self.numbers.is_empty() {
            self.coil_ohms = None;
        }
        self.last_capture = self.last_capture.max(number);
    }

    /// After a break nobody knows whether the armature held: back to the last look at rest.
    fn forget_the_ramp_under_way(&mut self) {
        let kept = self.looks.iter().rposition(|look| look.volts == 0.0).unwrap_or(0);
        self.looks.truncate(kept);
        self.numbers.truncate(kept);
    }
}
