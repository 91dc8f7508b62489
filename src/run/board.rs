//! Sets up tests of relay boards: a plan file becomes a checked plan and a guide, and a folder that
//! holds a batch already is gone on with, so that a board which failed has only those checks
//! repeated that did not pass. Plans are made here too, from an identified relay or a built-in one.
//! A bad plan ends with exit 2, its line or key, and a hint.

use super::drive::NamedSupply;
use super::failure::{Exit, Failure};
use super::flag::within;
use super::instrument::{Instrument, MeterTerms};
use super::seat::Seat;
use super::stamp::folder_time;
use super::station::{Equipment, OperatorChoice, Station, kept_record};
use crate::board::{BUILT_IN, Plan, from_identified};
use crate::event::{BoardPlan, BoardStart, Event, Finding, RunStart, RunTerms, visible};
use crate::guide::Guide;
use crate::guide::board::{Boards, Terms};
use crate::guide::settling::Settling;
use crate::journal::{self, tasks};
use crate::zone::complaint;
use std::path::{Path, PathBuf};

/// What `board` is given.
#[derive(Clone, Debug)]
pub struct BoardTerms {
    /// The meter.
    pub meter: MeterTerms,
    /// The plan: a file, or a built-in one by name.
    pub plan: PathBuf,
    /// The first board's serial number.
    pub serial: Option<String>,
    /// Whether the next serial number is asked for after each board.
    pub batch: bool,
    /// The link of a supply that drives; none, or `manual`: a person.
    pub drive: Option<String>,
    /// Who tests.
    pub by: Option<String>,
    /// Temperature of the board, in degrees Celsius.
    pub ambient_celsius: Option<f64>,
    /// The job folder.
    pub job: Option<PathBuf>,
    /// The operator.
    pub operator: OperatorChoice,
}

/// What a plan is made from.
#[derive(Clone, Debug)]
pub enum PlanSource {
    /// An identified relay's job.
    Job(PathBuf),
    /// A built-in plan by name.
    BuiltIn(String),
}

/// Tests boards.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn run_board(terms: &BoardTerms) -> Result<Exit, Failure> {
    run_at(terms, &mut Seat::new())
}

/// The same at this seat.
pub(super) fn run_at(terms: &BoardTerms, seat: &mut Seat) -> Result<Exit, Failure> {
    let start = checked_start(terms)?;
    let meter = Instrument::find(&terms.meter)?;
    let mut guide = guide(&start, meter.is_simulated(), terms.operator, false)?;
    let limits = &start.plan.supply;
    let mut supply =
        NamedSupply::find(terms.drive.as_deref(), &meter, limits.volts, limits.watts_max)?;
    let job = terms.job.clone().unwrap_or_else(|| format!("boards-{}", folder_time()).into());
    let (journal, past) = kept_record(&job)?;
    let mut run = meter.start(RunTerms::Board(Box::new(start.clone())), &past);
    if let Some(task) = tasks(&past.entries).iter().rev().find(|task| task.command() == "board") {
        same_plan(&job, task.start, &start)?;
        task.entries.iter().for_each(|entry| guide.apply(&entry.event));
        if let Some(supply) = &mut supply {
            supply.recall(&task.entries);
        }
        run.resumed = true;
    }
    let outcome = Station {
        job: job.clone(),
        journal,
        guide,
        equipment: Equipment::Meter(Box::new(meter)),
        supply,
        operator: terms.operator,
    }
    .run_at(seat, run);
    if job.join(journal::FILE_NAME).is_file() {
        super::history::take_in(&job);
    }
    outcome
}

/// Makes a plan and prints it.
///
/// # Errors
/// [`Failure`] where there is nothing to make it from.
pub fn run_board_plan(source: &PlanSource) -> Result<Exit, Failure> {
    let text = match source {
        PlanSource::BuiltIn(name) => built_in(name)?.to_owned(),
        PlanSource::Job(job) => {
            let plan = from_job(job)?;
            let text = toml::to_string(&plan).map_err(|error| {
                Failure::bad_input(
                    format!("the plan: {error}"),
                    "this is a defect: please report it",
                )
            })?;
            format!(
                "# Made from {}. Limits are those that catalogues usually state;\n# put the numbers \
                 of the part's own data sheet in where you have them.\n{text}",
                visible(&job.display().to_string())
            )
        }
    };
    print!("{text}");
    Ok(Exit::Done)
}

