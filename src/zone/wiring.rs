//! A wiring in words, and what its relay's contact does: from when the coil is driven and which
//! contact is used follows whether the loop's contact opens or closes in alarm. What the loop then
//! measures is `circuit.rs`'s.

use crate::event::{CoilDriven, LoopKind, ResistorPlace, ZoneContact, ZoneWiring};

impl ZoneWiring {
    /// Whether the coil is driven, in alarm or out of it, if all works.
    pub(super) fn driven(&self, in_alarm: bool) -> bool {
        in_alarm == (self.drive == CoilDriven::InAlarm)
    }

    /// Whether the contact that is used is closed with the coil driven or not.
    pub(super) fn closed(&self, driven: bool) -> bool {
        driven == (self.contact == ZoneContact::NormallyOpen)
    }

    /// Whether the contact opens in alarm; else it closes.
    #[must_use]
    pub fn opens_in_alarm(&self) -> bool {
        !self.closed(self.driven(true))
    }

    /// Whether it has resistors.
    #[must_use]
    pub fn has_resistors(&self) -> bool {
        self.kind != LoopKind::Bare
    }
}

/// A wiring in words.
#[must_use]
pub fn in_words(wiring: &ZoneWiring) -> String {
    let contact = match wiring.contact {
        ZoneContact::NormallyClosed => "NC contact (11-12)",
        ZoneContact::NormallyOpen => "NO contact (11-14)",
    };
    let resistors = match (wiring.kind, wiring.opens_in_alarm()) {
        (LoopKind::Bare, _) => "no resistor",
        (LoopKind::Series, _) => "one resistor in line",
        (LoopKind::Parallel, _) => "one resistor across it",
        (LoopKind::Double, true) => "end-of-line resistor in line, alarm resistor across it",
        (LoopKind::Double, false) => "alarm resistor in line with it, end-of-line across both",
        (LoopKind::Triple, _) => "end-of-line, alarm and fault resistors",
    };
    let place = match (wiring.has_resistors(), wiring.place) {
        (false, _) => "",
        (true, ResistorPlace::FarEnd) => ", at the relay",
        (true, ResistorPlace::PanelEnd) => ", at the panel",
    };
    let drive = match wiring.drive {
        CoilDriven::InAlarm => "",
        CoilDriven::AtRest => ", coil held at rest",
    };
    let tamper = if wiring.tamper { ", tamper contact in line" } else { "" };
    format!("{contact}, {resistors}{place}{drive}{tamper}")
}
