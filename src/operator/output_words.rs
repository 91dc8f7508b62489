//! What plain lines say of an output: how its log was begun, what was seen in it, what was found.
//! Volts to a millivolt, seconds to a hundredth with the largest error that the sampling allows.
//! Text only; what the lines around it are is for [`super::Lines`].

use crate::event::{LogEnd, LogNews, OutputFinding, OutputStart, Polarity, Shape};

/// How a log was begun.
pub(super) fn begun(start: &OutputStart) -> String {
    let nominal = start.nominal_volts.map(|volts| format!("nominal {volts} V; "));
    format!(
        "  {}the log ends {} s after the drop, or {} s after the alarm",
        nominal.unwrap_or_default(),
        start.guard_s,
        start.for_s
    )
}

/// News of the log in a line; none where the line would say nothing new.
pub(super) fn news(news: &LogNews) -> Option<String> {
    Some(match news {
        LogNews::Opened { file, t_s, rows, torn_bytes } => {
            let torn = match torn_bytes {
                0 => String::new(),
                n => format!("; a torn row of {n} bytes is cut off"),
            };
            match rows {
                0 => format!("  the log is {file}"),
                n => format!("  going on with {file} after {n} rows, at {t_s:.1} s{torn}"),
            }
        }
        LogNews::AlarmBegun { .. } | LogNews::Drawn(_) => return None,
        LogNews::CameOn { t_s, t_s_u, volts } => {
            format!("  it came ON at {}: {volts:.3} V", seconds(*t_s, *t_s_u))
        }
        LogNews::WentOff { t_s, t_s_u } => format!("  it went OFF at {}", seconds(*t_s, *t_s_u)),
        LogNews::Closed { file, rows, why, .. } => {
            let why = match why {
                LogEnd::Dropped => "the output dropped and stayed off",
                LogEnd::TimeOver => "the time is over",
                LogEnd::NoAlarm => "there was no alarm",
                LogEnd::TakenBack => "the placement was taken back",
                LogEnd::Concluded => "all was seen",
                LogEnd::TooHigh => "this is no low-voltage output: take the leads off",
            };
            format!("  {file} is closed with {rows} rows: {why}")
        }
    })
}

/// A finding: its headline, then a line for each thing that a technician needs.
pub(super) fn found(f: &OutputFinding) -> Vec<String> {
    let level = f.alarm_volts.map_or("no level".into(), volts);
    let length = match (f.window_s, f.window_s_u) {
        (Some(s), Some(u)) => seconds(s, u),
        _ => "a time that the log cuts off".into(),
    };
    let headline = match f.shape {
        Shape::None => "IT NEVER CAME ON".into(),
        Shape::Held => format!("ON at {level}, and still on when the log ended"),
        Shape::Steady => format!("STEADY {level} for {length}"),
        Shape::Pulsed => format!("PULSED {level} for {length}"),
    };
    let mut lines = vec![headline];
    if let Some(rest) = f.rest_volts {
        lines.push(format!("  at rest  {}", volts(rest)));
    }
    if let (Some(low), Some(high)) = (f.alarm_volts_min, f.alarm_volts_max) {
        lines.push(format!("  in alarm {} to {}", volts(low), volts(high)));
    }
    if let (Some(period), Some(duty)) = (f.period_s, f.duty) {
        lines.push(format!("  pulses   every {period:.3} s, on {:.0} % of it", duty * 100.0));
    }
    if let Some(sag) = f.sag_volts_per_min.filter(|sag| sag.abs() >= 0.005) {
        lines.push(format!("  sag      {sag:+.2} V per minute while on"));
    }
    if f.polarity == Some(Polarity::Reversed) {
        lines.push("  plus is under the BLACK lead".into());
    }
    lines.push(format!("  {} readings", f.readings));
    lines
}

/// To a millivolt, and never minus nothing.
fn volts(volts: f64) -> String {
    format!("{:.3} V", (volts * 1e3).round() / 1e3 + 0.0)
}

fn seconds(s: f64, u: f64) -> String {
    format!("{s:.2} s (within {u:.2} s)")
}
