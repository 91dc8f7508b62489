//! What a run found, as scripts and reports read it: the [`Finding`] of any command, and in full
//! that of an identification; the others have files of their own. The shape is the product's
//! contract: fields are added, never changed. Pins appear by their labels; lists stand in the
//! operator's pin order.

use super::ask::DriveState;
use super::board::BoardFinding;
use super::fit::FitFinding;
use super::output::{OutputFinding, Shape};
use super::pickup::PickUpFinding;
use super::pin::Pin;
use super::verdict::Verdict;
use super::zone::ZoneDesignFinding;
use super::zone_check::ZoneCheckFinding;
use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::collections::BTreeMap;

/// What a run found; `kind` says of which command.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Finding {
    /// Of an identification.
    Identify(Box<IdentifyFinding>),
    /// Of an output's log.
    Output(Box<OutputFinding>),
    /// Of a board's test.
    Board(Box<BoardFinding>),
    /// Of fitting a relay to an output.
    Fit(Box<FitFinding>),
    /// Of measuring pick-up and drop-out.
    #[serde(rename = "pickup")]
    PickUp(Box<PickUpFinding>),
    /// Of a zone loop's design.
    ZoneDesign(Box<ZoneDesignFinding>),
    /// Of a zone loop's check at the panel.
    ZoneCheck(Box<ZoneCheckFinding>),
}

impl Finding {
    /// How it stands, in the one word that every command has in common: an output that was
    /// described has passed, one that never came on is undecided.
    #[must_use]
    pub const fn verdict(&self) -> Verdict {
        match self {
            Self::Identify(finding) => match finding.result {
                Outcome::Identified => Verdict::Pass,
                Outcome::Undecided => Verdict::Undecided,
            },
            Self::Output(finding) => match finding.shape {
                Shape::None => Verdict::Undecided,
                _ => Verdict::Pass,
            },
            Self::Board(finding) => finding.result,
            Self::Fit(finding) => finding.result,
            Self::PickUp(finding) => finding.result,
            Self::ZoneDesign(finding) => finding.result,
            Self::ZoneCheck(finding) => finding.result,
        }
    }
}

/// What an identification found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct IdentifyFinding {
    /// Whether the part is identified.
    pub result: Outcome,
    /// Why it is undecided.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Posterior probability of the best candidate, 0 to 1.
    pub posterior: f64,
    /// Contact codes of the best candidate, sorted and joined by `+`: `2C`, `1A+1B`.
    pub family: String,
    /// Whether the instruments were simulated.
    pub simulated: bool,
    /// The coils; the first is A1-A2, a second B1-B2.
    pub coils: Vec<CoilFound>,
    /// The poles, in marking order.
    pub poles: Vec<PoleFound>,
    /// Pins joined inside the part that belong to no coil and no pole.
    pub joined: Vec<Vec<Pin>>,
    /// Pins connected to nothing.
    pub spares: Vec<Pin>,
    /// Whether the part holds its state without drive.
    pub latching: Latching,
    /// The drive after which a latching part's NC and NO are named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reset: Option<DriveState>,
    /// EN 50005 marks by pin.
    pub marks: BTreeMap<String, String>,
    /// What is wrong with the part.
    pub faults: Vec<Fault>,
    /// At most five candidates, when undecided.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub candidates: Vec<Candidate>,
    /// Coil against each pole and pole against pole, where that was asked for: open beyond the
    /// meter's range, or not. No insulation test.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub isolation: Vec<Apart>,
    /// The touches that decided: without any one of them the best candidate would be below the
    /// confidence that was asked for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub decisive_touches: Vec<u32>,
    /// Place asks answered ready.
    pub placements: u32,
    /// Leads that changed pin.
    pub lead_moves: u32,
    /// Drive asks answered ready that changed the supply.
    pub drive_changes: u32,
}

/// Whether a part is identified.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Every pin is named, above the stated confidence.
    Identified,
    /// The evidence does not suffice; the reason and the candidates are given.
    Undecided,
}

