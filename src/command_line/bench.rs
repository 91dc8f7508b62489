//! The words of the simulated bench that runs by itself: the part, where its instruments listen,
//! how its hands are. They become the terms of the same name; a part file that is wrong is said
//! there, with its line.

use clap::Args;
use coilmark::run::BenchTerms;
use std::path::PathBuf;

#[derive(Args)]
pub(super) struct Bench {
    /// The relay file of the part on the bench
    #[arg(long, value_name = "FILE")]
    relay: PathBuf,
    /// Listen on this TCP address instead of a pseudo-terminal (port 0: any)
    #[arg(long, value_name = "HOST:PORT")]
    tcp: Option<String>,
    /// Make a symbolic link of this name to the pseudo-terminal
    #[arg(long, value_name = "PATH", conflicts_with = "tcp")]
    name: Option<PathBuf>,
    /// Serve the simulated supply too, on a pseudo-terminal of its own: it speaks SCPI, and drives
    /// what its leads are clipped to
    #[arg(long)]
    supply: bool,
    /// Serve the supply on this TCP address (port 0: any)
    #[arg(long, value_name = "HOST:PORT")]
    supply_tcp: Option<String>,
    /// Make a symbolic link of this name to the supply's pseudo-terminal
    #[arg(long, value_name = "PATH", conflicts_with = "supply_tcp")]
    supply_name: Option<PathBuf>,
    /// The meter sends lines by itself and has a dial, instead of speaking SCPI
    #[arg(long)]
    line_meter: bool,
    /// The meter sends a line for each `D` that it is asked with, and has a dial
    #[arg(long, conflicts_with = "line_meter")]
    polled_meter: bool,
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

impl From<Bench> for BenchTerms {
    fn from(w: Bench) -> Self {
        Self {
            relay: w.relay,
            tcp: w.tcp,
            name: w.name,
            supply: w.supply,
            supply_tcp: w.supply_tcp,
            supply_name: w.supply_name,
            line_meter: w.line_meter,
            polled_meter: w.polled_meter,
            seed: w.seed,
            steady: w.steady,
            pace: w.pace,
        }
    }
}
