//! The end of a log: from what was gathered to the finding, in the contract's words. The first
//! alarm gives the fields at the top; what a reader must know beside the figures becomes a
//! warning in plain words. Nothing is measured here.

use super::nominal::nominal;
use super::{Analysis, Described};
use crate::event::{Cadence, LogCounts, OutputFinding, OutputWindow, Polarity, Shape};

pub(super) fn describe(mut analysis: Analysis) -> Described {
    let last_t = analysis.before;
    if let Some(run) = analysis.detector.as_ref().and_then(super::Detector::open_run) {
        analysis.windows.push(run);
    }
    analysis.windows.close(analysis.on.median(), &analysis.pace, last_t);
    let windows = std::mem::take(&mut analysis.windows.closed);
    let mut finding = OutputFinding {
        result: "described".into(),
        rest_volts: analysis.rest.median(),
        rest_noise_volts: analysis.rest_moments.noise().map(micro),
        readings: analysis.taken,
        counts: counted(&analysis, last_t),
        cadence: cadence(&analysis, windows.first()),
        ..OutputFinding::default()
    };
    if let Some(first) = windows.first() {
        top_fields(&mut finding, first);
    }
    finding.windows = windows.into_iter().map(rounded).collect();
    finding.changes = std::mem::take(&mut analysis.changes);
    for change in &mut finding.changes {
        (change.at_s, change.at_s_u) = (micro(change.at_s), micro(change.at_s_u));
    }
    finding.warnings = warnings(&analysis, &finding);
    let trace = analysis.tracing.finish(analysis.pace.listed);
    Described { finding, trace }
}

fn top_fields(finding: &mut OutputFinding, first: &OutputWindow) {
    let w = rounded(*first);
    finding.alarm_volts = Some(w.volts);
    finding.alarm_volts_min = Some(w.volts_min);
    finding.alarm_volts_max = Some(w.volts_max);
    let reversed = w.volts < 0.0;
    finding.polarity = Some(if reversed { Polarity::Reversed } else { Polarity::AsConnected });
    finding.shape = w.shape;
    finding.period_s = w.period_s;
    finding.duty = w.duty;
    finding.on_at_s = w.on_at_s;
    finding.on_at_s_u = w.on_at_s_u;
    finding.off_at_s = w.off_at_s;
    finding.off_at_s_u = w.off_at_s_u;
    finding.window_s = w.window_s;
    finding.window_s_u = w.window_s_u;
    finding.sag_volts_per_min = w.sag_volts_per_min;
    finding.sag_volts_per_min_u = w.sag_volts_per_min_u;
    finding.noise_volts = w.noise_volts;
    finding.inrush = w.inrush;
    finding.nominal_volts = nominal(w.volts);
    if w.shape == Shape::Held {
        let from = w.on_at_s.or(finding.counts.first_s);
        finding.held_s_min = from.map(|from| micro(w.seen_until_s - from));
    }
}

fn counted(analysis: &Analysis, last_s: Option<f64>) -> LogCounts {
    let strays = analysis.windows.strays;
    LogCounts {
        overloads: analysis.overloads,
        gaps: analysis.pace.gaps,
        gaps_s: micro(analysis.pace.gaps_s),
        out_of_order: analysis.out_of_order,
        broken_rows: 0,
        spikes: strays.spikes,
        spike_volts: strays.spike_volts,
        dropouts: strays.dropouts,
        bounces: strays.bounces,
        interval_s: (analysis.taken > 1).then(|| nano(analysis.pace.interval())),
        first_s: analysis.first_t,
        last_s,
    }
}

fn cadence(analysis: &Analysis, first: Option<&OutputWindow>) -> Cadence {
    let known = analysis.taken > 1;
    Cadence {
        resolved: first.map(|w| w.resolved),
        unseen_below_s: known.then(|| nano(analysis.pace.longest())),
        pulses: first.map_or(0, |w| w.pulses),
    }
}

fn warnings(analysis: &Analysis, finding: &OutputFinding) -> Vec<String> {
    let mut all = Vec::new();
    let mut say = |holds: bool, text: String| {
        if holds {
            all.push(text);
        }
    };
    let counts = &finding.counts;
    let first = finding.windows.first();
    let unseen = finding.cadence.unseen_below_s.unwrap_or(0.0);
    let pulsed = first.is_some_and(|w| w.pulses > 1);
    say(
        first.is_some_and(|w| !w.resolved),
        format!(
            "it goes on and off faster than this meter can tell: pulses or pauses shorter than \
             {unseen:.3} s are lost, so that no period is given"
        ),
    );
    say(
        first.is_some_and(|w| !pulsed && w.shape != Shape::None) && unseen > 0.05,
        format!("a pause shorter than {unseen:.3} s would not have been seen"),
    );
    say(
        first.is_some_and(|w| !w.regular),
        "the pulses do not come at equal distances; the period is their mean".into(),
    );
    say(
        first.is_some_and(|w| w.on_at_s.is_none()),
        "it was on when the log began: the window is cut off at its start".into(),
    );
    say(
        finding.shape == Shape::Held,
        "it was still on, or a pulse was due, when the log ended".into(),
    );
    say(counts.gaps > 0, format!("gaps: {}, {:.3} s in all", counts.gaps, counts.gaps_s));
    say(counts.overloads > 0, format!("overload readings left out: {}", counts.overloads));
    say(
        counts.out_of_order > 0,
        format!("readings out of order left out: {}", counts.out_of_order),
    );
    say(!analysis.on.exact() || !analysis.rest.exact(), "medians are on a coarser grid".into());
    let unlisted = analysis.windows.strays.unlisted;
    say(unlisted > 0, format!("{unlisted} more alarms than are listed"));
    all
}

/// A window with its figures to a microsecond and a microvolt.
fn rounded(w: OutputWindow) -> OutputWindow {
    OutputWindow {
        on_at_s: w.on_at_s.map(micro),
        on_at_s_u: w.on_at_s_u.map(micro),
        off_at_s: w.off_at_s.map(micro),
        off_at_s_u: w.off_at_s_u.map(micro),
        window_s: w.window_s.map(micro),
        window_s_u: w.window_s_u.map(micro),
        period_s: w.period_s.map(micro),
        duty: w.duty.map(micro),
        noise_volts: w.noise_volts.map(micro),
        sag_volts_per_min: w.sag_volts_per_min.map(micro),
        sag_volts_per_min_u: w.sag_volts_per_min_u.map(micro),
        ..w
    }
}

/// To a microsecond, or a microvolt: finer than any meter's link.
#[must_use]
pub fn micro(x: f64) -> f64 {
    (x * 1e6).round() / 1e6
}

fn nano(x: f64) -> f64 {
    (x * 1e9).round() / 1e9
}
