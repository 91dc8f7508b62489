//! Puts the report files into a job folder, each through a temporary file beside it and a
//! rename: a reader sees the old file or the new one, never half of one, and a link in the way
//! is replaced, not followed. Errors name the file and have one hint.

use super::{Report, render_csv, render_html, render_json, render_verdicts};
use std::fs::{File, Permissions};
use std::io::{self, Write};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

/// The report could not be written.
#[derive(Debug, thiserror::Error)]
#[error("{}: report not written: {step}", crate::event::visible(&file.display().to_string()))]
pub struct ReportError {
    /// The file.
    pub file: PathBuf,
    /// What was being done.
    pub step: &'static str,
    /// What the system said.
    #[source]
    pub source: io::Error,
}

impl ReportError {
    /// What the person at the bench can do about it: one line, without the word `hint`.
    #[must_use]
    pub const fn hint(&self) -> &'static str {
        "the journal is safe; make room or give the folder write permission, then \
         `coilmark report` writes this again"
    }
}

/// Writes `report.html`, `report.json`, `readings.csv` and `verdicts.xml` into `dir`, and returns
/// their paths; where boards were tested, `labels.txt` too.
///
/// # Errors
/// The first file that could not be written; those before it are in place.
pub fn write_all(dir: &Path, report: &Report) -> Result<[PathBuf; 4], ReportError> {
    let html = write_one(dir, "report.html", &render_html(report))?;
    let json = write_one(dir, "report.json", &render_json(report))?;
    let csv = write_one(dir, "readings.csv", &render_csv(report))?;
    let verdicts = write_one(dir, "verdicts.xml", &render_verdicts(report))?;
    let labels = report.chapters.iter().filter(|chapter| chapter.command == "board");
    let labels: Vec<String> = labels.filter_map(|c| super::board::labels(&c.value)).collect();
    if !labels.is_empty() {
        write_one(dir, "labels.txt", &labels.join("\n"))?;
    }
    Ok([html, json, csv, verdicts])
}

/// Writes `against.html` into `dir`, and returns its path.
///
/// # Errors
/// What kept it from being written.
pub fn write_against(dir: &Path, page: &str) -> Result<PathBuf, ReportError> {
    write_one(dir, "against.html", page)
}

fn write_one(dir: &Path, name: &str, text: &str) -> Result<PathBuf, ReportError> {
    let file = dir.join(name);
    let failed = |step| {
        let file = file.clone();
        move |source| ReportError { file, step, source }
    };
    let mut temporary = tempfile::Builder::new()
        .prefix(".coilmark-")
        .permissions(Permissions::from_mode(0o644))
        .tempfile_in(dir)
        .map_err(failed("making a temporary file"))?;
    temporary.write_all(text.as_bytes()).map_err(failed("writing"))?;
    temporary.as_file().sync_all().map_err(failed("making it durable"))?;
    temporary.persist(&file).map_err(|e| failed("renaming")(e.error))?;
    File::open(dir).and_then(|d| d.sync_all()).map_err(failed("making the folder durable"))?;
    Ok(file)
}
