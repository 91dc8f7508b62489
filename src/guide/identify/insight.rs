//! What the record means at one moment: the belief's posterior, the coils with what was measured
//! of them, what the drive did, and which drives may be tried. Derived anew from the record each
//! time, never stored, so that a capture taken back or replayed changes it by itself.

use super::Terms;
use super::decide;
use super::finding;
use super::follow::{DriveEffect, Looks};
use super::plan::{Drives, Purpose};
use super::record::{Record, TouchRecord};
use super::way::Way;
use crate::event::{BeliefSummary, Capture, DriveState, Ladder, Pins};
use crate::guide::ladder::{self, Allowed};
use crate::relay::coil::{self, Direction, LeadLooks, Polarity, Shown};
use crate::relay::{Belief, Pair, Posterior, Prior, Status, Touch};
use drivers::Function;

/// A pair is treated as a coil from this probability on.
const COIL_PROBABILITY_MIN: f64 = 0.95;
/// A pair may be a coil, and no fault is named as if there were none, from this probability on.
const SUSPECTED_MIN: f64 = 0.05;

/// Derived knowledge.
#[derive(Debug)]
pub struct Insight {
    /// What the drive was seen to do.
    pub effect: DriveEffect,
    /// The touches as evidence.
    pub touches: Vec<Touch>,
    /// The belief.
    pub belief: Belief,
    /// What it says.
    pub posterior: Posterior,
    /// The coils, the most probable first.
    pub coils: Vec<CoilFacts>,
    /// The pair that was measured and most probably is a coil, though it may not be one.
    pub suspected: Option<CoilFacts>,
    /// What may be applied.
    pub drives: Drives,
    /// Probability that the highest of these drives moves a part that nothing has moved yet.
    pub may_move: f64,
}

/// A coil and what was measured of it.
#[derive(Clone, Debug)]
pub struct CoilFacts {
    /// Its pins.
    pub pair: Pair,
    /// Position of the pin for plus, as it is to be driven.
    pub plus: usize,
    /// Position of the pin for minus.
    pub minus: usize,
    /// Resistance, in ohms, as measured; the larger of the two lead directions.
    pub ohms: f64,
    /// Its standard uncertainty, in ohms.
    pub ohms_u: f64,
    /// What the two lead directions say.
    pub polarity: Polarity,
}

impl CoilFacts {
    /// Whether the coil may be driven the other way round too.
    #[must_use]
    pub fn is_reversible(&self) -> bool {
        !matches!(self.polarity, Polarity::Polarised { .. })
    }
}

impl Insight {
    /// Derives it from the record.
    #[must_use]
    pub fn of(record: &Record, terms: &Terms, prior: &Prior) -> Self {
        let effect = DriveEffect::of(record);
        let coil = likely_coil(record);
        let mut looks = Looks::new(&effect, coil);
        let touches: Vec<Touch> = record.touches.iter().filter_map(|t| looks.touch(t)).collect();
        let belief = believe(&touches, terms, prior);
        let posterior = belief.posterior();
        let possible = possible_coils(record, &posterior);
        let suspected = possible.first().map(|(_, coil)| coil.clone());
        let sure = possible.into_iter().filter(|(p, _)| *p >= COIL_PROBABILITY_MIN);
        let coils = without_sums(sure.map(|(_, coil)| coil).collect());
        let drives = drives(record, terms, &coils);
        let top = drives.top_volts();
        let may_move = Looks::new(&effect, coil).untried(top);
        Self { effect, touches, belief, posterior, coils, suspected, drives, may_move }
    }

    /// Whether the pair shares no pin with a coil that may be driven, so that it can be watched
    /// while the drive toggles.
    #[must_use]
    pub fn may_be_driven_at(&self, pair: Pair) -> bool {
        !self.drives.is_empty()
            && self.coils.iter().all(|c| !pair.has(c.plus) && !pair.has(c.minus))
    }

    /// The ladder of drives in words; none where nothing may be driven.
    #[must_use]
    pub fn ladder(&self, pins: &Pins, terms: &Terms) -> Option<Ladder> {
        let coil = self.coils.first()?;
        let steps: Vec<f64> = self.drives.ladder.iter().map(DriveState::volts).collect();
        let ends = [coil.plus, coil.minus].map(|place| pins.at(place).clone());
        let (volts_max, coil_watts_max) = (terms.start.volts_max, terms.start.coil_watts_max);
        let allowed = Allowed { volts_max, coil_watts_max };
        let ladder = ladder::of_steps(ends, (coil.ohms, coil.ohms_u), &steps, allowed);
        (!steps.is_empty()).then_some(ladder)
    }

    /// The purpose of a touch of this pair.
    #[must_use]
    pub fn purpose_on(&self, pair: Pair) -> Purpose {
        if self.coils.iter().any(|c| c.pair == pair) {
            Purpose::Coil
        } else if self.may_be_driven_at(pair) {
            Purpose::LookDriven
        } else {
            Purpose::Look
        }
    }

    /// The belief in the words of the record.
    #[must_use]
    pub fn summary(&self, record: &Record, terms: &Terms) -> BeliefSummary {
        BeliefSummary {
            candidates: finding::candidates(record.pins(), &self.posterior),
            entropy_bits: self.posterior.entropy_bits,
            placements_left: decide::placements_left(record, self, terms),
        }
    }
}

