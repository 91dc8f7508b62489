//! The words of the command line, checked as far as a word by itself can be; what they mean
//! together is the run's to check. Flags carry units, and every help text is one a technician
//! can act on. Nothing is done here: each command is one call into [`coilmark::run`].

use clap::error::ErrorKind;
use clap::{Args, CommandFactory, Parser, Subcommand, ValueEnum};
use coilmark::event::Pins;
use coilmark::run::{
    self, AnalyseTerms, BenchTerms, Exit, Failure, IdentifyTerms, MeterTerms, OperatorChoice,
    Rendering, ResumeTerms, Schema,
};
use std::path::PathBuf;
use std::time::Duration;

/// The longest message about a word, in characters: the word may be of any length.
const MESSAGE_MAX: usize = 600;

/// Identifies unmarked relays pin by pin with one multimeter, and hands over a dated report.
#[derive(Parser)]
#[command(name = "coilmark", version, arg_required_else_help = true)]
#[command(after_help = "Exit codes: 0 done or identified; 1 undecided, or a limit failed; 2 bad \
    invocation or file; 3 instrument or link; 4 stopped by the operator; 5 record not written.\n\n\
    Start with `coilmark demo`: no hardware, no questions, under half a minute.")]
struct Words {
    #[command(subcommand)]
    command: Command,
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
    /// Find out which pin of an unmarked relay is what
    Identify(Identify),
    /// Say what a switched output does, from a recorded log of its volts
    Analyse(Analyse),
    /// Go on with an identification that was interrupted
    Resume(Resume),
    /// Render the reports of a job again, from its record alone
    Report(Report),
    /// Check that the record of a job is whole and unchanged
    Verify(Verify),
    /// Run the simulated instruments by themselves, on a pseudo-terminal or TCP
    Bench(Bench),
    /// Print the JSON Schema of something machine-readable
    Schema(SchemaWords),
}

#[derive(Args)]
struct Demo {
    /// Where to keep the record and the report [default: a new temporary folder]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Seed of everything that varies on the simulated bench
    #[arg(long, value_name = "N", default_value_t = 7)]
    seed: u64,
}

#[derive(Args)]
struct Meters {
    /// Ask what answers here: serial:PATH[?baud=9600], tcp:HOST:PORT or usbtmc:PATH. Nothing is
    /// written to any other port
    #[arg(long = "try", value_name = "LINK")]
    try_link: Option<String>,
    /// The meter's dialect: a shipped profile or a file
    #[arg(long, value_name = "NAME|FILE", default_value = "scpi")]
    profile: String,
    /// Print one JSON object instead of lines
    #[arg(long)]
    json: bool,
}

#[derive(Args)]
struct Meter {
    /// The meter: serial:PATH[?baud=9600], tcp:HOST:PORT, usbtmc:PATH, or sim:RELAY.toml
    #[arg(long, value_name = "LINK")]
    meter: String,
    /// The meter's dialect: a shipped profile (scpi, ascii-lines, polled-lines) or a file
    #[arg(long, value_name = "NAME|FILE")]
    profile: Option<String>,
    /// How long to try to get a lost link back
    #[arg(long, value_name = "TIME", default_value = "30s", value_parser = duration)]
    reconnect_for: Duration,
    /// Write every byte on the link to this file, to be replayed later
    #[arg(long, value_name = "FILE")]
    trace_link: Option<PathBuf>,
}

#[derive(Clone, Copy, ValueEnum)]
enum OperatorWord {
    /// Plain lines of text
    Lines,
    /// One JSON object a line, for scripts and switch matrices
    Json,
}

