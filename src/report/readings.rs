//! `readings.csv`: one row per capture, in order, for spreadsheets (RFC 4180: commas, quotes where
//! needed, CRLF). Ohms and volts have columns of their own, so no column mixes units; overload
//! leaves them empty. Numbers are plain; a text cell that a spreadsheet would take for a formula
//! gets an apostrophe before it.

use super::Report;
use super::parts::Captured;
use crate::event::DriveState;
use crate::event::visible;
use drivers::Unit;

const HEADER: [&str; 24] = [
    "capture",
    "touch",
    "at",
    "elapsed_s",
    "red",
    "black",
    "function",
    "drive",
    "drive_plus",
    "drive_minus",
    "drive_volts",
    "overload",
    "value_ohms",
    "u_ohms",
    "spread_ohms",
    "value_volts",
    "u_volts",
    "spread_volts",
    "samples",
    "taken_back",
    "simulated",
    "raw_count",
    "raw",
    "command",
];

/// The table with its header.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut writer =
        csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    // Writing to memory cannot fail, and every row has the header's length.
    let mut sound = writer.write_record(HEADER).is_ok();
    let others = report.others.iter().map(|other| (other.command, &other.report));
    for (command, report) in std::iter::once(("identify", report)).chain(others) {
        for (step, captured) in report.capture_steps() {
            let time = [step.at.to_string(), number(Some(step.elapsed_s))];
            sound &= writer.write_record(row(command, captured, time)).is_ok();
        }
    }
    debug_assert!(sound, "a row has the header's length");
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

fn row(command: &str, captured: &Captured, [at, elapsed_s]: [String; 2]) -> [String; HEADER.len()] {
    let c = &captured.capture;
    let (plus, minus, volts) = match &c.drive {
        DriveState::Rest => (String::new(), String::new(), String::new()),
        DriveState::Energised { plus, minus, volts } => {
            (cell(plus.label()), cell(minus.label()), number(Some(*volts)))
        }
    };
    let numbers = |unit| {
        let here = |x: Option<f64>| number(x.filter(|_| c.unit == unit));
        [here(c.value), here(c.u), here(c.spread)]
    };
    let ([ohms, ohms_u, ohms_spread], [v, v_u, v_spread]) =
        (numbers(Unit::Ohm), numbers(Unit::Volt));
    let drive = match c.drive {
        DriveState::Rest => "rest",
        DriveState::Energised { .. } => "energised",
    };
    [
        c.capture.to_string(),
        c.touch.to_string(),
        at,
        elapsed_s,
        cell(c.red.label()),
        cell(c.black.label()),
        c.function.name().to_owned(),
        drive.to_owned(),
        plus,
        minus,
        volts,
        flag(c.overload),
        ohms,
        ohms_u,
        ohms_spread,
        v,
        v_u,
        v_spread,
        c.samples.to_string(),
        flag(captured.taken_back),
        flag(captured.simulated),
        c.raw.len().to_string(),
        cell(&c.raw.join(" | ")),
        command.to_owned(),
    ]
}

/// A text cell that no spreadsheet takes for a formula.
fn cell(text: &str) -> String {
    let shown = visible(text);
    match shown.trim_start().chars().next() {
        Some('=' | '+' | '-' | '@' | '\u{ff1d}' | '\u{ff0b}' | '\u{ff0d}' | '\u{ff20}') => {
            format!("'{shown}")
        }
        _ => shown,
    }
}

fn number(x: Option<f64>) -> String {
    x.filter(|x| x.is_finite()).map(|x| x.to_string()).unwrap_or_default()
}

fn flag(set: bool) -> String {
    u8::from(set).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_neutralised_and_numbers_are_not() {
        assert_eq!(cell("=1+1"), "'=1+1");
        assert_eq!(cell(" @SUM(A1)"), "' @SUM(A1)");
        assert_eq!(cell("-3"), "'-3");
        assert_eq!(cell("\t=1"), "\\t=1");
        assert_eq!(cell("87a"), "87a");
        assert_eq!(number(Some(-13.71)), "-13.71");
        assert_eq!(number(Some(f64::INFINITY)), "");
    }
}