/// The belief after these touches.
fn believe(touches: &[Touch], terms: &Terms, prior: &Prior) -> Belief {
    let mut belief = Belief::new(prior);
    for touch in touches {
        belief.observe(touch.pair, &terms.channel.weigh(touch));
    }
    belief
}

/// The touches, by their place in `touches`, without any one of which the best candidate would
/// fall below the confidence.
#[must_use]
pub fn decisive(insight: &Insight, terms: &Terms, prior: &Prior) -> Vec<usize> {
    let best = &insight.posterior.best.0;
    (0..insight.touches.len())
        .filter(|&left_out| {
            let mut touches = insight.touches.clone();
            touches.remove(left_out);
            let posterior = believe(&touches, terms, prior).posterior();
            posterior.best.0 != *best || posterior.best.1 < terms.start.confidence
        })
        .collect()
}

/// The coil that a drive is weighed by: the highest resistance at rest that may be one, whichever
/// pins it is on. In ohms, with its standard uncertainty.
fn likely_coil(record: &Record) -> Option<(f64, f64)> {
    record
        .touches
        .iter()
        .flat_map(TouchRecord::ohms_captures)
        .filter(|c| c.drive == DriveState::Rest)
        .filter_map(|c| Some((c.value?, c.u.unwrap_or(0.0))))
        .filter(|(ohms, _)| coil::is_coil_like(*ohms))
        .max_by(|a, b| a.0.total_cmp(&b.0))
}

/// The pairs that were measured and may be a coil, with how probably; the most probable first.
fn possible_coils(record: &Record, posterior: &Posterior) -> Vec<(f64, CoilFacts)> {
    let n = record.pins().count();
    let mut found: Vec<(f64, CoilFacts)> = Pair::all(n)
        .filter_map(|pair| {
            let p = posterior.of(pair, Status::Coil);
            let facts = (p >= SUSPECTED_MIN).then(|| coil_facts(record, pair)).flatten()?;
            Some((p, facts))
        })
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.pair.cmp(&b.1.pair)));
    found
}

/// Two coils with a common end read as a third between their other ends, in line: that one is left
/// out.
fn without_sums(coils: Vec<CoilFacts>) -> Vec<CoilFacts> {
    let is_part = |part: &CoilFacts, of: &CoilFacts, end: usize, middle: usize| {
        Pair::new(end, middle) == Some(part.pair) && part.ohms < of.ohms
    };
    let is_sum = |of: &CoilFacts| {
        let middles = coils.iter().flat_map(|coil| [coil.plus, coil.minus]);
        middles.filter(|middle| !of.pair.has(*middle)).any(|middle| {
            let has = |end| coils.iter().any(|part| is_part(part, of, end, middle));
            has(of.pair.lo()) && has(of.pair.hi())
        })
    };
    coils.iter().filter(|coil| !is_sum(coil)).cloned().collect()
}

fn coil_facts(record: &Record, pair: Pair) -> Option<CoilFacts> {
    let [forward, reverse] = Way::both(pair).map(|way| looks(record, way));
    let number = |shown: Option<Shown>| match shown {
        Some(Shown::Number { value, u }) => Some((value, u)),
        _ => None,
    };
    let both = [number(forward.ohms), number(reverse.ohms)];
    let (ohms, ohms_u) = both.into_iter().flatten().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let polarity = coil::suppression(forward, reverse);
    let (plus, minus) = match polarity {
        Polarity::Polarised { plus: Direction::Reverse, .. } => (pair.hi(), pair.lo()),
        _ => (pair.lo(), pair.hi()),
    };
    Some(CoilFacts { pair, plus, minus, ohms, ohms_u, polarity })
}

/// The newest captures with the leads this way round, at rest.
fn looks(record: &Record, way: Way) -> LeadLooks {
    let newest = |function| {
        let touches = record.touches.iter().rev().filter(|t| t.way == way);
        touches
            .flat_map(|t| t.captures.iter().rev())
            .find(|c| c.drive == DriveState::Rest && c.function == function)
            .map(shown)
    };
    LeadLooks { ohms: newest(Function::Resistance), diode_volts: newest(Function::Diode) }
}

fn shown(capture: &Capture) -> Shown {
    match capture.value {
        Some(value) => Shown::Number { value, u: capture.u.unwrap_or(0.0) },
        None => Shown::Overload,
    }
}

fn drives(record: &Record, terms: &Terms, coils: &[CoilFacts]) -> Drives {
    let Some(first) = coils.first().filter(|_| !record.drive_refused) else {
        return Drives::default();
    };
    let start = &terms.start;
    let pins = record.pins();
    let state = |plus: usize, minus: usize, volts: f64| DriveState::Energised {
        plus: pins.at(plus).clone(),
        minus: pins.at(minus).clone(),
        volts,
    };
    let steps =
        |c: &CoilFacts| coil::ladder(c.ohms, c.ohms_u, start.volts_max, start.coil_watts_max);
    let ladder: Vec<DriveState> =
        steps(first).into_iter().map(|v| state(first.plus, first.minus, v)).collect();
    let mut others = Vec::new();
    for coil in coils {
        let Some(top) = steps(coil).last().copied() else { continue };
        if coil.pair != first.pair {
            others.push(state(coil.plus, coil.minus, top));
        }
        if coil.is_reversible() {
            others.push(state(coil.minus, coil.plus, top));
        }
    }
    Drives { ladder, others }
}
