//! The finding of a board's test, as scripts, reports and the history read it: the verdict, and
//! each check with its value, limits, budget and probability. The shape is the product's contract:
//! fields are added, never changed. Values are in the check's own `unit`.

use super::ask::DriveState;
use super::pin::Pin;
use super::verdict::Verdict;
use drivers::Function;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a board's test found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BoardFinding {
    /// The verdict: fail where a check failed, undecided where one is, else pass.
    pub result: Verdict,
    /// Why it is not a pass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Whether the instruments were simulated.
    pub simulated: bool,
    /// The board's serial number.
    pub serial: String,
    /// How often this serial number had been tested before in this job.
    pub repeats: u32,
    /// The plan's name.
    pub plan: String,
    /// The plan's edition.
    pub revision: String,
    /// The decision rule, in a sentence.
    pub rule: String,
    /// The probability that each expanded uncertainty covers, 0 to 1.
    pub coverage: f64,
    /// The checks, in the plan's order.
    pub checks: Vec<CheckFound>,
    /// What the pattern of the results says: leads that were elsewhere, a board wired otherwise.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<String>,
    /// Place asks answered ready, for this board.
    pub placements: u32,
    /// Leads that changed pin, for this board.
    pub lead_moves: u32,
    /// Drive asks answered ready that changed the supply, for this board.
    pub drive_changes: u32,
}

/// How the test of a board stands once a check was judged, or judged anew.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CheckSoFar {
    /// The check's name.
    pub check: String,
    /// Its verdict by what was captured so far; a failed one is touched once more.
    pub verdict: Verdict,
    /// How many of the plan's checks are judged.
    pub done: u32,
    /// How many there are.
    pub of: u32,
}

/// One check.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CheckFound {
    /// Its name, unique in the plan: `rest COM-NC`.
    pub check: String,
    /// The verdict.
    pub verdict: Verdict,
    /// The pin under the red lead.
    pub red: Pin,
    /// The pin under the black lead.
    pub black: Pin,
    /// The meter's function.
    pub function: Function,
    /// What was applied to the board's input.
    pub drive: DriveState,
    /// The value that is judged, corrected as the budget says; `null` where nothing was measured
    /// or the meter showed open.
    pub value: Option<f64>,
    /// The unit of every number here: `ohm` or `mA`.
    pub unit: String,
    /// Whether it was open beyond the meter's range.
    pub open: bool,
    /// Least that passes.
    pub lower: Option<f64>,
    /// Most that passes.
    pub upper: Option<f64>,
    /// Combined standard uncertainty.
    pub u: Option<f64>,
    /// Effective degrees of freedom; `null` where they are unbounded.
    pub freedom: Option<f64>,
    /// Coverage factor.
    pub coverage_factor: Option<f64>,
    /// Expanded uncertainty.
    pub expanded: Option<f64>,
    /// Distance to the nearest limit; negative outside.
    pub margin: Option<f64>,
    /// Probability that the board conforms here, 0 to 1.
    pub probability: Option<f64>,
    /// Why there is no value, or what is odd about it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The capture that it stands on.
    pub capture: Option<u32>,
    /// The budget of its uncertainty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub budget: Vec<BudgetLine>,
}

/// One line of a budget.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BudgetLine {
    /// What it is.
    pub component: String,
    /// How it is distributed, in a word.
    pub shape: String,
    /// Standard uncertainty, in the input's own unit.
    pub u: f64,
    /// Sensitivity: the value's unit per the input's.
    pub sensitivity: f64,
    /// Degrees of freedom; `null` where they are unbounded.
    pub freedom: Option<f64>,
    /// What it adds, in the check's unit.
    pub contribution: f64,
    /// Its part of the combined variance, 0 to 1.
    pub part: f64,
}
