//! A drive that a supply did not reach: its current limit, which follows from the coil's ohms, held
//! it lower, and its output is off again. Either those ohms are not this pair's, or the supply is
//! clipped to something else; what is done about it is the guide's.

use super::pin::Pin;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What was to be applied, and how far the supply came.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DriveLimit {
    /// The pin for the supply's plus.
    pub plus: Pin,
    /// The pin for the supply's minus.
    pub minus: Pin,
    /// Volts that were set.
    pub volts: f64,
    /// Volts that were measured.
    pub reached_volts: f64,
    /// The current limit, in amperes.
    pub limit_amps: f64,
}

impl fmt::Display for DriveLimit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { plus, minus, volts, reached_volts, limit_amps } = self;
        write!(
            f,
            "the supply reaches {reached_volts:.2} V of {volts} V between {plus} and {minus} at its \
             limit of {limit_amps:.3} A"
        )
    }
}
