//! The words of a board's test, and of making a plan for it. `board plan` prints a plan; without
//! it, `board` tests. Each becomes the terms of the same name; what they mean together is the
//! run's to check.

use super::meter::{Meter, OperatorWord};
use clap::{Args, Subcommand};
use coilmark::run::{self, BoardTerms, Exit, Failure, PlanSource};
use std::path::PathBuf;

#[derive(Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub(super) struct Board {
    #[command(subcommand)]
    other: Option<Other>,
    #[command(flatten)]
    meter: Option<Meter>,
    #[command(flatten)]
    test: Option<Test>,
}

#[derive(Subcommand)]
enum Other {
    /// Print a plan, to be kept in a file and changed by hand
    Plan(PlanWords),
}

#[derive(Args)]
struct PlanWords {
    /// From the job folder of a relay that was identified
    #[arg(long, value_name = "DIR", required_unless_present = "like")]
    job: Option<PathBuf>,
    /// A built-in plan: changeover-12v or make-24v
    #[arg(long, value_name = "NAME", conflicts_with = "job")]
    like: Option<String>,
}

#[derive(Args)]
struct Test {
    /// The plan: a file, or a built-in one (changeover-12v, make-24v)
    #[arg(long, value_name = "FILE|NAME")]
    plan: PathBuf,
    /// The board's serial number [default: it is asked for]
    #[arg(long, value_name = "TEXT")]
    serial: Option<String>,
    /// Ask for the next serial number after each board
    #[arg(long)]
    batch: bool,
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
    match (words.other, words.meter.zip(words.test)) {
        (Some(Other::Plan(w)), _) => match (w.job, w.like) {
            (Some(job), _) => run::run_board_plan(&PlanSource::Job(job)),
            (None, name) => run::run_board_plan(&PlanSource::BuiltIn(name.unwrap_or_default())),
        },
        (None, Some((meter, test))) => run::run_board(&terms(meter, test)),
        (None, None) => Err(Failure::bad_input(
            "board: --meter and --plan say on what and by what it is tested",
            "`coilmark board --help` shows its words",
        )),
    }
}

/// The terms of a test, if these are a test's words.
pub(super) fn tested(words: Board) -> Option<BoardTerms> {
    let (meter, test) = words.meter.zip(words.test).filter(|_| words.other.is_none())?;
    Some(terms(meter, test))
}

fn terms(meter: Meter, w: Test) -> BoardTerms {
    BoardTerms {
        meter: meter.into(),
        plan: w.plan,
        serial: w.serial,
        batch: w.batch,
        by: w.by,
        ambient_celsius: w.ambient_celsius,
        job: w.job,
        operator: w.operator.into(),
    }
}
