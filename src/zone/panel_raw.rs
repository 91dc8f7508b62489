//! A panel file as it is written (TOML): a panel's zone input with its supply, its thresholds from
//! a shorted loop to an open one, the resistors it asks for, and how its zones are numbered. Every
//! number has its unit in its key; keys that are not known are refused. Checked in `panel`.

use super::series::Series;
use crate::event::{LoopKind, ZoneState};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A panel file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawPanel {
    /// What it is called.
    pub name: String,
    /// Where its numbers come from: a manual, two measurements, common practice.
    pub source: String,
    /// How exactly the thresholds are kept, in per cent either way.
    #[serde(default)]
    pub threshold_percent: f64,
    /// The supply of the input.
    pub supply: RawSupply,
    /// The loop that the input is made for.
    #[serde(rename = "loop")]
    pub wired: RawLoop,
    /// What a loop is read as, from a short (0 ohm, 0 V) to an open loop; the last has no end.
    pub band: Vec<RawBand>,
    /// How zones are numbered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub numbering: Option<RawNumbering>,
}

/// The supply of a zone input: `volts` and `ohms`, or `volts` and what was measured across a known
/// resistor, or `volts` and the current of shorted terminals.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawSupply {
    /// Volts of the open terminals.
    pub volts: f64,
    /// Their tolerance, in per cent either way.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volts_percent: Option<f64>,
    /// Their standard uncertainty, in volts, where they were measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volts_u: Option<f64>,
    /// Resistance of the source, in ohms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ohms: Option<f64>,
    /// Its tolerance, in per cent either way.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ohms_percent: Option<f64>,
    /// Its standard uncertainty, in ohms, where it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ohms_u: Option<f64>,
    /// A resistor that was put across the terminals, in ohms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known_ohms: Option<f64>,
    /// Volts across it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known_volts: Option<f64>,
    /// Current of the shorted terminals, in milliamperes, where that was measured instead.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub short_milliamps: Option<f64>,
}

/// The loop of an input, with the resistors it asks for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawLoop {
    /// The kind of loop.
    pub kind: LoopKind,
    /// The end-of-line resistor, in ohms; left out, one is chosen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub eol_ohms: Option<f64>,
    /// The alarm resistor, in ohms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alarm_ohms: Option<f64>,
    /// The resistor of the fault contact, in ohms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fault_ohms: Option<f64>,
    /// The series to pick from.
    #[serde(default = "usual_series")]
    pub series: Series,
    /// Tolerance of the resistors, in per cent.
    #[serde(default = "usual_percent")]
    pub percent: f64,
}

/// A band: what a loop up to here is read as. One unit throughout a file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawBand {
    /// What it is read as.
    pub reads: ZoneState,
    /// Its upper end, in ohms across the terminals.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub up_to_ohms: Option<f64>,
    /// Its upper end, in volts at the terminals.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub up_to_volts: Option<f64>,
}

/// How the zones of a panel and its expanders are numbered.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawNumbering {
    /// Zones of one expander.
    pub zones_per_expander: u32,
    /// Number of the first zone of the expander at `first_address`.
    pub first_zone: u32,
    /// The lowest address.
    #[serde(default)]
    pub first_address: u32,
    /// How many address switches an expander has.
    pub switches: u32,
    /// What switch 1 stands for: `true` the lowest bit, `false` the highest.
    #[serde(default = "yes")]
    pub switch_1_is_lowest: bool,
    /// Whether a switch that is on counts as 1.
    #[serde(default = "yes")]
    pub on_is_1: bool,
    /// The highest zone number that the panel knows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_zone: Option<u32>,
}

const fn usual_series() -> Series {
    Series::E24
}

const fn usual_percent() -> f64 {
    1.0
}

const fn yes() -> bool {
    true
}
