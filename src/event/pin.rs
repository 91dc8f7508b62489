//! Pins: the terminals of the part on the bench, by the operator's own labels. `8` names them 1
//! to 8; `A,B,C` gives labels. Checked here once (2 to 16, unique, at most 8 printable
//! characters); everything downstream may rely on it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// The label of one pin.
#[derive(
    Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(transparent)]
pub struct Pin(String);

impl Pin {
    /// A pin of this label, unchecked beyond what [`Pins`] checks for a whole part.
    #[must_use]
    pub fn new(label: impl Into<String>) -> Self {
        Self(label.into())
    }

    /// The label.
    #[must_use]
    pub fn label(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Pin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// The pins of one part, in the operator's order: 2 to 16, no two alike.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "Vec<Pin>", into = "Vec<Pin>")]
pub struct Pins(Vec<Pin>);

/// Why a list of pins is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadPins {
    /// Too few or too many.
    #[error("{0} pins: a part has {min} to {max}", min = Pins::MIN, max = Pins::MAX)]
    Count(usize),
    /// A label that is empty, too long, or not printable.
    #[error("pin label `{0}`: 1 to {max} printable characters without spaces or commas", max = Pins::LABEL_MAX)]
    Label(String),
    /// Two pins of one name.
    #[error("pin label `{0}` is there twice")]
    Twice(String),
}

impl Pins {
    /// The fewest pins of a part.
    pub const MIN: usize = 2;
    /// The most pins of a part.
    pub const MAX: usize = 16;
    /// The longest label, in characters.
    pub const LABEL_MAX: usize = 8;

    /// Pins named `1` to `count`.
    ///
    /// # Errors
    /// [`BadPins::Count`] outside 2 to 16.
    pub fn numbered(count: usize) -> Result<Self, BadPins> {
        Self::checked((1..=count.min(Self::MAX + 1)).map(|n| Pin(n.to_string())).collect(), count)
    }

    /// How many.
    #[must_use]
    pub fn count(&self) -> usize {
        self.0.len()
    }

    /// The pin at this position, counted from 0.
    ///
    /// # Panics
    /// If there is none; positions come from [`Pins::position`] or from 0..[`Pins::count`].
    #[must_use]
    pub fn at(&self, position: usize) -> &Pin {
        &self.0[position]
    }

    /// The position of `pin`, counted from 0.
    #[must_use]
    pub fn position(&self, pin: &Pin) -> Option<usize> {
        self.0.iter().position(|p| p == pin)
    }

    /// All, in order.
    pub fn iter(&self) -> std::slice::Iter<'_, Pin> {
        self.0.iter()
    }

    fn checked(pins: Vec<Pin>, count: usize) -> Result<Self, BadPins> {
        if !(Self::MIN..=Self::MAX).contains(&count) {
            return Err(BadPins::Count(count));
        }
        for (i, pin) in pins.iter().enumerate() {
            let fits = (1..=Self::LABEL_MAX).contains(&pin.0.chars().count());
            let prints = pin.0.chars().all(|c| !c.is_whitespace() && !c.is_control() && c != ',');
            if !(fits && prints) {
                return Err(BadPins::Label(pin.0.escape_debug().take(24).collect()));
            }
            if pins[..i].contains(pin) {
                return Err(BadPins::Twice(pin.0.clone()));
            }
        }
        Ok(Self(pins))
    }
}

impl TryFrom<Vec<Pin>> for Pins {
    type Error = BadPins;

    fn try_from(pins: Vec<Pin>) -> Result<Self, BadPins> {
        let count = pins.len();
        Self::checked(pins, count)
    }
}

impl From<Pins> for Vec<Pin> {
    fn from(pins: Pins) -> Self {
        pins.0
    }
}

impl FromStr for Pins {
    type Err = BadPins;

    fn from_str(text: &str) -> Result<Self, BadPins> {
        match text.trim().parse::<usize>() {
            Ok(count) => Self::numbered(count),
            Err(_) => {
                text.split(',').map(|label| Pin::new(label.trim())).collect::<Vec<_>>().try_into()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_count_names_pins_from_one() {
        let pins: Pins = "8".parse().unwrap();
        assert_eq!(pins.count(), 8);
        assert_eq!(pins.at(0).label(), "1");
        assert_eq!(pins.position(&Pin::new("8")), Some(7));
    }

    #[test]
    fn labels_are_kept_in_order() {
        let pins: Pins = "30, 87,87a,85,86".parse().unwrap();
        assert_eq!(
            pins.iter().map(Pin::label).collect::<Vec<_>>(),
            ["30", "87", "87a", "85", "86"]
        );
    }

    #[test]
    fn bad_lists_are_refused_with_the_culprit() {
        assert_eq!("1".parse::<Pins>(), Err(BadPins::Count(1)));
        assert_eq!("200".parse::<Pins>(), Err(BadPins::Count(200)));
        assert_eq!("A,B,A".parse::<Pins>(), Err(BadPins::Twice("A".into())));
        assert_eq!("A,,B".parse::<Pins>(), Err(BadPins::Label(String::new())));
        assert!(
            matches!("A,\u{1b}[31m".parse::<Pins>(), Err(BadPins::Label(l)) if !l.contains('\u{1b}'))
        );
        assert!(matches!("A,123456789".parse::<Pins>(), Err(BadPins::Label(_))));
    }
}
