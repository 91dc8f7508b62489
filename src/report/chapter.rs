//! A task of a job in its report, where it is not an identification: what one module per command
//! makes of the task's entries, ready to be put under the cover. The page, the cover and the JSON
//! treat every chapter alike; only its own module knows what is in it.

use crate::event::{Event, Finding, IdentifyFinding, Verdict};
use crate::journal::Task;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// How a task stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// It passed, or it found what it was asked.
    Passed,
    /// A limit failed.
    Failed,
    /// The measurement cannot tell.
    Undecided,
    /// No result was reached.
    Unfinished,
}

impl From<Verdict> for Standing {
    fn from(verdict: Verdict) -> Self {
        match verdict {
            Verdict::Pass => Self::Passed,
            Verdict::Fail => Self::Failed,
            Verdict::Undecided => Self::Undecided,
        }
    }
}

/// One verdict of several in a task: a limit, a state, a step.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Check {
    /// What was checked.
    pub name: String,
    /// How it stands.
    pub standing: Standing,
    /// The measured value with its margin, or why it cannot be told.
    pub text: String,
}

/// A task in the report.
#[derive(Clone, Debug, PartialEq)]
pub struct Chapter {
    /// The command's name; also what the chapter's address on the page is made of.
    pub command: &'static str,
    /// Its heading.
    pub title: String,
    /// How it stands.
    pub standing: Standing,
    /// The verdict or the finding in one sentence, for the cover; text, not markup.
    pub headline: String,
    /// Its verdicts one by one, where it has several.
    pub checks: Vec<Check>,
    /// Its body: markup, with everything from outside escaped in it.
    pub markup: String,
    /// The same for machines.
    pub value: Value,
}

/// The chapters of these tasks, identifications left out: they have the report's own chapters.
pub(super) fn chapters(tasks: &[Task<'_>]) -> Vec<Chapter> {
    tasks.iter().filter_map(|task| chapter(task, relay_before(tasks, task))).collect()
}

/// The relay that was identified in the job, which a wiring picture is drawn with.
fn relay_before<'a>(tasks: &'a [Task<'_>], task: &Task<'_>) -> Option<&'a IdentifyFinding> {
    let before = tasks.iter().take_while(|other| other.entries.as_ptr() != task.entries.as_ptr());
    let entries = before.flat_map(|task| task.entries.iter().rev());
    entries
        .filter_map(|entry| match &entry.event {
            Event::ResultReached(Finding::Identify(finding)) => Some(&**finding),
            _ => None,
        })
        .last()
}

fn chapter(task: &Task<'_>, relay: Option<&IdentifyFinding>) -> Option<Chapter> {
    match task.command() {
        "identify" => None,
        "board" => Some(super::board::chapter(task)),
        "fit" => super::fit::chapter(task),
        "pickup" => super::pickup::chapter(task),
        "zone-design" | "zone-check" => super::zone::chapter(task, relay),
        "output" => Some(super::output::chapter(task)),
        "job" => super::job::chapter(task),
        _ => None,
    }
}
