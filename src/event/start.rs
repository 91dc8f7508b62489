//! How a run was begun: what is common to every command, and what each command was given. A task
//! is one command begun afresh with all the parts that go on with it; the terms are those it was
//! begun with. On the wire the terms stand beside the common fields, and `command` names them.

use super::job::JobStart;
use super::pickup::PickUpStart;
use super::pin::Pins;
use super::plan::BoardPlan;
use super::zone::ZoneDesignStart;
use super::zone_check::ZoneCheckStart;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a run was begun.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunStart {
    /// The program's version.
    pub version: String,
    /// Whether the instruments are simulated; every screen and report then says so.
    pub simulated: bool,
    /// Whether this part goes on with an earlier one of the same job.
    pub resumed: bool,
    /// How many bytes of a torn last line were set aside before this part went on.
    #[serde(default, skip_serializing_if = "super::is_zero")]
    pub torn_bytes: u64,
    /// The meter's link, as the operator wrote it.
    pub meter: String,
    /// The meter's profile by name.
    pub profile: String,
    /// The command and what it was given.
    #[serde(flatten)]
    pub terms: RunTerms,
}

impl RunStart {
    /// Of a run that measures nothing.
    #[must_use]
    pub fn without_meter(terms: RunTerms, simulated: bool, torn_bytes: u64) -> Self {
        Self {
            version: env!("CARGO_PKG_VERSION").into(),
            simulated,
            resumed: false,
            torn_bytes,
            meter: String::new(),
            profile: String::new(),
            terms,
        }
    }
}

/// A command and what it was given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "command", rename_all = "snake_case")]
pub enum RunTerms {
    /// An unmarked relay, pin by pin.
    Identify(IdentifyStart),
    /// Relay boards against a plan.
    Board(Box<BoardStart>),
    /// Whether an output will hold a relay.
    Fit(FitStart),
    /// Pick-up and drop-out by ramps.
    #[serde(rename = "pickup")]
    PickUp(PickUpStart),
    /// A zone loop, worked out.
    ZoneDesign(ZoneDesignStart),
    /// A zone loop, proved at the panel.
    ZoneCheck(Box<ZoneCheckStart>),
    /// A switched output, through rest, alarm and the end of its window.
    Output(OutputStart),
    /// A talk of a whole job about one of its steps.
    Job(JobStart),
}

impl RunTerms {
    /// The command's name, as on the command line.
    #[must_use]
    pub const fn command(&self) -> &'static str {
        match self {
            Self::Identify(_) => "identify",
            Self::Board(_) => "board",
            Self::Fit(_) => "fit",
            Self::PickUp(_) => "pickup",
            Self::ZoneDesign(_) => "zone-design",
            Self::ZoneCheck(_) => "zone-check",
            Self::Output(_) => "output",
            Self::Job(_) => "job",
        }
    }

    /// Whether it takes so long that a part of it can be gone on with; what is worked out at once,
    /// or talked about, is begun again.
    #[must_use]
    pub const fn goes_on(&self) -> bool {
        !matches!(self, Self::Fit(_) | Self::ZoneDesign(_) | Self::Job(_))
    }
}

/// What an identification was given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct IdentifyStart {
    /// The pins of the part, in the operator's order.
    pub pins: Pins,
    /// The footprint, as the operator wrote it; `4+4 round` where the rows are numbered round.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub footprint: Option<String>,
    /// Posterior probability that ends the search, 0.5 to 1.
    pub confidence: f64,
    /// No drive above this voltage is ever asked, in volts.
    pub volts_max: f64,
    /// No drive above this power in the coil as measured is ever asked, in watts.
    pub coil_watts_max: f64,
    /// Temperature of the coil, if stated, in degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ambient_celsius: Option<f64>,
    /// Whether the proof of each contact is left out.
    pub quick: bool,
    /// Whether coil and poles are measured against each other at the end.
    #[serde(default)]
    pub isolation: bool,
    /// What the operator's hands cost, if stated or if a supply drives.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hand_seconds: Option<HandSeconds>,
}

impl IdentifyStart {
    /// An identification of these pins as it is without further words.
    #[must_use]
    pub const fn usual(pins: Pins) -> Self {
        Self {
            pins,
            footprint: None,
            confidence: 0.9999,
            volts_max: 24.0,
            coil_watts_max: 3.0,
            ambient_celsius: None,
            quick: false,
            isolation: false,
            hand_seconds: None,
        }
    }
}

/// What the operator's hands cost, reading included: by these the next placement is weighed. The
/// usual ones are stated assumptions without a source.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HandSeconds {
    /// Moving one lead, in seconds.
    pub one_lead_s: f64,
    /// Moving both leads, in seconds.
    pub two_leads_s: f64,
    /// Driving the coil and releasing it, in seconds.
    pub drive_s: f64,
}

impl Default for HandSeconds {
    fn default() -> Self {
        Self { one_lead_s: 4.0, two_leads_s: 5.0, drive_s: 0.5 }
    }
}

/// What a fit was given beside the record of its job. Its numbers stand in the finding's inputs.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FitStart {
    /// The log of the output, as the operator wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub log: Option<String>,
}

/// What the log of an output was given.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OutputStart {
    /// The output's nominal voltage, if stated, in volts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nominal_volts: Option<f64>,
    /// The log ends this long after the alarm, whatever the output does, in seconds.
    pub for_s: f64,
    /// The log ends once the output has been off for this long, in seconds.
    pub guard_s: f64,
}

/// What a test of boards was given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BoardStart {
    /// The plan, whole.
    pub plan: BoardPlan,
    /// The serial number of the first board, if it was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Whether the next serial number is asked for after each board.
    #[serde(default)]
    pub batch: bool,
    /// Who tests, as they signed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Temperature of the board, if stated, in degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ambient_celsius: Option<f64>,
}
