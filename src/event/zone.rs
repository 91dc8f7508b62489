//! A zone loop, worked out, as scripts and reports read it: how it is wired, how each state stands
//! to the panel's thresholds, what each fault would look like, and which wiring hides least. What
//! was measured at the terminals is in `zone_check.rs`. Fields are added, never changed. Infinite
//! ohms (an open loop) and a margin to a threshold that is not there are `null`.

use super::Verdict;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a panel takes a loop for.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum ZoneState {
    /// At rest: the system can be set.
    Ready,
    /// In alarm.
    Violated,
    /// Tampered with.
    Tamper,
    /// In trouble: a fault of the detector or the wiring.
    Fault,
}

impl ZoneState {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ready => "ready",
            Self::Violated => "violated",
            Self::Tamper => "tamper",
            Self::Fault => "fault",
        }
    }
}

/// What a design was given; all of it is in the finding too.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneDesignStart {
    /// The panel file's text.
    pub panel: String,
}

/// The outcome of a zone design.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneDesignFinding {
    /// Fail where one state is never read as it should, undecided where one may not be.
    pub result: Verdict,
    /// What decided, in a sentence.
    pub reason: String,
    /// The panel input by name.
    pub panel: String,
    /// Where its numbers come from.
    pub panel_source: String,
    /// The wiring that was worked out.
    pub wiring: ZoneWiring,
    /// The panel's source: volts on open terminals.
    pub supply_volts: f64,
    /// The panel's source resistance, in ohms.
    pub supply_ohms: f64,
    /// The cable there and back, in ohms.
    pub cable_ohms: f64,
    /// The closed contact at its most, in ohms.
    pub contact_ohms_max: f64,
    /// The panel's bands, from a short to an open loop.
    pub bands: Vec<ZoneBand>,
    /// What to pick from the drawer.
    pub resistors: Vec<ZoneResistor>,
    /// The states of the loop.
    pub states: Vec<ZoneStateFigures>,
    /// What each fault looks like.
    pub faults: Vec<ZoneFault>,
    /// The wirings that this panel allows, best first.
    pub ranking: Vec<ZoneRank>,
    /// What was taken for granted, in sentences.
    pub assumptions: Vec<String>,
    /// How many random draws.
    pub draws: u32,
    /// Their seed.
    pub seed: u64,
}

/// A band of what the panel reads.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneBand {
    /// What it takes a loop within it for.
    pub reads: ZoneState,
    /// Its upper end, in ohms; `null`: none.
    pub up_to_ohms: Option<f64>,
    /// The same in volts at the terminals.
    pub up_to_volts: Option<f64>,
}

/// How a loop is wired.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub struct ZoneWiring {
    /// The kind of loop.
    pub kind: LoopKind,
    /// The contact of the relay that is used.
    pub contact: ZoneContact,
    /// Where the resistors sit.
    pub place: ResistorPlace,
    /// When the coil is driven.
    pub drive: CoilDriven,
    /// Whether a tamper contact is in the loop.
    pub tamper: bool,
}

/// The kind of a loop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LoopKind {
    /// No resistor.
    Bare,
    /// One resistor in line with a contact that opens in alarm.
    Series,
    /// One resistor across a contact that closes in alarm.
    Parallel,
    /// Two resistors: one at the end, one for alarm.
    Double,
    /// Three resistors: one at the end, one for alarm, one for a fault contact.
    Triple,
}

/// A contact of the relay.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ZoneContact {
    /// Closed without drive: 11-12.
    NormallyClosed,
    /// Open without drive: 11-14.
    NormallyOpen,
}

impl ZoneContact {
    /// The other one of a changeover.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::NormallyClosed => Self::NormallyOpen,
            Self::NormallyOpen => Self::NormallyClosed,
        }
    }
}

/// Where the resistors of a loop sit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ResistorPlace {
    /// At the relay, where the cable ends.
    FarEnd,
    /// At the panel's terminals.
    PanelEnd,
}

