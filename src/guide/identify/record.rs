//! What a run has established so far, as a fold over its events: where the leads rest, what is
//! applied, every touch with its captures, and the counts. Nothing here decides anything; the
//! same events always give the same record, so a resumed run stands where the broken one stood.

use super::way::Way;
use crate::event::{
    Ask, Capture, Caution, DriveLimit, DriveState, Event, Finding, IdentifyFinding, Ladder,
    LinkNews, MeterIdentity, Pin, Pins, Placement,
};
use crate::relay::Pair;
use drivers::Function;
use std::collections::BTreeSet;

/// One touch and what was captured during it.
#[derive(Clone, Debug, PartialEq)]
pub struct TouchRecord {
    /// Its number.
    pub touch: u32,
    /// Which lead is on which pin.
    pub way: Way,
    /// Its captures, in order, without those taken back.
    pub captures: Vec<Capture>,
}

impl TouchRecord {
    /// The pair that is touched.
    #[must_use]
    pub fn pair(&self) -> Pair {
        self.way.pair()
    }

    /// The captures in ohms.
    pub fn ohms_captures(&self) -> impl Iterator<Item = &Capture> {
        self.captures.iter().filter(|c| c.function == Function::Resistance)
    }
}

/// The fold. Positions are those of [`Pins`].
#[derive(Clone, Debug)]
pub struct Record {
    pins: Pins,
    /// Cautions acknowledged in this job.
    pub cautions: BTreeSet<Caution>,
    /// The meter, once it answered.
    pub meter: Option<MeterIdentity>,
    /// Where the dial of a dial meter stands, by the operator's word.
    pub dial: Option<Function>,
    /// Where the leads rest. `None` in the air or unknown.
    pub leads: Option<Way>,
    /// What is applied to the coil.
    pub drive: DriveState,
    /// Every touch.
    pub touches: Vec<TouchRecord>,
    /// Pairs that the operator cannot reach.
    pub unreachable: BTreeSet<Pair>,
    /// Functions that the meter does not have.
    pub refused: BTreeSet<Function>,
    /// Whether the operator said that no drive is possible.
    pub drive_refused: bool,
    /// Drives that the supply did not reach, each with the number of the last touch before it.
    pub limits: Vec<(DriveLimit, u32)>,
    /// Place asks answered ready.
    pub placements: u32,
    /// Leads that changed pin.
    pub lead_moves: u32,
    /// Drive asks answered ready that changed the supply.
    pub drive_changes: u32,
    /// Number of the last capture.
    pub last_capture: u32,
    /// The ladder of drives as the operator was told it last.
    pub ladder: Option<Ladder>,
    /// How many captures had been made when the belief was last written down.
    pub believed_at: Option<u32>,
    /// The finding, once reached.
    pub finding: Option<IdentifyFinding>,
}

impl Record {
    /// The record of a run that has not begun.
    #[must_use]
    pub fn new(pins: Pins) -> Self {
        Self {
            pins,
            cautions: BTreeSet::new(),
            meter: None,
            dial: None,
            leads: None,
            drive: DriveState::Rest,
            touches: Vec::new(),
            unreachable: BTreeSet::new(),
            refused: BTreeSet::new(),
            drive_refused: false,
            limits: Vec::new(),
            placements: 0,
            lead_moves: 0,
            drive_changes: 0,
            last_capture: 0,
            ladder: None,
            believed_at: None,
            finding: None,
        }
    }

    /// The pins of the part.
    #[must_use]
    pub fn pins(&self) -> &Pins {
        &self.pins
    }

