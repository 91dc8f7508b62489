//! What a check at the panel has established, as a fold over its facts, and the step that follows
//! from it. Captures are kept by the state they belong to; one that was taken back is forgotten,
//! and its state is measured anew. A replayed record stands where the run stood.

use super::LIVE_VOLTS;
use crate::event::{
    AlarmState, Ask, Capture, Caution, Event, Finding, MeterIdentity, ZoneCheckFinding, ZoneState,
};
use crate::guide::EXTRA_LOW_VOLTS_MAX;
use crate::zone::{Design, Measured};
use drivers::Function;
use std::collections::BTreeSet;

/// What is wanted next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// The leads on the terminals.
    Place,
    /// They cannot be.
    Unreachable,
    /// The volts at rest.
    Rest,
    /// No zone input.
    TooHigh,
    /// The ohms of a dead loop that is not ready.
    Ohms,
    /// The equipment into alarm, or out of it.
    Begin(AlarmState),
    /// The loop's volts after that.
    Follow(AlarmState),
    /// The tamper contact opened.
    PlaceTamper,
    /// The volts with it open.
    Tamper,
    /// The finding.
    Conclude,
}

/// What is established.
#[derive(Clone, Debug)]
pub struct Record {
    pub(super) design: Design,
    pub(super) cautions: BTreeSet<Caution>,
    pub(super) meter: Option<MeterIdentity>,
    pub(super) dial: Option<Function>,
    pub(super) touch: Option<u32>,
    pub(super) last_touch: u32,
    tamper_touch: Option<u32>,
    pub(super) last_capture: u32,
    pub(super) finding: Option<ZoneCheckFinding>,
    kept: Vec<(Of, Capture)>,
    alarm: Option<AlarmState>,
    skipped: Vec<Of>,
    ohms_refused: bool,
}

/// What a capture is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Of {
    Rest,
    Ohms,
    Alarm,
    Restored,
    Tamper,
}

impl Record {
    pub(super) const fn new(design: Design) -> Self {
        Self {
            design,
            cautions: BTreeSet::new(),
            meter: None,
            dial: None,
            touch: None,
            last_touch: 0,
            tamper_touch: None,
            last_capture: 0,
            finding: None,
            kept: Vec::new(),
            alarm: None,
            skipped: Vec::new(),
            ohms_refused: false,
        }
    }

    pub(super) fn apply(&mut self, fact: &Event) {
        match fact {
            Event::CautionAcknowledged { caution, .. } => {
                self.cautions.insert(*caution);
            }
            Event::MeterIdentified(meter) => self.meter = Some(meter.clone()),
            Event::DialTurned { function } => self.dial = Some(*function),
            Event::LeadsPlaced(placement) => self.placed(placement.touch),
            Event::AlarmChanged { state } => self.alarm = Some(*state),
            Event::FunctionRefused { function: Function::Resistance } => self.ohms_refused = true,
            Event::ReadingCaptured(capture) => {
                self.last_capture = capture.capture;
                if let Some(of) = self.is_of(capture) {
                    self.kept.push((of, capture.clone()));
                }
            }
            Event::CaptureTakenBack { capture } => self.take_back(*capture),
            Event::AskSkipped { ask } => self.skip(ask),
            Event::ResultReached(Finding::ZoneCheck(finding)) => {
                self.finding = Some((**finding).clone());
            }
            // Leads may have moved and the alarm may have ended while nobody watched.
            Event::RunStarted(_) => (self.touch, self.tamper_touch) = (None, None),
            _ => {}
        }
    }

    fn placed(&mut self, touch: u32) {
        if self.step() == Step::PlaceTamper {
            self.tamper_touch = Some(touch);
        }
        (self.touch, self.last_touch) = (Some(touch), touch);
    }

    fn is_of(&self, capture: &Capture) -> Option<Of> {
        if capture.function == Function::Resistance {
            return Some(Of::Ohms);
        }
        match self.step() {
            Step::Rest => Some(Of::Rest),
            Step::Follow(AlarmState::On) => Some(Of::Alarm),
            Step::Follow(AlarmState::Off) => Some(Of::Restored),
            Step::Tamper => Some(Of::Tamper),
            _ => None,
        }
    }

