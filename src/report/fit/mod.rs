//! The fit of a relay to an output, for people: a few lines for the terminal, and a chapter with
//! the margins as bars, the formulas with their numbers, the hold-up capacitor and what to fit
//! across the coil. All of it is one [`FitFinding`](crate::event::FitFinding), worded and drawn.

mod bars;
mod page;
mod words;

pub use words::summary;

use super::chapter::{Chapter, Check};
use crate::event::{Event, Finding, FitCheck};
use crate::journal::Task;

/// The chapter of a fit; none where it was not judged.
pub(super) fn chapter(task: &Task<'_>) -> Option<Chapter> {
    let finding = task.entries.iter().rev().find_map(|entry| match &entry.event {
        Event::ResultReached(Finding::Fit(finding)) => Some(finding),
        _ => None,
    })?;
    Some(Chapter {
        command: "fit",
        title: "Will this output hold this relay".into(),
        standing: finding.result.into(),
        headline: words::headline(finding),
        checks: finding.checks.iter().map(check).collect(),
        markup: page::render(finding),
        value: serde_json::to_value(finding).unwrap_or_default(),
    })
}

fn check(check: &FitCheck) -> Check {
    Check {
        name: words::name(check.code).into(),
        standing: check.verdict.into(),
        text: format!("{}; margin {}", words::against(check), words::margin(check)),
    }
}
