//! Pick-up and drop-out of a relay as measured by ramps with a contact as witness, as scripts and
//! reports read them: how the run was begun, every ramp with the two steps between which the
//! contact changed, and both values with their uncertainty, at 20 degrees Celsius and hot. The
//! shape is the product's contract: fields are added, never changed.

use super::Verdict;
use super::pin::Pin;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a measurement of pick-up and drop-out was given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PickUpStart {
    /// The coil's pins: the supply's plus, its minus.
    pub coil: [Pin; 2],
    /// Two pins of a contact that changes with the coil.
    pub contact: [Pin; 2],
    /// Finest step of a ramp, in volts.
    pub step_volts: f64,
    /// How many fine ramps.
    pub ramps: u32,
    /// No drive above this is ever asked, in volts.
    pub volts_max: f64,
    /// No drive of more than this in the coil as measured is ever asked, in watts.
    pub coil_watts_max: f64,
    /// How well the drive's volts are known, in per cent either way.
    pub drive_percent: f64,
    /// Temperature of the coil while it is measured, in degrees Celsius.
    pub ambient_celsius: f64,
    /// The hottest that its winding gets, in degrees Celsius.
    pub coil_celsius_max: f64,
    /// Rated volts, where they are known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rated_volts: Option<f64>,
    /// Pick-up must not be above this share of the rated volts, in per cent.
    pub operate_percent: f64,
    /// Drop-out must not be below this share of the rated volts, in per cent.
    pub release_percent: f64,
}

impl PickUpStart {
    /// A measurement of this coil by this contact as it is without further words.
    #[must_use]
    pub const fn usual(coil: [Pin; 2], contact: [Pin; 2]) -> Self {
        Self {
            coil,
            contact,
            step_volts: 0.1,
            ramps: 3,
            volts_max: 24.0,
            coil_watts_max: 3.0,
            drive_percent: 1.0,
            ambient_celsius: 20.0,
            coil_celsius_max: 70.0,
            rated_volts: None,
            operate_percent: 80.0,
            release_percent: 5.0,
        }
    }
}

/// Pick-up and drop-out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PickUpFinding {
    /// Pass or fail where the rated volts are known; undecided where they are not, or where a value
    /// could not be measured or lies too near its limit.
    pub result: Verdict,
    /// What decided, in a sentence.
    pub reason: String,
    /// Ohms of the coil as measured.
    pub coil_ohms: Option<f64>,
    /// Volts at which the contact changes over.
    pub pick_up: Option<Threshold>,
    /// Volts at which it returns.
    pub drop_out: Option<Threshold>,
    /// Whether the witness is closed at rest.
    pub closed_at_rest: Option<bool>,
    /// Every fine ramp.
    pub ramps: Vec<Ramp>,
    /// Rated volts, where they are known.
    pub rated_volts: Option<f64>,
    /// Whether the instruments were simulated.
    pub simulated: bool,
}

/// One of the two volts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Threshold {
    /// As measured, in volts: the mean of the middles of the ramps.
    pub volts: f64,
    /// Its standard uncertainty, in volts: the three below together.
    pub volts_u: f64,
    /// Of the step (a rectangular distribution), in volts.
    pub step_u: f64,
    /// Of the drive's volts (a rectangular distribution), in volts.
    pub drive_u: f64,
    /// Of the mean over the ramps, in volts.
    pub repeat_u: f64,
    /// At 20 degrees Celsius.
    pub volts_20: f64,
    /// At the hottest winding.
    pub volts_hot: f64,
    /// Its limit at 20 degrees Celsius, where the rated volts are known.
    pub limit_volts: Option<f64>,
    /// How it stands to that limit, two standard uncertainties allowed for.
    pub verdict: Verdict,
}

/// One ramp up and down, in volts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ramp {
    /// The highest step that left the contact as it was.
    pub still_volts: f64,
    /// The step at which it changed.
    pub moved_volts: f64,
    /// On the way down, the lowest step that still held it.
    pub held_volts: f64,
    /// The step at which it returned.
    pub released_volts: f64,
}
