//! What is wrong with a loop, from the volts measured at rest and in alarm: every fault of the
//! table is tried, and those that would give such volts are named. A single reading seldom tells;
//! two together mostly do. Volts; the ranges of all values and the meter's uncertainty count.

use super::circuit::{Situation, Values, ohms};
use super::design::Design;
use super::fault;
use super::source::Measured;
use crate::event::{ZoneExplanation, ZoneFaultCode};

/// A panel that is off leaves less than this, in volts.
const DEAD_VOLTS: f64 = 0.05;
/// How much a loop may differ beyond every stated range, as a share of the open volts.
const ROOM: f64 = 0.01;

/// The faults that would give these volts at rest and in alarm, fewest surprises first. Empty
/// where the loop is as designed, or nothing explains it.
#[must_use]
pub fn explanations(
    design: &Design,
    at_rest: Measured,
    in_alarm: Option<Measured>,
) -> Vec<ZoneExplanation> {
    let fits = |code: Option<ZoneFaultCode>| {
        let rest = fits(design, Situation::Rest, code, at_rest);
        rest && in_alarm.is_none_or(|alarm| fits_alarm(design, code, alarm))
    };
    if fits(None) {
        return Vec::new();
    }
    let mut all: Vec<ZoneExplanation> = fault::codes(design)
        .into_iter()
        .filter(|code| fits(Some(*code)))
        .map(|code| ZoneExplanation { code: Some(code), text: fault::in_words(code).into() })
        .collect();
    if at_rest.value < DEAD_VOLTS && in_alarm.is_none_or(|alarm| alarm.value < DEAD_VOLTS) {
        let text = "no volts at all: the panel is off, or this is no zone input".into();
        all.push(ZoneExplanation { code: None, text });
    }
    all
}

fn fits_alarm(design: &Design, code: Option<ZoneFaultCode>, volts: Measured) -> bool {
    fits(design, Situation::Alarm, code, volts)
}

/// Whether these volts lie where the loop's would.
fn fits(
    design: &Design,
    situation: Situation,
    code: Option<ZoneFaultCode>,
    measured: Measured,
) -> bool {
    let volts = |values: &Values| {
        values.at_terminals(ohms(&design.wiring, situation, code, values)).volts()
    };
    let [low, high] = design.corners().map(|corner| volts(&corner));
    let room = 2.0 * measured.u + ROOM * design.panel.source.volts.nominal;
    (low - room..=high + room).contains(&measured.value)
}
