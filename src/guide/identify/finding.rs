//! The finding, from what is believed and what was measured: pins, marks, coils, contacts, how
//! each is known, and, if it is undecided, why and what remains possible. A part is identified
//! only if the belief is sure, something followed the drive, and each contact was proven.

use super::Terms;
use super::decide::{claims, is_proven, nets_apart, rest_capture};
use super::faults;
use super::insight::{CoilFacts, Insight};
use super::plan::Drives;
use super::record::Record;
use crate::cable::copper::to_20_celsius;
use crate::event::{
    Apart, Candidate, CoilFound, Evidence, IdentifyFinding, Latching, Outcome, Pin, Pins,
    PoleFound, RatedVolts,
};
use crate::relay::coil::{self, DriveEvidence, Polarity};
use crate::relay::{Partition, Pole, Posterior, marking};
use std::collections::BTreeMap;

/// Rated voltages below this probability are not named.
const RATED_P_MIN: f64 = 0.005;

/// Concludes. `open`: why the guide cannot go on, if it cannot.
#[must_use]
pub fn conclude(
    record: &Record,
    insight: &Insight,
    terms: &Terms,
    open: Option<String>,
) -> IdentifyFinding {
    let (partition, posterior) = &insight.posterior.best;
    let faults = faults::of(record, insight);
    let reason = open.or_else(|| missing(record, insight, terms));
    let coils = coils_found(record, insight, terms);
    let first = coils.first();
    let reason = reason
        .map(|r| faults.iter().map(|f| f.text.clone()).chain([r]).collect::<Vec<_>>().join("; "));
    IdentifyFinding {
        result: if reason.is_some() { Outcome::Undecided } else { Outcome::Identified },
        posterior: *posterior,
        family: partition.family().to_string(),
        simulated: terms.simulated,
        poles: poles_found(record.pins(), insight, partition),
        joined: partition.joined.iter().map(|side| labels(record.pins(), side)).collect(),
        spares: labels(record.pins(), &partition.spares),
        latching: latching(insight, first),
        reset: insight.effect.latch.as_ref().and_then(|latch| latch.reset.clone()),
        marks: marks(record.pins(), partition, &coils),
        faults,
        candidates: match reason {
            Some(_) => candidates(record.pins(), &insight.posterior),
            None => Vec::new(),
        },
        coils,
        reason,
        isolation: isolation(record, partition, terms),
        decisive_touches: Vec::new(),
        placements: record.placements,
        lead_moves: record.lead_moves,
        drive_changes: record.drive_changes,
    }
}

/// What an identified part must have shown and this one did not.
fn missing(record: &Record, insight: &Insight, terms: &Terms) -> Option<String> {
    let (partition, posterior) = &insight.posterior.best;
    if *posterior < terms.start.confidence {
        return Some(format!(
            "the best candidate is {:.4} probable, below the {} asked for",
            posterior, terms.start.confidence
        ));
    }
    if insight.coils.is_empty() {
        return Some("no pair of pins reads like a coil".into());
    }
    if partition.poles.is_empty() {
        return Some("no contact was found beside the coil".into());
    }
    if insight.effect.latch.as_ref().is_some_and(|latch| latch.reset.is_none()) {
        return Some(
            "the contacts stay where the drive put them, and nothing brings them back".into(),
        );
    }
    if insight.effect.mover.is_none() {
        return Some(not_moved(record, &insight.drives));
    }
    None
}

/// Why nothing moved.
fn not_moved(record: &Record, drives: &Drives) -> String {
    if record.drive_refused {
        return without_drive(record, "what is closed when energised is not known");
    }
    match drives.ladder.last() {
        Some(top) => format!("nothing followed the coil up to {} V", top.volts()),
        None => "no voltage within the limits would drive this coil".into(),
    }
}

/// What is open because nothing could be driven, and why, where the supply said so.
#[must_use]
pub fn without_drive(record: &Record, open: &str) -> String {
    match record.limits.last().filter(|_| record.drive_refused) {
        Some((limit, _)) => format!("{limit}, and did so before: no drive was possible, so {open}"),
        None => format!("no drive was possible, so {open}"),
    }
}

/// What was read between coil and poles, where that was asked for.
fn isolation(record: &Record, partition: &Partition, terms: &Terms) -> Vec<Apart> {
    if !terms.start.isolation {
        return Vec::new();
    }
    nets_apart(partition)
        .into_iter()
        .filter_map(|pair| {
            let capture = rest_capture(record, pair)?;
            let pins = [pair.lo(), pair.hi()].map(|position| record.pins().at(position).clone());
            Some(Apart { pins, open: capture.overload, ohms: capture.value })
        })
        .collect()
}

