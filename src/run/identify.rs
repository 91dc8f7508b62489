//! Sets up an identification: words from the command line become checked terms and a guide; the
//! rest is the [`Station`]'s. A run that goes on gets its guide here too. Bad words end with exit 2
//! and a hint before any folder is made.

use super::drive::NamedSupply;
use super::failure::{Exit, Failure};
use super::flag::within;
use super::instrument::{Instrument, MeterTerms};
use super::stamp::folder_time;
use super::station::{Equipment, OperatorChoice, Station, kept_record};
use crate::event::{
    BadFootprint, HandSeconds, IdentifyStart, Pins, RunStart, RunTerms, StatedFootprint, is_drawn,
};
use crate::guide::Guide;
use crate::guide::identify::{Identify, Terms};
use crate::guide::settling::Settling;
use crate::journal::{FILE_NAME, JournalError, tasks};
use crate::relay::{Channel, Footprint};
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
    /// What hands cost, as written: one lead, both leads, the drive, in seconds.
    pub hand_seconds: Option<String>,
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
    Ok(IdentifyStart {
        pins: terms.pins.clone(),
        footprint: match &terms.footprint {
            Some(text) => Some(match drawing(text, &terms.pins)? {
                Some(drawing) => drawing,
                None if terms.numbered_round => format!("{text} round"),
                None => text.clone(),
            }),
            None => None,
        },
        confidence: within("--confidence", terms.confidence, 0.5, 0.999_999_999)?,
        volts_max: within("--volts-max", terms.volts_max, 1.0, 60.0)?,
        coil_watts_max: within("--coil-watts-max", terms.coil_watts_max, 0.05, 10.0)?,
        ambient_celsius: terms
            .ambient_celsius
            .map(|celsius| within("--ambient-celsius", celsius, -40.0, 85.0))
            .transpose()?,
        quick: terms.quick,
        isolation: terms.isolation,
        hand_seconds: hand_seconds(terms)?,
    })
}

/// What hands cost; a supply that drives by itself costs them nothing.
fn hand_seconds(terms: &IdentifyTerms) -> Result<Option<HandSeconds>, Failure> {
    let by_supply = terms.drive.as_deref().is_some_and(|link| link != "manual");
    let Some(text) = &terms.hand_seconds else {
        let free = HandSeconds { drive_s: 0.0, ..HandSeconds::default() };
        return Ok(by_supply.then_some(free));
    };
    let seconds: Option<Vec<f64>> = text
        .split(',')
        .map(|part| part.trim().parse().ok().filter(|s| (0.0..=60.0).contains(s)))
        .collect();
    match seconds.as_deref() {
        Some(&[one_lead_s, two_leads_s, drive_s]) => {
            Ok(Some(HandSeconds { one_lead_s, two_leads_s, drive_s }))
        }
        _ => Err(Failure::bad_input(
            format!("--hand-seconds {}: expected three numbers of 0 to 60", text.escape_debug()),
            "write what one lead, both leads and the drive cost: --hand-seconds 4,5,0.5",
        )),
    }
}

/// More than this is no drawing of 16 pins, in bytes.
const DRAWING_MAX: u64 = 4096;

/// The drawing in the file of this name, its rows each behind a stroke; none if there is no such
/// file. What stands behind a `#` is a remark.
fn drawing(name: &str, pins: &Pins) -> Result<Option<String>, Failure> {
    let refused = |problem: String| {
        let hint = "a drawing is rows of pin names with spaces between, and . where no pin stands";
        Failure::bad_input(format!("--footprint {}: {problem}", name.escape_debug()), hint)
    };
    let Ok(about) = std::fs::metadata(name) else { return Ok(None) };
    if !about.is_file() || about.len() > DRAWING_MAX {
        return Err(refused(format!("no file of at most {DRAWING_MAX} bytes")));
    }
    let text = std::fs::read_to_string(name).map_err(|error| refused(error.to_string()))?;
    let rows = text.lines().map(|line| line.split('#').next().unwrap_or_default().trim_end());
    let drawn: Vec<String> =
        rows.filter(|row| !row.trim().is_empty()).map(|row| format!("/ {}", row.trim())).collect();
    if drawn.is_empty() {
        return Err(refused("nothing is drawn in it".into()));
    }
    let drawn = drawn.join(" ");
    StatedFootprint::parse(&drawn, pins.iter()).map_err(|bad| refused(bad.to_string()))?;
    Ok(Some(drawn))
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
        Some(text) => Some(footprint(text, &start.pins)?),
    };
    Ok(Box::new(Identify::new(Terms {
        start: start.clone(),
        simulated,
        footprint,
        settling: Settling::default(),
        hands_free: operator.is_a_person(),
        accept_meter,
        channel: Channel::default(),
    })))
}

/// Where the pins stand.
fn footprint(text: &str, pins: &Pins) -> Result<Footprint, Failure> {
    let stated = StatedFootprint::parse(text, pins.iter()).map_err(|bad| {
        let hint = match bad {
            BadFootprint::Pins { .. } => "make --footprint and --pins say the same number of pins",
            _ if is_drawn(text) => {
                "each pin of --pins stands there once, by its name; . is an empty place"
            }
            _ => "write rows as 4+4, 7+7 or 2-1-2, a ring as `8 round`, or the name of a drawing",
        };
        Failure::bad_input(format!("--footprint: {bad}"), hint)
    })?;
    Ok(Footprint::from(&stated))
}
