//! The demonstration: a duck farm's feed hopper, an unmarked eight-pin relay, and the alarm panel
//! in the house. A whole job on simulated benches whose meters hang on real pseudo-terminals, with
//! hands that slip now and then, to the report at the end. No question is asked and nothing is
//! measured; it is the same program on the same way.

use super::failure::{Exit, Failure};
use super::job::{JobTerms, Wording, lead};
use super::sheet::Sheet;
use super::stamp::folder_time;
use super::station::OperatorChoice;
use crate::journal::{FILE_NAME, JournalError};
use std::path::PathBuf;

/// The job sheet of the demonstration. Invented.
const SHEET: &str = include_str!("demo/job.toml");

/// What is on the simulated benches of the demonstration: the name behind `sim:`, and the file's
/// text. Invented.
pub(super) const ON_BENCH: [(&str, &str); 3] = [
    ("demo-output", include_str!("demo/output.toml")),
    ("demo-relay", include_str!("demo/relay.toml")),
    ("demo-loop", include_str!("demo/loop.toml")),
];

/// Shows a whole job.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn run_demo(job: Option<PathBuf>, seed: u64, wording: Wording<'_>) -> Result<Exit, Failure> {
    let job = job
        .unwrap_or_else(|| std::env::temp_dir().join(format!("coilmark-demo-{}", folder_time())));
    let sheet =
        Sheet::parse(&SHEET.replace("hands=alone", &format!("hands=alone&seed={seed}")), "demo")?;
    if job.join(FILE_NAME).symlink_metadata().is_ok() {
        return Err(JournalError::Exists { file: job.join(FILE_NAME) }.into());
    }
    println!(
        "A duck farm's feed hopper has a 24 V output for a beacon, and the alarm panel in the\n\
         house wants a dry contact. In the drawer lies a relay without a mark on it: eight pins,\n\
         two rows of four. What does the output do, which pin is what, will it hold, and does the\n\
         panel see the alarm?\n"
    );
    let terms = JobTerms {
        job,
        sheet: None,
        step: None,
        list: false,
        json: false,
        meter: Some("sim:demo?hands=alone".into()),
        profile: None,
        drive: None,
        operator: OperatorChoice::Lines,
    };
    lead(&terms, sheet, wording)
}