/// The posterior's best candidates.
#[must_use]
pub fn candidates(pins: &Pins, posterior: &Posterior) -> Vec<Candidate> {
    posterior
        .candidates
        .iter()
        .map(|(partition, p)| Candidate {
            posterior: *p,
            family: partition.family().to_string(),
            coils: partition
                .coils
                .iter()
                .filter_map(|coil| coil.ends())
                .map(|ends| [pins.at(ends.lo()).clone(), pins.at(ends.hi()).clone()])
                .collect(),
            poles: partition.poles.iter().map(|p| pole(pins, p, Evidence::Inferred)).collect(),
        })
        .collect()
}

fn poles_found(pins: &Pins, insight: &Insight, partition: &Partition) -> Vec<PoleFound> {
    let proven = |p: &Pole| {
        let one = Partition { poles: vec![p.clone()], ..Partition::default() };
        claims(&one).into_iter().all(|(pair, status)| is_proven(insight, pair, status))
    };
    let evidence = |p| if proven(p) { Evidence::Measured } else { Evidence::Inferred };
    partition.poles.iter().map(|p| pole(pins, p, evidence(p))).collect()
}

fn pole(pins: &Pins, pole: &Pole, evidence: Evidence) -> PoleFound {
    PoleFound {
        form: pole.form,
        common: labels(pins, &pole.common),
        nc: labels(pins, &pole.nc),
        no: labels(pins, &pole.no),
        evidence,
    }
}

fn labels(pins: &Pins, positions: &[usize]) -> Vec<Pin> {
    positions.iter().map(|position| pins.at(*position).clone()).collect()
}

/// The coils, A1-A2 first: on a latching part the one that sets.
fn coils_found(record: &Record, insight: &Insight, terms: &Terms) -> Vec<CoilFound> {
    let pins = record.pins();
    let set = insight.effect.latch.as_ref().map(|latch| &latch.set);
    let mover = set.or(insight.effect.mover.as_ref());
    let mut found: Vec<(bool, CoilFound)> = insight
        .coils
        .iter()
        .map(|facts| {
            let ends = (pins.at(facts.plus), pins.at(facts.minus));
            let drives_it = mover.is_some_and(|drive| drive.is_across(ends.0, ends.1));
            (!drives_it, coil_found(facts, insight, terms, pins))
        })
        .collect();
    found.sort_by_key(|(later, _)| *later);
    let mut found: Vec<CoilFound> = found.into_iter().map(|(_, coil)| coil).collect();
    if let (Some(first), Some(crate::event::DriveState::Energised { plus, minus, .. })) =
        (found.first_mut(), set)
    {
        first.plus = plus.clone();
        first.minus = minus.clone();
    }
    found
}

fn coil_found(facts: &CoilFacts, insight: &Insight, terms: &Terms, pins: &Pins) -> CoilFound {
    let ohms = match terms.start.ambient_celsius {
        Some(celsius) => to_20_celsius(facts.ohms, celsius),
        None => facts.ohms,
    };
    let drive = DriveEvidence {
        moved_at: insight.effect.moved_volts(),
        still_at: insight.effect.unmoved_volts(),
    };
    CoilFound {
        plus: pins.at(facts.plus).clone(),
        minus: pins.at(facts.minus).clone(),
        ohms: Some(ohms),
        ohms_u: Some(facts.ohms_u * ohms / facts.ohms),
        polarised: match facts.polarity {
            Polarity::Polarised { .. } => Some(true),
            Polarity::NotPolarised => Some(false),
            Polarity::CannotTell => None,
        },
        rated_volts: coil::rated_volts(ohms, facts.ohms_u, drive)
            .into_iter()
            .filter(|(_, p)| *p >= RATED_P_MIN)
            .map(|(volts, p)| RatedVolts { volts, p })
            .collect(),
    }
}

fn latching(insight: &Insight, first: Option<&CoilFound>) -> Latching {
    let reset = insight.effect.latch.as_ref().and_then(|latch| latch.reset.as_ref());
    match (reset, first) {
        (Some(reset), Some(coil)) if reset.is_across(&coil.plus, &coil.minus) => Latching::OneCoil,
        (Some(_), _) => Latching::TwoCoils,
        (None, _) => Latching::No,
    }
}

fn marks(pins: &Pins, partition: &Partition, coils: &[CoilFound]) -> BTreeMap<String, String> {
    let position = |pin: &Pin| pins.position(pin);
    let ends: Vec<(usize, usize)> =
        coils.iter().filter_map(|c| Some((position(&c.plus)?, position(&c.minus)?))).collect();
    marking::marks(&ends, &partition.poles)
        .into_iter()
        .map(|(at, mark)| (pins.at(at).label().to_owned(), mark))
        .collect()
}
