//! The shared words. A guide says what happened as [`Event`]s and what is wanted as [`Ask`]s;
//! journal, report and operator know nothing else of it. An event is a past fact, complete in
//! itself: a job is a fold over its events, and each is on disk before anyone is shown it.
//! On the wire and on disk an event is an object whose `event` field names it.

mod ask;
mod board;
mod caution;
mod drive_limit;
mod finding;
mod fit;
mod footprint;
mod job;
mod ladder;
mod log;
mod output;
mod pickup;
mod pin;
mod plan;
mod start;
mod terminals;
mod verdict;
mod visible;
mod zone;
mod zone_check;

pub use ask::{AlarmState, Answer, Ask, AskedDrive, DriveState};
pub use board::{BoardFinding, BudgetLine, CheckFound, CheckSoFar};
pub use caution::Caution;
pub use drive_limit::DriveLimit;
pub use finding::{
    Apart, Candidate, CoilFound, Evidence, Fault, FaultCode, Finding, Form, IdentifyFinding,
    Latching, Outcome, PoleFound, RatedVolts,
};
pub use fit::{FitCheck, FitCode, FitFinding, FitInput, HoldUp, Origin, SuppressionChoice};
pub use footprint::{Arranged, BadFootprint, StatedFootprint, is_drawn};
pub use job::{JobLabel, JobStart, JobStep};
pub use ladder::{Ladder, LadderStep};
pub use log::{LogEnd, LogNews, LogPicture};
pub use output::{
    Cadence, ChangeKind, InrushDip, LevelChange, LogCounts, OutputFinding, OutputWindow, Polarity,
    Shape, Trace, TraceSpan,
};
pub use pickup::{PickUpFinding, PickUpStart, Ramp, Threshold};
pub use pin::{BadPins, Pin, Pins};
pub use plan::{BoardPlan, PlanContact, PlanDecision, PlanLeads, PlanRule, PlanStep, PlanSupply};
pub use start::{
    BoardStart, FitStart, HandSeconds, IdentifyStart, OutputStart, RunStart, RunTerms,
};
pub use terminals::RelayTerminals;
pub use verdict::Verdict;
pub use visible::visible;
pub use zone::{
    CoilDriven, FaultEffect, LoopKind, ResistorPlace, ZoneAmount, ZoneBand, ZoneContact,
    ZoneDesignFinding, ZoneDesignStart, ZoneFault, ZoneFaultCode, ZoneRank, ZoneResistor,
    ZoneState, ZoneStateFigures, ZoneWiring,
};
pub use zone_check::{ZoneCheckFinding, ZoneCheckStart, ZoneExplanation, ZoneStateMeasured};

use drivers::{Function, Reading, Unit};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Version of the journal's and the operator's words; raised when a field changes meaning.
pub const VERSION: u32 = 1;

