//! The words of the command line, checked as far as a word by itself can be; what they mean
//! together is the run's to check. Flags carry units, and every help text is one a technician
//! can act on. Nothing is done here: each command is one call into [`coilmark::run`].

mod analyse;
mod bench;
mod board;
mod defaults;
mod fit;
mod guidance;
mod history;
mod identify;
mod job;
mod meter;
mod meters;
mod operate;
mod output;
mod papers;
mod pickup;
mod topics;
mod zone;

use analyse::Analyse;
use bench::Bench;
use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use coilmark::run::{self, Exit, Failure, Rendering, Settings};
use fit::Fit;
use guidance::{Completions, Help, Manual};
use identify::{Identify, Resume};
use job::Job;
use meters::Meters;
use output::Output;
use papers::{Demo, Report, SchemaWords, Sign, Verify};
use pickup::PickUp;
use zone::Zone;

/// The longest message about a word, in characters: the word may be of any length.
const MESSAGE_MAX: usize = 600;

/// Identifies unmarked relays pin by pin with one multimeter, and hands over a dated report.
#[derive(Parser)]
#[command(name = "coilmark", version, disable_help_subcommand = true)]
#[command(after_help = "Exit codes: 0 done or identified; 1 undecided, or a limit failed; 2 bad \
    invocation or file; 3 instrument or link; 4 stopped by the operator; 5 record not written.\n\n\
    Start with `coilmark demo`: no hardware, no questions, under half a minute.")]
struct Words {
    #[command(subcommand)]
    command: Option<Command>,
    /// Say more on standard error (repeat for still more)
    #[arg(long, short, global = true, action = clap::ArgAction::Count)]
    verbose: u8,
}

#[derive(Subcommand)]
enum Command {
    /// Show the whole thing on a simulated bench: no hardware, no questions
    Demo(Demo),
    /// List the ports a meter may be on, and what answers on the one you name
    Meters(Meters),
    /// Lead through a whole job, step after step, to the record that is handed over
    Job(Job),
    /// Find out which pin of an unmarked relay is what
    Identify(Identify),
    /// Log a switched output through rest, alarm and the end of its window
    Output(Output),
    /// Test relay boards against a plan, one after another; `board plan` makes one
    Board(board::Board),
    /// Look back over many boards: list, yields, failures, capability, drift, export
    History(history::History),
    /// Say what a switched output does, from a recorded log of its volts
    Analyse(Analyse),
    /// Say whether this output will hold this relay: hot, on a low battery, at the cable's end
    Fit(Box<Fit>),
    /// Measure pick-up and drop-out by ramps, with a contact as witness
    Pickup(Box<PickUp>),
    /// A zone loop: work it out, prove it at the panel, draw it, learn a panel, find numbers
    #[command(subcommand)]
    Zone(Box<Zone>),
    /// Go on with a run that was interrupted
    Resume(Resume),
    /// Render the reports of a job again, from its record alone
    Report(Report),
    /// Check that the record of a job is whole and unchanged
    Verify(Verify),
    /// Sign the record of a job with a key of your own
    Sign(Sign),
    /// Run the simulated instruments by themselves, on a pseudo-terminal or TCP
    Bench(Bench),
    /// Print the JSON Schema of something machine-readable
    Schema(SchemaWords),
    /// Show which settings are in force, and where they are from
    Settings,
    /// Explain a command, or a word of the trade
    Help(Help),
    /// Print completions for a shell
    Completions(Completions),
    /// Write manual pages
    Manual(Manual),
}

