//! What a meter says, once its bytes are understood: a [`Reading`] has a value, a unit, the
//! function it was taken in, its standard uncertainty, and the text as it was received.
//! Overload is a value here, not an error: on ohms it is how a meter says "open circuit".

use crate::clock::Moment;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What the meter measures. The wire spelling of each is the profile's matter.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Function {
    /// DC volts.
    VoltageDc,
    /// AC volts.
    VoltageAc,
    /// Two-wire ohms.
    Resistance,
    /// Four-wire ohms.
    #[serde(rename = "resistance_4w")]
    Resistance4w,
    /// Continuity, in ohms.
    Continuity,
    /// Diode test: forward volts at the meter's test current.
    Diode,
}

impl Function {
    /// Every function, in the order of the dial.
    pub const ALL: [Self; 6] = [
        Self::VoltageDc,
        Self::VoltageAc,
        Self::Resistance,
        Self::Resistance4w,
        Self::Continuity,
        Self::Diode,
    ];

    /// The unit that a reading in this function comes in.
    #[must_use]
    pub const fn unit(self) -> Unit {
        match self {
            Self::VoltageDc | Self::VoltageAc | Self::Diode => Unit::Volt,
            Self::Resistance | Self::Resistance4w | Self::Continuity => Unit::Ohm,
        }
    }

    /// The name used in files and JSON: `voltage_dc`, `resistance_4w`, ...
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::VoltageDc => "voltage_dc",
            Self::VoltageAc => "voltage_ac",
            Self::Resistance => "resistance",
            Self::Resistance4w => "resistance_4w",
            Self::Continuity => "continuity",
            Self::Diode => "diode",
        }
    }

    /// True where the meter drives a current of its own through the part: never on a live pair.
    #[must_use]
    pub const fn sources_current(self) -> bool {
        !matches!(self, Self::VoltageDc | Self::VoltageAc)
    }
}

impl fmt::Display for Function {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::VoltageDc => "DC volts",
            Self::VoltageAc => "AC volts",
            Self::Resistance => "ohms",
            Self::Resistance4w => "four-wire ohms",
            Self::Continuity => "continuity",
            Self::Diode => "diode test",
        })
    }
}

/// The unit of a reading, without prefix.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Volts.
    Volt,
    /// Ohms.
    Ohm,
}

impl Unit {
    /// The unit's symbol: `V` or `Ω`.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Volt => "V",
            Self::Ohm => "\u{3a9}",
        }
    }
}

/// The outcome of one measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// A finite number in the reading's [`Unit`].
    Number(f64),
    /// Beyond the range; on ohms and diode, an open circuit. SCPI-99 vol. 1, 7.2.1: +-9.9E37.
    Overload,
    /// The meter says that it has no number. SCPI-99 vol. 1, 7.2.1: 9.91E37.
    NotANumber,
}

impl Value {
    /// The number, if there is one.
    #[must_use]
    pub const fn number(self) -> Option<f64> {
        match self {
            Self::Number(x) => Some(x),
            Self::Overload | Self::NotANumber => None,
        }
    }

    /// Whether this is the overload mark.
    #[must_use]
    pub const fn is_overload(self) -> bool {
        matches!(self, Self::Overload)
    }
}

/// One measured value, as the meter gave it.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The value, in `unit`.
    pub value: Value,
    /// The unit that arrived (dial meters) or that the function implies (commanded meters).
    pub unit: Unit,
    /// The function it was taken in, by the meter's word where the meter says it.
    pub function: Function,
    /// Standard uncertainty in `unit`, from the profile's accuracy; `None` without a number.
    pub u: Option<f64>,
    /// The text as received, without its terminator; non-printing bytes are escaped.
    pub text: String,
    /// When its last byte arrived.
    pub at: Moment,
}
