//! An output's finding in words: the headline, the lines of the summary, and the facts that the
//! page lists. Times carry their largest error; volts are written to the meter's grid as they come.
//! Text from outside (the log's name) is made visible here.

use crate::event::visible;
use crate::event::{OutputFinding, OutputWindow, Polarity, Shape};
use crate::report::words::sentence;

/// What it does, in one line.
pub(super) fn headline(f: &OutputFinding) -> String {
    let level = f.alarm_volts.map_or_else(|| "no level".into(), volts);
    match f.shape {
        Shape::None if f.counts.spikes > 0 => "It never came on: spikes only".into(),
        Shape::None => "It never came on".into(),
        Shape::Held => format!(
            "On at {level}, and still on when the log ended{}",
            f.held_s_min.map(|s| format!(": {s:.3} s or more")).unwrap_or_default()
        ),
        Shape::Steady => format!("Steady {level} for {}", length(f)),
        Shape::Pulsed => {
            let beat = match (f.period_s, f.duty) {
                (Some(period), Some(duty)) => {
                    format!(", every {period:.3} s, on {:.0} % of it", duty * 100.0)
                }
                _ => ", faster than this meter can tell".into(),
            };
            format!("Pulsed {level} for {}{beat}", length(f))
        }
    }
}

fn length(f: &OutputFinding) -> String {
    match (f.window_s, f.window_s_u) {
        (Some(window), Some(u)) => with_error(window, u, "s"),
        _ => "a time that the log cuts off".into(),
    }
}

/// `13.71 V`.
pub(super) fn volts(x: f64) -> String {
    let text = format!("{:.6}", x.abs());
    let text = text.trim_end_matches('0').trim_end_matches('.');
    let sign = if x < 0.0 && text != "0" { "\u{2212}" } else { "" };
    format!("{sign}{text}\u{a0}V")
}

/// `121.10 ± 0.10 s`: the error is the largest that sampling allows.
pub(super) fn with_error(value: f64, u: f64, unit: &str) -> String {
    let first = if u > 0.0 { u.log10().floor() } else { -6.0 };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 6")]
    let places = (1.0 - first).clamp(0.0, 6.0) as usize;
    // An error is rounded up.
    let step = 10_f64.powi(i32::try_from(places).unwrap_or(6));
    let up = (u * step - 1e-6).ceil() / step;
    format!("{value:.places$} \u{b1} {up:.places$}\u{a0}{unit}")
}

fn edge(at: Option<f64>, u: Option<f64>, otherwise: &str) -> String {
    match (at, u) {
        (Some(at), Some(u)) => with_error(at, u, "s"),
        _ => otherwise.into(),
    }
}

/// Term and text, in the order of reading.
pub(super) fn facts(f: &OutputFinding) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    if let Some(rest) = f.rest_volts {
        let noise = f.rest_noise_volts.map(|n| format!("; noise {}", volts(n)));
        facts.push(("At rest", format!("{}{}", volts(rest), noise.unwrap_or_default())));
    }
    if let Some(level) = f.alarm_volts {
        facts.push(("In alarm", format!("{} (median)", volts(level))));
    }
    if let (Some(min), Some(max)) = (f.alarm_volts_min, f.alarm_volts_max) {
        facts.push(("Lowest, highest", format!("{} to {}", volts(min), volts(max))));
    }
    if let Some(noise) = f.noise_volts {
        facts.push(("Noise in alarm", format!("{} from reading to reading", volts(noise))));
    }
    if let Some(way) = f.polarity {
        facts.push((
            "Polarity",
            match way {
                Polarity::AsConnected => "as connected: red is on plus".into(),
                Polarity::Reversed => "reversed: red is on minus".into(),
            },
        ));
    }
    if f.alarm_volts.is_some() {
        let class = f.nominal_volts.map_or_else(
            || "fits no usual class".into(),
            |v| format!("{v} V, battery to float charge (common practice, no source)"),
        );
        facts.push(("Nominal", class));
        facts.push(("Came on", edge(f.on_at_s, f.on_at_s_u, "before the log began")));
        facts.push(("Went off", edge(f.off_at_s, f.off_at_s_u, "not within the log")));
    }
    if let (Some(window), Some(u)) = (f.window_s, f.window_s_u) {
        let text = with_error(window, u, "s");
        facts.push(("Window", format!("{text} (largest error by sampling and gaps)")));
    }
    if let (Some(sag), Some(u)) = (f.sag_volts_per_min, f.sag_volts_per_min_u) {
        let text = with_error(sag, u.max(1e-6), "V/min").replace('-', "\u{2212}");
        facts.push(("Sag", format!("{text} (one standard uncertainty)")));
    }
    if let Some(dip) = f.inrush {
        facts.push(("Inrush dip", format!("down to {} at {:.3} s", volts(dip.volts), dip.at_s)));
    }
    facts.push(("Cadence", cadence(f)));
    facts.push(("Readings", readings(f)));
    facts
}

