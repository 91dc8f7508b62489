//! The finding of a check at the panel: each state's verdict, what would explain states that are
//! not as designed, and what such a check cannot show. A state that was not measured is undecided,
//! never passed over.

use super::record::{Of, Record};
use super::watch::Watch;
use crate::event::{
    ResistorPlace, Verdict, ZoneCheckFinding, ZoneExplanation, ZoneState, ZoneStateMeasured,
};
use crate::zone::circuit::Situation;
use crate::zone::{Wanted, explanations, measured, when};

/// The finding.
pub(super) fn finding(record: &Record, watch: &Watch, simulated: bool) -> ZoneCheckFinding {
    let states = states(record);
    let result = Verdict::of_all(states.iter().map(|state| state.verdict));
    let mut explanations = match record.volts(Of::Rest) {
        Some(rest) if result != Verdict::Pass => {
            explanations(&record.design, rest, record.volts(Of::Alarm))
        }
        _ => Vec::new(),
    };
    let reason = reason(result, &states, &explanations);
    explanations.extend(swapped(record));
    ZoneCheckFinding {
        result,
        reason,
        panel: record.design.panel.name.clone(),
        wiring: record.design.wiring,
        states,
        violated_at_s: watch.violated_at_s,
        restored_at_s: watch.restored_at_s,
        violations: watch.violations,
        readings: watch.readings,
        explanations,
        remarks: remarks(record),
        simulated,
    }
}

fn states(record: &Record) -> Vec<ZoneStateMeasured> {
    let design = &record.design;
    let of = |of, situation, state, when: &str| {
        measured(design, Wanted { situation, state }, when, record.volts(of))
    };
    let mut states = vec![
        of(Of::Rest, Situation::Rest, ZoneState::Ready, when(Situation::Rest)),
        of(Of::Alarm, Situation::Alarm, ZoneState::Violated, when(Situation::Alarm)),
        of(Of::Restored, Situation::Rest, ZoneState::Ready, "restored"),
    ];
    if design.wiring.tamper {
        let situation = Situation::TamperOpen;
        states.push(of(Of::Tamper, situation, ZoneState::Tamper, when(situation)));
    }
    states
}

fn reason(
    result: Verdict,
    states: &[ZoneStateMeasured],
    explanations: &[ZoneExplanation],
) -> String {
    if result == Verdict::Pass {
        return "every state was measured and is surely read as it should be".into();
    }
    let wrong = states.iter().find(|state| state.verdict == result);
    let state = wrong.map_or_else(String::new, |state| match (state.volts, state.reads) {
        (Some(volts), Some(reads)) => format!(
            "{}: {volts:.3} V is read as {}, should be {}",
            state.when,
            reads.name(),
            state.state.name()
        ),
        _ => format!("{}: not measured", state.when),
    });
    let like: Vec<&str> = explanations.iter().map(|e| e.text.as_str()).collect();
    let like = like.join(", or ");
    if like.is_empty() { state } else { format!("{state}; looks like: {like}") }
}

/// A loop of resistors is read the same either way round, so a swapped pair fails nothing; it is
/// named all the same.
fn swapped(record: &Record) -> Option<ZoneExplanation> {
    let volts = record.rest()?.value?;
    (volts < -0.05).then(|| ZoneExplanation {
        code: None,
        text: "the pair is swapped, or the leads are: the volts came with a minus".into(),
    })
}

fn remarks(record: &Record) -> Vec<String> {
    let mut remarks = Vec::new();
    let wiring = &record.design.wiring;
    if wiring.has_resistors() && wiring.place == ResistorPlace::FarEnd {
        let text = "Where the resistors sit cannot be told from the panel's end: at either end \
                    the volts are the same. Look at them.";
        remarks.push(text.into());
    }
    let live = record.rest().and_then(|rest| rest.value).map(f64::abs);
    if let Some(volts) = live.filter(|volts| *volts > super::LIVE_VOLTS) {
        remarks.push(format!("No ohms were measured: the loop is live, {volts:.2} V."));
    }
    if let Some(ohms) = record.capture(Of::Ohms) {
        let text = match ohms.value {
            Some(ohms) => format!("Ohms at the terminals, with no volts on them: {ohms:.1}."),
            None => "Ohms at the terminals, with no volts on them: open.".into(),
        };
        remarks.push(text);
    }
    remarks
}
