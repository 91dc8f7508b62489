//! A check of a loop at the panel's terminals, as scripts and reports read it: what it was given,
//! each state measured and how it stands to the panel's thresholds, when the alarm came and went,
//! and what is wrong where a state is not as designed. Fields are added, never changed; an open
//! loop's ohms are `null`.

use super::{Verdict, ZoneFaultCode, ZoneState, ZoneWiring};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a check at the panel was given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneCheckStart {
    /// The panel file's text, so that the record stands by itself.
    pub panel: String,
    /// The wiring that is to be there.
    pub wiring: ZoneWiring,
    /// The cable there and back, in ohms.
    pub cable_ohms: f64,
    /// The closed contact at its most, in ohms.
    pub contact_ohms_max: f64,
    /// How long the loop may take to follow the equipment, in seconds.
    #[serde(default = "usual_follow_s")]
    pub follow_within_s: f64,
}

/// Common practice, no source.
const fn usual_follow_s() -> f64 {
    20.0
}

/// The outcome of a check at the panel.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneCheckFinding {
    /// Pass only where every state was measured and is surely read as it should be.
    pub result: Verdict,
    /// What decided, in a sentence.
    pub reason: String,
    /// The panel input by name.
    pub panel: String,
    /// The wiring that is to be there.
    pub wiring: ZoneWiring,
    /// The states, in the order in which they were measured.
    pub states: Vec<ZoneStateMeasured>,
    /// Seconds from the first settled reading to the first violated one; `null`: never.
    pub violated_at_s: Option<f64>,
    /// Seconds from there to the first ready reading after the last violated one; `null`: never.
    pub restored_at_s: Option<f64>,
    /// How often it became violated: more than once where the output pulses.
    pub violations: u32,
    /// Readings watched.
    pub readings: u32,
    /// What would explain states that are not as designed, the likeliest first.
    pub explanations: Vec<ZoneExplanation>,
    /// What this check cannot show, in sentences.
    pub remarks: Vec<String>,
    /// Whether any instrument was simulated.
    pub simulated: bool,
}

/// A state at the terminals.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneStateMeasured {
    /// What the panel should read.
    pub state: ZoneState,
    /// When: `at rest`, `in alarm`, `restored`, `tamper contact open`.
    pub when: String,
    /// What it reads, by these volts; `null` where it was not measured.
    pub reads: Option<ZoneState>,
    /// Volts at the terminals.
    pub volts: Option<f64>,
    /// Their standard uncertainty.
    pub volts_u: Option<f64>,
    /// Volts by design, nominal.
    pub design_volts: f64,
    /// Ohms of the loop by the panel's source; `null` where it is open or was not measured.
    pub ohms: Option<f64>,
    /// How it stands.
    pub verdict: Verdict,
    /// Worst-case distance to the nearest threshold, in volts, two standard uncertainties, the
    /// source's and the thresholds' tolerances taken off; negative: beyond it.
    pub margin_volts: Option<f64>,
}

/// What would explain what was measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneExplanation {
    /// The fault of the loop; `null` where it is something else.
    pub code: Option<ZoneFaultCode>,
    /// In words.
    pub text: String,
}
