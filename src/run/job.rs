//! `coilmark job`: leads through the steps of a job, one after another, on one folder. Each step is
//! a talk, and a run of the command that does it alone as well; what is done, stale or open is read
//! from the record between two steps, so that nothing is kept anywhere else. The words of a step
//! come from the job sheet; what they mean is for the command line to say.

use super::board::{self, BoardTerms};
use super::failure::{Exit, Failure};
use super::fit::{FitTerms, run_fit};
use super::identify::{self, IdentifyTerms};
use super::output::{self, OutputTerms};
use super::resume::{ResumeTerms, go_on};
use super::seat::Seat;
use super::sheet::Sheet;
use super::station::{Equipment, OperatorChoice, Station, kept_record};
use super::worked_out::tell;
use super::zone::{ZoneDesignTerms, run_zone_design};
use super::zone_check::{self, ZoneCheckTerms};
use super::{MeterTerms, job_topics};
use crate::event::{Ask, Event, JobStart, JobStep, RunStart, RunTerms, VERSION};
use crate::guide::job::{Talk, Terms, Topic};
use crate::journal::{self, Entry, FILE_NAME, JobState, StepStatus};
use crate::report::render_job_summary;
use std::path::{Path, PathBuf};

/// What `job` is given.
#[derive(Clone, Debug)]
pub struct JobTerms {
    /// The job folder, old or new.
    pub job: PathBuf,
    /// A job sheet; without one the words in the record hold.
    pub sheet: Option<PathBuf>,
    /// This step alone, even if it is done already.
    pub step: Option<JobStep>,
    /// Only say how the job stands.
    pub list: bool,
    /// Say it as one JSON object.
    pub json: bool,
    /// The meter of every step that does not name its own.
    pub meter: Option<String>,
    /// Its profile.
    pub profile: Option<String>,
    /// The supply that drives.
    pub drive: Option<String>,
    /// The operator.
    pub operator: OperatorChoice,
}

/// A step's words, understood.
#[derive(Clone, Debug)]
pub enum StepTerms {
    /// Of `output`.
    Output(OutputTerms),
    /// Of `identify`.
    Relay(IdentifyTerms),
    /// Of `fit`.
    Fit(Box<FitTerms>),
    /// Of `zone design`.
    Loop(ZoneDesignTerms),
    /// Of `board`.
    Board(BoardTerms),
    /// Of `zone check`.
    Zone(ZoneCheckTerms),
}

/// How the words of a step become its terms.
pub type Wording<'a> = &'a dyn Fn(JobStep, &[String]) -> Result<StepTerms, Failure>;

/// Leads through a job, or says how it stands.
///
/// # Errors
/// [`Failure`] with its exit code; what was done until then is in the record.
pub fn run_job(terms: &JobTerms, wording: Wording<'_>) -> Result<Exit, Failure> {
    let state = JobState::of(&entries(&terms.job)?);
    if terms.list {
        return list(&state, terms.json);
    }
    let sheet = match &terms.sheet {
        Some(file) => Sheet::load(file)?,
        None => Sheet { words: state.words, ..Sheet::default() },
    };
    lead(terms, sheet, wording)
}

/// Leads through a job with this sheet. Its words are understood before anything is asked, so that
/// a wrong one is known at the desk.
pub(super) fn lead(terms: &JobTerms, sheet: Sheet, wording: Wording<'_>) -> Result<Exit, Failure> {
    let mut lead = Lead { terms, wording, sheet, seat: Seat::new() };
    for step in lead.sheet.words.keys() {
        wording(*step, &lead.words(*step, Some("none")))?;
    }
    for step in JobStep::ALL {
        if terms.step.is_some_and(|only| only != step) {
            continue;
        }
        let past = entries(&terms.job)?;
        let state = JobState::of(&past);
        if terms.step.is_none() && state.status(step).is_settled() {
            continue;
        }
        let exit = lead.step(step, &past, &state)?;
        if !matches!(exit, Exit::Done | Exit::NotPassed) {
            return Ok(exit);
        }
    }
    let state = JobState::of(&entries(&terms.job)?);
    if terms.operator != OperatorChoice::Json {
        tell(&render_job_summary(&state))?;
    }
    let stands = match terms.step {
        Some(step) => state.status(step).stands(),
        None => state.stands(),
    };
    Ok(if stands { Exit::Done } else { Exit::NotPassed })
}

/// A job that is being led.
struct Lead<'a> {
    terms: &'a JobTerms,
    wording: Wording<'a>,
    sheet: Sheet,
    seat: Seat,
}

