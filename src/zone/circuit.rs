//! The loop as a circuit: a wiring, what its contacts do, and what is wrong with it -> ohms at the
//! panel's terminals. An open loop is infinite ohms, never an error. Each part stands in the
//! circuit once, so ohms never fall when a part's ohms rise; whoever works out worst cases relies
//! on that.

use super::band::AtTerminals;
use crate::event::{LoopKind, ResistorPlace, ZoneFaultCode, ZoneWiring};

/// Damp between the wires, in ohms, where the fault table supposes it.
pub const DAMP_OHMS: f64 = 22_000.0;

/// The values of one loop, in ohms but for the source's volts and the thresholds' factor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Values {
    /// The end-of-line resistor.
    pub eol_ohms: f64,
    /// The alarm resistor.
    pub alarm_ohms: f64,
    /// The resistor across the fault contact.
    pub fault_ohms: f64,
    /// The cable, there and back.
    pub cable_ohms: f64,
    /// A closed contact.
    pub contact_ohms: f64,
    /// The panel's open terminals.
    pub source_volts: f64,
    /// The panel's source.
    pub source_ohms: f64,
    /// Factor on the thresholds.
    pub threshold_factor: f64,
}

impl Values {
    /// How many there are.
    pub(super) const COUNT: usize = 8;

    /// In the order of the fields.
    pub(super) const fn from_array(v: [f64; Self::COUNT]) -> Self {
        Self {
            eol_ohms: v[0],
            alarm_ohms: v[1],
            fault_ohms: v[2],
            cable_ohms: v[3],
            contact_ohms: v[4],
            source_volts: v[5],
            source_ohms: v[6],
            threshold_factor: v[7],
        }
    }

    /// These ohms at the terminals.
    #[must_use]
    pub const fn at_terminals(&self, ohms: f64) -> AtTerminals {
        AtTerminals {
            ohms,
            source_volts: self.source_volts,
            source_ohms: self.source_ohms,
            threshold_factor: self.threshold_factor,
        }
    }
}

/// What is to be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Situation {
    /// At rest.
    Rest,
    /// In alarm.
    Alarm,
    /// The tamper contact open.
    TamperOpen,
    /// The fault contact open.
    FaultOpen,
}

/// Ohms at the terminals, with a fault or without one.
#[must_use]
pub fn ohms(
    wiring: &ZoneWiring,
    situation: Situation,
    fault: Option<ZoneFaultCode>,
    values: &Values,
) -> f64 {
    Loop { wiring, fault, values }.ohms(situation)
}

struct Loop<'a> {
    wiring: &'a ZoneWiring,
    fault: Option<ZoneFaultCode>,
    values: &'a Values,
}

impl Loop<'_> {
    fn has(&self, fault: ZoneFaultCode) -> bool {
        self.fault == Some(fault)
    }

    fn ohms(&self, situation: Situation) -> f64 {
        let at_panel = self.wiring.place == ResistorPlace::PanelEnd
            || self.has(ZoneFaultCode::ResistorAtPanel);
        let contact = self.relay_contact(situation);
        let others = self.other_contacts(situation);
        let loop_ohms = if at_panel {
            self.with_resistors(self.through_cable(contact + others))
        } else {
            self.through_cable(self.with_resistors(contact) + others)
        };
        if self.has(ZoneFaultCode::Damp) { beside(loop_ohms, DAMP_OHMS) } else { loop_ohms }
    }

    /// The cable with `far` ohms at its end. A short lies half way.
    fn through_cable(&self, far: f64) -> f64 {
        let cable = self.values.cable_ohms;
        if self.has(ZoneFaultCode::WireCut) {
            f64::INFINITY
        } else if self.has(ZoneFaultCode::PairShorted) {
            cable / 2.0
        } else {
            cable + far
        }
    }

    fn relay_contact(&self, situation: Situation) -> f64 {
        let mut wiring = *self.wiring;
        if self.has(ZoneFaultCode::OtherContact) {
            wiring.contact = wiring.contact.other();
        }
        let dead = self.has(ZoneFaultCode::SupplyLost) || self.has(ZoneFaultCode::CoilOpen);
        let driven = !dead && wiring.driven(situation == Situation::Alarm);
        let welded = self.has(ZoneFaultCode::ContactWelded);
        let bridged = self.has(ZoneFaultCode::ContactBridged);
        let never = self.has(ZoneFaultCode::ContactNeverCloses);
        self.contact(welded || bridged || (wiring.closed(driven) && !never))
    }

    fn contact(&self, closed: bool) -> f64 {
        if closed { self.values.contact_ohms } else { f64::INFINITY }
    }

    fn eol(&self) -> f64 {
        if self.has(ZoneFaultCode::ResistorMissing) {
            f64::INFINITY
        } else if self.has(ZoneFaultCode::ResistorJoined) {
            0.0
        } else if self.has(ZoneFaultCode::ResistorsSwapped) {
            self.values.alarm_ohms
        } else {
            self.values.eol_ohms
        }
    }

    fn alarm(&self) -> f64 {
        if self.has(ZoneFaultCode::AlarmResistorMissing) {
            f64::INFINITY
        } else if self.has(ZoneFaultCode::ResistorsSwapped) {
            self.values.eol_ohms
        } else {
            self.values.alarm_ohms
        }
    }

    /// Tamper and fault contact, in line with the relay's at the far end.
    fn other_contacts(&self, situation: Situation) -> f64 {
        let tamper = match self.wiring.tamper {
            true => self.contact(situation != Situation::TamperOpen),
            false => 0.0,
        };
        let fault = match self.wiring.kind {
            LoopKind::Triple => {
                let contact = self.contact(situation != Situation::FaultOpen);
                beside(self.values.fault_ohms, contact)
            }
            _ => 0.0,
        };
        tamper + fault
    }

    /// End-of-line and alarm resistor round `contact` ohms.
    fn with_resistors(&self, contact: f64) -> f64 {
        match (self.wiring.kind, self.wiring.opens_in_alarm()) {
            (LoopKind::Bare, _) => contact,
            (LoopKind::Series, _) => self.eol() + contact,
            (LoopKind::Parallel, _) => beside(self.eol(), contact),
            (LoopKind::Double, false) => beside(self.eol(), self.alarm() + contact),
            (LoopKind::Double | LoopKind::Triple, _) => self.eol() + beside(self.alarm(), contact),
        }
    }
}

/// Two resistances side by side.
fn beside(a: f64, b: f64) -> f64 {
    let sum = a + b;
    if a.is_infinite() {
        b
    } else if b.is_infinite() {
        a
    } else if sum == 0.0 {
        0.0
    } else {
        a * b / sum
    }
}