#[derive(Args)]
struct Identify {
    #[command(flatten)]
    meter: Meter,
    /// The pins: a number (8 names them 1 to 8) or labels (A,B,C,D); 2 to 16
    #[arg(long, value_name = "N|LABELS")]
    pins: Pins,
    /// How the pins stand, as you look at them: rows (4+4, 7+7, 2-1-2) or a ring (`8 round`)
    #[arg(long, value_name = "SHAPE")]
    footprint: Option<String>,
    /// How a footprint of rows is numbered
    #[arg(long, value_enum, default_value_t = NumberingWord::Rows)]
    numbering: NumberingWord,
    /// Probability at which the search ends and the proof begins
    #[arg(long, value_name = "P", default_value_t = 0.9999)]
    confidence: f64,
    /// Never ask for a drive above this, in volts
    #[arg(long, value_name = "VOLTS", default_value_t = 24.0)]
    volts_max: f64,
    /// Never ask for a drive above this power in the coil as measured, in watts
    #[arg(long, value_name = "WATTS", default_value_t = 3.0)]
    coil_watts_max: f64,
    /// Temperature of the coil, to state its ohms at 20 degrees, in degrees Celsius
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    ambient_celsius: Option<f64>,
    /// Leave the proof of each contact out: what is named is then inferred
    #[arg(long)]
    quick: bool,
    /// Measure the coil against each pole and pole against pole at the end: open beyond the meter's
    /// range, which is no insulation test
    #[arg(long)]
    isolation: bool,
    /// The folder for the record and the report [default: identify-DATE-TIME here]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Who is asked
    #[arg(long, value_enum, default_value_t = OperatorWord::Lines)]
    operator: OperatorWord,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum NumberingWord {
    /// Row by row, each from left to right
    Rows,
    /// Round the part: every second row backwards
    Round,
}

#[derive(Args)]
struct Analyse {
    /// The log: CSV with a header, as t_s,value,unit,overload; - reads standard input
    #[arg(value_name = "LOG.csv")]
    log: PathBuf,
    /// The column of the times, by name or number from 1 [default: by its usual names]
    #[arg(long, value_name = "NAME|N")]
    time_column: Option<String>,
    /// The column of the values, by name or number from 1 [default: by its usual names]
    #[arg(long, value_name = "NAME|N")]
    value_column: Option<String>,
    /// Print one JSON object instead of lines
    #[arg(long)]
    json: bool,
    /// Write a page with the chart
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
}

#[derive(Args)]
struct Resume {
    /// The job folder
    #[arg(value_name = "DIR")]
    job: PathBuf,
    /// The meter is on another link now
    #[arg(long, value_name = "LINK")]
    meter: Option<String>,
    /// The meter's dialect, if it is another now
    #[arg(long, value_name = "NAME|FILE")]
    profile: Option<String>,
    /// How long to try to get a lost link back
    #[arg(long, value_name = "TIME", default_value = "30s", value_parser = duration)]
    reconnect_for: Duration,
    /// Go on with another meter than the one that began the job; this is recorded
    #[arg(long)]
    accept_meter: bool,
    /// Who is asked
    #[arg(long, value_enum, default_value_t = OperatorWord::Lines)]
    operator: OperatorWord,
}

#[derive(Args)]
struct Report {
    /// The job folder
    #[arg(value_name = "DIR")]
    job: PathBuf,
    /// Print the machine-readable report instead of writing files
    #[arg(long)]
    json: bool,
}

#[derive(Args)]
struct Verify {
    /// The job folder
    #[arg(value_name = "DIR")]
    job: PathBuf,
}

#[derive(Args)]
struct Bench {
    /// The relay file of the part on the bench
    #[arg(long, value_name = "FILE")]
    relay: PathBuf,
    /// Listen on this TCP address instead of a pseudo-terminal (port 0: any)
    #[arg(long, value_name = "HOST:PORT")]
    tcp: Option<String>,
    /// Make a symbolic link of this name to the pseudo-terminal
    #[arg(long, value_name = "PATH", conflicts_with = "tcp")]
    name: Option<PathBuf>,
    /// The meter sends lines by itself and has a dial, instead of speaking SCPI
    #[arg(long)]
    line_meter: bool,
    /// Seed of everything that varies
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// The hands never slip
    #[arg(long)]
    steady: bool,
    /// How much of a person's time the hands take before they answer: 0 none, 1 all of it
    #[arg(long, value_name = "FACTOR", default_value_t = 0.0)]
    pace: f64,
}

#[derive(Args)]
struct SchemaWords {
    /// Which
    #[arg(value_enum)]
    name: SchemaWord,
}

#[derive(Clone, Copy, ValueEnum)]
enum SchemaWord {
    /// What `--operator json` writes and takes
    Operator,
    /// One line of a job's journal.jsonl
    Journal,
    /// report.json
    Report,
    /// A meter profile
    Profile,
    /// A relay file of the simulated bench
    Relay,
}

/// Reads the command line and does what it says.
pub fn obey() -> (Exit, Option<Failure>) {
    let words = match Words::try_parse() {
        Ok(words) => words,
        Err(error) => return unparsed(&error),
    };
    log_to_stderr(words.verbose);
    let outcome = match words.command {
        Command::Demo(w) => run::run_demo(w.job, w.seed),
        Command::Meters(w) => run::run_meters(w.try_link.as_deref(), &w.profile, w.json),
        Command::Identify(w) => run::run_identify(&w.into()),
        Command::Analyse(w) => run::run_analyse(&w.into()),
        Command::Resume(w) => run::resume(&w.into()),
        Command::Report(w) => {
            let rendering = if w.json { Rendering::Json } else { Rendering::Files };
            run::render_report(&w.job, rendering)
        }
        Command::Verify(w) => run::verify(&w.job),
        Command::Bench(w) => run::run_bench(&w.into()),
        Command::Schema(w) => run::show_schema(match w.name {
            SchemaWord::Operator => Schema::Operator,
            SchemaWord::Journal => Schema::Journal,
            SchemaWord::Report => Schema::Report,
            SchemaWord::Profile => Schema::Profile,
            SchemaWord::Relay => Schema::Relay,
        }),
    };
    match outcome {
        Ok(exit) => (exit, None),
        Err(failure) => (failure.exit, Some(failure)),
    }
}

/// Help and the version are shown as they are; a refusal becomes one message and one hint.
fn unparsed(error: &clap::Error) -> (Exit, Option<Failure>) {
    let is_help = error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand;
    if !error.use_stderr() || is_help {
        let _ = error.print();
        return (if is_help { Exit::BadInput } else { Exit::Done }, None);
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
    let message: String =
        message.strip_prefix("error: ").unwrap_or(&message).chars().take(MESSAGE_MAX).collect();
    let asked = std::env::args().nth(1).unwrap_or_default();
    let help = match Words::command().find_subcommand(&asked) {
        Some(command) => format!("`coilmark {} --help` shows its words", command.get_name()),
        None => "`coilmark --help` shows all commands".to_owned(),
    };
    let tip = tips.first().and_then(|tip| tip.strip_prefix("tip: "));
    Failure::bad_input(message, tip.map_or(help.clone(), |tip| format!("{tip}; {help}")))
}

fn log_to_stderr(verbose: u8) {
    let level = match verbose {
        0 => "error",
        1 => "info",
        2 => "debug",
        _ => "trace",
    };
    let filter = tracing_subscriber::EnvFilter::new(level);
    let _ = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .without_time()
        .try_init();
}

/// A time with its unit: `30s`, `1.5s`, `200ms`, `5m`.
fn duration(text: &str) -> Result<Duration, String> {
    let split = text.find(|c: char| c.is_ascii_alphabetic()).unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let scale = match unit {
        "ms" => 0.001,
        "s" => 1.0,
        "m" => 60.0,
        "h" => 3600.0,
        _ => return Err("expected a time with its unit: 30s, 200ms, 5m".into()),
    };
    let seconds = number.parse::<f64>().map_err(|_| "expected a number before the unit")? * scale;
    Duration::try_from_secs_f64(seconds).map_err(|_| "expected a time from 0 up".into())
}

impl From<OperatorWord> for OperatorChoice {
    fn from(word: OperatorWord) -> Self {
        match word {
            OperatorWord::Lines => Self::Lines,
            OperatorWord::Json => Self::Json,
        }
    }
}

impl From<Identify> for IdentifyTerms {
    fn from(w: Identify) -> Self {
        Self {
            meter: MeterTerms {
                link: w.meter.meter,
                profile: w.meter.profile,
                reconnect_for: w.meter.reconnect_for,
                trace_link: w.meter.trace_link,
            },
            pins: w.pins,
            footprint: w.footprint,
            numbered_round: w.numbering == NumberingWord::Round,
            confidence: w.confidence,
            volts_max: w.volts_max,
            coil_watts_max: w.coil_watts_max,
            ambient_celsius: w.ambient_celsius,
            quick: w.quick,
            isolation: w.isolation,
            job: w.job,
            operator: w.operator.into(),
        }
    }
}

impl From<Analyse> for AnalyseTerms {
    fn from(w: Analyse) -> Self {
        Self {
            log: w.log,
            time_column: w.time_column,
            value_column: w.value_column,
            json: w.json,
            html: w.html,
        }
    }
}

impl From<Resume> for ResumeTerms {
    fn from(w: Resume) -> Self {
        Self {
            job: w.job,
            meter: w.meter,
            profile: w.profile,
            reconnect_for: w.reconnect_for,
            accept_meter: w.accept_meter,
            operator: w.operator.into(),
        }
    }
}

impl From<Bench> for BenchTerms {
    fn from(w: Bench) -> Self {
        Self {
            relay: w.relay,
            tcp: w.tcp,
            name: w.name,
            line_meter: w.line_meter,
            seed: w.seed,
            steady: w.steady,
            pace: w.pace,
        }
    }
}
