//! A board's test plan as it is written (TOML) and as it stands in the record, so that a verdict
//! can be worked out again from the record alone. Every number carries its unit in its key. What
//! it means, and whether it makes sense, the board's room decides; nothing here is checked.

use super::pin::{Pin, Pins};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A test plan for one kind of relay board.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "Board plan")]
pub struct BoardPlan {
    /// What the board is.
    pub name: String,
    /// Which edition of the plan.
    #[serde(default = "first")]
    pub revision: String,
    /// The board's terminals, by the labels beside them: 2 to 16.
    pub terminals: Pins,
    /// How the board's input is fed.
    pub supply: PlanSupply,
    /// How a verdict is reached.
    #[serde(default)]
    pub decision: PlanDecision,
    /// The check of the leads, and what they add.
    pub leads: PlanLeads,
    /// The contacts that are led out.
    #[serde(default)]
    pub contact: Vec<PlanContact>,
    /// What is measured.
    pub step: Vec<PlanStep>,
}

fn first() -> String {
    "1".into()
}

/// How the board's input is fed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanSupply {
    /// The terminal for the supply's plus.
    pub plus: Pin,
    /// The terminal for the supply's minus.
    pub minus: Pin,
    /// Nominal volts.
    pub volts: f64,
    /// The board must have operated at this many volts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub must_operate_volts: Option<f64>,
    /// The board must have let go when the supply has come down to this many volts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drop_out_volts: Option<f64>,
    /// Never driven above this power in the input as measured.
    #[serde(default = "three_watts")]
    pub watts_max: f64,
}

const fn three_watts() -> f64 {
    PlanSupply::WATTS_MAX
}

impl PlanSupply {
    /// The limit of power where a plan has none, in watts (common practice, no source).
    pub const WATTS_MAX: f64 = 3.0;
}

/// How a verdict is reached.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanDecision {
    /// The rule.
    #[serde(default)]
    pub rule: PlanRule,
    /// The probability that an expanded uncertainty covers, 0.5 to 0.9999.
    #[serde(default = "nineteen_in_twenty")]
    pub coverage: f64,
    /// With the rule `risk`: the most probable false accept that is borne, 0.000001 to 0.5.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub false_accept: Option<f64>,
}

const fn nineteen_in_twenty() -> f64 {
    0.95
}

impl Default for PlanDecision {
    fn default() -> Self {
        Self { rule: PlanRule::default(), coverage: nineteen_in_twenty(), false_accept: None }
    }
}

/// A decision rule.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum PlanRule {
    /// Inside the limits passes, outside fails.
    Simple,
    /// A guard band of the expanded uncertainty on both sides of a limit.
    #[default]
    Guarded,
    /// By the probability of a false accept.
    Risk,
}

/// The check of the leads: both tips on one terminal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanLeads {
    /// The terminal that both tips are put on.
    pub terminal: Pin,
    /// Leads and tips that read more than this, in ohms, are no good.
    #[serde(default = "one_ohm")]
    pub ohms_max: f64,
    /// From touch to touch the tips differ by at most this, in ohms, either way. The usual 0.05
    /// is common practice, no source.
    #[serde(default = "tip_ohms")]
    pub repeat_ohms: f64,
    /// How far the meter's error is the same when it reads the leads and when it reads a contact
    /// through them, 0 to 1. The usual 0.9 is common practice, no source.
    #[serde(default = "mostly")]
    pub correlation: f64,
}

impl PlanLeads {
    /// Leads as a plan takes them that says no more than where they are checked.
    #[must_use]
    pub const fn usual(terminal: Pin) -> Self {
        let (ohms_max, repeat_ohms) = (one_ohm(), tip_ohms());
        Self { terminal, ohms_max, repeat_ohms, correlation: mostly() }
    }
}

const fn mostly() -> f64 {
    0.9
}

const fn one_ohm() -> f64 {
    1.0
}

const fn tip_ohms() -> f64 {
    0.05
}

/// A contact that is led out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanContact {
    /// The common.
    pub common: Pin,
    /// Closed with it at rest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nc: Option<Pin>,
    /// Closed with it when driven.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no: Option<Pin>,
}

/// What is measured. Steps on contacts are for every contact of the plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum PlanStep {
    /// Ohms of the input, leads compensated, with red on plus and the other way round.
    InputResistance {
        /// Least with red on plus, in ohms.
        ohms_min: f64,
        /// Most with red on plus, in ohms.
        ohms_max: f64,
        /// Least with red on minus, in ohms; as above where it is left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reversed_ohms_min: Option<f64>,
        /// Most with red on minus, in ohms; as above where it is left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reversed_ohms_max: Option<f64>,
        /// Whether the input is a copper winding, whose ohms are stated at 20 degrees Celsius.
        #[serde(default)]
        copper: bool,
    },
    /// At rest: normally closed contacts are closed, normally open ones open.
    Rest {
        /// A closed contact with its leads reads less than this, in ohms.
        closed_ohms_max: f64,
        /// An open contact reads more than this, in ohms.
        open_ohms_min: f64,
    },
    /// At nominal volts: the other way round.
    Changeover {
        /// A closed contact with its leads reads less than this, in ohms.
        closed_ohms_max: f64,
        /// An open contact reads more than this, in ohms.
        open_ohms_min: f64,
    },
    /// The same already at must-operate volts, from rest.
    MustOperate {
        /// A closed contact with its leads reads less than this, in ohms.
        closed_ohms_max: f64,
        /// An open contact reads more than this, in ohms.
        open_ohms_min: f64,
    },
    /// Back as at rest when the supply has come down from nominal to drop-out volts.
    DropOut {
        /// A closed contact with its leads reads less than this, in ohms.
        closed_ohms_max: f64,
        /// An open contact reads more than this, in ohms.
        open_ohms_min: f64,
    },
    /// Ohms of each closed contact, leads compensated, or with four wires.
    ContactOhms {
        /// Most, in ohms.
        ohms_max: f64,
        /// Whether it is measured with four wires; nothing is then taken off for the leads.
        #[serde(default)]
        four_wire: bool,
    },
    /// Pairs that are open beyond the meter's range. This is no insulation test.
    Isolation {
        /// The pairs.
        between: Vec<[Pin; 2]>,
        /// At least this, in ohms, where the meter shows a number at all.
        open_ohms_min: f64,
    },
    /// Current through the indicator at nominal volts, from the volts across a known resistor.
    IndicatorCurrent {
        /// The resistor's terminal that is the more positive one.
        red: Pin,
        /// Its other terminal.
        black: Pin,
        /// Its ohms.
        resistor_ohms: f64,
        /// Its tolerance, in per cent.
        resistor_percent: f64,
        /// Least, in milliamperes.
        milliamps_min: f64,
        /// Most, in milliamperes.
        milliamps_max: f64,
    },
}
