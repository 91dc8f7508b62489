//! What may be said about an output, a coil, a cable and a loop: every number optional, as flags,
//! logs and records give them. Units are in the names; volts of the output are without sign. It is
//! made into a checked [`Fit`](super::Fit) by [`RawFit::check`], which says what is missing.

use super::contact::Material;
use crate::event::Origin;

/// Everything that may be said.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RawFit {
    /// The output and what hangs at it.
    pub output: RawOutput,
    /// The coil.
    pub coil: RawCoil,
    /// The cable between them.
    pub cable: RawCable,
    /// How warm it gets.
    pub air: RawAir,
    /// The contact and its loop.
    pub contact: RawContact,
    /// A hold-up capacitor that is fitted, in microfarads.
    pub hold_up_microfarads: Option<f64>,
    /// How many random draws; none: [`super::DRAWS`].
    pub draws: Option<u32>,
    /// Their seed.
    pub seed: u64,
    /// Whether any of it comes from simulated instruments.
    pub simulated: bool,
}

/// The output and what hangs at it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RawOutput {
    /// Lowest volts while in alarm.
    pub volts_min: Option<f64>,
    /// Usual volts while in alarm.
    pub volts: Option<f64>,
    /// Highest volts while in alarm on any day, charger included.
    pub volts_max: Option<f64>,
    /// Highest volts while in alarm that were seen; another day's may be higher.
    pub seen_volts_max: Option<f64>,
    /// Volts at rest.
    pub rest_volts: Option<f64>,
    /// How well those are known, in per cent either way.
    pub percent: Option<f64>,
    /// Time from one pulse to the next, where it pulses, in seconds.
    pub period_s: Option<f64>,
    /// Share of the period that it is on, 0 to 1.
    pub duty: Option<f64>,
    /// Whether it pulses faster than its log could tell.
    pub unresolved: bool,
    /// Resistance of the supply and its switch, in ohms.
    pub source_ohms: Option<f64>,
    /// What the output may deliver, in amperes.
    pub amps_max: Option<f64>,
    /// What it delivered while its volts were measured, in amperes.
    pub log_amps: Option<f64>,
    /// A siren that will hang at it beside the coil, in amperes at the usual volts.
    pub siren_amps: Option<f64>,
    /// Volts that the battery may fall to.
    pub battery_floor_volts: Option<f64>,
    /// Volts of the battery while the output was measured.
    pub battery_volts: Option<f64>,
    /// Where its volts and its cadence come from.
    pub origin: Origin,
    /// Whether the log ended before the alarm did.
    pub held: bool,
}

/// The coil.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RawCoil {
    /// Its resistance, in ohms.
    pub ohms: Option<f64>,
    /// Standard uncertainty of `ohms`, where it was measured.
    pub ohms_u: Option<f64>,
    /// Tolerance of `ohms` in per cent, where it was not.
    pub ohms_percent: Option<f64>,
    /// Temperature at which `ohms` holds, in degrees Celsius; none: 20.
    pub ohms_celsius: Option<f64>,
    /// Whether nobody said how warm the coil was while it was measured.
    pub celsius_unknown: bool,
    /// Rated volts, where they are known.
    pub rated_volts: Option<f64>,
    /// Rated volts with their probabilities, most probable first, where an identification gave
    /// them.
    pub rated_shares: Vec<(f64, f64)>,
    /// Pick-up at 20 degrees Celsius.
    pub pick_up_volts: Option<f64>,
    /// Drop-out at 20 degrees Celsius.
    pub drop_out_volts: Option<f64>,
    /// Pick-up is at most this share of the rated volts, in per cent; none: 80.
    pub operate_percent: Option<f64>,
    /// Drop-out is at least this share of the rated volts, in per cent; none: 5.
    pub release_percent: Option<f64>,
    /// How well pick-up and drop-out are known, in per cent either way.
    pub pick_up_percent: Option<f64>,
    /// Where pick-up and drop-out come from.
    pub pick_up_origin: Origin,
    /// The most that it stands for good, in volts.
    pub volts_max: Option<f64>,
    /// Its inductance, in henries.
    pub henries: Option<f64>,
    /// The lowest volts at which its contacts were seen to move.
    pub moved_at_volts: Option<f64>,
    /// The highest volts at which they were not.
    pub still_at_volts: Option<f64>,
    /// Whether a diode or lamp lies across it.
    pub polarised: Option<bool>,
    /// Where all this comes from.
    pub origin: Origin,
}

/// The cable.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RawCable {
    /// Its length one way, in metres.
    pub length_m: Option<f64>,
    /// Cross-section of a conductor, in square millimetres.
    pub mm2: Option<f64>,
    /// Fine strands (IEC 60228 class 5 or 6) instead of class 1 or 2.
    pub flexible: bool,
    /// Tinned conductors.
    pub tinned: bool,
    /// Wire gauge of a conductor.
    pub awg: Option<u8>,
    /// Both conductors as measured, joined at the far end, in ohms.
    pub ohms: Option<f64>,
    /// How warm it gets, in degrees Celsius; `ohms` is taken to hold at 20.
    pub celsius: Option<f64>,
}

/// How warm and how cold it gets.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RawAir {
    /// Around the relay at most, in degrees Celsius.
    pub ambient_celsius: Option<f64>,
    /// Around the relay at least, in degrees Celsius.
    pub ambient_celsius_min: Option<f64>,
    /// The coil's winding at most, in degrees Celsius.
    pub coil_celsius_max: Option<f64>,
}

/// The contact and its loop.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RawContact {
    /// Current of the loop through the contact, in milliamperes.
    pub loop_milliamps: Option<f64>,
    /// What the contact is made of, where it is known.
    pub material: Option<Material>,
}