/// Reads the command line and does what it says.
pub fn obey() -> (Exit, Option<Failure>) {
    let found = Settings::read().and_then(|settings| Ok((defaults::applied(&settings)?, settings)));
    let (command, settings) = match found {
        Ok(found) => found,
        Err(failure) => return (failure.exit, Some(failure)),
    };
    let matches = command.try_get_matches();
    let words = match matches.and_then(|matches| Words::from_arg_matches(&matches)) {
        Ok(words) => words,
        Err(error) => return unparsed(&error),
    };
    let Some(command) = words.command else { return (guidance::first(), None) };
    log_to_stderr(words.verbose);
    let outcome = match command {
        Command::Demo(w) => {
            run::run_demo(w.job, w.seed, &|step, words| job::understood(&settings, step, words))
        }
        Command::Meters(w) => run::run_meters(&w.into()),
        Command::Job(w) => {
            run::run_job(&w.into(), &|step, words| job::understood(&settings, step, words))
        }
        Command::Identify(w) => run::run_identify(&w.into()),
        Command::Output(w) => run::run_output(&w.into()),
        Command::Board(w) => board::obey(w),
        Command::History(w) => run::run_history(&w.into()),
        Command::Analyse(w) => run::run_analyse(&w.into()),
        Command::Fit(w) => run::run_fit(&(*w).into()),
        Command::Pickup(w) => run::run_pickup(&(*w).into()),
        Command::Zone(w) => match *w {
            Zone::Design(w) => run::run_zone_design(&w.into()),
            Zone::Check(w) => run::run_zone_check(&w.into()),
            Zone::Draw(w) => run::run_zone_draw(&w.into()),
            Zone::Learn(w) => run::run_zone_learn(&w.into()),
            Zone::Number(w) => run::run_zone_number(&w.into()),
        },
        Command::Resume(w) => run::resume(&w.into()),
        Command::Report(w) => {
            let rendering = if w.json { Rendering::Json } else { Rendering::Files };
            match &w.against {
                Some(older) => run::render_against(older, &w.job, rendering),
                None => run::render_report(&w.job, rendering),
            }
        }
        Command::Verify(w) => run::verify(&w.job, w.signer.as_deref()),
        Command::Sign(w) => match (w.job, w.key, w.new_key) {
            (Some(job), Some(key), _) => run::sign(&job, &key),
            (_, _, Some(file)) => run::make_keys(&file),
            _ => Ok(Exit::BadInput),
        },
        Command::Bench(w) => run::run_bench(&w.into()),
        Command::Schema(w) => run::show_schema(w.name.into()),
        Command::Settings => run::show_settings(&settings),
        Command::Help(w) => guidance::help(&w, Words::command()),
        Command::Completions(w) => Ok(guidance::completions(&w, Words::command())),
        Command::Manual(w) => guidance::manual(&w, Words::command()),
    };
    match outcome {
        Ok(exit) => (exit, None),
        Err(failure) => (failure.exit, Some(failure)),
    }
}

/// Help and the version are shown as they are; a refusal becomes one message and one hint.
fn unparsed(error: &clap::Error) -> (Exit, Option<Failure>) {
    if !error.use_stderr() {
        let _ = error.print();
        return (Exit::Done, None);
    }
    (Exit::BadInput, Some(refusal(&error.render().to_string())))
}

/// From a message with tips, usage and advice in lines of their own.
fn refusal(text: &str) -> Failure {
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    let told =
        lines.take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more"));
    let (tips, message): (Vec<&str>, Vec<&str>) = told.partition(|line| line.starts_with("tip: "));
    let message = message.join(" ");
    let message = shortened(message.strip_prefix("error: ").unwrap_or(&message));
    let asked = std::env::args().nth(1).unwrap_or_default();
    let help = match Words::command().find_subcommand(&asked) {
        Some(command) => format!("`coilmark {} --help` shows its words", command.get_name()),
        None => "`coilmark --help` shows all commands".to_owned(),
    };
    let tip = tips.first().and_then(|tip| tip.strip_prefix("tip: "));
    Failure::bad_input(message, tip.map_or(help.clone(), |tip| format!("{tip}; {help}")))
}

/// A long value is cut out of its middle: the flag and the reason stand at the ends.
fn shortened(message: &str) -> String {
    let letters: Vec<char> = message.chars().collect();
    let Some(too_many) = letters.len().checked_sub(MESSAGE_MAX).filter(|n| *n > 0) else {
        return message.to_owned();
    };
    let head = MESSAGE_MAX / 3;
    let (head, tail) = (letters.get(..head), letters.get(head + too_many..));
    let text = |part: Option<&[char]>| part.unwrap_or_default().iter().collect::<String>();
    format!("{} ... {}", text(head), text(tail))
}

fn log_to_stderr(verbose: u8) {
    let level = match verbose {
        0 => tracing::Level::ERROR,
        1 => tracing::Level::INFO,
        2 => tracing::Level::DEBUG,
        _ => tracing::Level::TRACE,
    };
    let _ = tracing_subscriber::fmt()
        .with_max_level(level)
        .with_writer(std::io::stderr)
        .without_time()
        .try_init();
}
