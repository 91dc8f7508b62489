//! `coilmark analyse`: a recorded log through the reader and the analysis, to one JSON object or a
//! few lines, and to a page or a Parquet file if one is wanted. Reading and analysing share the
//! work as two threads with a bounded queue between them; the outcome does not depend on which is
//! faster.

use super::export::Export;
use super::failure::{Exit, Failure, chain};
use super::worked_out::{result_line, tell};
use crate::event::visible;
use crate::event::{Finding, OutputFinding};
use crate::logbook::{self, Columns, Listener, LogError, Pace, Rows};
use crate::output::{Analysis, CLASSES, Described};
use crate::report::{render_output_page, render_output_summary};
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

/// Batches on their way from the reader to the analysis.
const BATCHES: usize = 8;

/// What is analysed, and what is wanted of it.
#[derive(Clone, Debug, Default)]
pub struct AnalyseTerms {
    /// The log; `-` is standard input.
    pub log: PathBuf,
    /// The column of the times, by name or number.
    pub time_column: Option<String>,
    /// The column of the values, by name or number.
    pub value_column: Option<String>,
    /// Print one JSON object.
    pub json: bool,
    /// Where to write the page.
    pub html: Option<PathBuf>,
    /// Where to write the readings as Parquet.
    pub parquet: Option<PathBuf>,
}

/// The same, as its schema says it.
#[derive(schemars::JsonSchema)]
#[schemars(title = "The result of `coilmark analyse` and `coilmark output`, one JSON object")]
#[expect(dead_code, reason = "only its schema is used")]
struct OutputResult {
    /// The format's version.
    v: u32,
    /// Always `result`.
    note: String,
    /// Always `output`.
    kind: String,
    #[serde(flatten)]
    finding: OutputFinding,
}

/// JSON Schema of an output's result.
pub(super) fn schema() -> schemars::Schema {
    schemars::schema_for!(OutputResult)
}

/// Analyses a log.
///
/// # Errors
/// [`Failure`] with exit 2 for a log that cannot be used or would be written over, 5 for a page or
/// an export that cannot be written.
pub fn run_analyse(terms: &AnalyseTerms) -> Result<Exit, Failure> {
    let name = terms.log.display().to_string();
    let bad = |e: &LogError| Failure::bad_input(format!("{name}: {}", chain(e)), e.hint());
    let columns = Columns { time: terms.time_column.clone(), value: terms.value_column.clone() };
    refuse_writing_over(terms)?;
    let source: Box<dyn Read + Send> = if terms.log == Path::new("-") {
        Box::new(io::stdin())
    } else {
        Box::new(File::open(&terms.log).map_err(|e| bad(&LogError::NotRead(e)))?)
    };
    let mut export = terms.parquet.as_deref().map(Export::begin).transpose()?;
    let (described, rows) = match analysed(source, &columns, export.as_mut()) {
        Ok(outcome) => outcome,
        Err(e) => {
            export.into_iter().for_each(Export::give_up);
            return Err(bad(&e));
        }
    };
    export.map_or(Ok(()), Export::finish)?;
    let mut finding = described.finding;
    add_rows(&mut finding, &rows);
    if let Some(path) = &terms.html {
        let class = CLASSES.into_iter().find(|(class, ..)| Some(*class) == finding.nominal_volts);
        let page = render_output_page(&name, &finding, &described.trace, class);
        write_page(path, &page)?;
    }
    let text = if terms.json {
        result_line(&Finding::Output(Box::new(finding)))
    } else {
        render_output_summary(&name, &finding)
    };
    tell(&text)?;
    Ok(Exit::Done)
}

fn add_rows(finding: &mut OutputFinding, rows: &Rows) {
    finding.counts.broken_rows = rows.broken;
    if let Some((row, why)) = &rows.first_broken {
        let text =
            format!("broken rows left out: {}; the first is data row {row}: {why}", rows.broken);
        finding.warnings.push(visible(&text));
    }
}

/// The log itself is no place for a page or an export.
fn refuse_writing_over(terms: &AnalyseTerms) -> Result<(), Failure> {
    let Ok(log) = terms.log.canonicalize() else { return Ok(()) };
    for path in terms.html.iter().chain(&terms.parquet) {
        if path.canonicalize().is_ok_and(|path| path == log) {
            let message = format!("{}: that is the log itself", path.display());
            return Err(Failure::bad_input(message, "name another file to write to"));
        }
    }
    Ok(())
}

fn write_page(path: &Path, page: &str) -> Result<(), Failure> {
    std::fs::write(path, page).map_err(|e| {
        let message = format!("{}: page not written: {e}", path.display());
        Failure::new(Exit::RecordNotWritten, message, "name a file in a folder that is there")
    })
}

/// What goes from the reader to the analysis.
enum Batch {
    Readings(Vec<f64>, Vec<f64>),
    Overload(f64),
}

/// The reader's side: full batches out, empty ones back.
struct Handing {
    full: SyncSender<Batch>,
    empty: Receiver<(Vec<f64>, Vec<f64>)>,
}

impl Listener for Handing {
    fn readings(&mut self, t_s: &[f64], volts: &[f64]) {
        let (mut t, mut x) = self.empty.try_recv().unwrap_or_default();
        t.extend_from_slice(t_s);
        x.extend_from_slice(volts);
        // If the analysis is gone, so is the reason to read.
        let _ = self.full.send(Batch::Readings(t, x));
    }

    fn overload(&mut self, t_s: f64) {
        let _ = self.full.send(Batch::Overload(t_s));
    }
}

pub(super) fn analysed(
    source: impl Read + Send,
    columns: &Columns,
    mut export: Option<&mut Export>,
) -> Result<(Described, Rows), LogError> {
    let (full, arriving) = sync_channel(BATCHES);
    let (back, empty) = sync_channel(BATCHES);
    thread::scope(|scope| {
        let reader = scope.spawn(move || {
            let mut handing = Handing { full, empty };
            logbook::read(source, columns, Pace::Fast, &mut handing)
        });
        let mut analysis = Analysis::default();
        for batch in arriving {
            match batch {
                Batch::Readings(mut t, mut x) => {
                    analysis.extend(&t, &x);
                    if let Some(export) = export.as_mut() {
                        export.readings(&t, &x);
                    }
                    t.clear();
                    x.clear();
                    let _ = back.try_send((t, x));
                }
                Batch::Overload(t) => {
                    analysis.overload(t);
                    if let Some(export) = export.as_mut() {
                        export.overload(t);
                    }
                }
            }
        }
        match reader.join() {
            Ok(rows) => Ok((analysis.finish(), rows?)),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}