    /// A state whose capture is taken back is measured anew, and so is its alarm.
    fn take_back(&mut self, capture: u32) {
        let Some(place) = self.kept.iter().position(|(_, kept)| kept.capture == capture) else {
            return;
        };
        let (of, _) = self.kept.remove(place);
        match of {
            Of::Alarm => self.alarm = None,
            Of::Restored => self.alarm = Some(AlarmState::On),
            Of::Rest => self.touch = None,
            Of::Tamper => self.tamper_touch = None,
            Of::Ohms => {}
        }
    }

    fn skip(&mut self, ask: &Ask) {
        match ask {
            Ask::Alarm { state: AlarmState::On } => {
                self.skipped.extend([Of::Alarm, Of::Restored]);
            }
            Ask::Alarm { state: AlarmState::Off } => self.skipped.push(Of::Restored),
            Ask::Place { .. } if self.rest().is_none() => self.skipped.push(Of::Rest),
            Ask::Place { .. } => self.skipped.push(Of::Tamper),
            _ => {}
        }
    }

    pub(super) fn capture(&self, of: Of) -> Option<&Capture> {
        self.kept.iter().rev().find(|(kept, _)| *kept == of).map(|(_, capture)| capture)
    }

    /// The capture of rest.
    pub(super) fn rest(&self) -> Option<&Capture> {
        self.capture(Of::Rest)
    }

    /// The volts of a state, without their sign; overload is more than any panel has.
    pub(super) fn volts(&self, of: Of) -> Option<Measured> {
        let capture = self.capture(of)?;
        let value = capture.value.map_or(f64::MAX, f64::abs);
        Some(Measured { value, u: capture.u.unwrap_or(0.0) })
    }

    /// The number of the last capture that still counts.
    pub(super) fn last_kept(&self) -> Option<u32> {
        self.kept.last().map(|(_, capture)| capture.capture)
    }

    /// What the panel reads by these volts.
    pub(super) fn reads(&self, volts: f64) -> ZoneState {
        let source = &self.design.panel.source;
        let (v, ohms) = (source.volts.nominal, source.ohms.nominal);
        self.design.panel.bands.read_volts(volts, v, ohms)
    }

    /// Whether the loop at rest is read as something else than ready.
    pub(super) fn rests_unready(&self) -> bool {
        self.volts(Of::Rest).is_some_and(|rest| self.reads(rest.value) != ZoneState::Ready)
    }

    /// What is wanted next.
    pub(super) fn step(&self) -> Step {
        if self.skipped.contains(&Of::Rest) {
            return Step::Unreachable;
        }
        if self.touch.is_none() {
            return Step::Place;
        }
        let Some(rest) = self.volts(Of::Rest) else { return Step::Rest };
        if rest.value > EXTRA_LOW_VOLTS_MAX {
            return Step::TooHigh;
        }
        let dead = rest.value <= LIVE_VOLTS;
        let wants_ohms = dead && self.rests_unready() && !self.ohms_refused;
        if wants_ohms && self.alarm.is_none() && self.capture(Of::Ohms).is_none() {
            return Step::Ohms;
        }
        for (of, state) in [(Of::Alarm, AlarmState::On), (Of::Restored, AlarmState::Off)] {
            if self.capture(of).is_none() && !self.skipped.contains(&of) {
                let begun = self.alarm == Some(state);
                return if begun { Step::Follow(state) } else { Step::Begin(state) };
            }
        }
        let tamper = self.design.wiring.tamper && !self.skipped.contains(&Of::Tamper);
        match (tamper, self.capture(Of::Tamper)) {
            (true, None) if self.tamper_touch == self.touch => Step::Tamper,
            (true, None) => Step::PlaceTamper,
            _ => Step::Conclude,
        }
    }
}
