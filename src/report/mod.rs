//! Reports from the journal alone: a [`Report`] is a fold over a job's entries, and HTML, JSON,
//! CSV and the drawings in them are renderings of it. The same entries give the same bytes, on
//! any machine, at any time. What came from fingers or instruments is escaped where it is
//! written. A report says what was measured and what was inferred; it is never a certificate.

mod against;
mod board;
mod chapter;
mod facts;
mod fit;
mod fold;
mod html;
mod job;
mod json;
mod ladder;
mod number;
mod output;
mod parts;
mod pickup;
mod readings;
mod summary;
mod svg;
mod verdicts;
mod words;
mod write;
mod zone;

pub use against::{
    Against, Beside, Change, page as render_against_page, summary as render_against,
};
pub use chapter::{Chapter, Check, Standing};
pub use fit::summary as render_fit_summary;
pub use html::render as render_html;
pub use job::{JobReport, summary as render_job_summary};
pub use json::{render as render_json, schema};
pub use output::{page as render_output_page, summary as render_output_summary};
pub use parts::{BeliefPoint, Captured, Counts, Found, RunEnd, RunPart, Step, What};
pub use readings::render as render_csv;
pub use summary::render as render_summary;
pub use verdicts::render as render_verdicts;
pub use write::{ReportError, write_against, write_all};
pub use zone::{drawing as render_zone_drawing, summary as render_zone_summary};

use crate::event::Ladder;

/// A job as its journal tells it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    /// Whether any instrument was simulated in any run.
    pub simulated: bool,
    /// How many entries the journal has.
    pub entries: u64,
    /// Version of the program that wrote the journal last.
    pub version: String,
    /// The runs of the identification, in order; more than one where it was resumed.
    pub runs: Vec<RunPart>,
    /// What happened, in order.
    pub steps: Vec<Step>,
    /// The course of the belief.
    pub course: Vec<BeliefPoint>,
    /// Which drives were to be tried, and why, as planned last.
    pub ladder: Option<Ladder>,
    /// What it took.
    pub counts: Counts,
    /// The last result, if there is one.
    pub found: Option<Found>,
    /// The tasks of the job that are not an identification.
    pub chapters: Vec<Chapter>,
    /// Everything that happened in every other task, an earlier identification included.
    pub others: Vec<OtherTask>,
    /// The job as a whole, where it was led as one.
    pub job: Option<JobReport>,
}

/// What happened in a task that the report's own chapters are not about.
#[derive(Clone, Debug, PartialEq)]
pub struct OtherTask {
    /// Its command's name.
    pub command: &'static str,
    /// Its runs, its steps with every capture, and what it took.
    pub report: Report,
}