/// A fact of a run. Numbers carry their unit in the field's name or in a `unit` beside them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "event", rename_all = "snake_case")]
pub enum Event {
    /// A run of a command began in this job, for the first time or again.
    #[serde(rename = "started")]
    RunStarted(RunStart),
    /// The meter answered.
    #[serde(rename = "meter")]
    MeterIdentified(MeterIdentity),
    /// The operator acknowledged a caution.
    #[serde(rename = "caution")]
    CautionAcknowledged {
        /// Which caution.
        caution: Caution,
        /// Its text as it was shown.
        text: String,
    },
    /// The operator turned the meter's dial.
    #[serde(rename = "dial")]
    DialTurned {
        /// The function the operator says it is at.
        function: Function,
    },
    /// Both leads rest on two pins: a touch began.
    #[serde(rename = "placement")]
    LeadsPlaced(Placement),
    /// Which drives a coil will be tried with, and why.
    #[serde(rename = "ladder")]
    LadderPlanned(Ladder),
    /// The drive was applied to the coil, or taken off.
    #[serde(rename = "drive")]
    DriveChanged(DriveState),
    /// The supply stopped at its current limit: what was known of the coil is in doubt.
    DriveLimited(DriveLimit),
    /// Settled readings of the current touch, in the current drive, became one capture.
    #[serde(rename = "capture")]
    ReadingCaptured(Capture),
    /// The operator took a capture back; the journal keeps it, the belief forgets it.
    #[serde(rename = "taken_back")]
    CaptureTakenBack {
        /// The capture's number.
        capture: u32,
    },
    /// The meter has no such function, or refuses it.
    #[serde(rename = "no_function")]
    FunctionRefused {
        /// The function.
        function: Function,
    },
    /// The operator cannot reach this pair, or cannot drive these pins.
    #[serde(rename = "skip")]
    AskSkipped {
        /// What was skipped. On the wire it is `skipped`: a line with `ask` in it is an ask.
        #[serde(rename = "skipped", alias = "ask")]
        ask: Ask,
    },
    /// The operator's reason for the skip before it.
    #[serde(rename = "remark")]
    OperatorRemarked {
        /// In the operator's words.
        text: String,
    },
    /// What is believed after a capture.
    #[serde(rename = "belief")]
    BeliefUpdated(BeliefSummary),
    /// The link to the meter went away, or the meter fell silent, or it came back.
    #[serde(rename = "link")]
    LinkChanged(LinkNews),
    /// The meter or its link had a fault that was dealt with; no reading was made of it.
    #[serde(rename = "complaint")]
    MeterComplained {
        /// What it was, escaped.
        text: String,
    },
    /// The operator brought the equipment into alarm, or out of it.
    #[serde(rename = "alarm")]
    AlarmChanged {
        /// Which.
        state: AlarmState,
    },
    /// News of the log of an output's readings.
    #[serde(rename = "log")]
    Logged(LogNews),
    /// Something of the job was named.
    #[serde(rename = "label")]
    LabelStated {
        /// What.
        label: JobLabel,
        /// Its name, in the operator's words.
        text: String,
    },
    /// The operator looked at a point of the wiring.
    #[serde(rename = "point")]
    PointLookedAt {
        /// What should be so.
        text: String,
        /// Whether it is.
        as_designed: bool,
    },
    /// A step of the job that is talk alone is done.
    #[serde(rename = "settled")]
    StepSettled {
        /// Which.
        step: JobStep,
    },
    /// A board with this serial number came onto the bench.
    #[serde(rename = "board")]
    BoardBegun {
        /// Its serial number.
        serial: String,
    },
    /// A check of the board was judged by what was captured so far.
    #[serde(rename = "check")]
    CheckJudged(CheckSoFar),
    /// What a run found.
    #[serde(rename = "result")]
    ResultReached(Finding),
    /// The run ended.
    #[serde(rename = "finished")]
    RunFinished {
        /// The process exit code: 0 done, 1 limit failed or undecided, 2 bad input, 3 instrument,
        /// 4 aborted, 5 record not written.
        exit: u8,
        /// Why, when it is not 0.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reason: Option<String>,
        /// The job folder.
        job: String,
    },
}

impl Event {
    /// Whether this fact is what became of an ask: nothing is asked any more until the next one.
    #[must_use]
    pub const fn closes_an_ask(&self) -> bool {
        matches!(
            self,
            Self::CautionAcknowledged { .. }
                | Self::DialTurned { .. }
                | Self::LeadsPlaced(_)
                | Self::DriveChanged(_)
                | Self::DriveLimited(_)
                | Self::AlarmChanged { .. }
                | Self::CaptureTakenBack { .. }
                | Self::AskSkipped { .. }
                | Self::BoardBegun { .. }
                | Self::LabelStated { .. }
                | Self::PointLookedAt { .. }
        )
    }
}

/// The meter that answered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct MeterIdentity {
    /// Its identification as received, escaped; empty where it has none.
    pub identity: String,
    /// The link.
    pub link: String,
    /// The profile in use.
    pub profile: String,
    /// Whether the program sets the function; if not, the operator turns the dial.
    pub commanded: bool,
}

/// One touch: both leads on two pins.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Placement {
    /// The touch's number in this job, from 1.
    pub touch: u32,
    /// The pin under the red lead.
    pub red: Pin,
    /// The pin under the black lead.
    pub black: Pin,
    /// How many leads changed pin for it; two for the first touch and for a fresh touch of the
    /// same pair.
    pub lead_moves: u32,
}

