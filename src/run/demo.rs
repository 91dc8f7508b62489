//! The demonstration: a workshop drawer, an unmarked eight-pin relay, a simulated bench whose meter
//! hangs on a real pseudo-terminal, hands that slip now and then, and the report at the end. No
//! question is asked and nothing is measured; it is the same program on the same way.

use super::failure::{Exit, Failure};
use super::identify::{IdentifyTerms, begin};
use super::instrument::Instrument;
use super::stamp::folder_time;
use super::station::OperatorChoice;
use crate::bench::{Bench, Part};
use std::path::PathBuf;
use std::time::Duration;

/// The relay of the demonstration. Invented.
const RELAY: &str = include_str!("demo_relay.toml");

/// Shows an identification.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn run_demo(job: Option<PathBuf>, seed: u64) -> Result<Exit, Failure> {
    let part = Part::parse(RELAY, "demo_relay.toml").map_err(|bad| super::bench::bad_part(&bad))?;
    let pins = part.pins.clone();
    let footprint = part.footprint.clone();
    let job = job
        .unwrap_or_else(|| std::env::temp_dir().join(format!("coilmark-demo-{}", folder_time())));
    let bench = Bench::new(part, super::bench::options(seed, false, false));
    let instrument = Instrument::simulated(bench, "sim:demo".into())?;
    let terms = IdentifyTerms {
        meter: super::MeterTerms {
            link: "sim:demo".into(),
            profile: None,
            reconnect_for: Duration::from_secs(5),
            trace_link: None,
            ease: super::Ease::default(),
        },
        pins,
        footprint,
        numbered_round: false,
        confidence: 0.9999,
        volts_max: 24.0,
        coil_watts_max: 3.0,
        ambient_celsius: Some(20.0),
        quick: false,
        isolation: true,
        drive: None,
        job: Some(job),
        operator: OperatorChoice::Lines,
    };
    let (station, start) = begin(&terms, instrument)?;
    println!(
        "A duck farm's feed hopper has a 24 V output for a beacon, and the alarm panel in the\n\
         house wants a dry contact. In the drawer lies a relay without a mark on it: eight pins,\n\
         two rows of four. Which pin is what?\n"
    );
    station.run(start)
}
