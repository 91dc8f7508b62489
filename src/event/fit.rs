//! Whether an output will hold a relay, as scripts and reports read it: what it was worked out
//! from, each check with its margin, formula and numbers, and what to fit beside the coil. The
//! shape is the product's contract: fields are added, never changed. A margin is positive where
//! the limit is kept; low and high are its ends over everything that is not exactly known.

use super::Verdict;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The outcome of fitting a relay to an output.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FitFinding {
    /// Fail where one check fails, else undecided where one is undecided, else pass.
    pub result: Verdict,
    /// What decided, in a sentence.
    pub reason: String,
    /// Volts that the coil is left with in alarm where it is hardest for it to pick up: coil hot,
    /// supply at its lowest.
    pub coil_volts_min: f64,
    /// Volts that the coil is given where it takes the most power: coil cold, supply at its
    /// highest. A hot coil resists more, so over a long cable these may be less than
    /// `coil_volts_min`.
    pub coil_volts_max: f64,
    /// Coil current at `coil_volts_min`, in amperes.
    pub coil_amps_min: f64,
    /// Coil current at `coil_volts_max`, in amperes.
    pub coil_amps_max: f64,
    /// Smallest margin of all checks at the nominal values, in per cent of its limit.
    pub margin_percent: f64,
    /// Share of the random draws in which every check passed, 0 to 1.
    pub probability: f64,
    /// How many draws.
    pub draws: u32,
    /// Their seed.
    pub seed: u64,
    /// The checks, in order of the work.
    pub checks: Vec<FitCheck>,
    /// The capacitor that bridges the gaps of a pulsed output; `null` where none is needed.
    pub hold_up: Option<HoldUp>,
    /// What may be fitted across the coil, simplest first.
    pub suppression: Vec<SuppressionChoice>,
    /// What it was worked out from.
    pub inputs: Vec<FitInput>,
    /// What was taken for granted, in sentences.
    pub assumptions: Vec<String>,
    /// Whether any of it comes from simulated instruments.
    pub simulated: bool,
}

/// One check.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FitCheck {
    /// Which.
    pub code: FitCode,
    /// Pass: kept over the whole range of what is not exactly known; fail: not kept anywhere in
    /// it; undecided: it depends.
    pub verdict: Verdict,
    /// What is checked, in a sentence.
    pub text: String,
    /// The value at the nominal inputs, in `unit`.
    pub value: f64,
    /// Its limit, in `unit`.
    pub limit: f64,
    /// `V`, `A`, `mA` or `s`.
    pub unit: String,
    /// Distance to the limit at the nominal inputs, in `unit`; negative: not kept.
    pub margin: f64,
    /// The lowest margin that the inputs allow, in `unit`.
    pub margin_low: f64,
    /// The highest margin that the inputs allow, in `unit`.
    pub margin_high: f64,
    /// `margin` in per cent of the limit.
    pub margin_percent: f64,
    /// Share of the random draws that kept the limit, 0 to 1.
    pub probability: f64,
    /// The formula, in symbols.
    pub formula: String,
    /// The same with the numbers in it.
    pub numbers: String,
}

/// What is checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FitCode {
    /// The hot coil picks up on the lowest supply.
    PickUpHot,
    /// The cold coil stands the highest supply.
    MaximumCold,
    /// The coil drops out when the output is off.
    Release,
    /// The output can deliver what coil and siren take.
    OutputAmps,
    /// The contact stays through the gaps of a pulsed output.
    HoldThroughGap,
    /// The loop's current keeps the contact clean.
    WettingCurrent,
}

/// A capacitor across the coil behind a diode, which bridges the gaps of a pulsed output.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HoldUp {
    /// The gap to bridge, in seconds.
    pub gap_s: f64,
    /// The least capacitance that bridges it over the whole range of the inputs, in microfarads.
    pub microfarads_min: f64,
    /// The next usual value, its own tolerance of a fifth allowed for, in microfarads.
    pub microfarads: f64,
    /// Whether that capacitor was taken to be fitted, by the operator's word, in the checks.
    pub fitted: bool,
    /// The capacitor's rated volts, the next usual value above the highest supply.
    pub capacitor_volts: f64,
    /// Peak current into the empty capacitor, in amperes.
    pub inrush_amps: f64,
    /// A resistor in line that keeps the inrush to one ampere, in ohms; 0: none is needed.
    pub series_ohms: f64,
    /// Longest time that the relay stays in after the alarm has ended, in seconds.
    pub release_s_max: f64,
    /// Time that the capacitor takes to fill up to pick-up at the first pulse, in seconds; `null`
    /// where it never does.
    pub pick_up_delay_s: Option<f64>,
}

/// One way to keep the coil's kick from the output.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SuppressionChoice {
    /// What to fit and which way round, in words.
    pub fit: String,
    /// Highest volts that the output's switch sees as it opens; `null`: nothing limits them.
    pub clamp_volts: Option<f64>,
    /// Time until the armature is let go, for the coil's inductance as stated or assumed, in
    /// milliseconds.
    pub release_ms: Option<f64>,
    /// The formula with its numbers.
    pub numbers: String,
}

/// One input with its range.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FitInput {
    /// What it is, in the trade's words.
    pub name: String,
    /// The lowest value it may have, in `unit`.
    pub low: f64,
    /// The value that is worked with, in `unit`.
    pub nominal: f64,
    /// The highest value it may have, in `unit`.
    pub high: f64,
    /// Its unit.
    pub unit: String,
    /// Where it comes from.
    pub origin: Origin,
}

/// Where an input comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// The operator's word.
    Stated,
    /// A recorded log of the output.
    Log,
    /// The record of a job.
    Job,
    /// Taken for granted; the assumptions say why.
    #[default]
    Assumed,
}