impl Lead<'_> {
    /// The words of a step: its own, and those that every step has in common. `meter` stands for
    /// one that is not known.
    fn words(&self, step: JobStep, meter: Option<&str>) -> Vec<String> {
        let mut words = self.sheet.words.get(&step).cloned().unwrap_or_default();
        let given = |words: &[String], flag: &str| {
            words.iter().any(|word| word.split('=').next() == Some(flag))
        };
        let mut add = |flag: &str, value: Option<&str>| {
            if let Some(value) = value
                && !given(&words, flag)
            {
                words.push(format!("{flag}={value}"));
            }
        };
        let measures =
            matches!(step, JobStep::Output | JobStep::Relay | JobStep::Board | JobStep::Zone);
        if measures {
            add("--meter", self.terms.meter.as_deref().or(meter));
            add("--profile", self.terms.profile.as_deref());
            add("--operator", Some(self.terms.operator.name()));
        }
        if matches!(step, JobStep::Relay | JobStep::Board) {
            add("--drive", self.terms.drive.as_deref());
        }
        add("--job", Some(&self.terms.job.display().to_string()));
        if step == JobStep::Relay && !given(&words, "--isolation") {
            words.push("--isolation".into());
        }
        let json = self.terms.operator == OperatorChoice::Json && !given(&words, "--json");
        if json && matches!(step, JobStep::Fit | JobStep::Loop) {
            words.push("--json".into());
        }
        words
    }

    /// A talk about a step, and the run of its command where it has one.
    fn step(&mut self, step: JobStep, past: &[Entry], state: &JobState) -> Result<Exit, Failure> {
        let of_command = self.sheet.words.contains_key(&step)
            || !matches!(step, JobStep::Site | JobStep::Board | JobStep::HandOver);
        if !of_command {
            let topics = job_topics::talk(step, state, past, &self.sheet.labels);
            return self.talk(step, topics, true);
        }
        let understood = (self.wording)(step, &self.words(step, None));
        let topic = match &understood {
            Err(problem) => job_topics::not_yet(step, problem),
            Ok(_) => job_topics::command(step, state),
        };
        let exit = self.talk(step, vec![topic], false)?;
        if exit != Exit::Done || was_skipped(&entries(&self.terms.job)?) {
            return Ok(exit);
        }
        self.command(understood?, state.status(step) == StepStatus::BrokenOff)
    }

    fn talk(&mut self, step: JobStep, topics: Vec<Topic>, settles: bool) -> Result<Exit, Failure> {
        let (journal, past) = kept_record(&self.terms.job)?;
        let obliging = self.terms.meter.as_deref().is_some_and(is_obliging);
        let words = RunTerms::Job(JobStart { step, words: self.sheet.words.clone() });
        let start = RunStart::without_meter(words, obliging, past.torn_bytes());
        let station = Station {
            job: self.terms.job.clone(),
            journal,
            guide: Box::new(Talk::new(Terms { step, topics, settles })),
            equipment: Equipment::Nothing { obliging },
            supply: None,
            operator: self.terms.operator,
        };
        station.run_at(&mut self.seat, start)
    }

    fn command(&mut self, terms: StepTerms, broken_off: bool) -> Result<Exit, Failure> {
        let seat = &mut self.seat;
        let going_on = |meter: MeterTerms, drive| ResumeTerms {
            job: self.terms.job.clone(),
            meter: Some(meter.link),
            drive,
            profile: meter.profile,
            reconnect_for: meter.reconnect_for,
            accept_meter: false,
            ease: meter.ease,
            operator: self.terms.operator,
        };
        let (station, start) = match terms {
            StepTerms::Output(t) if broken_off => {
                return go_on(&going_on(t.meter, None), Some("output"), seat);
            }
            StepTerms::Relay(t) if broken_off => {
                return go_on(&going_on(t.meter, t.drive), Some("identify"), seat);
            }
            StepTerms::Zone(t) if broken_off => {
                return go_on(&going_on(t.meter, None), Some("zone-check"), seat);
            }
            StepTerms::Output(t) => output::begin(&t)?,
            StepTerms::Relay(t) => identify::begin(&t)?,
            StepTerms::Zone(t) => zone_check::begin(&t)?,
            StepTerms::Fit(t) => return run_fit(&t),
            StepTerms::Loop(t) => return run_zone_design(&t),
            StepTerms::Board(t) => return board::run_at(&t, seat),
        };
        station.run_at(seat, start)
    }
}

/// What the record holds; nothing where there is none yet.
fn entries(job: &Path) -> Result<Vec<Entry>, Failure> {
    match job.join(FILE_NAME).symlink_metadata() {
        Ok(_) => Ok(journal::read(job)?.entries),
        Err(_) => Ok(Vec::new()),
    }
}

/// Says how the job stands.
fn list(state: &JobState, json: bool) -> Result<Exit, Failure> {
    let text = if json {
        format!("{}\n", serde_json::json!({ "v": VERSION, "job": state }))
    } else {
        render_job_summary(state)
    };
    tell(&text)?;
    Ok(Exit::Done)
}

/// Whether this meter is a simulated one whose hands answer by themselves.
fn is_obliging(meter: &str) -> bool {
    meter.starts_with("sim:") && meter.contains("hands=alone")
}

/// Whether the newest talk ended with a skip.
fn was_skipped(entries: &[Entry]) -> bool {
    let newest = entries.iter().rev().take_while(|e| !matches!(e.event, Event::RunStarted(_)));
    let mut newest = newest.map(|entry| &entry.event);
    newest.any(|event| matches!(event, Event::AskSkipped { ask: Ask::Step { .. } }))
}
