//! Words that more than one command has: the meter and its link, who is asked, a span of time.
//! What they mean together is the run's to check. A time always carries its unit, so that `5` is
//! refused and `5m` is not guessed at.

use clap::{Args, ValueEnum};
use coilmark::run::{Ease, MeterTerms, OperatorChoice};
use std::path::PathBuf;
use std::time::Duration;

#[derive(Args)]
pub(super) struct Meter {
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
    #[command(flatten)]
    ease: EaseWords,
}

/// What eases the work of a person with a lead in each hand.
#[derive(Args)]
pub(super) struct EaseWords {
    /// What is heard: the terminal's bell, in patterns, or nothing
    #[arg(long, value_enum, default_value_t = SoundsWord::Bell)]
    sounds: SoundsWord,
    /// A program, with its words, that reads each ask and result as a line and speaks it; no shell
    #[arg(long, value_name = "PROGRAM")]
    say: Option<String>,
    /// Take an open pair once it was held for so long, after a countdown, instead of by a key
    #[arg(long, value_name = "TIME", value_parser = duration)]
    dwell: Option<Duration>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum SoundsWord {
    /// The terminal's bell
    Bell,
    /// Nothing
    Off,
}

impl From<EaseWords> for Ease {
    fn from(w: EaseWords) -> Self {
        Self { silent: w.sounds == SoundsWord::Off, say: w.say, dwell: w.dwell }
    }
}

#[derive(Clone, Copy, ValueEnum)]
pub(super) enum OperatorWord {
    /// A full screen, to be read from where the hands are: the usual one on a terminal
    Screen,
    /// Plain lines of text, as a screen reader likes them
    Lines,
    /// One JSON object a line, for scripts and switch matrices
    Json,
}

impl From<Meter> for MeterTerms {
    fn from(w: Meter) -> Self {
        Self {
            link: w.meter,
            profile: w.profile,
            reconnect_for: w.reconnect_for,
            trace_link: w.trace_link,
            ease: w.ease.into(),
        }
    }
}

impl From<OperatorWord> for OperatorChoice {
    fn from(word: OperatorWord) -> Self {
        match word {
            OperatorWord::Screen => Self::Screen,
            OperatorWord::Lines => Self::Lines,
            OperatorWord::Json => Self::Json,
        }
    }
}

/// A time with its unit: `30s`, `1.5s`, `200ms`, `5m`.
pub(super) fn duration(text: &str) -> Result<Duration, String> {
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
