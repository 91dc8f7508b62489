//! The simulated bench as a program of its own, and behind a `sim:` link. Words from the command
//! line become a part, a meter and hands; what they then do is [`mod@crate::bench`]'s. A relay file
//! that is wrong is bad input, named with its line.

use super::failure::{Exit, Failure};
use crate::bench::{
    Bench, BenchOptions, Listen, MeterModel, Part, SlipRates, StandaloneOptions, run_standalone,
};
use drivers::Profile;
use std::io;
use std::path::{Path, PathBuf};

/// What `bench` is given.
#[derive(Clone, Debug)]
pub struct BenchTerms {
    /// The relay file.
    pub relay: PathBuf,
    /// A TCP address instead of a pseudo-terminal.
    pub tcp: Option<String>,
    /// A symbolic link to the pseudo-terminal.
    pub name: Option<PathBuf>,
    /// Whether the supply is served too, on a pseudo-terminal of its own.
    pub supply: bool,
    /// A TCP address for the supply.
    pub supply_tcp: Option<String>,
    /// A symbolic link to the supply's pseudo-terminal.
    pub supply_name: Option<PathBuf>,
    /// A free-running line meter with a dial.
    pub line_meter: bool,
    /// A line meter with a dial that speaks when it is polled.
    pub polled_meter: bool,
    /// The seed.
    pub seed: u64,
    /// Whether the hands never slip.
    pub steady: bool,
    /// How much of a person's time the hands take: 0 none, 1 all.
    pub pace: f64,
}

/// Runs the bench until its input ends.
///
/// # Errors
/// [`Failure`] for a bad relay file or address, or a meter that cannot be served.
pub fn run_bench(terms: &BenchTerms) -> Result<Exit, Failure> {
    let listen = place("--tcp", terms.tcp.as_deref(), terms.name.as_deref())?;
    let (tcp, name) = (terms.supply_tcp.as_deref(), terms.supply_name.as_deref());
    let supplied = terms.supply || tcp.is_some() || name.is_some();
    let supply = supplied.then(|| place("--supply-tcp", tcp, name)).transpose()?;
    let options = options(terms.seed, terms.steady, terms.line_meter);
    let options = StandaloneOptions {
        part: Part::load(&terms.relay)?,
        bench: BenchOptions {
            meter: if terms.polled_meter { MeterModel::polled() } else { options.meter.clone() },
            ..options
        },
        listen,
        supply,
        pace: terms.pace,
    };
    let summary = run_standalone(options, io::stdin().lock(), io::stdout())?;
    for hazard in &summary.hazards {
        eprintln!("hazard: {hazard}");
    }
    Ok(if summary.hazards.is_empty() { Exit::Done } else { Exit::NotPassed })
}

/// Where an instrument is plugged in.
fn place(flag: &str, tcp: Option<&str>, name: Option<&Path>) -> Result<Listen, Failure> {
    match tcp {
        None => Ok(Listen::Pty { name: name.map(Path::to_path_buf) }),
        Some(text) => text.parse().map(Listen::Tcp).map_err(|_| {
            let shown: String = text.escape_debug().take(40).collect();
            Failure::bad_input(
                format!("{flag} `{shown}`: not an address"),
                "write it as 127.0.0.1:5025; port 0 takes a free one",
            )
        }),
    }
}

/// A bench from the rest of a `sim:` link, `FILE[?seed=N&slips=on&hands=alone]`, with the meter
/// that the profile speaks to; and whether its hands answer by themselves.
pub(super) fn from_link(text: &str, profile: &Profile) -> Result<(Bench, bool), Failure> {
    let (file, query) = text.split_once('?').unwrap_or((text, ""));
    let (mut seed, mut steady, mut alone, mut conversion_ms) = (1, true, false, None);
    for item in query.split('&').filter(|item| !item.is_empty()) {
        match item.split_once('=') {
            Some(("seed", n)) => seed = n.parse().map_err(|_| bad_query(item))?,
            Some(("conversion_ms", n)) => {
                conversion_ms = Some(n.parse().map_err(|_| bad_query(item))?);
            }
            Some(("slips", "on")) => steady = false,
            Some(("slips", "off")) => steady = true,
            Some(("hands", "alone")) => alone = true,
            Some(("hands", "led")) => alone = false,
            _ => return Err(bad_query(item)),
        }
    }
    let part = match super::demo::ON_BENCH.iter().find(|(name, _)| *name == file) {
        Some((name, text)) => Part::parse(text, name)?,
        None => Part::load(Path::new(file))?,
    };
    let mut options = options(seed, steady, !profile.commanded());
    if profile.poll().is_some() {
        options.meter = MeterModel::polled();
    }
    if let Some(ms) = conversion_ms {
        options.meter.conversion_ms = u32::clamp(ms, 1, 60_000);
    }
    Ok((Bench::new(part, options), alone))
}

/// A bench with these habits.
pub(super) fn options(seed: u64, steady: bool, line_meter: bool) -> BenchOptions {
    BenchOptions {
        seed,
        meter: if line_meter { MeterModel::free_running() } else { MeterModel::commanded() },
        slips: if steady { SlipRates::NONE } else { SlipRates::USUAL },
        ..BenchOptions::default()
    }
}

fn bad_query(item: &str) -> Failure {
    let shown: String = item.escape_debug().take(40).collect();
    Failure::bad_input(
        format!("sim: link: `{shown}` is not understood"),
        "write sim:FILE, sim:FILE?seed=7, ?slips=on or ?hands=alone, joined by &",
    )
}
