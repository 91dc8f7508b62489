//! Sets up a measurement of pick-up and drop-out: words from the command line become checked terms,
//! a guide and a station. Bad words end with exit 2 and a hint before any folder is made; a job's
//! folder that is there already gets this as one more of its tasks.

use super::drive::NamedSupply;
use super::failure::{Exit, Failure};
use super::flag::within;
use super::instrument::{Instrument, MeterTerms};
use super::stamp::folder_time;
use super::station::{Equipment, OperatorChoice, Station, kept_record};
use crate::event::{PickUpStart, Pins, RunTerms};
use crate::guide::Guide;
use crate::guide::pickup::{PickUp, Terms};
use crate::guide::settling::Settling;
use std::path::PathBuf;

/// What a measurement of pick-up and drop-out is given.
#[derive(Clone, Debug)]
pub struct PickUpTerms {
    /// The meter.
    pub meter: MeterTerms,
    /// The link of a supply that drives; none, or `manual`: a person.
    pub drive: Option<String>,
    /// The coil's two pins: plus, minus.
    pub coil: Pins,
    /// Two pins of a contact.
    pub contact: Pins,
    /// Finest step, in volts.
    pub step_volts: f64,
    /// How many fine ramps.
    pub ramps: u32,
    /// No drive above this, in volts.
    pub volts_max: f64,
    /// No drive of more than this in the coil, in watts.
    pub coil_watts_max: f64,
    /// How well the drive's volts are known, in per cent.
    pub drive_percent: f64,
    /// Temperature of the coil meanwhile, in degrees Celsius.
    pub ambient_celsius: f64,
    /// The hottest that its winding gets, in degrees Celsius.
    pub coil_celsius_max: f64,
    /// Rated volts.
    pub rated_volts: Option<f64>,
    /// Pick-up at most, in per cent of the rated volts.
    pub operate_percent: f64,
    /// Drop-out at least, in per cent of the rated volts.
    pub release_percent: f64,
    /// The job's folder, old or new.
    pub job: Option<PathBuf>,
    /// Who is asked.
    pub operator: OperatorChoice,
}

/// Measures pick-up and drop-out.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn run_pickup(terms: &PickUpTerms) -> Result<Exit, Failure> {
    let start = checked(terms)?;
    let meter = Instrument::find(&terms.meter)?;
    let (volts_max, watts_max) = (start.volts_max, start.coil_watts_max);
    let supply = NamedSupply::find(terms.drive.as_deref(), &meter, volts_max, watts_max)?;
    let guide = guide(&start, meter.is_simulated(), false);
    let job = terms.job.clone().unwrap_or_else(|| format!("pickup-{}", folder_time()).into());
    let (journal, past) = kept_record(&job)?;
    let start = meter.start(RunTerms::PickUp(start), &past);
    Station {
        job,
        journal,
        guide,
        equipment: Equipment::Meter(Box::new(meter)),
        supply,
        operator: terms.operator,
    }
    .run(start)
}

/// The guide for these terms.
pub(super) fn guide(start: &PickUpStart, simulated: bool, accept_meter: bool) -> Box<dyn Guide> {
    let settling = Settling::default();
    Box::new(PickUp::new(Terms { start: start.clone(), simulated, settling, accept_meter }))
}

fn checked(terms: &PickUpTerms) -> Result<PickUpStart, Failure> {
    let pair = |flag: &str, pins: &Pins| match pins.count() {
        2 => Ok([pins.at(0).clone(), pins.at(1).clone()]),
        n => Err(Failure::bad_input(
            format!("{flag} names {n} pins, expected two"),
            format!("write it as {flag} 2,5"),
        )),
    };
    let (coil, contact) = (pair("--coil", &terms.coil)?, pair("--contact", &terms.contact)?);
    if let Some(pin) = contact.iter().find(|pin| coil.contains(pin)) {
        return Err(Failure::bad_input(
            format!("pin {pin} is named for the coil and for the contact"),
            "name two pins of a contact that changes with the coil",
        ));
    }
    let ramps = within("--ramps", f64::from(terms.ramps), 1.0, 50.0).map(|_| terms.ramps)?;
    Ok(PickUpStart {
        coil,
        contact,
        step_volts: within("--step-volts", terms.step_volts, 0.01, 5.0)?,
        ramps,
        volts_max: within("--volts-max", terms.volts_max, 0.5, 60.0)?,
        coil_watts_max: within("--coil-watts-max", terms.coil_watts_max, 0.05, 10.0)?,
        drive_percent: within("--drive-percent", terms.drive_percent, 0.0, 20.0)?,
        ambient_celsius: within("--ambient-celsius", terms.ambient_celsius, -40.0, 85.0)?,
        coil_celsius_max: within("--coil-celsius-max", terms.coil_celsius_max, 0.0, 180.0)?,
        rated_volts: terms
            .rated_volts
            .map(|volts| within("--rated-volts", volts, 1.0, 500.0))
            .transpose()?,
        operate_percent: within("--operate-percent", terms.operate_percent, 10.0, 120.0)?,
        release_percent: within("--release-percent", terms.release_percent, 0.0, 90.0)?,
    })
}