    /// Takes in one event.
    pub fn apply(&mut self, fact: &Event) {
        match fact {
            Event::RunStarted(_) => self.leads = None,
            Event::MeterIdentified(meter) => self.meter = Some(meter.clone()),
            Event::CautionAcknowledged { caution, .. } => {
                self.cautions.insert(*caution);
            }
            Event::DialTurned { function } => self.dial = Some(*function),
            Event::LeadsPlaced(placement) => self.begin_touch(placement),
            Event::DriveChanged(drive) => self.change_drive(drive),
            Event::DriveLimited(limit) => self.doubt_coil(limit),
            Event::ReadingCaptured(capture) => self.add_capture(capture),
            Event::CaptureTakenBack { capture } => self.take_back(*capture),
            Event::AskSkipped { ask } => self.skip(ask),
            Event::FunctionRefused { function } => {
                self.refused.insert(*function);
            }
            Event::LadderPlanned(ladder) => self.ladder = Some(ladder.clone()),
            Event::BeliefUpdated(_) => self.believed_at = Some(self.last_capture),
            Event::LinkChanged(LinkNews::Restored { .. } | LinkNews::Lost { .. }) => {
                self.leads = None;
            }
            Event::ResultReached(finding) => {
                if let Finding::Identify(finding) = finding {
                    self.finding = Some((**finding).clone());
                }
            }
            Event::LinkChanged(LinkNews::OtherMeterAccepted { .. })
            | Event::AlarmChanged { .. }
            | Event::Logged(_)
            | Event::BoardBegun { .. }
            | Event::CheckJudged(_)
            | Event::LabelStated { .. }
            | Event::PointLookedAt { .. }
            | Event::StepSettled { .. }
            | Event::MeterComplained { .. }
            | Event::OperatorRemarked { .. }
            | Event::RunFinished { .. } => {}
        }
    }

    /// How many leads change pin to get there; two for a fresh touch of the same.
    #[must_use]
    pub fn moves_to(&self, way: Way) -> u32 {
        let leads = self.leads.map(|leads| (leads.red(), leads.black()));
        Placement::moves(leads, (way.red(), way.black()))
    }

    /// Where these two pins are; `None` if the part has no such pins.
    #[must_use]
    pub fn way(&self, red: &Pin, black: &Pin) -> Option<Way> {
        Way::of(self.pins.position(red)?, self.pins.position(black)?)
    }

    /// The number of the last touch before the supply stopped at its limit between these pins:
    /// what was measured until then is in doubt.
    #[must_use]
    pub fn doubted_at(&self, pair: Pair) -> Option<u32> {
        let of_pair = |limit: &DriveLimit| {
            self.way(&limit.plus, &limit.minus).is_some_and(|way| way.pair() == pair)
        };
        self.limits.iter().rev().find(|(limit, _)| of_pair(limit)).map(|(_, touch)| *touch)
    }

    /// The touch that is under way, if the leads still rest where it began.
    #[must_use]
    pub fn current_touch(&self) -> Option<&TouchRecord> {
        let last = self.touches.last()?;
        (self.leads == Some(last.way)).then_some(last)
    }

    /// The newest capture that has not been taken back.
    #[must_use]
    pub fn newest_capture(&self) -> Option<&Capture> {
        self.touches.iter().rev().find_map(|t| t.captures.last())
    }

    fn begin_touch(&mut self, placement: &Placement) {
        let Some(way) = self.way(&placement.red, &placement.black) else { return };
        self.placements += 1;
        self.lead_moves += placement.lead_moves;
        self.leads = Some(way);
        self.touches.push(TouchRecord { touch: placement.touch, way, captures: vec![] });
    }

    fn change_drive(&mut self, drive: &DriveState) {
        self.drive_changes += u32::from(self.drive != *drive);
        self.drive = drive.clone();
    }

    /// The coil is to be measured again, even where the leads could not go before; a second time
    /// ends the driving.
    fn doubt_coil(&mut self, limit: &DriveLimit) {
        let Some(way) = self.way(&limit.plus, &limit.minus) else { return };
        self.unreachable.remove(&way.pair());
        self.drive_refused |= self.doubted_at(way.pair()).is_some();
        let touch = self.touches.last().map_or(0, |t| t.touch);
        self.limits.push((limit.clone(), touch));
    }

    fn add_capture(&mut self, capture: &Capture) {
        self.last_capture = capture.capture;
        if let Some(touch) = self.touches.iter_mut().rev().find(|t| t.touch == capture.touch) {
            touch.captures.push(capture.clone());
        }
    }

    fn take_back(&mut self, number: u32) {
        for touch in &mut self.touches {
            touch.captures.retain(|c| c.capture != number);
        }
        self.believed_at = None;
    }

    fn skip(&mut self, ask: &Ask) {
        match ask {
            Ask::Place { red, black, .. } => {
                if let Some(way) = self.way(red, black) {
                    self.unreachable.insert(way.pair());
                }
            }
            Ask::Drive(_) => self.drive_refused = true,
            Ask::Dial { function } => {
                self.refused.insert(*function);
            }
            _ => {}
        }
    }
}