/// What must be known beside the figures, in sentences.
pub(super) fn warnings(f: &OutputFinding) -> Vec<String> {
    f.warnings.iter().map(|warning| sentence(warning)).collect()
}

fn cadence(f: &OutputFinding) -> String {
    let seen = f.cadence.unseen_below_s.map(|s| format!("shorter than {s:.3} s would go unseen"));
    let seen = seen.unwrap_or_else(|| "no rate known".into());
    match (f.shape, f.period_s, f.duty) {
        (Shape::None, ..) => format!("none; an alarm {seen}"),
        (_, Some(period), Some(duty)) => format!(
            "{} pulses, period {period:.3} s, on {:.1} % of it; a pulse or pause {seen}",
            f.cadence.pulses,
            duty * 100.0
        ),
        _ if f.cadence.pulses > 1 => "pulsed, but not resolved by this meter".into(),
        _ => format!("steady; a pause {seen}"),
    }
}

fn readings(f: &OutputFinding) -> String {
    let c = f.counts;
    let every = c.interval_s.map(|s| format!(", one every {s:.6} s")).unwrap_or_default();
    let also = [
        (c.overloads, "overload", "overload"),
        (c.gaps, "gap", "gaps"),
        (c.out_of_order, "out of order", "out of order"),
        (c.broken_rows, "broken row", "broken rows"),
        (c.spikes, "spike", "spikes"),
        (c.dropouts, "dropout", "dropouts"),
        (c.bounces, "bounce", "bounces"),
    ];
    let said = |(n, one, many): &(u64, &str, &str)| {
        (*n > 0).then(|| format!("{n} {}", if *n == 1 { one } else { many }))
    };
    let also: Vec<String> = also.iter().filter_map(said).collect();
    let also = if also.is_empty() { "nothing left out".into() } else { also.join(", ") };
    format!("{}{every}; {also}", f.readings)
}

/// One row of the table of alarms.
pub(super) fn window_row(w: &OutputWindow) -> [String; 5] {
    let length = match (w.window_s, w.window_s_u) {
        (Some(s), Some(u)) => with_error(s, u, "s"),
        _ => "cut off".into(),
    };
    let shape = match w.shape {
        Shape::Pulsed => format!("pulsed, {}", w.pulses),
        Shape::Held => "held".into(),
        _ => "steady".into(),
    };
    [
        edge(w.on_at_s, w.on_at_s_u, "before the log"),
        edge(w.off_at_s, w.off_at_s_u, "not seen"),
        length,
        volts(w.volts),
        shape,
    ]
}

/// The finding in a few lines; `name` is the log's.
#[must_use]
pub fn summary(name: &str, f: &OutputFinding) -> String {
    let mut text = format!("{}: {}\n", visible(name), headline(f));
    for (term, fact) in facts(f) {
        text.push_str(&format!("  {term:<16} {fact}\n"));
    }
    if f.windows.len() > 1 {
        text.push_str(&format!("  {} alarms:\n", f.windows.len()));
        for window in f.windows.iter().take(20) {
            text.push_str(&format!("    {}\n", window_row(window).join("  ")));
        }
    }
    for warning in &f.warnings {
        text.push_str(&format!("  note: {warning}\n"));
    }
    text
}
