//! How a job stands, in lines: what everything is called, then each step with its state and why.
//! The same words stand on the cover of the report, so that a list on the terminal and a page say
//! the same.

use super::super::words;
use crate::event::{JobLabel, Verdict};
use crate::journal::{JobState, StepStatus};
use std::fmt::Write;

/// The lines for a terminal.
#[must_use]
pub fn summary(state: &JobState) -> String {
    let mut text = String::new();
    let of = |label: JobLabel| state.labels.get(&label).map(|text| words::text(text));
    let title: Vec<String> =
        [JobLabel::Site, JobLabel::Equipment].into_iter().filter_map(of).collect();
    let title = if title.is_empty() { "no labels yet".into() } else { title.join(": ") };
    let _ = writeln!(text, "job: {title}");
    for step in &state.steps {
        let (word, why) = status(&step.status);
        let _ = writeln!(text, "  {:<10} {word:<12} {why}", step.step.name());
    }
    text.lines().map(|line| format!("{}\n", line.trim_end())).collect()
}

/// The word for how a step stands, and why.
pub(in crate::report) fn status(status: &StepStatus) -> (&'static str, String) {
    match status {
        StepStatus::Open => ("open", String::new()),
        StepStatus::BrokenOff => ("broken off", "it goes on where it stopped".into()),
        StepStatus::Done { verdict } => (done(*verdict), String::new()),
        StepStatus::Stale { verdict, because } => {
            ("stale", format!("was {}; {}", done(*verdict), words::clause(because)))
        }
        StepStatus::Skipped { reason } => ("left out", words::clause(reason)),
    }
}

const fn done(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "done",
        Verdict::Fail => "FAILED",
        Verdict::Undecided => "undecided",
    }
}
