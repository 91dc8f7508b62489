//! Facts that are read off a [`Report`]: how it stands, its captures, and for each contact that the
//! finding claims what the meter showed across it, at rest, energised, and at rest again. A
//! reading that was taken back, or that is not in ohms, proves nothing here. Wording is for
//! `words.rs`.

use super::Report;
use super::chapter::Standing;
use super::parts::{Captured, Step, What};
use crate::event::{
    Candidate, DriveState, Evidence, Form, IdentifyFinding, IdentifyStart, Latching, Outcome, Pin,
    RunTerms,
};
use drivers::Unit;

impl Report {
    /// The captures in order, those taken back included.
    pub fn captures(&self) -> impl Iterator<Item = &Captured> {
        self.capture_steps().map(|(_, captured)| captured)
    }

    pub(super) fn capture_steps(&self) -> impl Iterator<Item = (&Step, &Captured)> {
        self.steps.iter().filter_map(|step| match &step.what {
            What::Capture(captured) => Some((step, captured)),
            _ => None,
        })
    }

    pub(super) fn finding(&self) -> Option<&IdentifyFinding> {
        self.found.as_ref().map(|found| &found.finding)
    }

    /// How the identification stands.
    pub(super) fn standing(&self) -> Standing {
        match self.finding().map(|finding| finding.result) {
            Some(Outcome::Identified) => Standing::Passed,
            Some(Outcome::Undecided) => Standing::Undecided,
            None => Standing::Unfinished,
        }
    }

    /// What the part could be while it is not identified: the result's candidates, or without a
    /// result the last ones believed.
    pub(super) fn open_candidates(&self) -> &[Candidate] {
        match self.finding() {
            Some(finding) => &finding.candidates,
            None => self.course.last().map_or(&[], |point| &point.belief.candidates),
        }
    }

    /// How the job was begun the first time.
    pub(super) fn start(&self) -> Option<&IdentifyStart> {
        self.runs.iter().find_map(|run| match &run.start.terms {
            RunTerms::Identify(terms) => Some(terms),
            _ => None,
        })
    }

    /// Whether the proof of each contact was left out in any run.
    pub(super) fn is_quick(&self) -> bool {
        self.runs.iter().any(|run| matches!(&run.start.terms, RunTerms::Identify(t) if t.quick))
    }

    /// Every contact that an identified part has, in marking order.
    pub(super) fn contacts(&self) -> Vec<Contact<'_>> {
        let Some(finding) = self.finding().filter(|f| f.result == Outcome::Identified) else {
            return Vec::new();
        };
        let latching = finding.latching != Latching::No;
        let mut contacts = Vec::new();
        for pole in &finding.poles {
            for (throw, ends) in [(Throw::Closed, &pole.nc), (Throw::Open, &pole.no)] {
                let form = pole.form;
                contacts.extend(self.pairs(&pole.common, ends).into_iter().map(
                    |(pins, across)| {
                        let basis = basis(pole.evidence, &across);
                        let proof = best_touch(across);
                        Contact { form, throw, pins, proof, basis, latching }
                    },
                ));
            }
        }
        contacts
    }

    /// The pairs between two sides that were measured, with their captures; the first pair where
    /// none was.
    fn pairs(&self, commons: &[Pin], ends: &[Pin]) -> Vec<([Pin; 2], Vec<&Captured>)> {
        let all = commons.iter().flat_map(|c| ends.iter().map(move |e| [c.clone(), e.clone()]));
        let mut rows: Vec<_> = all
            .map(|pins| {
                let across = self.across(&pins);
                (pins, across)
            })
            .collect();
        if rows.iter().any(|(_, across)| !across.is_empty()) {
            rows.retain(|(_, across)| !across.is_empty());
        } else {
            rows.truncate(1);
        }
        rows
    }

    /// The ohms captures across a pair, either way round, without those taken back.
    fn across(&self, [a, b]: &[Pin; 2]) -> Vec<&Captured> {
        self.captures()
            .filter(|c| !c.taken_back && c.capture.unit == Unit::Ohm)
            .filter(|c| {
                let (red, black) = (&c.capture.red, &c.capture.black);
                (red, black) == (a, b) || (red, black) == (b, a)
            })
            .collect()
    }
}

fn is_driven(captured: &Captured) -> bool {
    captured.capture.drive != DriveState::Rest
}

/// The touch that proves most: the last one that saw the pair energised, else the last one.
fn best_touch(across: Vec<&Captured>) -> Vec<&Captured> {
    let energised = across.iter().rev().find(|c| is_driven(c));
    let touch = energised.or(across.last()).map(|c| c.capture.touch);
    across.into_iter().filter(|c| Some(c.capture.touch) == touch).collect()
}

/// A finding's word that a contact was measured holds only where the journal has it both ways.
fn basis(evidence: Evidence, across: &[&Captured]) -> Basis {
    let both = across.iter().any(|c| is_driven(c)) && across.iter().any(|c| !is_driven(c));
    match evidence {
        Evidence::Inferred => Basis::Inferred,
        Evidence::Measured if both => Basis::Measured,
        Evidence::Measured => Basis::Unseen,
    }
}

/// How a contact is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Basis {
    /// Seen across the contact itself, at rest and energised.
    Measured,
    /// It follows from other measurements.
    Inferred,
    /// The finding says measured, and the journal has no such captures.
    Unseen,
}

/// Which throw of a pole a contact is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Throw {
    /// Closed at rest: normally closed.
    Closed,
    /// Open at rest: normally open.
    Open,
}

/// A contact of an identified part, and what was seen across it.
#[derive(Clone, Debug)]
pub(super) struct Contact<'a> {
    pub(super) form: Form,
    pub(super) throw: Throw,
    /// Its two pins, the common first.
    pub(super) pins: [Pin; 2],
    /// What the meter showed in one touch, in order.
    pub(super) proof: Vec<&'a Captured>,
    pub(super) basis: Basis,
    pub(super) latching: bool,
}

impl<'a> Contact<'a> {
    /// At rest, energised, and at rest again, as far as they were seen. Of several drives the last
    /// one counts: the search for the voltage steps up until something moves.
    pub(super) fn three(&self) -> [Option<&'a Captured>; 3] {
        let rest = |c: &&&Captured| !is_driven(c);
        let first = self.proof.iter().position(|c| is_driven(c)).unwrap_or(self.proof.len());
        let last = self.proof.iter().rposition(|c| is_driven(c)).unwrap_or(self.proof.len());
        let after = self.proof.get(last..).unwrap_or_default();
        [
            self.proof[..first].iter().rfind(rest).copied(),
            after.first().copied(),
            after.iter().rfind(rest).copied(),
        ]
    }
}
