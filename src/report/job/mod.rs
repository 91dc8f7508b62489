//! A whole job in its report: the list of its steps on the terminal and at the top of the page,
//! what everything is called, the cautions that were read, and the wiring that was looked over.
//! All of it is the fold of the journal; nothing is judged anew.

mod words;

pub use words::summary;

use super::chapter::{Chapter, Check, Standing};
use super::html::written;
use super::words as common;
use crate::event::{Event, JobLabel, JobStep};
use crate::journal::{Entry, JobState, LocalTime, Task};
use askama::Template;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::json;

pub(in crate::report) use words::status;

/// A job as a whole.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct JobReport {
    /// Its labels and how its steps stand.
    #[serde(flatten)]
    pub state: JobState,
    /// When its record was begun.
    pub began: LocalTime,
    /// When the last entry was written.
    pub last: LocalTime,
    /// When it was handed over, if it was.
    pub handed_over: Option<LocalTime>,
    /// Every caution that was acknowledged in any task, by its name, once each, with when.
    pub cautions: Vec<(String, LocalTime)>,
}

impl JobReport {
    /// Of a journal's entries; nothing where it was never led as a whole.
    pub(super) fn of(entries: &[Entry]) -> Option<Self> {
        let state = JobState::of(entries);
        let (first, last) = (entries.first()?, entries.last()?);
        if !state.is_led {
            return None;
        }
        let mut cautions: Vec<(String, LocalTime)> = Vec::new();
        let mut handed_over = None;
        for entry in entries {
            match &entry.event {
                Event::CautionAcknowledged { caution, .. } => {
                    let name = common::caution(*caution);
                    if !cautions.iter().any(|(known, _)| known == name) {
                        cautions.push((name.into(), entry.at));
                    }
                }
                Event::StepSettled { step: JobStep::HandOver } => handed_over = Some(entry.at),
                _ => {}
            }
        }
        let (began, last) = (first.at, last.at);
        Some(Self { state, began, last, handed_over, cautions })
    }

    /// What something is called.
    pub(super) fn label(&self, label: JobLabel) -> Option<String> {
        self.state.labels.get(&label).map(|text| common::text(text))
    }
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<table>
<caption>What was looked at, before anything was measured at the panel</caption>
<thead><tr><th scope="col">Point</th><th scope="col">Seen</th></tr></thead>
<tbody>
{% for check in checks %}<tr><td>{{ check.name }}</td><td>{{ check.text }}</td></tr>
{% endfor %}</tbody>
</table>
"#
)]
struct Points<'a> {
    checks: &'a [Check],
}

/// The chapter of a wiring that was looked over; none for any other talk.
pub(super) fn chapter(task: &Task<'_>) -> Option<Chapter> {
    let mut checks: Vec<Check> = Vec::new();
    for entry in &task.entries {
        match &entry.event {
            Event::PointLookedAt { text, as_designed } => checks.push(Check {
                name: common::text(text),
                standing: if *as_designed { Standing::Passed } else { Standing::Failed },
                text: if *as_designed { "so".into() } else { "NOT so".into() },
            }),
            Event::OperatorRemarked { text } => {
                if let Some(check) = checks.last_mut() {
                    check.text = format!("{}: {}", check.text, common::clause(text));
                }
            }
            _ => {}
        }
    }
    let wrong = checks.iter().filter(|check| check.standing == Standing::Failed).count();
    let finished = task.is_finished();
    let all = checks.len();
    let (standing, headline) = match (all, wrong, finished) {
        (0, ..) => return None,
        (_, _, false) => (Standing::Unfinished, format!("{all} points looked at, not all")),
        (_, 0, true) => (Standing::Passed, format!("{all} points looked at, each as designed")),
        (_, n, true) => (Standing::Failed, format!("{n} of {all} points are not as designed")),
    };
    Some(Chapter {
        command: "wiring",
        title: "The wiring, looked over".into(),
        standing,
        headline,
        markup: written(&Points { checks: &checks }),
        value: json!({ "points": checks }),
        checks,
    })
}
