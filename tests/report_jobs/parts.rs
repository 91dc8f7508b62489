//! Findings and candidates for jobs built by hand, from a short notation: `1-8` for a coil,
//! `common,nc,no` for a changeover with `=` between doubled pins. Marks follow
//! EN 50005, so that no test has to spell them.

use coilmark::event::{
    Candidate, CoilFound, Evidence, Form, IdentifyFinding, Latching, Outcome, Pin, PoleFound,
    RatedVolts,
};
use std::collections::BTreeMap;

fn side(text: &str) -> Vec<Pin> {
    text.split('=').filter(|t| !t.is_empty()).map(Pin::new).collect()
}

/// `common,nc,no`; an empty side is none.
pub fn changeover(text: &str) -> PoleFound {
    let sides: Vec<&str> = text.split(',').collect();
    let (common, nc, no) = (side(sides[0]), side(sides[1]), side(sides[2]));
    let form = match (nc.is_empty(), no.is_empty()) {
        (false, false) => Form::C,
        (false, true) => Form::B,
        _ => Form::A,
    };
    PoleFound { form, common, nc, no, evidence: Evidence::Measured }
}

pub fn coil(plus: &str, minus: &str, ohms: f64, polarised: Option<bool>) -> CoilFound {
    CoilFound {
        plus: Pin::new(plus),
        minus: Pin::new(minus),
        ohms: Some(ohms),
        ohms_u: Some(ohms * 0.0058),
        polarised,
        rated_volts: vec![
            RatedVolts { volts: 12.0, p: 0.86 },
            RatedVolts { volts: 9.0, p: 0.09 },
            RatedVolts { volts: 24.0, p: 0.05 },
        ],
    }
}

pub fn candidate(posterior: f64, family: &str, coil: [&str; 2], poles: &[&str]) -> Candidate {
    Candidate {
        posterior,
        family: family.into(),
        coils: vec![coil.map(Pin::new)],
        poles: poles.iter().map(|p| changeover(p)).collect(),
    }
}

/// Marks by EN 50005 for these coils and poles.
fn marks(coils: &[CoilFound], poles: &[PoleFound]) -> BTreeMap<String, String> {
    let mut marks = BTreeMap::new();
    for (coil, letter) in coils.iter().zip(["A", "B"]) {
        marks.insert(coil.plus.to_string(), format!("{letter}1"));
        marks.insert(coil.minus.to_string(), format!("{letter}2"));
    }
    for (pole, n) in poles.iter().zip(1..) {
        let digits = match pole.form {
            Form::A => [3, 0, 4],
            Form::B => [1, 2, 0],
            Form::C => [1, 2, 4],
        };
        for (pins, digit) in [&pole.common, &pole.nc, &pole.no].into_iter().zip(digits) {
            marks.extend(pins.iter().map(|p| (p.to_string(), format!("{n}{digit}"))));
        }
    }
    marks
}

/// An identified part.
pub fn identified(family: &str, coils: Vec<CoilFound>, poles: Vec<PoleFound>) -> IdentifyFinding {
    let marks = marks(&coils, &poles);
    IdentifyFinding {
        result: Outcome::Identified,
        posterior: 0.999_983,
        marks,
        ..finding(family, coils, poles)
    }
}

/// An undecided part, with nothing marked.
pub fn finding(family: &str, coils: Vec<CoilFound>, poles: Vec<PoleFound>) -> IdentifyFinding {
    IdentifyFinding {
        result: Outcome::Undecided,
        reason: None,
        posterior: 0.5,
        family: family.into(),
        simulated: false,
        coils,
        poles,
        joined: Vec::new(),
        spares: Vec::new(),
        latching: Latching::No,
        reset: None,
        marks: BTreeMap::new(),
        faults: Vec::new(),
        candidates: Vec::new(),
        isolation: Vec::new(),
        decisive_touches: Vec::new(),
        placements: 0,
        lead_moves: 0,
        drive_changes: 0,
    }
}
