//! The words of an identification, and of going on with one: pins, footprint, limits, folder. Each
//! becomes the terms of the same name; ranges are checked there, where a message can say which
//! value was expected.

use super::meter::{EaseWords, Meter, OperatorWord, duration};
use clap::{Args, ValueEnum};
use coilmark::event::Pins;
use coilmark::run::{IdentifyTerms, ResumeTerms};
use std::path::PathBuf;
use std::time::Duration;

#[derive(Args)]
pub(super) struct Identify {
    #[command(flatten)]
    meter: Meter,
    /// The pins: a number (8 names them 1 to 8) or labels (A,B,C,D); 2 to 16
    #[arg(long, value_name = "N|LABELS")]
    pins: Pins,
    /// How the pins stand, as you look at them: rows (4+4, 7+7, 2-1-2), a ring (`8 round`), or a
    /// file that draws them: rows of pin names with spaces between, and . where no pin stands
    #[arg(long, value_name = "SHAPE|FILE")]
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
    /// A programmable supply that drives the coil, within these limits: serial:PATH, tcp:HOST:PORT,
    /// usbtmc:PATH or sim: (with a simulated meter); manual asks a person [default: manual]
    #[arg(long, value_name = "LINK")]
    drive: Option<String>,
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
    /// What one lead, both leads and a change of the drive cost your hands, in seconds; the next
    /// placement is weighed by them [default: 4,5,0.5; with a supply 4,5,0]
    #[arg(long, value_name = "LEAD,LEADS,DRIVE")]
    hand_seconds: Option<String>,
    /// The folder for the record and the report [default: identify-DATE-TIME here]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Who is asked
    #[arg(long, value_enum, default_value_t = OperatorWord::Lines)]
    operator: OperatorWord,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum NumberingWord {
    /// Row by row, each from left to right
    Rows,
    /// Round the part: every second row backwards
    Round,
}

#[derive(Args)]
pub(super) struct Resume {
    /// The job folder
    #[arg(value_name = "DIR")]
    job: PathBuf,
    /// The meter is on another link now
    #[arg(long, value_name = "LINK")]
    meter: Option<String>,
    /// A programmable supply that drives the coil [default: a person does]
    #[arg(long, value_name = "LINK")]
    drive: Option<String>,
    /// The meter's dialect, if it is another now
    #[arg(long, value_name = "NAME|FILE")]
    profile: Option<String>,
    /// How long to try to get a lost link back
    #[arg(long, value_name = "TIME", default_value = "30s", value_parser = duration)]
    reconnect_for: Duration,
    /// Go on with another meter than the one that began the job; this is recorded
    #[arg(long)]
    accept_meter: bool,
    #[command(flatten)]
    ease: EaseWords,
    /// Who is asked
    #[arg(long, value_enum, default_value_t = OperatorWord::Lines)]
    operator: OperatorWord,
}

impl From<Identify> for IdentifyTerms {
    fn from(w: Identify) -> Self {
        Self {
            meter: w.meter.into(),
            pins: w.pins,
            footprint: w.footprint,
            numbered_round: w.numbering == NumberingWord::Round,
            confidence: w.confidence,
            volts_max: w.volts_max,
            coil_watts_max: w.coil_watts_max,
            drive: w.drive,
            ambient_celsius: w.ambient_celsius,
            quick: w.quick,
            isolation: w.isolation,
            hand_seconds: w.hand_seconds,
            job: w.job,
            operator: w.operator.into(),
        }
    }
}

impl From<Resume> for ResumeTerms {
    fn from(w: Resume) -> Self {
        Self {
            job: w.job,
            meter: w.meter,
            drive: w.drive,
            profile: w.profile,
            reconnect_for: w.reconnect_for,
            accept_meter: w.accept_meter,
            ease: w.ease.into(),
            operator: w.operator.into(),
        }
    }
}