/// The guide for these terms; closed placements announce themselves only where a person watches.
pub(super) fn guide(
    start: &BoardStart,
    simulated: bool,
    operator: OperatorChoice,
    accept_meter: bool,
) -> Result<Box<dyn Guide>, Failure> {
    Ok(Box::new(Boards::new(Terms {
        start: start.clone(),
        plan: checked(start.plan.clone(), "the plan in the record")?,
        simulated,
        settling: Settling::default(),
        hands_free: operator.is_a_person(),
        accept_meter,
    })))
}

fn checked_start(terms: &BoardTerms) -> Result<BoardStart, Failure> {
    let plan = load(&terms.plan)?;
    if let Some(celsius) = terms.ambient_celsius {
        within("--ambient-celsius", celsius, -40.0, 85.0)?;
    }
    for (flag, text) in [("serial", &terms.serial), ("by", &terms.by)] {
        let Some(text) = text else { continue };
        if text.trim() != text
            || text.is_empty()
            || text.chars().count() > 40
            || visible(text) != *text
        {
            let shown: String = visible(text).chars().take(40).collect();
            let hint = "1 to 40 characters that can be seen, no space at the ends";
            return Err(Failure::bad_input(format!("--{flag} `{shown}` cannot be used"), hint));
        }
    }
    Ok(BoardStart {
        plan,
        serial: terms.serial.clone(),
        batch: terms.batch,
        by: terms.by.clone(),
        ambient_celsius: terms.ambient_celsius,
    })
}

/// A plan from a file, or a built-in one where there is no such file.
fn load(file: &Path) -> Result<BoardPlan, Failure> {
    let shown = visible(&file.display().to_string());
    let text = match drivers::read_text(file, drivers::WORDS_AT_MOST) {
        Ok(text) => text,
        Err(error) => match file.to_str().and_then(|name| built_in(name).ok()) {
            Some(text) => text.to_owned(),
            None => {
                let hint = format!("make one: `coilmark board plan --like {}`", BUILT_IN[0].0);
                return Err(Failure::bad_input(format!("{shown}: cannot be read: {error}"), hint));
            }
        },
    };
    let plan: BoardPlan = toml::from_str(&text).map_err(|error| {
        let told = complaint(&text, &error, "`coilmark schema plan` describes every key");
        let at = told.line.map_or(String::new(), |line| format!(":{line}"));
        Failure::bad_input(format!("{shown}{at}: {}", visible(&told.problem)), told.hint)
    })?;
    checked(plan.clone(), &shown)?;
    Ok(plan)
}

fn checked(plan: BoardPlan, file: &str) -> Result<Plan, Failure> {
    Plan::new(plan).map_err(|bad| {
        let hint = "`coilmark schema plan` describes every key; `coilmark board plan` makes one";
        Failure::bad_input(format!("{file}: {}", visible(&bad.to_string())), hint)
    })
}

fn built_in(name: &str) -> Result<&'static str, Failure> {
    let found = BUILT_IN.iter().find(|(known, _)| *known == name);
    found.map(|(_, text)| *text).ok_or_else(|| {
        let known: Vec<&str> = BUILT_IN.iter().map(|(name, _)| *name).collect();
        let shown: String = visible(name).chars().take(40).collect();
        let hint = format!("there are {}", known.join(" and "));
        Failure::bad_input(format!("no built-in plan `{shown}`"), hint)
    })
}

fn from_job(job: &Path) -> Result<BoardPlan, Failure> {
    let past = journal::read(job)?;
    let shown = visible(&job.display().to_string());
    let mut pins = None;
    let mut finding = None;
    for entry in &past.entries {
        match &entry.event {
            Event::RunStarted(RunStart { terms: RunTerms::Identify(start), .. }) => {
                pins = Some(start.pins.clone());
            }
            Event::ResultReached(Finding::Identify(found)) => finding = Some(found),
            _ => {}
        }
    }
    let (Some(pins), Some(finding)) = (pins, finding) else {
        return Err(Failure::bad_input(
            format!("{shown}: no identification ended here"),
            "identify a relay first: coilmark identify --job with a new folder",
        ));
    };
    from_identified(finding, &pins).map_err(|why| {
        let hint = "`coilmark board plan --like NAME` gives a plan to change by hand";
        Failure::bad_input(format!("{shown}: no plan can be made: {why}"), hint)
    })
}

fn same_plan(job: &Path, begun: Option<&RunStart>, now: &BoardStart) -> Result<(), Failure> {
    match begun.map(|start| &start.terms) {
        Some(RunTerms::Board(begun)) if begun.plan != now.plan => Err(Failure::bad_input(
            format!(
                "{}: this batch was begun with another plan, `{}` edition {}",
                visible(&job.display().to_string()),
                visible(&begun.plan.name),
                visible(&begun.plan.revision)
            ),
            "use a new folder for another plan",
        )),
        _ => Ok(()),
    }
}
