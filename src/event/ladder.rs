//! The ladder of drives that a coil is tried with, in words: which rated voltages its ohms leave
//! plausible, which volts are tried and why in that order, and why it ends where it does. It is
//! recorded before the first drive, so that operator and report can say what will be done, and why.
//! Volts, ohms, watts; pins as the operator named them.

use super::finding::RatedVolts;
use super::pin::Pin;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A ladder of drives.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ladder {
    /// The coil's pins: the supply's plus, its minus.
    pub coil: [Pin; 2],
    /// Ohms of the coil as measured.
    pub ohms: f64,
    /// The rated voltages that are plausible before any drive, lowest first.
    pub rated_volts: Vec<RatedVolts>,
    /// The steps, lowest first.
    pub steps: Vec<LadderStep>,
    /// Why in that order, in a sentence.
    pub order: String,
    /// Why it ends, in a sentence.
    pub end: String,
}

/// One step of a ladder.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LadderStep {
    /// Volts that are applied; of a ramp: the most that it goes to.
    pub volts: f64,
    /// Power in the coil as measured, in watts.
    pub watts: f64,
    /// Why these volts, in a few words.
    pub why: String,
}

impl Ladder {
    /// Whether this says the same as another: the same volts on the same two pins, whichever way
    /// round.
    #[must_use]
    pub fn tries_as(&self, other: &Self) -> bool {
        let [a, b] = &self.coil;
        let pins = self.coil == other.coil || [b.clone(), a.clone()] == other.coil;
        pins && self.steps.iter().map(|s| s.volts).eq(other.steps.iter().map(|s| s.volts))
    }
}
