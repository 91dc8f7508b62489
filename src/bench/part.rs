//! The part on the bench, as its file describes it: pins, coils, contacts, what is joined and what
//! is broken, and the truth that a test asserts; or two terminals, with an output or a zone input
//! behind them. A [`Part`] is checked (every pin has one place, the truth agrees with the model)
//! and never changes; its armature's state and the electricity are the circuit's matter. Pins
//! inside are positions in [`Part::pins`].

use super::output::Output;
use super::part_file::{self, BadPart};
use super::zone_file;
use crate::event::{FaultCode, Form, Latching, Pin, Pins};
use serde::Deserialize;
use std::path::Path;

/// One part.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// Its pins, in the operator's order.
    pub pins: Pins,
    /// How the pins lie, if the file says so: `4+4`.
    pub footprint: Option<String>,
    /// What a test asserts of it.
    pub truth: Truth,
    pub(crate) coils: Vec<Coil>,
    pub(crate) contacts: Vec<Contact>,
    pub(crate) joined: Vec<Vec<usize>>,
    pub(crate) resistors: Vec<(usize, usize, f64)>,
    pub(crate) latching: Latching,
    pub(crate) begins_set: bool,
    pub(crate) armature_stuck: bool,
    /// A panel's zone input between the part's two pins, if that is what it is.
    pub(crate) zone: Option<Zone>,
    /// The equipment's output, where this is one and not a relay.
    pub output: Option<Output>,
}

impl Part {
    /// Reads a relay file, an output file or a zone file.
    ///
    /// # Errors
    /// [`BadPart`] names the file, the line and the key.
    pub fn load(path: &Path) -> Result<Self, BadPart> {
        let file = path.display().to_string();
        match drivers::read_text(path, drivers::WORDS_AT_MOST) {
            Ok(text) => Self::parse(&text, &file),
            Err(source) => Err(BadPart::unreadable(file, &source)),
        }
    }

    /// Reads the text of a relay, output or zone file; `file` is its name in messages.
    ///
    /// # Errors
    /// [`BadPart`] names the file, the line and the key.
    pub fn parse(text: &str, file: &str) -> Result<Self, BadPart> {
        match text {
            text if super::output_file::is_one(text) => super::output_file::parse(text, file),
            text if zone_file::is_one(text) => zone_file::parse(text, file),
            text => part_file::parse(text, file),
        }
    }

    /// Two terminals of these names, with nothing behind them yet; `None` where they are no names.
    pub(crate) fn of_terminals(name: String, labels: [&str; 2]) -> Option<Self> {
        let truth = Truth {
            family: String::new(),
            coils: Vec::new(),
            poles: Vec::new(),
            joined: Vec::new(),
            spares: Vec::new(),
            latching: Latching::No,
            faults: Vec::new(),
        };
        Some(Self {
            name,
            pins: Pins::try_from(labels.map(Pin::new).to_vec()).ok()?,
            footprint: None,
            truth,
            coils: Vec::new(),
            contacts: Vec::new(),
            joined: Vec::new(),
            resistors: Vec::new(),
            latching: Latching::No,
            begins_set: false,
            armature_stuck: false,
            zone: None,
            output: None,
        })
    }

    /// The JSON Schema of a relay file.
    #[must_use]
    pub fn schema() -> schemars::Schema {
        part_file::schema()
    }
}

/// A panel's zone input with the loop on it.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Zone {
    /// Volts of the open terminals.
    pub(crate) volts: f64,
    /// The panel's source, in ohms.
    pub(crate) source_ohms: f64,
    /// The loop at rest, in ohms; left out: open.
    pub(crate) rest_ohms: Option<f64>,
    /// The loop in alarm, in ohms; left out: open.
    pub(crate) alarm_ohms: Option<f64>,
    /// Whether a tamper contact is in line: opened, it opens the loop.
    #[serde(default)]
    pub(crate) tamper: bool,
}

/// What is true of a part, in the words of the result.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// Contact codes, sorted and joined by `+`; empty where the part is no relay.
    pub family: String,
    /// The coils.
    pub coils: Vec<TrueCoil>,
    /// The poles, in the file's order. A welded or dead contact is still listed.
    pub poles: Vec<TruePole>,
    /// Pins joined inside.
    pub joined: Vec<Vec<Pin>>,
    /// Pins that lead nowhere.
    pub spares: Vec<Pin>,
    /// Whether it holds its state.
    pub latching: Latching,
    /// What is wrong with it, sorted.
    pub faults: Vec<FaultCode>,
}

/// A coil in truth.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueCoil {
    /// For a polarised coil the pin for plus; of a latching coil the one that sets.
    pub plus: Pin,
    /// The other.
    pub minus: Pin,
    /// Whether it must be driven this way round.
    pub polarised: bool,
    /// Resistance at 20 degrees Celsius as the part is, faults included, in ohms.
    pub ohms: f64,
    /// Rated volts.
    pub rated_volts: f64,
}

/// A pole in truth.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TruePole {
    /// Its form.
    pub form: Form,
    /// Common; one side of a make or break contact.
    pub common: Vec<Pin>,
    /// Closed with the common at rest.
    pub nc: Vec<Pin>,
    /// Closed with the common when energised.
    pub no: Vec<Pin>,
}

/// A coil of the model. The first pin takes plus.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Coil {
    pub(crate) plus: usize,
    pub(crate) minus: usize,
    /// At 20 degrees Celsius, faults included; `None` is a broken winding.
    pub(crate) ohms: Option<f64>,
    pub(crate) pick_up_volts: f64,
    pub(crate) drop_out_volts: f64,
    pub(crate) suppression: Suppression,
    pub(crate) task: CoilTask,
}

/// What a coil does to the armature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum CoilTask {
    /// Holds it while driven.
    Hold,
    /// Sets it one way round, resets it the other.
    SetAndReset,
    /// Sets it.
    Set,
    /// Resets it.
    Reset,
}

/// What lies across a coil. Its anode or cathode side follows from the pin that takes plus.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Suppression {
    None,
    /// Blocks while driven the right way round: cathode on plus.
    Diode,
    /// Lights while driven the right way round: anode on plus.
    Lamp {
        forward_volts: f64,
        series_ohms: f64,
    },
}

/// A contact set of the model; each list is one terminal with its doubled pins.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Contact {
    pub(crate) common: Vec<usize>,
    pub(crate) nc: Option<Throw>,
    pub(crate) no: Option<Throw>,
}

/// One throw of a contact set.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Throw {
    pub(crate) pins: Vec<usize>,
    pub(crate) ohms: f64,
    pub(crate) state: ThrowState,
}

/// Whether a throw does as the armature says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ThrowState {
    Works,
    /// Always closed; the blade is held, so the other throw never closes.
    Welded,
    /// Never closes.
    NeverCloses,
}

impl Contact {
    /// The throw that is closed in this position of the armature, if it closes at all.
    pub(crate) fn closed(&self, armature_set: bool) -> Option<&Throw> {
        let throws = [self.nc.as_ref(), self.no.as_ref()];
        if let Some(welded) = throws.iter().flatten().find(|t| t.state == ThrowState::Welded) {
            return Some(welded);
        }
        throws[usize::from(armature_set)].filter(|t| t.state == ThrowState::Works)
    }

    /// The form that the terminals make.
    pub(crate) fn form(&self) -> Form {
        match (&self.nc, &self.no) {
            (Some(_), Some(_)) => Form::C,
            (Some(_), None) => Form::B,
            _ => Form::A,
        }
    }
}
