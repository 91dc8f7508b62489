//! Facts that are read off a [`Report`]: its verdict, its captures, and for each contact that the
//! finding claims what the meter showed across it, at rest, energised, and at rest again. A
//! reading that was taken back, or that is not in ohms, proves nothing here. Wording is for
//! `words.rs`.

use super::Report;
use super::parts::{Captured, Step, What};
use crate::event::{
    Candidate, DriveState, Evidence, Form, IdentifyFinding, Latching, Outcome, Pin, PoleFound,
    RunStart,
};
use drivers::Unit;

/// Where the job stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    Identified,
    Undecided,
    /// No result was reached.
    Unfinished,
}

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

    pub(super) fn verdict(&self) -> Verdict {
        match self.finding().map(|finding| finding.result) {
            Some(Outcome::Identified) => Verdict::Identified,
            Some(Outcome::Undecided) => Verdict::Undecided,
            None => Verdict::Unfinished,
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
    pub(super) fn start(&self) -> Option<&RunStart> {
        self.runs.first().map(|run| &run.start)
    }

    /// Every contact that an identified part has, in marking order.
    pub(super) fn contacts(&self) -> Vec<Contact<'_>> {
        let Some(finding) = self.finding().filter(|f| f.result == Outcome::Identified) else {
            return Vec::new();
        };
        let latching = finding.latching != Latching::No;
        let of_pole = |found: &PoleFound| {
            let throws = [(Throw::Closed, found.nc.clone()), (Throw::Open, found.no.clone())];
            let evidence = found.evidence;
            throws
                .into_iter()
                .flat_map(|(throw, ends)| self.pairs(&found.common, &ends, throw))
                .map(|(throw, pins, proof)| Contact {
                    form: found.form,
                    throw,
                    pins,
                    proof,
                    evidence,
                    latching,
                })
                .collect::<Vec<_>>()
        };
        finding.poles.iter().flat_map(of_pole).collect()
    }

    /// The pairs between two sides that were measured; the first pair where none was.
    fn pairs(
        &self,
        commons: &[Pin],
        ends: &[Pin],
        throw: Throw,
    ) -> Vec<(Throw, [Pin; 2], Vec<&Captured>)> {
        let all = commons.iter().flat_map(|c| ends.iter().map(move |e| [c.clone(), e.clone()]));
        let mut rows: Vec<_> = all
            .map(|pins| {
                let proof = self.proof(&pins);
                (throw, pins, proof)
            })
            .collect();
        if rows.iter().any(|(_, _, proof)| !proof.is_empty()) {
            rows.retain(|(_, _, proof)| !proof.is_empty());
        } else {
            rows.truncate(1);
        }
        rows
    }

    /// The ohms captures of the touch that proves most of this pair: the last one that saw it
    /// energised, else the last one.
    fn proof(&self, [a, b]: &[Pin; 2]) -> Vec<&Captured> {
        let across: Vec<&Captured> = self
            .captures()
            .filter(|c| !c.taken_back && c.capture.unit == Unit::Ohm)
            .filter(|c| {
                let (red, black) = (&c.capture.red, &c.capture.black);
                (red, black) == (a, b) || (red, black) == (b, a)
            })
            .collect();
        let energised = across.iter().rev().find(|c| c.capture.drive != DriveState::Rest);
        let Some(touch) = energised.or(across.last()).map(|c| c.capture.touch) else {
            return Vec::new();
        };
        across.into_iter().filter(|c| c.capture.touch == touch).collect()
    }
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
    pub(super) evidence: Evidence,
    pub(super) latching: bool,
}

impl<'a> Contact<'a> {
    /// At rest, energised, and at rest again, as far as they were seen. Of several drives the last
    /// one counts: the search for the voltage steps up until something moves.
    pub(super) fn three(&self) -> [Option<&'a Captured>; 3] {
        let rest = |c: &&&Captured| c.capture.drive == DriveState::Rest;
        let driven = |c: &&Captured| c.capture.drive != DriveState::Rest;
        let first = self.proof.iter().position(driven).unwrap_or(self.proof.len());
        let last = self.proof.iter().rposition(driven).unwrap_or(self.proof.len());
        let after = self.proof.get(last..).unwrap_or_default();
        [
            self.proof[..first].iter().rfind(rest).copied(),
            after.first().copied(),
            after.iter().rfind(rest).copied(),
        ]
    }
}
