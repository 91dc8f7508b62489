//! `report.json`: the whole report as one JSON object for scripts and archives, with a published
//! schema. Its `result` is the very object that the operator's JSON lines carry as the result
//! note, or `null` where no result was reached. Fields are added, never changed.

use super::chapter::{Chapter, Check, Standing};
use super::parts::{BeliefPoint, Captured, Counts, RunPart, Step, What};
use super::{JobReport, OtherTask, Report};
use crate::event::{IdentifyFinding, VERSION};
use schemars::JsonSchema;
use serde::Serialize;

/// The report, pretty-printed, with a newline at its end.
#[must_use]
pub fn render(report: &Report) -> String {
    let captures = report.captures().collect();
    let wire = WireReport {
        v: VERSION,
        kind: "report",
        simulated: report.simulated,
        certificate: false,
        journal_entries: report.entries,
        result: report.found.as_ref().map(|found| WireResult {
            v: VERSION,
            note: "result",
            kind: "identify",
            finding: &found.finding,
        }),
        runs: &report.runs,
        counts: report.counts,
        captures,
        steps: report.steps.iter().filter(|s| !matches!(s.what, What::Capture(_))).collect(),
        course: &report.course,
        chapters: report.chapters.iter().map(WireChapter::of).collect(),
        others: report.others.iter().map(WireTask::of).collect(),
        job: report.job.as_ref(),
    };
    // Maps here have text keys and numbers are finite or `null`, so this cannot fail; a report
    // that could not be written would still be a JSON object that says so.
    let mut text = serde_json::to_string_pretty(&wire)
        .unwrap_or_else(|e| format!("{{\"v\":{VERSION},\"error\":\"{e}\"}}"));
    text.push('\n');
    text
}

/// JSON Schema of `report.json`.
#[must_use]
pub fn schema() -> schemars::Schema {
    schemars::generate::SchemaSettings::default()
        .for_serialize()
        .into_generator()
        .into_root_schema_for::<WireReport<'static>>()
}

#[derive(Serialize, JsonSchema)]
#[schemars(title = "coilmark report", inline)]
struct WireReport<'a> {
    /// Version of the report's format.
    v: u32,
    /// Always `report`.
    kind: &'static str,
    /// Whether any instrument was simulated.
    simulated: bool,
    /// Always `false`: this is a record of measurements.
    certificate: bool,
    /// How many entries the journal has that this was made from.
    journal_entries: u64,
    /// The result, as in the operator's result note.
    result: Option<WireResult<'a>>,
    /// The runs of the job.
    runs: &'a [RunPart],
    /// What the job took.
    counts: Counts,
    /// Every capture, those taken back included.
    captures: Vec<&'a Captured>,
    /// Everything else that happened, in order.
    steps: Vec<&'a Step>,
    /// The course of the belief.
    course: &'a [BeliefPoint],
    /// The tasks of the job that are not an identification.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    chapters: Vec<WireChapter<'a>>,
    /// What happened in every task that is not the newest identification.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    others: Vec<WireTask<'a>>,
    /// The job as a whole, where it was led as one.
    #[serde(skip_serializing_if = "Option::is_none")]
    job: Option<&'a JobReport>,
}

#[derive(Serialize, JsonSchema)]
struct WireTask<'a> {
    /// The command's name.
    command: &'static str,
    /// Its runs.
    runs: &'a [RunPart],
    /// What it took.
    counts: Counts,
    /// Every capture, those taken back included.
    captures: Vec<&'a Captured>,
    /// Everything else that happened, in order.
    steps: Vec<&'a Step>,
}

impl<'a> WireTask<'a> {
    fn of(other: &'a OtherTask) -> Self {
        let report = &other.report;
        Self {
            command: other.command,
            runs: &report.runs,
            counts: report.counts,
            captures: report.captures().collect(),
            steps: report.steps.iter().filter(|s| !matches!(s.what, What::Capture(_))).collect(),
        }
    }
}

#[derive(Serialize, JsonSchema)]
struct WireChapter<'a> {
    /// The command's name.
    command: &'static str,
    /// How it stands: `passed`, `failed`, `undecided` or `unfinished`.
    standing: Standing,
    /// The verdict or the finding in one sentence.
    headline: &'a str,
    /// Its verdicts one by one, where it has several.
    #[serde(skip_serializing_if = "<[Check]>::is_empty")]
    checks: &'a [Check],
    /// What was found, as in the task's result note, and what was measured.
    value: &'a serde_json::Value,
}

impl<'a> WireChapter<'a> {
    fn of(chapter: &'a Chapter) -> Self {
        let Chapter { command, standing, headline, checks, value, .. } = chapter;
        Self { command, standing: *standing, headline, checks, value }
    }
}

#[derive(Serialize, JsonSchema)]
struct WireResult<'a> {
    /// Version of the words.
    v: u32,
    /// Always `result`.
    note: &'static str,
    /// Always `identify`.
    kind: &'static str,
    #[serde(flatten)]
    finding: &'a IdentifyFinding,
}
