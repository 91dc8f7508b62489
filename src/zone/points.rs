//! The points of a wiring that is looked over before it is measured: what a loop's design and an
//! identified relay say should be so, each in a sentence that a look can answer. What is not known
//! is left out; how a point turned out is for the talk that asks.

use super::wiring::in_words;
use crate::event::{IdentifyFinding, RelayTerminals, ResistorPlace, ZoneDesignFinding};

/// What to look at, in the order in which the wires go.
#[must_use]
pub fn points(design: &ZoneDesignFinding, relay: Option<&IdentifyFinding>) -> Vec<String> {
    let terminals = RelayTerminals::of(&design.wiring, relay);
    let coil = relay.and_then(|relay| relay.coils.first());
    let mut points = vec![format!(
        "the output's plus is on {}, its minus on {}",
        terminals.plus, terminals.minus
    )];
    points.push(match coil.and_then(|coil| coil.polarised) {
        Some(true) => format!(
            "the coil is driven this way round only: plus on {}, since it has a diode or a lamp \
             inside",
            terminals.plus
        ),
        _ => format!(
            "what suppresses the coil sits straight across it; a diode has its band on {}",
            terminals.plus
        ),
    });
    points.push(format!(
        "the loop's contact is {} and {}, and no other wire is on it",
        terminals.common, terminals.throw
    ));
    let place = match design.wiring.place {
        ResistorPlace::FarEnd => "at the relay, not at the panel",
        ResistorPlace::PanelEnd => "at the panel's terminals",
    };
    for resistor in &design.resistors {
        points.push(format!(
            "the {} resistor is {} ({}) and sits {place}",
            resistor.role,
            resistor.code,
            resistor.bands.join(", ")
        ));
    }
    points.push(format!("the loop is wired so: {}", in_words(&design.wiring)));
    points.push("no strand is loose, every screw holds, and no mains wire is in the box".into());
    points
}

#[cfg(test)]
mod tests {
    use super::super::{Design, Panel, Parts};
    use super::*;
    use crate::event::{
        CoilDriven, CoilFound, Evidence, Form, Latching, LoopKind, Outcome, Pin, PoleFound,
        ZoneContact, ZoneWiring,
    };
    use crate::fit::spread::Spread;

    const PANEL: &str = include_str!("../../fixtures/panels/series_3k3_12_volt.toml");

    fn design() -> ZoneDesignFinding {
        let wiring = ZoneWiring {
            kind: LoopKind::Series,
            contact: ZoneContact::NormallyClosed,
            place: ResistorPlace::FarEnd,
            drive: CoilDriven::InAlarm,
            tamper: false,
        };
        let parts = Parts {
            cable_ohms: Spread::between(0.0, 5.0, 6.0),
            contact_ohms: Spread::between(0.0, 0.1, 1.0),
        };
        Design::new(Panel::parse(PANEL, "panel").unwrap(), wiring, parts, 200, 1).finding()
    }

    fn relay(polarised: bool) -> IdentifyFinding {
        let pins = |label: &str| vec![Pin::new(label)];
        IdentifyFinding {
            result: Outcome::Identified,
            reason: None,
            posterior: 0.9999,
            family: "1C".into(),
            simulated: true,
            coils: vec![CoilFound {
                plus: Pin::new("8"),
                minus: Pin::new("4"),
                ohms: Some(400.0),
                ohms_u: None,
                polarised: Some(polarised),
                rated_volts: Vec::new(),
            }],
            poles: vec![PoleFound {
                form: Form::C,
                common: pins("2"),
                nc: pins("1"),
                no: pins("3"),
                evidence: Evidence::Measured,
            }],
            joined: Vec::new(),
            spares: Vec::new(),
            latching: Latching::No,
            reset: None,
            marks: [("8", "A1"), ("4", "A2"), ("2", "11"), ("1", "12"), ("3", "14")]
                .map(|(pin, mark)| (pin.to_owned(), mark.to_owned()))
                .into(),
            faults: Vec::new(),
            candidates: Vec::new(),
            isolation: Vec::new(),
            decisive_touches: Vec::new(),
            placements: 0,
            lead_moves: 0,
            drive_changes: 0,
        }
    }

    #[test]
    fn points_name_the_pins_that_were_found_and_the_contact_that_was_designed() {
        let text = points(&design(), Some(&relay(true))).join("\n");
        for part in ["A1 (pin 8)", "A2 (pin 4)", "11 (pin 2) and 12 (pin 1)", "this way round only"]
        {
            assert!(text.contains(part), "{part} in\n{text}");
        }
        assert!(text.contains("at the relay, not at the panel"), "{text}");
        assert!(points(&design(), Some(&relay(false))).join("").contains("band on A1"));
    }

    #[test]
    fn without_a_relay_the_usual_marks_stand() {
        assert!(points(&design(), None)[2].contains("11 and 12"));
    }
}
