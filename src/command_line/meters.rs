//! The words of what is done with a meter's link alone: listing ports, working out how an unknown
//! meter talks, watching one. Nothing is measured for a record here. They become the terms of the
//! same name; what a link or a function's name means is the run's to check.

use super::meter::duration;
use clap::Args;
use coilmark::run::MetersTerms;
use std::path::PathBuf;
use std::time::Duration;

#[derive(Args)]
pub(super) struct Meters {
    /// Work out who answers here, at which rate and in which dialect: serial:PATH, tcp:HOST:PORT or
    /// usbtmc:PATH. Nothing is written to any other port
    #[arg(long = "try", value_name = "LINK")]
    try_link: Option<String>,
    /// Write the profile that was worked out to this new file
    #[arg(long, value_name = "FILE", requires = "try_link", conflicts_with = "profile")]
    save: Option<PathBuf>,
    /// Show live readings, their rate, round trips and faults, until Ctrl-C
    #[arg(long, value_name = "LINK", conflicts_with = "try_link")]
    watch: Option<String>,
    /// The meter's dialect: a shipped profile (scpi, ascii-lines, polled-lines) or a file [default:
    /// --try works it out, --watch takes scpi]
    #[arg(long, value_name = "NAME|FILE")]
    profile: Option<String>,
    /// What to watch: voltage_dc, voltage_ac, resistance, resistance_4w, continuity or diode
    /// [default: voltage_dc, or what a meter's dial says]
    #[arg(long, value_name = "FUNCTION", requires = "watch")]
    function: Option<String>,
    /// Watch this long
    #[arg(long = "for", value_name = "TIME", value_parser = duration, requires = "watch")]
    span: Option<Duration>,
    /// Write every byte on the link to this file, to be replayed later
    #[arg(long, value_name = "FILE", requires = "watch")]
    trace_link: Option<PathBuf>,
    /// Print JSON instead of lines: one object, or one a second while watching
    #[arg(long)]
    json: bool,
}

impl From<Meters> for MetersTerms {
    fn from(w: Meters) -> Self {
        Self {
            try_link: w.try_link,
            save: w.save,
            watch: w.watch,
            profile: w.profile,
            function: w.function,
            span: w.span,
            trace_link: w.trace_link,
            json: w.json,
        }
    }
}
