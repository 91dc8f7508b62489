//! What comes up in the talks of a job: from how the job stands to the topics of one step, in
//! sentences that say what is done, what it stands on, and what is missing. The talk itself is the
//! guide's.

use super::failure::Failure;
use crate::event::{Caution, Event, Finding, JobLabel, JobStep};
use crate::guide::job::Topic;
use crate::journal::{Entry, JobState, StepStatus};
use crate::zone::points;
use std::collections::BTreeMap;

/// Whether a step is done now, though its words are not understood.
pub(super) fn not_yet(step: JobStep, problem: &Failure) -> Topic {
    Topic::Step(format!(
        "It cannot be done yet: {problem}. Put what it needs under [{}] in the job sheet, or skip \
         and say why.",
        step.name()
    ))
}

/// Whether a step that has a command of its own is done now.
pub(super) fn command(step: JobStep, state: &JobState) -> Topic {
    let open = step
        .needs()
        .iter()
        .filter(|need| matches!(state.status(**need), StepStatus::Open | StepStatus::BrokenOff));
    let open: Vec<&str> = open.map(|need| need.name()).collect();
    let missing = match open.as_slice() {
        [] => String::new(),
        open => format!(" Not done before it: {}.", open.join(", ")),
    };
    Topic::Step(format!("{}{missing}", how(&state.status(step))))
}

fn how(status: &StepStatus) -> String {
    match status {
        StepStatus::Open => "It is not done yet.".into(),
        StepStatus::BrokenOff => "It broke off, and goes on where it stopped.".into(),
        StepStatus::Done { verdict } => format!("It was done: {verdict}. It is done again."),
        StepStatus::Stale { verdict, because } => {
            format!("It was done ({verdict}) and is stale: {because}.")
        }
        StepStatus::Skipped { reason } => format!("It was left out: {reason}."),
    }
}

/// The topics of a step that is talk alone.
pub(super) fn talk(
    step: JobStep,
    state: &JobState,
    entries: &[Entry],
    stated: &BTreeMap<JobLabel, String>,
) -> Vec<Topic> {
    let status = state.status(step);
    match step {
        JobStep::Board => {
            let mut topics = vec![command(step, state)];
            topics.extend(wiring(entries).into_iter().map(Topic::Point));
            topics
        }
        JobStep::HandOver => {
            let mut topics = vec![command(step, state), Topic::Caution(Caution::HandOver)];
            for label in [JobLabel::By, JobLabel::ReceivedBy] {
                topics.extend(label_topic(label, state, stated, &status));
            }
            topics
        }
        _ => {
            let mut topics = vec![Topic::Caution(Caution::SiteWork)];
            for label in JobLabel::AT_SITE {
                topics.extend(label_topic(label, state, stated, &status));
            }
            topics
        }
    }
}

/// What the sheet says is taken; what nobody said is asked; what is known is asked again only where
/// the step is done again.
fn label_topic(
    label: JobLabel,
    state: &JobState,
    stated: &BTreeMap<JobLabel, String>,
    status: &StepStatus,
) -> Option<Topic> {
    let known = state.labels.get(&label);
    match (stated.get(&label), known) {
        (Some(stated), Some(known)) if stated == known => None,
        (Some(stated), _) => Some(Topic::Stated(label, stated.clone())),
        (None, Some(known)) if status.is_settled() => {
            Some(Topic::Label(label, format!("{} Now: {known}", label.question())))
        }
        (None, Some(_)) => None,
        (None, None) => Some(Topic::Label(label, label.question().into())),
    }
}

/// What is looked at: what the newest design and the newest relay say should be so.
fn wiring(entries: &[Entry]) -> Vec<String> {
    let findings = || {
        entries.iter().rev().filter_map(|entry| match &entry.event {
            Event::ResultReached(finding) => Some(finding),
            _ => None,
        })
    };
    let design = findings().find_map(|finding| match finding {
        Finding::ZoneDesign(finding) => Some(finding),
        _ => None,
    });
    let relay = findings().find_map(|finding| match finding {
        Finding::Identify(finding) => Some(&**finding),
        _ => None,
    });
    match design {
        Some(design) => points(design, relay),
        None => vec!["the wiring is as its drawing has it: output, coil, contact, loop".into()],
    }
}