/// One coil.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CoilFound {
    /// The pin for the supply's plus: A1.
    pub plus: Pin,
    /// The pin for the supply's minus: A2.
    pub minus: Pin,
    /// Resistance, in ohms, at 20 degrees Celsius where the temperature was stated.
    pub ohms: Option<f64>,
    /// Standard uncertainty of `ohms`, in ohms.
    pub ohms_u: Option<f64>,
    /// Whether it must be driven this way round; `None` where the meter cannot tell.
    pub polarised: Option<bool>,
    /// Rated voltages with their probability, most probable first.
    pub rated_volts: Vec<RatedVolts>,
}

/// A rated voltage and its probability.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RatedVolts {
    /// Rated coil voltage, in volts.
    pub volts: f64,
    /// Probability, 0 to 1.
    pub p: f64,
}

/// The form of a contact (IEC 61810-1: make, break, changeover).
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
pub enum Form {
    /// Make contact: open at rest.
    A,
    /// Break contact: closed at rest.
    B,
    /// Changeover.
    C,
}

/// One pole. Doubled pins stand together in one list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PoleFound {
    /// The contact's form.
    pub form: Form,
    /// The common; for a make or break pole the first of its two sides in pin order.
    pub common: Vec<Pin>,
    /// Closed with the common at rest.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub nc: Vec<Pin>,
    /// Closed with the common when energised.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub no: Vec<Pin>,
    /// How this pole is known.
    pub evidence: Evidence,
}

/// How a claim is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Evidence {
    /// Each contact of it was measured at rest, energised, and at rest again.
    Measured,
    /// It follows from other measurements.
    Inferred,
}

/// Whether the part holds its state without drive. On the wire `false`, `"one coil"` or
/// `"two coils"`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Latching {
    /// It does not.
    No,
    /// One coil, set and reset by polarity.
    OneCoil,
    /// One coil sets, the other resets.
    TwoCoils,
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
enum LatchingWire {
    Flag(bool),
    Coils(String),
}

impl Serialize for Latching {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::No => LatchingWire::Flag(false),
            Self::OneCoil => LatchingWire::Coils("one coil".into()),
            Self::TwoCoils => LatchingWire::Coils("two coils".into()),
        }
        .serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Latching {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match LatchingWire::deserialize(deserializer)? {
            LatchingWire::Flag(false) => Ok(Self::No),
            LatchingWire::Coils(c) if c == "one coil" => Ok(Self::OneCoil),
            LatchingWire::Coils(c) if c == "two coils" => Ok(Self::TwoCoils),
            _ => Err(serde::de::Error::custom("expected false, \"one coil\" or \"two coils\"")),
        }
    }
}

impl JsonSchema for Latching {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Latching".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({ "enum": [false, "one coil", "two coils"] })
    }
}

/// Two nets of the part measured against each other, at rest.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Apart {
    /// The two pins that were touched, one of each net.
    pub pins: [Pin; 2],
    /// Whether they are open beyond the meter's range.
    pub open: bool,
    /// What was read instead, in ohms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ohms: Option<f64>,
}

/// What is wrong with the part.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Fault {
    /// The kind.
    pub code: FaultCode,
    /// The pins it was seen on.
    pub pins: Vec<Pin>,
    /// A sentence for people.
    pub text: String,
}

/// The kinds of fault.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum FaultCode {
    /// A contact stays closed in both drive states while its neighbours change over.
    WeldedContact,
    /// A contact that should close stays open.
    StuckOpenContact,
    /// No pair reads like a coil.
    OpenCoil,
    /// The coil reads far below what its rated voltage allows.
    ShortedTurns,
    /// A closed contact reads more than a contact should.
    HighContactOhms,
    /// A coil is there, and nothing moves within the permitted voltage.
    NoResponse,
    /// Nothing about it is like a relay.
    NotARelay,
}

/// One possible pinout with its probability.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Candidate {
    /// Its posterior probability, 0 to 1.
    pub posterior: f64,
    /// Its contact codes.
    pub family: String,
    /// Its coils: pin pairs.
    pub coils: Vec<[Pin; 2]>,
    /// Its poles.
    pub poles: Vec<PoleFound>,
}
