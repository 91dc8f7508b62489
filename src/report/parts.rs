//! The parts of a [`Report`](super::Report): facts as they are in the journal, put where a
//! reader looks for them. Numbers keep their unit in the field's name or in a `unit` beside
//! them; times keep the operator's offset. How a fact is worded is for the renderers.

use crate::event::{
    AlarmState, Ask, BeliefSummary, Capture, Caution, DriveState, IdentifyFinding, LinkNews,
    MeterIdentity, RunStart,
};
use crate::journal::LocalTime;
use drivers::Function;
use schemars::JsonSchema;
use serde::Serialize;

/// One run of the job: from its start to its end, or to where it broke off.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RunPart {
    /// When it began.
    pub began: LocalTime,
    /// When its last entry was written.
    pub last: LocalTime,
    /// How it was begun.
    pub start: RunStart,
    /// How it ended; `None` where it broke off.
    pub end: Option<RunEnd>,
}

/// The end of a run.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RunEnd {
    /// The exit code.
    pub exit: u8,
    /// Why, when it is not 0.
    pub reason: Option<String>,
    /// The job folder, as recorded.
    pub job: String,
}

/// One step of the job, in the order of the journal.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Step {
    /// Its number in the journal.
    pub seq: u64,
    /// When.
    pub at: LocalTime,
    /// Seconds since its run began.
    pub elapsed_s: f64,
    /// What happened.
    #[serde(flatten)]
    pub what: What,
}

/// What happened in a step.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "step", rename_all = "snake_case")]
pub enum What {
    /// A run began.
    Began {
        /// Its position among the runs, from 1.
        run: u32,
        /// Whether it goes on with an earlier one.
        resumed: bool,
        /// How many bytes of a torn last line were set aside before it.
        torn_bytes: u64,
    },
    /// A meter answered.
    Meter(MeterIdentity),
    /// A caution was acknowledged.
    Caution {
        /// Which.
        caution: Caution,
        /// Its text as shown.
        text: String,
    },
    /// The meter's dial was turned.
    Dial {
        /// Where to.
        function: Function,
    },
    /// The leads were placed.
    Touch {
        /// The touch's number.
        touch: u32,
        /// The pin under the red lead.
        red: String,
        /// The pin under the black lead.
        black: String,
        /// How many leads changed pin.
        lead_moves: u32,
        /// How many captures were made of it.
        captures: u32,
    },
    /// The drive was changed.
    Drive {
        /// To what.
        drive: DriveState,
    },
    /// The equipment was brought into alarm, or out of it.
    Alarm {
        /// Which.
        state: AlarmState,
    },
    /// A capture was made.
    Capture(Captured),
    /// A capture was taken back.
    TakenBack {
        /// Which.
        capture: u32,
    },
    /// An ask was skipped.
    Skipped {
        /// Which.
        asked: Ask,
    },
    /// The operator said why, of the skip before it.
    Remark {
        /// In the operator's words.
        text: String,
    },
    /// The meter's link changed.
    Link {
        /// How.
        news: LinkNews,
    },
    /// The meter or its link had a fault; no reading was made of it.
    Complaint {
        /// What it was.
        text: String,
    },
    /// A result was reached.
    Result,
    /// The run ended.
    Ended(RunEnd),
}

/// A capture, and whether the operator took it back.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Captured {
    /// The capture.
    #[serde(flatten)]
    pub capture: Capture,
    /// Whether it was taken back: kept here, and not used.
    pub taken_back: bool,
    /// Whether the instruments were simulated.
    pub simulated: bool,
}

/// What was believed after so many placements.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct BeliefPoint {
    /// Its number in the journal.
    pub seq: u64,
    /// Placements made by then.
    pub placements: u32,
    /// Captures made by then, those taken back included.
    pub captures: u32,
    /// What was believed.
    #[serde(flatten)]
    pub belief: BeliefSummary,
}

/// What the job took, all its runs together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Counts {
    /// Touches.
    pub placements: u32,
    /// Leads that changed pin.
    pub lead_moves: u32,
    /// Changes of the supply.
    pub drive_changes: u32,
    /// Captures, those taken back included.
    pub captures: u32,
    /// Captures taken back.
    pub taken_back: u32,
    /// Asks that were skipped.
    pub skips: u32,
    /// Faults of the meter or its link.
    pub complaints: u32,
    /// Times that the link was lost.
    pub link_losses: u32,
}

/// A result with its place in the journal.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Found {
    /// Its number in the journal.
    pub seq: u64,
    /// When.
    pub at: LocalTime,
    /// The finding.
    pub finding: IdentifyFinding,
}
