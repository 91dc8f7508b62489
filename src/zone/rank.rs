//! The wirings that a panel allows, the one that hides least first. A wiring is allowed where the
//! panel reads it ready at rest and violated in alarm at the nominal values; it is better with
//! fewer silent faults, then fewer hidden ones, then a surer verdict.

use super::circuit::{Situation, ohms};
use super::design::Design;
use super::fault;
use super::wiring::in_words;
use crate::event::{
    FaultEffect, LoopKind, ResistorPlace, Verdict, ZoneContact, ZoneFault, ZoneFaultCode, ZoneRank,
    ZoneState, ZoneWiring,
};

/// The ranking for this design's panel, parts and drive.
pub(super) fn ranking(design: &Design) -> Vec<ZoneRank> {
    let mut all: Vec<ZoneRank> = candidates(design)
        .into_iter()
        .map(|wiring| design.rewired(wiring))
        .filter(works)
        .map(|design| rank(&design))
        .collect();
    let doubt = |rank: &ZoneRank| match rank.verdict {
        Verdict::Pass => 0,
        Verdict::Undecided => 1,
        Verdict::Fail => 2,
    };
    all.sort_by_key(|rank| (rank.silent, rank.hidden, doubt(rank)));
    all
}

fn candidates(design: &Design) -> Vec<ZoneWiring> {
    let resistors = &design.panel.resistors;
    let mut kinds = vec![LoopKind::Series, LoopKind::Parallel, LoopKind::Bare];
    if resistors.alarm_ohms.is_some() {
        kinds.insert(0, LoopKind::Double);
    }
    if design.panel.kind == LoopKind::Triple {
        kinds.insert(0, LoopKind::Triple);
    }
    let mut all = Vec::new();
    for kind in kinds {
        for contact in [ZoneContact::NormallyClosed, ZoneContact::NormallyOpen] {
            for place in [ResistorPlace::FarEnd, ResistorPlace::PanelEnd] {
                if kind != LoopKind::Bare || place == ResistorPlace::FarEnd {
                    all.push(ZoneWiring { kind, contact, place, ..design.wiring });
                }
            }
        }
    }
    all
}

fn works(design: &Design) -> bool {
    let values = design.nominal();
    let reads = |situation| {
        let at = values.at_terminals(ohms(&design.wiring, situation, None, &values));
        design.panel.bands.read(&at)
    };
    reads(Situation::Rest) == ZoneState::Ready && reads(Situation::Alarm) == ZoneState::Violated
}

fn rank(design: &Design) -> ZoneRank {
    let faults = fault::table(design);
    let of = |effect| faults.iter().filter(move |fault: &&ZoneFault| fault.effect == effect);
    ZoneRank {
        wiring: design.wiring,
        text: in_words(&design.wiring),
        silent: of(FaultEffect::Silent).count() as u32,
        hidden: of(FaultEffect::Hidden).count() as u32,
        verdict: design.verdict(),
        reason: reason(of(FaultEffect::Silent).map(|fault| fault.code).collect()),
    }
}

fn reason(silent: Vec<ZoneFaultCode>) -> String {
    use ZoneFaultCode as F;
    if silent.is_empty() {
        return "no fault of the table leaves the site unprotected without a sign".into();
    }
    let of_the_pair = [F::WireCut, F::PairShorted, F::ContactBridged, F::ContactNeverCloses];
    let (pair, rest): (Vec<F>, Vec<F>) = silent.into_iter().partition(|f| of_the_pair.contains(f));
    let words = |codes: &[F]| {
        codes.iter().map(|code| fault::in_words(*code)).collect::<Vec<_>>().join("; ")
    };
    match (pair.is_empty(), rest.is_empty()) {
        (false, true) => format!("silent: {}", words(&pair)),
        (true, _) => format!("cable and contact are watched; silent: {}", words(&rest)),
        (false, false) => format!("silent: {}; {}", words(&pair), words(&rest)),
    }
}