impl Placement {
    /// How many leads change pin on the way from one placement (red, black) to the next: none is
    /// known to rest anywhere before the first touch, and a fresh touch of the same lifts both.
    #[must_use]
    pub fn moves<P: PartialEq>(from: Option<(P, P)>, to: (P, P)) -> u32 {
        match from {
            Some(from) if from != to => u32::from(from.0 != to.0) + u32::from(from.1 != to.1),
            _ => 2,
        }
    }
}

/// The settled result of one touch in one drive state.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Capture {
    /// The capture's number in this job, from 1.
    pub capture: u32,
    /// The touch it belongs to.
    pub touch: u32,
    /// The pin under the red lead.
    pub red: Pin,
    /// The pin under the black lead.
    pub black: Pin,
    /// The meter's function.
    pub function: Function,
    /// What was applied to the coil.
    pub drive: DriveState,
    /// Mean of the settled readings, in `unit`; `None` on overload.
    pub value: Option<f64>,
    /// The unit of `value`, `u` and `spread`.
    pub unit: Unit,
    /// Whether the settled readings were overload: open circuit, on ohms.
    pub overload: bool,
    /// Standard uncertainty of `value` from the meter's accuracy, in `unit`.
    pub u: Option<f64>,
    /// Largest minus smallest of the settled readings, in `unit`.
    pub spread: Option<f64>,
    /// How many readings were settled.
    pub samples: u32,
    /// Those readings as the meter sent them, escaped.
    pub raw: Vec<String>,
}

/// What is believed at one moment, for people and pictures.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BeliefSummary {
    /// The most probable candidates, best first, at most five.
    pub candidates: Vec<Candidate>,
    /// Entropy of the belief over all partitions, in bits.
    pub entropy_bits: f64,
    /// How many more placements are expected, if known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub placements_left: Option<f64>,
}

/// News of the link to the meter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "state", rename_all = "snake_case")]
pub enum LinkNews {
    /// It went away; the program is trying to get it back.
    Lost {
        /// What happened, escaped.
        text: String,
    },
    /// It is back, and the same meter answers.
    Restored {
        /// How long it was away, in seconds.
        gap_s: f64,
    },
    /// The operator allowed another meter than the one that began the job.
    OtherMeterAccepted {
        /// Its identity, escaped.
        identity: String,
    },
}

/// What arrives at a guide.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// The run begins, or goes on: say what is wanted first.
    Begun,
    /// The meter answered, at first or after a gap (the gap in seconds).
    MeterAnswered(MeterIdentity, Option<f64>),
    /// A reading of the measurement with this epoch.
    ReadingArrived(u64, Reading),
    /// A reading arrived in another function than was asked for: the dial stands there.
    OtherFunctionArrived,
    /// The meter has no such function, or refuses it.
    FunctionRefused(Function),
    /// The supply stopped at its current limit; its output is off.
    DriveLimited(DriveLimit),
    /// The operator answered the ask that is open.
    AnswerReceived(Answer),
    /// The operator answered the ask that is open with a text: a serial number, a label.
    TextReceived(String),
    /// The moment that was asked for has come.
    DeadlineReached,
    /// The meter's link went away; it may come back.
    MeterLost(String),
    /// The run is to stop here: an interrupt, or the end of the operator's input.
    StopRequested(String),
}

/// What a guide orders. The loop performs it and comes back for more until nothing is left.
#[must_use]
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Nothing new: what was wanted is still wanted.
    Nothing,
    /// This has become a fact: write it down, and come back.
    Record(Box<Event>),
    /// Ask the operator; one ask is open at a time.
    Ask(Ask),
    /// The last answer does not fit the open ask: say why and ask it again.
    AskAgain(String),
    /// Tell the meter to measure in this function, tagging readings with the epoch.
    Measure(Function, u64),
    /// Begin a log in the job folder, or go on with this file of it, at this time of the log in
    /// seconds; [`LogNews::Opened`] follows as a fact.
    OpenLog(Option<String>, f64),
    /// Write a reading to the log: seconds on its clock, and volts or overload.
    Log(f64, Option<f64>),
    /// End the log; [`LogNews::Closed`] follows as a fact.
    CloseLog(LogEnd),
    /// The run is over with this exit code and reason.
    Finish(u8, Option<String>),
}

/// Whether a count is left out of the record.
#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
const fn is_zero(count: &u64) -> bool {
    *count == 0
}
