//! Sets up an identification: words from the command line become checked terms and a guide; the
//! rest is the [`Station`]'s. A run that goes on gets its guide here too. Bad words end with exit 2
//! and a hint before any folder is made.

use super::drive::NamedSupply;
use super::failure::{Exit, Failure};
use super::instrument::{Instrument, MeterTerms};
use super::stamp::folder_time;
use super::station::{Equipment, OperatorChoice, Station, kept_record};
use crate::event::{IdentifyStart, Pins, RunStart, RunTerms};
use crate::guide::Guide;
use crate::guide::identify::{Identify, Terms};
use crate::guide::settling::Settling;
use crate::journal::{FILE_NAME, JournalError, tasks};
use crate::relay::{Channel, Costs, Footprint, Numbering};
use std::path::PathBuf;

/// What `identify` is given.
#[derive(Clone, Debug)]
pub struct IdentifyTerms {
    /// The meter.
    pub meter: MeterTerms,
    /// The pins, as written.
    pub pins: Pins,
    /// The footprint, as written.
    pub footprint: Option<String>,
    /// Whether it is numbered round the part.
    pub numbered_round: bool,
    /// Posterior probability that ends the search.
    pub confidence: f64,
    /// Highest voltage that is ever asked, in volts.
    pub volts_max: f64,
    /// Highest power in the coil that is ever asked, in watts.
    pub coil_watts_max: f64,
    /// The link of a supply that drives; none, or `manual`: a person.
    pub drive: Option<String>,
    /// Temperature of the coil, in degrees Celsius.
    pub ambient_celsius: Option<f64>,
    /// Whether the proof is left out.
    pub quick: bool,
    /// Whether coil and poles are measured against each other.
    pub isolation: bool,
    /// The job folder.
    pub job: Option<PathBuf>,
    /// The operator.
    pub operator: OperatorChoice,
}

/// Identifies a part.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn run_identify(terms: &IdentifyTerms) -> Result<Exit, Failure> {
    let (station, start) = begin(terms)?;
    station.run(start)
}

/// Makes it ready to run; its record begins once the meter's port is open.
pub(super) fn begin(terms: &IdentifyTerms) -> Result<(Station, RunStart), Failure> {
    let meter = Instrument::find(&terms.meter)?;
    let identify = checked_start(terms)?;
    let guide = guide(&identify, meter.is_simulated(), terms.operator, false)?;
    let (volts_max, watts_max) = (identify.volts_max, identify.coil_watts_max);
    let supply = NamedSupply::find(terms.drive.as_deref(), &meter, volts_max, watts_max)?;
    let job = terms.job.clone().unwrap_or_else(|| format!("identify-{}", folder_time()).into());
    let (journal, past) = kept_record(&job)?;
    if tasks(&past.entries).iter().any(|task| task.command() == "identify" && !task.is_finished()) {
        return Err(JournalError::Exists { file: job.join(FILE_NAME) }.into());
    }
    let start = meter.start(RunTerms::Identify(identify), &past);
    let (equipment, operator) = (Equipment::Meter(Box::new(meter)), terms.operator);
    Ok((Station { job, journal, guide, equipment, supply, operator }, start))
}

fn checked_start(terms: &IdentifyTerms) -> Result<IdentifyStart, Failure> {
    let range = |name: &str, value: f64, low: f64, high: f64| {
        if value >= low && value <= high {
            return Ok(value);
        }
        Err(Failure::bad_input(
            format!("--{name} {value}: expected {low} to {high}"),
            "leave the flag out for its usual value",
        ))
    };
    Ok(IdentifyStart {
        pins: terms.pins.clone(),
        footprint: terms.footprint.as_ref().map(|text| {
            let round = if terms.numbered_round { " round" } else { "" };
            format!("{text}{round}")
        }),
        confidence: range("confidence", terms.confidence, 0.5, 0.999_999_999)?,
        volts_max: range("volts-max", terms.volts_max, 1.0, 60.0)?,
        coil_watts_max: range("coil-watts-max", terms.coil_watts_max, 0.05, 10.0)?,
        ambient_celsius: match terms.ambient_celsius {
            Some(celsius) => Some(range("ambient-celsius", celsius, -40.0, 85.0)?),
            None => None,
        },
        quick: terms.quick,
        isolation: terms.isolation,
    })
}

/// The guide for these terms; closed placements announce themselves only where a person watches.
pub(super) fn guide(
    start: &IdentifyStart,
    simulated: bool,
    operator: OperatorChoice,
    accept_meter: bool,
) -> Result<Box<dyn Guide>, Failure> {
    let footprint = match &start.footprint {
        None => None,
        Some(text) => Some(footprint(text, start.pins.count())?),
    };
    Ok(Box::new(Identify::new(Terms {
        start: start.clone(),
        simulated,
        footprint,
        settling: Settling::default(),
        hands_free: operator.is_a_person(),
        accept_meter,
        channel: Channel::default(),
        costs: Costs::default(),
    })))
}

/// Rows with `round` behind them are numbered round the part; one number with it is a ring.
fn footprint(text: &str, pins: usize) -> Result<Footprint, Failure> {
    let (text, numbering) = match text.strip_suffix(" round") {
        Some(rows) if rows.contains(['+', '-']) => (rows, Numbering::Round),
        _ => (text, Numbering::Rows),
    };
    let hint = "write rows as 4+4, 7+7 or 2-1-2, or a ring as `8 round`";
    let footprint = Footprint::parse(text, numbering)
        .map_err(|bad| Failure::bad_input(format!("--footprint: {bad}"), hint))?;
    if footprint.pins() == pins {
        return Ok(footprint);
    }
    let message = format!("--footprint {text} has {} pins, --pins names {pins}", footprint.pins());
    Err(Failure::bad_input(message, "make both say the same number of pins"))
}
