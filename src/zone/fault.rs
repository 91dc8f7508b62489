//! The table of faults: for each thing that goes wrong with a loop, what the panel reads at rest
//! and in alarm, and what that means for the site. The worst over the whole range of the values
//! counts: a fault that may stay silent is silent.

use super::circuit::{DAMP_OHMS, Situation, Values, ohms};
use super::design::Design;
use crate::event::{FaultEffect, LoopKind, ResistorPlace, ZoneFault, ZoneFaultCode, ZoneState};

/// The faults of a wiring with what each looks like.
pub(super) fn table(design: &Design) -> Vec<ZoneFault> {
    codes(design).into_iter().map(|code| row(design, code)).collect()
}

/// The faults that this wiring can have.
pub(super) fn codes(design: &Design) -> Vec<ZoneFaultCode> {
    use ZoneFaultCode as F;
    let mut codes = vec![
        F::WireCut,
        F::PairShorted,
        F::ContactBridged,
        F::SupplyLost,
        F::CoilOpen,
        F::ContactWelded,
        F::ContactNeverCloses,
        F::OtherContact,
        F::Damp,
    ];
    let wiring = &design.wiring;
    if wiring.has_resistors() {
        codes.extend([F::ResistorMissing, F::ResistorJoined]);
        if wiring.place == ResistorPlace::FarEnd {
            codes.push(F::ResistorAtPanel);
        }
    }
    if matches!(wiring.kind, LoopKind::Double | LoopKind::Triple) {
        codes.extend([F::AlarmResistorMissing, F::ResistorsSwapped]);
    }
    codes
}

fn row(design: &Design, code: ZoneFaultCode) -> ZoneFault {
    let read = |values: &Values| {
        let of = |situation| {
            let at = values.at_terminals(ohms(&design.wiring, situation, Some(code), values));
            design.panel.bands.read(&at)
        };
        (of(Situation::Rest), of(Situation::Alarm))
    };
    let (at_rest, in_alarm) = read(&design.nominal());
    let [low, high] = design.corners().map(|corner| read(&corner));
    let all = [(at_rest, in_alarm), low, high];
    let effect = all.into_iter().map(|(rest, alarm)| effect(rest, alarm)).max();
    ZoneFault {
        code,
        text: in_words(code).into(),
        at_rest,
        in_alarm,
        effect: effect.unwrap_or(FaultEffect::Silent),
    }
}

/// What it means when a faulty loop is read so.
const fn effect(rest: ZoneState, alarm: ZoneState) -> FaultEffect {
    match (rest, alarm) {
        (ZoneState::Ready, ZoneState::Violated | ZoneState::Tamper) => FaultEffect::Hidden,
        (ZoneState::Ready, _) => FaultEffect::Silent,
        _ => FaultEffect::Shown,
    }
}

/// A fault in words.
pub(super) const fn in_words(code: ZoneFaultCode) -> &'static str {
    const _: () = assert!(DAMP_OHMS == 22_000.0);
    match code {
        ZoneFaultCode::WireCut => "a wire of the cable is cut",
        ZoneFaultCode::PairShorted => "the two wires touch on their way",
        ZoneFaultCode::ContactBridged => "the contact's terminals are bridged",
        ZoneFaultCode::SupplyLost => "the relay gets no supply",
        ZoneFaultCode::CoilOpen => "the coil is open",
        ZoneFaultCode::ContactWelded => "the contact has welded",
        ZoneFaultCode::ContactNeverCloses => "the contact never closes",
        ZoneFaultCode::OtherContact => "the other contact was used (NO for NC, or NC for NO)",
        ZoneFaultCode::ResistorMissing => "end-of-line resistor missing, its place open",
        ZoneFaultCode::ResistorJoined => "end-of-line resistor missing, the wires joined",
        ZoneFaultCode::ResistorAtPanel => "resistors at the panel's end",
        ZoneFaultCode::AlarmResistorMissing => "alarm resistor missing",
        ZoneFaultCode::ResistorsSwapped => "end-of-line and alarm resistor swapped",
        ZoneFaultCode::Damp => "damp: 22 kilohm across the pair",
    }
}
