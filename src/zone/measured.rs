//! A state as it was measured at the panel's terminals: what the panel reads by these volts, and
//! how far from its thresholds, with the meter's uncertainty (two standard ones), the source's and
//! the thresholds' tolerances taken at their worst.

use super::band::AtTerminals;
use super::circuit::{Situation, ohms};
use super::design::{Design, Wanted};
use super::source::{Measured, ohms_at};
use crate::event::{Verdict, ZoneStateMeasured};
use crate::fit::spread::{Spread, bounds};

/// The state that was wanted, with the volts that were measured, if any.
#[must_use]
pub fn measured(
    design: &Design,
    wanted: Wanted,
    when: &str,
    volts: Option<Measured>,
) -> ZoneStateMeasured {
    let values = design.nominal();
    let designed = values.at_terminals(ohms(&design.wiring, wanted.situation, None, &values));
    let mut state = ZoneStateMeasured {
        state: wanted.state,
        when: when.into(),
        reads: None,
        volts: volts.map(|volts| volts.value),
        volts_u: volts.map(|volts| volts.u),
        design_volts: designed.volts(),
        ohms: None,
        verdict: Verdict::Undecided,
        margin_volts: None,
    };
    let Some(volts) = volts else { return state };
    let source = &design.panel.source;
    let (v, r) = (source.volts.nominal, source.ohms.nominal);
    let found = ohms_at(v, r, volts.value);
    state.ohms = found.is_finite().then_some(found);
    state.reads = Some(design.panel.bands.read_volts(volts.value, v, r));
    let (verdict, margin) = judged(design, wanted, volts);
    state.verdict = verdict;
    state.margin_volts = margin.is_finite().then_some(margin);
    state
}

/// The verdict and the worst margin, in volts.
fn judged(design: &Design, wanted: Wanted, volts: Measured) -> (Verdict, f64) {
    let panel = &design.panel;
    let spreads = [
        Spread::measured(volts.value, volts.u),
        panel.source.volts.clone(),
        panel.source.ohms.clone(),
        panel.thresholds.clone(),
    ];
    let margin = |end: (Option<f64>, Option<f64>), v: &[f64]| {
        let ohms = ohms_at(v[1], v[2], v[0]);
        let at =
            AtTerminals { ohms, source_volts: v[1], source_ohms: v[2], threshold_factor: v[3] };
        // Beyond the stated open volts the loop is as open as can be; the volts count as they are.
        let beyond = if ohms.is_infinite() { v[0] - v[1] } else { 0.0 };
        let margin = panel.bands.margin(end, &at).volts;
        if end.0.is_some() { margin + beyond } else { margin - beyond }
    };
    // Of the bands that read the wanted state, the one that these volts are deepest in.
    let nominal: Vec<f64> = spreads.iter().map(|spread| spread.nominal).collect();
    let depth = |band: (Option<f64>, Option<f64>)| {
        margin((band.0, None), &nominal).min(margin((None, band.1), &nominal))
    };
    let bands = panel.bands.of(wanted.state);
    let Some(band) = bands.max_by(|a, b| depth(*a).total_cmp(&depth(*b))) else {
        return (Verdict::Fail, f64::NEG_INFINITY);
    };
    let (mut verdict, mut worst) = (Verdict::Pass, f64::INFINITY);
    for end in [(band.0, None), (None, band.1)] {
        let (low, high) = bounds(&spreads, |v| margin(end, v));
        worst = worst.min(low);
        verdict = Verdict::of_all([verdict, Verdict::of_margin(low, high)]);
    }
    (verdict, worst)
}

/// When a check measures what a loop then shows, in words.
#[must_use]
pub const fn when(situation: Situation) -> &'static str {
    match situation {
        Situation::Rest => "at rest",
        Situation::Alarm => "in alarm",
        Situation::TamperOpen => "tamper contact open",
        Situation::FaultOpen => "fault contact open",
    }
}
