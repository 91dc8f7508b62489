//! Zone loops for people: the lines for the terminal, the wiring picture, and the chapters of a
//! design and of a check at the panel. All of it is one finding, worded and drawn; the picture is
//! drawn from the same wiring and resistors that were worked out.

mod drawing;
mod page;
mod words;

pub use drawing::render as drawing;
pub use words::summary;

use super::chapter::{Chapter, Check};
use super::words::capitalised;
use crate::event::{Event, Finding, IdentifyFinding, LogNews, ZoneState, visible};
use crate::journal::Task;

/// The logs of a check: file, rows and SHA-256.
fn logs(task: &Task<'_>) -> Vec<(String, u64, String)> {
    let closed = task.entries.iter().filter_map(|entry| match &entry.event {
        Event::Logged(LogNews::Closed { file, rows, sha256, .. }) => {
            Some((visible(file), *rows, visible(sha256)))
        }
        _ => None,
    });
    closed.collect()
}

/// The chapter of a design or of a check; none where it was not concluded.
pub(super) fn chapter(task: &Task<'_>, relay: Option<&IdentifyFinding>) -> Option<Chapter> {
    task.entries.iter().rev().find_map(|entry| match &entry.event {
        Event::ResultReached(Finding::ZoneDesign(finding)) => Some(Chapter {
            command: "zone-design",
            title: "The zone loop, worked out".into(),
            standing: finding.result.into(),
            headline: capitalised(&format!("{}: {}", finding.result, finding.reason)),
            checks: finding
                .states
                .iter()
                .map(|state| Check {
                    name: format!("read as {}: {}", state.state.name(), state.text),
                    standing: state.verdict.into(),
                    text: words::margins(state),
                })
                .collect(),
            markup: page::design(finding, &drawing(finding, relay)),
            value: serde_json::to_value(finding).unwrap_or_default(),
        }),
        Event::ResultReached(Finding::ZoneCheck(finding)) => Some(Chapter {
            command: "zone-check",
            title: "The zone loop, proved at the panel".into(),
            standing: finding.result.into(),
            headline: capitalised(&format!("{}: {}", finding.result, finding.reason)),
            checks: finding
                .states
                .iter()
                .map(|state| Check {
                    name: format!("{}, should be {}", state.when, state.state.name()),
                    standing: state.verdict.into(),
                    text: format!(
                        "{}, read as {}",
                        words::volts(state.volts),
                        state.reads.map_or("nothing", ZoneState::name)
                    ),
                })
                .collect(),
            markup: page::check(finding, logs(task)),
            value: serde_json::to_value(finding).unwrap_or_default(),
        }),
        _ => None,
    })
}