/// When the coil of the relay is driven.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum CoilDriven {
    /// Only in alarm.
    InAlarm,
    /// At rest, and let go in alarm.
    AtRest,
}

/// A resistor to pick.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneResistor {
    /// What it is for.
    pub role: String,
    /// What the panel asks for, in ohms.
    pub wanted_ohms: f64,
    /// The preferred value to pick, in ohms.
    pub ohms: f64,
    /// Its tolerance, in per cent.
    pub percent: f64,
    /// The series.
    pub series: String,
    /// Its code by IEC 60062.
    pub code: String,
    /// Its bands by IEC 60062, from the end where reading starts.
    pub bands: Vec<String>,
}

/// A state of the loop, worked out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneStateFigures {
    /// The state that it should be read as.
    pub state: ZoneState,
    /// What the contacts do, in words.
    pub text: String,
    /// What it is read as at the nominal values.
    pub reads: ZoneState,
    /// Pass: read rightly over the whole range; fail: nowhere in it; undecided: it depends.
    pub verdict: Verdict,
    /// Ohms of the loop.
    pub ohms: ZoneAmount,
    /// Volts at the terminals.
    pub volts: ZoneAmount,
    /// Worst-case distance to the nearest threshold, in ohms; negative: beyond it.
    pub margin_ohms: Option<f64>,
    /// The same in volts.
    pub margin_volts: Option<f64>,
    /// Share of the random draws that were read rightly, 0 to 1.
    pub probability: f64,
}

/// An amount: worked out at the nominal values, in the worst case and by chance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneAmount {
    /// Lowest in the worst case.
    pub low: Option<f64>,
    /// 0.1 % of the draws lie below.
    pub p001: Option<f64>,
    /// At the nominal values.
    pub nominal: Option<f64>,
    /// 0.1 % of the draws lie above.
    pub p999: Option<f64>,
    /// Highest in the worst case.
    pub high: Option<f64>,
}

/// What a fault of the loop does.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum FaultEffect {
    /// The panel shows it by itself, without an alarm.
    Shown,
    /// Nothing changes: rest and alarm are read as before, but what the loop could tell is less.
    Hidden,
    /// The panel shows ready, and an alarm does not come through.
    Silent,
}

/// What a fault of the loop looks like.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneFault {
    /// Which.
    pub code: ZoneFaultCode,
    /// In words.
    pub text: String,
    /// What the panel reads at rest.
    pub at_rest: ZoneState,
    /// What it reads in alarm.
    pub in_alarm: ZoneState,
    /// What that means; the worst over the whole range of the values.
    pub effect: FaultEffect,
}

/// A fault of a loop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ZoneFaultCode {
    /// A wire of the cable is cut.
    WireCut,
    /// The two wires touch on their way.
    PairShorted,
    /// The two terminals of the contact are bridged.
    ContactBridged,
    /// The relay gets no supply.
    SupplyLost,
    /// The coil is open.
    CoilOpen,
    /// The contact that is used has welded.
    ContactWelded,
    /// The contact that is used never closes.
    ContactNeverCloses,
    /// The other contact of the changeover was used.
    OtherContact,
    /// The end-of-line resistor is missing, the place left open.
    ResistorMissing,
    /// The end-of-line resistor is missing, the wires joined.
    ResistorJoined,
    /// The resistors sit at the panel's end.
    ResistorAtPanel,
    /// The alarm resistor is missing.
    AlarmResistorMissing,
    /// End-of-line and alarm resistor have changed places.
    ResistorsSwapped,
    /// Damp: 22 kilohm across the pair.
    Damp,
}

/// A wiring among those that a panel allows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneRank {
    /// The wiring.
    pub wiring: ZoneWiring,
    /// In words.
    pub text: String,
    /// How many faults leave the site unprotected without a sign.
    pub silent: u32,
    /// How many change nothing that can be seen.
    pub hidden: u32,
    /// Whether every state is read rightly over the whole range.
    pub verdict: Verdict,
    /// Why it stands where it stands.
    pub reason: String,
}
