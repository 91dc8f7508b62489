//! The words of a whole job, and how the words of its steps are understood: each is parsed as if
//! its command had been called, so that a step has the flags, the defaults and the refusals of that
//! command and no others.

use super::meter::OperatorWord;
use super::zone::Zone;
use super::{Command, Words, board, defaults, refusal};
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use clap::{Args, FromArgMatches};
use coilmark::event::JobStep;
use coilmark::run::{Failure, JobTerms, Settings, StepTerms};
use std::path::PathBuf;

#[derive(Args)]
pub(super) struct Job {
    /// The job folder, old or new
    #[arg(value_name = "DIR")]
    job: PathBuf,
    /// The job sheet: labels of the site, and for each step the flags of its command; read again,
    /// it replaces the one before (`coilmark schema job` describes it)
    #[arg(long, value_name = "FILE.toml")]
    sheet: Option<PathBuf>,
    /// Only this step, even if it is done already
    #[arg(long, value_name = "STEP", value_parser = step_words())]
    step: Option<JobStep>,
    /// Only say what is done, stale or open
    #[arg(long)]
    list: bool,
    /// With --list: one JSON object
    #[arg(long, requires = "list")]
    json: bool,
    /// The meter of each step that does not name its own: serial:PATH[?baud=9600], tcp:HOST:PORT,
    /// usbtmc:PATH
    #[arg(long, value_name = "LINK")]
    meter: Option<String>,
    /// The meter's dialect: a shipped profile (scpi, ascii-lines, polled-lines) or a file
    #[arg(long, value_name = "NAME|FILE")]
    profile: Option<String>,
    /// A programmable supply that drives the coil [default: a person does]
    #[arg(long, value_name = "LINK")]
    drive: Option<String>,
    /// Who is asked
    #[arg(long, value_enum, default_value_t = OperatorWord::Lines)]
    operator: OperatorWord,
}

/// A step by its word.
fn step_words() -> impl TypedValueParser<Value = JobStep> {
    let words = JobStep::ALL.map(|step| PossibleValue::new(step.name()).help(step.title()));
    PossibleValuesParser::new(words).try_map(|word| {
        JobStep::ALL.into_iter().find(|step| step.name() == word).ok_or("no such step")
    })
}

impl From<Job> for JobTerms {
    fn from(w: Job) -> Self {
        Self {
            job: w.job,
            sheet: w.sheet,
            step: w.step,
            list: w.list,
            json: w.json,
            meter: w.meter,
            profile: w.profile,
            drive: w.drive,
            operator: w.operator.into(),
        }
    }
}

/// The command of a step, as it is typed.
const fn command(step: JobStep) -> &'static [&'static str] {
    match step {
        JobStep::Output => &["output"],
        JobStep::Relay => &["identify"],
        JobStep::Fit => &["fit"],
        JobStep::Loop => &["zone", "design"],
        JobStep::Board => &["board"],
        JobStep::Zone => &["zone", "check"],
        JobStep::Site | JobStep::HandOver => &[],
    }
}

/// Understands the words of a step.
pub(super) fn understood(
    settings: &Settings,
    step: JobStep,
    words: &[String],
) -> Result<StepTerms, Failure> {
    let typed = command(step).join(" ");
    let refused = |problem: &str| {
        let hint = format!("its keys are the flags of coilmark {typed}: see {typed} --help");
        Failure::bad_input(format!("[{}]: {problem}", step.name()), hint)
    };
    let argv = ["coilmark"].iter().chain(command(step)).map(|word| (*word).to_owned());
    let argv = argv.chain(words.iter().cloned());
    let matches = defaults::applied(settings)?.try_get_matches_from(argv);
    let words = matches.and_then(|matches| Words::from_arg_matches(&matches));
    let words =
        words.map_err(|error| refused(&refusal(&error.render().to_string()).to_string()))?;
    match words.command {
        Some(Command::Output(w)) => Ok(StepTerms::Output(w.into())),
        Some(Command::Identify(w)) => Ok(StepTerms::Relay(w.into())),
        Some(Command::Fit(w)) => Ok(StepTerms::Fit(Box::new((*w).into()))),
        Some(Command::Board(w)) => match board::tested(w) {
            Some(terms) => Ok(StepTerms::Board(terms)),
            None => Err(refused("a plan and a meter say by what and on what it is tested")),
        },
        Some(Command::Zone(w)) => match *w {
            Zone::Design(w) => Ok(StepTerms::Loop(w.into())),
            Zone::Check(w) => Ok(StepTerms::Zone(w.into())),
            _ => Err(refused("no such step")),
        },
        _ => Err(refused("no such step")),
    }
}
