//! The words of the log of an output: the meter, what the output is said to be, when the log ends,
//! the folder. They become the terms of the same name; ranges are checked there, where a message
//! can say which value was expected.

use super::meter::{Meter, OperatorWord, duration};
use clap::Args;
use coilmark::run::OutputTerms;
use std::path::PathBuf;
use std::time::Duration;

#[derive(Args)]
pub(super) struct Output {
    #[command(flatten)]
    meter: Meter,
    /// The output's nominal voltage, as its manual says, in volts
    #[arg(long, value_name = "VOLTS")]
    nominal: Option<f64>,
    /// End the log this long after the alarm, whatever the output does
    #[arg(long = "for", value_name = "TIME", default_value = "5m", value_parser = duration)]
    log_for: Duration,
    /// End the log once the output has been off for this long; longer than the pauses of a pulsed
    /// output
    #[arg(long, value_name = "TIME", default_value = "10s", value_parser = duration)]
    guard: Duration,
    /// The folder for the record and the report; a job that is there gets one task more [default:
    /// output-DATE-TIME here]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Who is asked
    #[arg(long, value_enum, default_value_t = OperatorWord::Lines)]
    operator: OperatorWord,
}

impl From<Output> for OutputTerms {
    fn from(w: Output) -> Self {
        Self {
            meter: w.meter.into(),
            nominal_volts: w.nominal,
            log_for: w.log_for,
            guard: w.guard,
            job: w.job,
            operator: w.operator.into(),
        }
    }
}
