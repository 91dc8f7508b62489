//! `coilmark fit`: what the operator said, what a log shows and what a job's record holds become
//! one checked fit; its finding goes to standard output, and into the job's record if there is one.
//! A flag outweighs the log, the log outweighs the record. Nothing is asked and nothing measured.

use super::analyse::analysed;
use super::failure::{Exit, Failure, chain};
use super::worked_out::{WorkedOut, result_line, tell};
use crate::event::{
    DriveState, Event, Finding, FitFinding, FitStart, IdentifyFinding, Latching, Origin,
    OutputFinding, PickUpFinding, RunTerms, Shape, Threshold, Verdict,
};
use crate::fit::RawFit;
use crate::journal::{self, FILE_NAME};
use crate::logbook::Columns;
use crate::report::render_fit_summary;
use std::fs::File;
use std::path::{Path, PathBuf};

pub use crate::fit::Material as ContactWord;

/// What a fit is given.
#[derive(Clone, Debug, Default)]
pub struct FitTerms {
    /// What the operator said.
    pub said: RawFit,
    /// A recorded log of the output.
    pub log: Option<PathBuf>,
    /// A job's folder, old or new.
    pub job: Option<PathBuf>,
    /// Print one JSON object.
    pub json: bool,
}

/// Says whether an output will hold a relay.
///
/// # Errors
/// [`Failure`] with exit 2 for a word, a log or a record that cannot be used, 5 where the record
/// cannot be written.
pub fn run_fit(terms: &FitTerms) -> Result<Exit, Failure> {
    let mut raw = terms.said.clone();
    raw.output.origin = Origin::Stated;
    raw.coil.origin = Origin::Stated;
    raw.coil.pick_up_origin = Origin::Stated;
    if let Some(log) = &terms.log {
        add_log(&mut raw, log)?;
    }
    if let Some(job) = &terms.job
        && job.join(FILE_NAME).symlink_metadata().is_ok()
    {
        add_job(&mut raw, job)?;
    }
    let fit = raw.check().map_err(|bad| Failure::bad_input(bad.to_string(), bad.hint()))?;
    let finding = fit.judge();
    let passed = finding.result == Verdict::Pass;
    let exit = if passed { Exit::Done } else { Exit::NotPassed };
    let text = if terms.json {
        result_line(&Finding::Fit(Box::new(finding.clone())))
    } else {
        render_fit_summary(&finding)
    };
    let report = terms.job.as_ref().map(|job| worked_out(terms, finding, exit).record(job));
    let report = match report.transpose()? {
        Some(page) if !terms.json => format!("report: {}\n", page.display()),
        _ => String::new(),
    };
    tell(&format!("{text}{report}"))?;
    Ok(exit)
}

fn worked_out(terms: &FitTerms, finding: FitFinding, exit: Exit) -> WorkedOut {
    let log = terms.log.as_ref().map(|log| crate::event::visible(&log.display().to_string()));
    WorkedOut {
        terms: RunTerms::Fit(FitStart { log }),
        simulated: finding.simulated,
        exit,
        reason: finding.reason.clone(),
        finding: Finding::Fit(Box::new(finding)),
    }
}

fn add_log(raw: &mut RawFit, log: &Path) -> Result<(), Failure> {
    let name = log.display().to_string();
    let bad = |problem: String, hint: &str| Failure::bad_input(format!("{name}: {problem}"), hint);
    let file = File::open(log).map_err(|e| {
        bad(e.to_string(), "name a log that is there, as coilmark analyse takes it")
    })?;
    let (described, _) =
        analysed(file, &Columns::default(), None).map_err(|e| bad(chain(&e), e.hint()))?;
    add_output(raw, &described.finding, Origin::Log)
        .map_err(|problem| bad(problem.into(), "log the output through an alarm"))
}

