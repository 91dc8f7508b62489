//! The words of measuring pick-up and drop-out: which pins, which steps, which limits. They become
//! the terms of the same name; ranges are checked there, where a message can say which value was
//! expected.

use super::meter::{Meter, OperatorWord};
use super::operate::OperateClass;
use clap::Args;
use coilmark::event::Pins;
use coilmark::run::PickUpTerms;
use std::path::PathBuf;

#[derive(Args)]
pub(super) struct PickUp {
    #[command(flatten)]
    meter: Meter,
    /// A programmable supply: serial:PATH, tcp:HOST:PORT, usbtmc:PATH or sim: (with a simulated
    /// meter); manual asks a person for every step
    #[arg(long, value_name = "LINK", default_value = "manual")]
    drive: String,
    /// The coil's two pins, the supply's plus first
    #[arg(long, value_name = "PLUS,MINUS")]
    coil: Pins,
    /// Two pins of a contact that changes with the coil: the witness
    #[arg(long, value_name = "A,B")]
    contact: Pins,
    /// Finest step of a ramp
    #[arg(long, value_name = "VOLTS", default_value_t = 0.1)]
    step_volts: f64,
    /// How many fine ramps, up and down
    #[arg(long, value_name = "N", default_value_t = 3)]
    ramps: u32,
    /// Never drive above this
    #[arg(long, value_name = "VOLTS", default_value_t = 24.0)]
    volts_max: f64,
    /// Never drive above this power in the coil as measured
    #[arg(long, value_name = "WATTS", default_value_t = 3.0)]
    coil_watts_max: f64,
    /// How well the drive's volts are known, either way
    #[arg(long, value_name = "PERCENT", default_value_t = 1.0)]
    drive_percent: f64,
    /// Temperature of the coil meanwhile
    #[arg(long, value_name = "CELSIUS", default_value_t = 20.0, allow_negative_numbers = true)]
    ambient_celsius: f64,
    /// The hottest that its winding gets
    #[arg(long, value_name = "CELSIUS", default_value_t = 70.0, allow_negative_numbers = true)]
    coil_celsius_max: f64,
    /// Rated volts, to judge by
    #[arg(long, value_name = "VOLTS")]
    rated_volts: Option<f64>,
    /// Operative range class (IEC 61810-1): it picks up at 80 % of the rated volts (1) or 85 % (2)
    #[arg(long, value_name = "CLASS", conflicts_with = "operate_percent")]
    operate_class: Option<OperateClass>,
    /// Pick-up at most, of the rated volts, where no class says it
    #[arg(long, value_name = "PERCENT", default_value_t = 80.0)]
    operate_percent: f64,
    /// Drop-out at least, of the rated volts
    #[arg(long, value_name = "PERCENT", default_value_t = 5.0)]
    release_percent: f64,
    /// The job's folder: a new one, or one that this is added to [default: pickup-DATE-TIME here]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Who is asked
    #[arg(long, value_enum, default_value_t = OperatorWord::Lines)]
    operator: OperatorWord,
}

impl From<PickUp> for PickUpTerms {
    fn from(w: PickUp) -> Self {
        Self {
            meter: w.meter.into(),
            drive: Some(w.drive),
            coil: w.coil,
            contact: w.contact,
            step_volts: w.step_volts,
            ramps: w.ramps,
            volts_max: w.volts_max,
            coil_watts_max: w.coil_watts_max,
            drive_percent: w.drive_percent,
            ambient_celsius: w.ambient_celsius,
            coil_celsius_max: w.coil_celsius_max,
            rated_volts: w.rated_volts,
            operate_percent: w.operate_class.map_or(w.operate_percent, OperateClass::percent),
            release_percent: w.release_percent,
            job: w.job,
            operator: w.operator.into(),
        }
    }
}
