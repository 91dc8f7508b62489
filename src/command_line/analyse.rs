//! The words of the analysis of a recorded log: the file, which columns to take where their names
//! are unusual, and what to write. A dash reads standard input. They become the terms of the same
//! name.

use clap::Args;
use coilmark::run::AnalyseTerms;
use std::path::PathBuf;

#[derive(Args)]
pub(super) struct Analyse {
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
    /// Write the readings as Apache Parquet, for other tools (a build with --features parquet)
    #[arg(long, value_name = "FILE")]
    parquet: Option<PathBuf>,
}

impl From<Analyse> for AnalyseTerms {
    fn from(w: Analyse) -> Self {
        Self {
            log: w.log,
            time_column: w.time_column,
            value_column: w.value_column,
            json: w.json,
            html: w.html,
            parquet: w.parquet,
        }
    }
}
