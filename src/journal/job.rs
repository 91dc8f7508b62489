//! How a job stands: entries in, for each of its steps whether it is done, stale, skipped, broken
//! off or open, and what everything is called. A step is stale once something that it stands on was
//! done again after it began, or once the job sheet has other words for it. A fold like any other:
//! the record is all there is.

use super::line::Entry;
use super::task::{Task, tasks};
use crate::event::{Ask, Event, JobLabel, JobStart, JobStep, RunTerms, Verdict};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// How one step stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "status", rename_all = "snake_case")]
pub enum StepStatus {
    /// Nothing was done yet.
    Open,
    /// It was begun and did not reach a result.
    BrokenOff,
    /// It has a result, and nothing that it stands on is newer.
    Done {
        /// The result.
        verdict: Verdict,
    },
    /// It has a result that stands on something older than what is there now.
    Stale {
        /// The result.
        verdict: Verdict,
        /// What changed after it.
        because: String,
    },
    /// It was left out.
    Skipped {
        /// Why, in the operator's words.
        reason: String,
    },
}

impl StepStatus {
    /// Whether there is nothing to do.
    #[must_use]
    pub const fn is_settled(&self) -> bool {
        matches!(self, Self::Done { .. } | Self::Skipped { .. })
    }

    /// Whether it passed, or was left out with a reason.
    #[must_use]
    pub const fn stands(&self) -> bool {
        matches!(self, Self::Done { verdict: Verdict::Pass } | Self::Skipped { .. })
    }
}

/// A step and how it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct StepState {
    /// The step.
    pub step: JobStep,
    /// How it stands.
    #[serde(flatten)]
    pub status: StepStatus,
}

/// A job as its record tells it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct JobState {
    /// What everything is called.
    pub labels: BTreeMap<JobLabel, String>,
    /// The words of the job sheet in force.
    pub words: BTreeMap<JobStep, Vec<String>>,
    /// Every step, in order.
    pub steps: Vec<StepState>,
    /// Whether the job was ever led as a whole.
    pub is_led: bool,
}

/// What was made of a step last: from which entry to which, and what came of it.
struct Made {
    began: u64,
    ended: u64,
    what: What,
}

enum What {
    Found(Verdict),
    Skipped(String),
    BrokenOff,
}

impl JobState {
    /// Of a journal's entries.
    #[must_use]
    pub fn of(entries: &[Entry]) -> Self {
        let tasks = tasks(entries);
        let mut state = Self::default();
        let mut made: BTreeMap<JobStep, Made> = BTreeMap::new();
        let mut sheets: Vec<(u64, &JobStart)> = Vec::new();
        for task in &tasks {
            let Some(began) = newest_start(task) else { continue };
            if let Some(RunTerms::Job(start)) = task.start.map(|start| &start.terms) {
                state.is_led = true;
                sheets.push((began, start));
                state.take_labels(task);
                if let Some(what) = talked(task, start.step) {
                    made.insert(start.step, Made { began, ended: last(task), what });
                }
            } else if let Some((step, what)) = measured(task) {
                made.insert(step, Made { began, ended: last(task), what });
            }
        }
        if let Some((_, newest)) = sheets.last() {
            state.words = newest.words.clone();
        }
        let steps = JobStep::ALL.into_iter();
        state.steps = steps
            .map(|step| StepState { step, status: status(step, &made, &sheets, &state.words) })
            .collect();
        state
    }

    /// How this step stands.
    #[must_use]
    pub fn status(&self, step: JobStep) -> StepStatus {
        let found = self.steps.iter().find(|state| state.step == step);
        found.map_or(StepStatus::Open, |state| state.status.clone())
    }

    /// Whether every step stands.
    #[must_use]
    pub fn stands(&self) -> bool {
        self.steps.iter().all(|step| step.status.stands())
    }

    fn take_labels(&mut self, task: &Task<'_>) {
        for entry in &task.entries {
            if let Event::LabelStated { label, text } = &entry.event {
                self.labels.insert(*label, text.clone());
            }
        }
    }
}

/// The entry with which the newest part of a task began.
fn newest_start(task: &Task<'_>) -> Option<u64> {
    let starts = task.entries.iter().filter(|entry| matches!(entry.event, Event::RunStarted(_)));
    starts.map(|entry| entry.seq).next_back()
}

fn last(task: &Task<'_>) -> u64 {
    task.entries.last().map_or(0, |entry| entry.seq)
}

/// What a talk made of its step; nothing where a command of its own follows, or where it broke
/// off.
fn talked(task: &Task<'_>, step: JobStep) -> Option<What> {
    let mut skipped = false;
    let mut reason = None;
    let mut settled = false;
    let mut verdict = Verdict::Pass;
    for entry in &task.entries {
        match &entry.event {
            Event::AskSkipped { ask: Ask::Step { .. } } => skipped = true,
            Event::OperatorRemarked { text } => reason = Some(text.clone()),
            Event::PointLookedAt { as_designed: false, .. } => verdict = Verdict::Fail,
            Event::StepSettled { step: settles } => settled |= *settles == step,
            _ => {}
        }
    }
    match (skipped, settled) {
        (true, _) => Some(What::Skipped(reason.unwrap_or_else(|| "no reason was given".into()))),
        (_, true) => Some(What::Found(verdict)),
        _ => None,
    }
}

/// What a command of its own made of a step; its newest result counts.
fn measured(task: &Task<'_>) -> Option<(JobStep, What)> {
    let step = match &task.start?.terms {
        RunTerms::Output(_) => JobStep::Output,
        RunTerms::Identify(_) => JobStep::Relay,
        RunTerms::Fit(_) => JobStep::Fit,
        RunTerms::ZoneDesign(_) => JobStep::Loop,
        RunTerms::Board(_) => JobStep::Board,
        RunTerms::ZoneCheck(_) => JobStep::Zone,
        RunTerms::PickUp(_) | RunTerms::Job(_) => return None,
    };
    let result = task.entries.iter().rev().find_map(|entry| match &entry.event {
        Event::ResultReached(finding) => Some(finding.verdict()),
        _ => None,
    });
    Some((step, result.map_or(What::BrokenOff, What::Found)))
}

fn status(
    step: JobStep,
    made: &BTreeMap<JobStep, Made>,
    sheets: &[(u64, &JobStart)],
    words: &BTreeMap<JobStep, Vec<String>>,
) -> StepStatus {
    let Some(of) = made.get(&step) else { return StepStatus::Open };
    let verdict = match &of.what {
        What::BrokenOff => return StepStatus::BrokenOff,
        What::Skipped(reason) => return StepStatus::Skipped { reason: reason.clone() },
        What::Found(verdict) => *verdict,
    };
    let newer = |need: &&JobStep| {
        made.get(need)
            .is_some_and(|need| need.ended > of.began && matches!(need.what, What::Found(_)))
    };
    let sheet = sheets.iter().rev().find(|(seq, _)| *seq <= of.began);
    let then = sheet.and_then(|(_, start)| start.words.get(&step));
    let because = if let Some(need) = step.needs().iter().find(newer) {
        format!("`{}` was done after it", need.name())
    } else if then.is_some_and(|then| words.get(&step).is_some_and(|now| now != then)) {
        "the job sheet has other words for it now".into()
    } else {
        return StepStatus::Done { verdict };
    };
    StepStatus::Stale { verdict, because }
}

#[cfg(test)]
mod tests;