/// What an output's finding adds to what was said.
fn add_output(
    raw: &mut RawFit,
    finding: &OutputFinding,
    origin: Origin,
) -> Result<(), &'static str> {
    let ends = [finding.alarm_volts_min, finding.alarm_volts_max];
    let (Some(a), Some(b), true) = (ends[0], ends[1], finding.shape != Shape::None) else {
        return Err("the output never came on in it");
    };
    let output = &mut raw.output;
    if output.volts_min.is_none() {
        output.origin = origin;
    }
    output.volts_min = output.volts_min.or(Some(a.abs().min(b.abs())));
    output.volts = output.volts.or(finding.alarm_volts.map(f64::abs));
    output.seen_volts_max = Some(a.abs().max(b.abs()));
    output.rest_volts = output.rest_volts.or(finding.rest_volts.map(f64::abs));
    if finding.shape == Shape::Pulsed {
        output.unresolved = finding.period_s.is_none() || finding.duty.is_none();
        output.period_s = output.period_s.or(finding.period_s);
        output.duty = output.duty.or(finding.duty);
    }
    output.held |= finding.shape == Shape::Held;
    raw.simulated |= finding.simulated;
    Ok(())
}

fn add_job(raw: &mut RawFit, job: &Path) -> Result<(), Failure> {
    let past = journal::read(job)?;
    for task in journal::tasks(&past.entries).iter().rev() {
        let celsius_unknown = task.start.is_none_or(|start| match &start.terms {
            RunTerms::Identify(terms) => terms.ambient_celsius.is_none(),
            _ => true,
        });
        for entry in task.entries.iter().rev() {
            match &entry.event {
                Event::ResultReached(Finding::Identify(finding)) => {
                    let drives = task.entries.iter().filter_map(|entry| match &entry.event {
                        Event::DriveChanged(DriveState::Energised { volts, .. }) => Some(*volts),
                        _ => None,
                    });
                    add_coil(raw, finding, drives, celsius_unknown);
                }
                Event::ResultReached(Finding::Output(finding))
                    if raw.output.volts_min.is_none() =>
                {
                    // An output that never came on says nothing here; an older log may.
                    let _ = add_output(raw, finding, Origin::Job);
                }
                Event::ResultReached(Finding::PickUp(finding)) => add_thresholds(raw, finding),
                _ => {}
            }
        }
    }
    Ok(())
}

/// Whether these are no pick-up and drop-out of one relay.
fn are_unlikely(up: &Threshold, down: &Threshold) -> bool {
    !(down.volts_20 > 0.01 && down.volts_20 < up.volts_20)
}

/// What a measurement of pick-up and drop-out adds, where neither was stated.
fn add_thresholds(raw: &mut RawFit, finding: &PickUpFinding) {
    let coil = &mut raw.coil;
    let stated = coil.pick_up_volts.is_some() || coil.drop_out_volts.is_some();
    let (Some(up), Some(down), false) = (finding.pick_up, finding.drop_out, stated) else { return };
    if are_unlikely(&up, &down) {
        return;
    }
    let percent = |value: &Threshold| (200.0 * value.volts_u / value.volts).min(50.0);
    coil.pick_up_volts = Some(up.volts_20);
    coil.drop_out_volts = Some(down.volts_20);
    coil.pick_up_percent = coil.pick_up_percent.or(Some(percent(&up).max(percent(&down))));
    coil.pick_up_origin = Origin::Job;
    raw.simulated |= finding.simulated;
}

/// What an identification adds: the first coil, and which drives moved its contacts. The ladder of
/// drives ends with the one that does.
fn add_coil(
    raw: &mut RawFit,
    finding: &IdentifyFinding,
    drives: impl Iterator<Item = f64>,
    celsius_unknown: bool,
) {
    let (Some(found), None) = (finding.coils.first(), raw.coil.ohms) else { return };
    raw.simulated |= finding.simulated;
    let coil = &mut raw.coil;
    coil.ohms = found.ohms;
    coil.ohms_u = found.ohms_u;
    coil.celsius_unknown = celsius_unknown;
    coil.origin = Origin::Job;
    coil.polarised = found.polarised;
    coil.rated_shares = found.rated_volts.iter().map(|share| (share.volts, share.p)).collect();
    let mut volts: Vec<f64> = drives.collect();
    volts.sort_by(f64::total_cmp);
    volts.dedup();
    let moved = finding.result == crate::event::Outcome::Identified;
    if let (true, Latching::No, Some(top)) = (moved, finding.latching, volts.pop()) {
        coil.moved_at_volts = Some(top);
        coil.still_at_volts = volts.pop();
    }
}
