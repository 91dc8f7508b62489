//! A relay file as it is written, before any check: the shapes that serde reads and that the
//! published schema describes. Unknown keys are refused. What the numbers may be, and whether
//! the pins exist, [`part_file`](super::part_file) decides.

use super::part::{Contact, Throw};
use crate::event::{FaultCode, Latching, Pin};
use schemars::JsonSchema;
use serde::Deserialize;

/// A relay file: the truth about one part, for the simulated bench and for the assertion.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "Relay")]
pub(crate) struct RawPart {
    /// The part's name.
    pub(crate) name: String,
    /// How many pins (named from 1), or their labels.
    pub(crate) pins: RawPins,
    /// How the pins lie: `4+4`.
    pub(crate) footprint: Option<String>,
    /// The coils; the first pin takes plus.
    #[serde(default)]
    pub(crate) coil: Vec<RawCoil>,
    /// The contacts.
    #[serde(default)]
    pub(crate) contact: Vec<RawContact>,
    /// Pins joined inside the part.
    #[serde(default)]
    pub(crate) joined: Vec<Vec<Pin>>,
    /// Pins that lead nowhere.
    #[serde(default)]
    pub(crate) spares: Vec<Pin>,
    /// Plain resistors between pins.
    #[serde(default)]
    pub(crate) resistor: Vec<RawResistor>,
    /// Whether it holds its state without drive: false, "one coil" or "two coils".
    #[serde(default = "not_latching")]
    pub(crate) latching: Latching,
    /// Whether a latching part lies on the bench set rather than reset.
    #[serde(default)]
    pub(crate) begins_set: bool,
    /// What is broken.
    #[serde(default)]
    pub(crate) fault: Vec<RawFault>,
    /// What a test asserts, in the words of the result.
    pub(crate) truth: RawTruth,
}

fn not_latching() -> Latching {
    Latching::No
}

/// The pins.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(untagged)]
pub(crate) enum RawPins {
    /// So many, named from 1.
    Count(usize),
    /// By label.
    Labels(Vec<Pin>),
}

/// A coil.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct RawCoil {
    /// Its two pins; of a latching coil, plus on the first sets.
    pub(crate) pins: [Pin; 2],
    /// Resistance at 20 degrees Celsius, in ohms.
    pub(crate) ohms: f64,
    /// Rated volts.
    pub(crate) rated_volts: f64,
    /// Volts at which the contacts change over.
    pub(crate) pick_up_volts: f64,
    /// Volts at which they return.
    pub(crate) drop_out_volts: f64,
    /// What lies across it.
    #[serde(default)]
    pub(crate) suppression: RawSuppression,
}

/// What lies across a coil.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub(crate) enum RawSuppression {
    /// Nothing.
    #[default]
    None,
    /// A diode.
    Diode {
        /// The pin of its cathode: plus.
        cathode: Pin,
    },
    /// A lamp (LED) with its resistor.
    Lamp {
        /// The pin of its anode: plus.
        anode: Pin,
        /// Its forward volts at 10 mA.
        forward_volts: f64,
        /// The resistor in series, in ohms.
        series_ohms: f64,
    },
}

/// A contact set; doubled pins stand together in one list.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct RawContact {
    /// The common; one side of a make or break contact.
    pub(crate) common: Vec<Pin>,
    /// Closed with it at rest.
    #[serde(default)]
    pub(crate) nc: Vec<Pin>,
    /// Closed with it when energised.
    #[serde(default)]
    pub(crate) no: Vec<Pin>,
    /// Resistance of a closed contact, in ohms.
    #[serde(default = "contact_ohms")]
    pub(crate) ohms: f64,
}

/// Common practice, no source: a healthy small relay's contact reads some tens of milliohms.
fn contact_ohms() -> f64 {
    0.05
}

/// A resistor.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct RawResistor {
    /// Its two pins.
    pub(crate) pins: [Pin; 2],
    /// Its resistance, in ohms.
    pub(crate) ohms: f64,
}

/// Something broken; poles and coils are counted from 1 in the file's order.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case", deny_unknown_fields)]
pub(crate) enum RawFault {
    /// This throw is closed for good, and its blade is held.
    WeldedContact {
        /// Which contact.
        pole: usize,
        /// Which throw.
        throw: RawThrow,
    },
    /// This throw never closes.
    StuckOpenContact {
        /// Which contact.
        pole: usize,
        /// Which throw.
        throw: RawThrow,
    },
    /// This throw closes badly.
    HighContactOhms {
        /// Which contact.
        pole: usize,
        /// Which throw.
        throw: RawThrow,
        /// What it reads when closed, in ohms.
        ohms: f64,
    },
    /// The winding is broken.
    OpenCoil {
        /// Which coil.
        coil: usize,
    },
    /// Turns are shorted.
    ShortedTurns {
        /// Which coil.
        coil: usize,
        /// What it reads, in ohms.
        ohms: f64,
    },
    /// The armature does not move.
    NoResponse {},
}

impl RawFault {
    pub(crate) fn code(&self) -> FaultCode {
        match self {
            Self::WeldedContact { .. } => FaultCode::WeldedContact,
            Self::StuckOpenContact { .. } => FaultCode::StuckOpenContact,
            Self::HighContactOhms { .. } => FaultCode::HighContactOhms,
            Self::OpenCoil { .. } => FaultCode::OpenCoil,
            Self::ShortedTurns { .. } => FaultCode::ShortedTurns,
            Self::NoResponse {} => FaultCode::NoResponse,
        }
    }
}

/// A throw of a contact.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum RawThrow {
    /// Normally closed.
    Nc,
    /// Normally open.
    No,
}

impl RawThrow {
    /// This throw of the contact counted from 1, if it has one.
    pub(crate) fn of(self, pole: usize, contacts: &mut [Contact]) -> Option<&mut Throw> {
        let contact = contacts.get_mut(pole.checked_sub(1)?)?;
        match self {
            Self::Nc => contact.nc.as_mut(),
            Self::No => contact.no.as_mut(),
        }
    }
}

/// What a test asserts.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct RawTruth {
    /// Contact codes, sorted and joined by `+`.
    pub(crate) family: String,
    /// Coil pins: plus, minus.
    #[serde(default)]
    pub(crate) coils: Vec<[Pin; 2]>,
    /// As in the result.
    #[serde(default = "not_latching")]
    pub(crate) latching: Latching,
    /// Fault codes, as in the result.
    #[serde(default)]
    pub(crate) faults: Vec<FaultCode>,
}
