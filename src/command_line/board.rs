//! The words of a board's test, and of making a plan for it. `board plan` prints a plan; without
//! it, `board` tests. Which of both it is follows from whether there is the word `plan`, not from
//! which flags there are. Each becomes the terms of the same name; what they mean together is the
//! run's to check.

use super::meter::{Meter, OperatorWord};
use clap::error::Error;
use clap::{ArgMatches, Args, Command, FromArgMatches};
use coilmark::run::{self, BoardTerms, Exit, Failure, PlanSource};
use std::path::PathBuf;

/// The word that makes a plan instead of a test.
const PLAN: &str = "plan";

pub(super) enum Board {
    /// Print a plan.
    Plan(PlanWords),
    /// Test boards.
    Test(Box<(Meter, Test)>),
}

impl Args for Board {
    fn augment_args(command: Command) -> Command {
        let plan =
            Command::new(PLAN).about("Print a plan, to be kept in a file and changed by hand");
        Test::augment_args(Meter::augment_args(command))
            .subcommand(PlanWords::augment_args(plan))
            .args_conflicts_with_subcommands(true)
            .subcommand_negates_reqs(true)
    }

    fn augment_args_for_update(command: Command) -> Command {
        Self::augment_args(command)
    }
}

impl FromArgMatches for Board {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, Error> {
        if let Some(matches) = matches.subcommand_matches(PLAN) {
            return Ok(Self::Plan(PlanWords::from_arg_matches(matches)?));
        }
        let (meter, test) = (Meter::from_arg_matches(matches)?, Test::from_arg_matches(matches)?);
        Ok(Self::Test(Box::new((meter, test))))
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

#[derive(Args)]
pub(super) struct PlanWords {
    /// From the job folder of a relay that was identified
    #[arg(long, value_name = "DIR", required_unless_present = "like")]
    job: Option<PathBuf>,
    /// A built-in plan: changeover-12v or make-24v
    #[arg(long, value_name = "NAME", conflicts_with = "job")]
    like: Option<String>,
}

#[derive(Args)]
pub(super) struct Test {
    /// The plan: a file, or a built-in one (changeover-12v, make-24v)
    #[arg(long, value_name = "FILE|NAME")]
    plan: PathBuf,
    /// The board's serial number [default: it is asked for]
    #[arg(long, value_name = "TEXT")]
    serial: Option<String>,
    /// Ask for the next serial number after each board
    #[arg(long)]
    batch: bool,
    /// A programmable supply that drives the input, within the plan's limits: serial:PATH,
    /// tcp:HOST:PORT, usbtmc:PATH or sim: (with a simulated meter); manual asks a person
    /// [default: manual]
    #[arg(long, value_name = "LINK")]
    drive: Option<String>,
    /// Who tests, for the record
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Temperature of the board, to state a winding's ohms at 20 degrees, in degrees Celsius
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    ambient_celsius: Option<f64>,
    /// The folder for the record and the report; one that holds boards is gone on with, and a
    /// serial number that failed there has only what failed repeated [default: boards-DATE-TIME]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Who is asked
    #[arg(long, value_enum, default_value_t = OperatorWord::Lines)]
    operator: OperatorWord,
}

/// Does what the words say.
pub(super) fn obey(words: Board) -> Result<Exit, Failure> {
    match words {
        Board::Plan(w) => match (w.job, w.like) {
            (Some(job), _) => run::run_board_plan(&PlanSource::Job(job)),
            (None, name) => run::run_board_plan(&PlanSource::BuiltIn(name.unwrap_or_default())),
        },
        Board::Test(test) => run::run_board(&terms(*test)),
    }
}

/// The terms of a test, if these are a test's words.
pub(super) fn tested(words: Board) -> Option<BoardTerms> {
    match words {
        Board::Plan(_) => None,
        Board::Test(test) => Some(terms(*test)),
    }
}

fn terms((meter, w): (Meter, Test)) -> BoardTerms {
    BoardTerms {
        meter: meter.into(),
        plan: w.plan,
        serial: w.serial,
        batch: w.batch,
        drive: w.drive,
        by: w.by,
        ambient_celsius: w.ambient_celsius,
        job: w.job,
        operator: w.operator.into(),
    }
}
