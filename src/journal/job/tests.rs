//! How a job's steps stand after what was done, skipped, done again and broken off. The entries
//! are made here by hand, one task after another; what a real run writes is in the tests of the
//! whole program.

use super::*;
use crate::event::{Finding, OutputFinding, OutputStart, RunStart, Shape};
use crate::journal::{LocalTime, Stamp};
use drivers::Moment;
use jiff::Timestamp;
use jiff::tz::Offset;

fn begun(terms: RunTerms) -> Event {
    Event::RunStarted(RunStart {
        version: "0".into(),
        simulated: false,
        resumed: false,
        torn_bytes: 0,
        meter: String::new(),
        profile: String::new(),
        terms,
    })
}

fn talk(step: JobStep, words: &[&str]) -> Event {
    let words = words.iter().map(|word| (*word).to_owned()).collect();
    begun(RunTerms::Job(JobStart { step, words: [(JobStep::Output, words)].into() }))
}

fn output() -> Vec<Event> {
    let start = OutputStart { nominal_volts: None, for_s: 60.0, guard_s: 5.0 };
    let finding = OutputFinding { shape: Shape::Steady, ..OutputFinding::default() };
    vec![begun(RunTerms::Output(start)), Event::ResultReached(Finding::Output(Box::new(finding)))]
}

fn skipped(step: JobStep, why: &str) -> Vec<Event> {
    vec![
        talk(step, &[]),
        Event::AskSkipped { ask: Ask::Step { step, text: String::new() } },
        Event::OperatorRemarked { text: why.into() },
    ]
}

fn state(events: &[Vec<Event>]) -> JobState {
    let at = LocalTime::new(Timestamp::UNIX_EPOCH, Offset::UTC);
    let stamp = Stamp { at, elapsed: Moment::START };
    let events = events.iter().flatten();
    let entries: Vec<Entry> =
        (1..).zip(events).map(|(seq, event)| Entry::new(seq, stamp, event)).collect();
    JobState::of(&entries)
}

const PASSED: StepStatus = StepStatus::Done { verdict: Verdict::Pass };

#[test]
fn nothing_done_is_open() {
    let state = state(&[]);
    assert_eq!(state.steps.len(), JobStep::ALL.len());
    assert!(state.steps.iter().all(|step| step.status == StepStatus::Open));
    assert!(!state.is_led);
}

fn handed_over() -> Vec<Event> {
    vec![talk(JobStep::HandOver, &[]), Event::StepSettled { step: JobStep::HandOver }]
}

#[test]
fn a_step_is_stale_once_what_it_stands_on_was_done_again() {
    let then = state(&[output(), handed_over()]);
    assert_eq!(then.status(JobStep::HandOver), PASSED);
    let now = state(&[output(), handed_over(), output()]);
    assert_eq!(now.status(JobStep::Output), PASSED);
    let StepStatus::Stale { because, .. } = now.status(JobStep::HandOver) else {
        panic!("{now:?}")
    };
    assert!(because.contains("output"), "{because}");
    let again = state(&[output(), handed_over(), output(), handed_over()]);
    assert_eq!(again.status(JobStep::HandOver), PASSED);
}

#[test]
fn what_is_left_out_afterwards_makes_nothing_stale() {
    let skip = skipped(JobStep::Relay, "a catalogue part");
    assert_eq!(state(&[handed_over(), skip]).status(JobStep::HandOver), PASSED);
}

#[test]
fn other_words_in_the_sheet_make_a_step_stale() {
    let again = [vec![talk(JobStep::Output, &["--nominal=12"])], output()].concat();
    let same = [again.clone(), vec![talk(JobStep::Fit, &["--nominal=12"])]];
    assert_eq!(state(&same).status(JobStep::Output), PASSED);
    let other = [again, vec![talk(JobStep::Fit, &["--nominal=24"])]];
    assert!(matches!(state(&other).status(JobStep::Output), StepStatus::Stale { .. }));
}

#[test]
fn a_skip_keeps_its_reason_until_the_step_is_done() {
    let skip = skipped(JobStep::Output, "no alarm today");
    let skipped = StepStatus::Skipped { reason: "no alarm today".into() };
    assert_eq!(state(std::slice::from_ref(&skip)).status(JobStep::Output), skipped);
    assert_eq!(state(&[skip, output()]).status(JobStep::Output), PASSED);
}

#[test]
fn a_command_without_a_result_is_broken_off() {
    let begun = vec![output().remove(0)];
    assert_eq!(state(&[begun]).status(JobStep::Output), StepStatus::BrokenOff);
}

#[test]
fn a_talk_that_settles_says_how_and_labels_are_the_newest() {
    let label = |text: &str| Event::LabelStated { label: JobLabel::Site, text: text.into() };
    let events = vec![
        talk(JobStep::Site, &[]),
        label("Pond"),
        label("Pond house"),
        Event::StepSettled { step: JobStep::Site },
        talk(JobStep::Board, &[]),
        Event::PointLookedAt { text: "a".into(), as_designed: false },
        Event::StepSettled { step: JobStep::Board },
    ];
    let state = state(&[events]);
    assert_eq!(state.labels[&JobLabel::Site], "Pond house");
    assert_eq!(state.status(JobStep::Site), PASSED);
    assert_eq!(state.status(JobStep::Board), StepStatus::Done { verdict: Verdict::Fail });
    assert!(state.is_led);
}
