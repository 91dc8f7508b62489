//! The end of a run on the terminal: a report in, at most twenty plain lines out, each at most
//! 100 characters, without colour or controls. What does not fit is said to be more, not
//! dropped in silence; the rest is in the files.

use super::chapter::Standing;
use super::words;
use super::{Report, number};

/// The most lines.
const LINES_MAX: usize = 20;
/// The longest line, in characters.
const LINE_MAX: usize = 100;

/// The summary, with a newline after every line.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut lines = Vec::new();
    if report.simulated {
        lines.push(words::SIMULATED.to_owned());
    }
    lines.push(words::verdict(report));
    lines.push(words::because(report));
    let mut tail = tail(report);
    lines.extend(finding_lines(report));
    let room = LINES_MAX - tail.len();
    if lines.len() > room {
        lines.truncate(room - 1);
        lines.push("... more in the report".into());
    }
    lines.append(&mut tail);
    lines.iter().map(|line| format!("{}\n", cut(&line.replace('\u{a0}', " ")))).collect()
}

fn finding_lines(report: &Report) -> Vec<String> {
    let Some(finding) = report.finding() else { return Vec::new() };
    let mut lines = Vec::new();
    for fault in &finding.faults {
        let text = words::clause(&fault.text);
        lines.push(format!("fault: {}: {text}", words::fault(fault.code)));
    }
    for coil in &finding.coils {
        let ohms = coil
            .ohms
            .map(|ohms| number::quantity(ohms, coil.ohms_u, drivers::Unit::Ohm).with_uncertainty());
        let pins = format!("{}-{}", words::pin(&coil.plus), words::pin(&coil.minus));
        lines.push(format!("coil {pins}: {}", ohms.unwrap_or_else(|| "not measured".into())));
        lines.push(format!("  rated: {}", words::rated(coil)));
    }
    if report.standing() == Standing::Undecided {
        let best = finding.candidates.iter().take(5);
        lines.extend(
            best.map(|c| {
                format!("  {}  {}", number::probability(c.posterior), words::candidate(c))
            }),
        );
        return lines;
    }
    let pins = report.start().map(|start| start.pins.clone());
    for pin in pins.iter().flat_map(|pins| pins.iter()) {
        let (mark, role) = (words::mark(Some(finding), pin), words::role(finding, pin));
        lines.push(format!("  {:>8}  {mark:<7} {role}", words::pin(pin)));
    }
    lines
}

fn tail(report: &Report) -> Vec<String> {
    let counts = report.counts;
    vec![
        format!(
            "{} placements, {} lead moves, {} drive changes, {} captures",
            counts.placements, counts.lead_moves, counts.drive_changes, counts.captures
        ),
        "A record of measurements, not a certificate.".into(),
    ]
}

fn cut(line: &str) -> String {
    if line.chars().count() <= LINE_MAX {
        return line.to_owned();
    }
    line.chars().take(LINE_MAX - 3).chain("...".chars()).collect()
}
