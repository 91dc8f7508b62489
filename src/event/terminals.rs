//! Which terminals of a relay a loop's wiring uses: the mark of each by EN 50005, and the pin where
//! the relay was identified. One place, so that the picture, the points that are looked over and
//! the report call a terminal the same.

use super::finding::{IdentifyFinding, PoleFound};
use super::pin::Pin;
use super::zone::{ZoneContact, ZoneWiring};

/// The relay's terminals by name: the mark, and the pin where it is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RelayTerminals {
    /// The coil's plus.
    pub plus: String,
    /// The coil's minus.
    pub minus: String,
    /// The contact's common.
    pub common: String,
    /// The contact's other side.
    pub throw: String,
}

impl RelayTerminals {
    /// Of this wiring, with the pins of this relay if one was identified.
    #[must_use]
    pub fn of(wiring: &ZoneWiring, relay: Option<&IdentifyFinding>) -> Self {
        let closed = wiring.contact == ZoneContact::NormallyClosed;
        let throw_mark = if closed { "12" } else { "14" };
        let coil = relay.and_then(|relay| relay.coils.first());
        let side = |pole: &PoleFound| -> Vec<Pin> {
            if closed { pole.nc.clone() } else { pole.no.clone() }
        };
        let pole = relay.and_then(|r| r.poles.iter().find(|pole| !side(pole).is_empty()));
        let marked = |mark: &str, pin: Option<&Pin>| {
            // The mark that the identification gave outweighs the usual one.
            let own = pin.and_then(|pin| relay?.marks.get(pin.label()));
            let mark = own.map_or(mark, String::as_str);
            pin.map_or(mark.to_owned(), |pin| format!("{mark} (pin {pin})"))
        };
        let throw = pole.map(side).unwrap_or_default();
        Self {
            plus: marked("A1", coil.map(|coil| &coil.plus)),
            minus: marked("A2", coil.map(|coil| &coil.minus)),
            common: marked("11", pole.and_then(|pole| pole.common.first())),
            throw: marked(throw_mark, throw.first()),
        }
    }
}
