//! Sets up the log of an output: words from the command line become checked terms and a guide, the
//! rest is the [`Station`]'s. A job that is there already gets one task more. A run that goes on
//! gets its guide here too, with the rows that its log holds and the log's time by wall clock: of
//! the time in between nothing else is left.

use super::failure::{Exit, Failure, chain};
use super::flag::{seconds_within, within};
use super::instrument::{Instrument, MeterTerms};
use super::stamp::folder_time;
use super::station::{Equipment, OperatorChoice, Station, kept_record};
use crate::event::{Event, LogNews, OutputStart, RunStart, RunTerms};
use crate::guide::Guide;
use crate::guide::output::{Output, Terms};
use crate::guide::settling::Settling;
use crate::journal::{LocalTime, Task};
use crate::logbook::{self, Columns, Listener, Pace};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// What `output` is given.
#[derive(Clone, Debug)]
pub struct OutputTerms {
    /// The meter.
    pub meter: MeterTerms,
    /// The output's nominal voltage, in volts.
    pub nominal_volts: Option<f64>,
    /// The log ends this long after the alarm.
    pub log_for: Duration,
    /// The log ends once the output has been off for this long.
    pub guard: Duration,
    /// The job folder.
    pub job: Option<PathBuf>,
    /// The operator.
    pub operator: OperatorChoice,
}

/// Finds out what an output does.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn run_output(terms: &OutputTerms) -> Result<Exit, Failure> {
    let (station, start) = begin(terms)?;
    station.run(start)
}

/// Makes it ready to run.
pub(super) fn begin(terms: &OutputTerms) -> Result<(Station, RunStart), Failure> {
    let start = checked_start(terms)?;
    let meter = Instrument::find(&terms.meter)?;
    let job = terms.job.clone().unwrap_or_else(|| format!("output-{}", folder_time()).into());
    let (journal, past) = kept_record(&job)?;
    let guide =
        Box::new(Output::new(guide_terms(start, meter.is_simulated(), terms.operator, false)));
    let begin = meter.start(RunTerms::Output(start), &past);
    let (equipment, operator) = (Equipment::Meter(Box::new(meter)), terms.operator);
    Ok((Station { job, journal, guide, equipment, supply: None, operator }, begin))
}

fn checked_start(terms: &OutputTerms) -> Result<OutputStart, Failure> {
    let nominal = terms.nominal_volts.map(|volts| within("--nominal", volts, 1.0, 60.0));
    Ok(OutputStart {
        nominal_volts: nominal.transpose()?,
        for_s: seconds_within("--for", terms.log_for, 1.0, 604_800.0)?,
        guard_s: seconds_within("--guard", terms.guard, 0.5, 3600.0)?,
    })
}

fn guide_terms(
    start: OutputStart,
    simulated: bool,
    operator: OperatorChoice,
    accept_meter: bool,
) -> Terms {
    Terms {
        start,
        simulated,
        // Longer than for a touch: an output at rest may still be falling.
        settling: Settling { dwell: Duration::from_millis(500), ..Settling::default() },
        hands_free: operator.is_a_person(),
        accept_meter,
        goes_on_at_s: 0.0,
    }
}

/// The guide that goes on with this task, with what its log holds.
pub(super) fn guide_going_on(
    begun: &RunStart,
    start: OutputStart,
    task: &Task<'_>,
    job: &Path,
    operator: OperatorChoice,
    accept_meter: bool,
    now: LocalTime,
) -> Result<Box<dyn Guide>, Failure> {
    let mut terms = guide_terms(start, begun.simulated, operator, accept_meter);
    let Some((file, t_s)) = log_of(task, now) else { return Ok(Box::new(Output::new(terms))) };
    terms.goes_on_at_s = t_s;
    let mut rows = Recalled { guide: Output::new(terms) };
    let log = logbook::open_whole(job, &file)?;
    if log.limit() == 0 {
        return Ok(Box::new(rows.guide));
    }
    match logbook::read(log, &Columns::default(), Pace::Fast, &mut rows) {
        // Cut off before its first row.
        Ok(_) | Err(logbook::LogError::Empty) => Ok(Box::new(rows.guide)),
        Err(error) => Err(Failure::bad_input(
            format!("{}: {}", job.join(file).display(), chain(&error)),
            "put the log back as it was, or begin a new one: coilmark output --job",
        )),
    }
}

/// The newest log of a task, and what time it is on its clock now: its own time when it was last
/// opened, and the wall time since.
fn log_of(task: &Task<'_>, now: LocalTime) -> Option<(String, f64)> {
    let opened = task.entries.iter().rev().find_map(|entry| match &entry.event {
        Event::Logged(LogNews::Opened { file, t_s, .. }) => Some((entry.at, file, *t_s)),
        _ => None,
    });
    let (at, file, t_s) = opened?;
    let since = now.instant().duration_since(at.instant()).as_secs_f64();
    Some((file.clone(), t_s + since.max(0.0)))
}

/// A guide that is told the rows of its log.
struct Recalled {
    guide: Output,
}

impl Listener for Recalled {
    fn readings(&mut self, t_s: &[f64], volts: &[f64]) {
        for (t_s, volts) in t_s.iter().zip(volts) {
            self.guide.recall(*t_s, Some(*volts));
        }
    }

    fn overload(&mut self, t_s: f64) {
        self.guide.recall(t_s, None);
    }
}
