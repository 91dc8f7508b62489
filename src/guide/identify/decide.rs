//! What to do next, stage after stage: measure the coil in both lead directions, search by the
//! most informative placement, prove every contact, conclude. A contradiction met while proving
//! lowers the belief, and so leads back to the search by itself.

use super::Terms;
use super::finding;
use super::follow::{is_shut, same_way};
use super::insight::{CoilFacts, Insight};
use super::plan::{Plan, Purpose};
use super::record::{Record, TouchRecord};
use super::way::Way;
use crate::event::{Capture, DriveState, IdentifyFinding, Pin};
use crate::relay::coil::{Direction, Polarity, Suppression};
use crate::relay::{Pair, Partition, Proposal, Situation, Status, Touch, choose, isolation_cover};
use drivers::Function;
use std::collections::BTreeSet;

/// A pair follows the drive at least this probably before the drive is first tried on it.
const WITNESS_PROBABILITY_MIN: f64 = 0.5;
/// A placement is worth its while if it tells at least this share of what is unknown, or of one
/// bit where more is unknown.
const INFORMATION_SHARE_MIN: f64 = 0.02;
/// From this probability of the best candidate on, its contacts are proven before more is sought.
const PROVEN_EARLY_FROM: f64 = 0.95;
/// Below this the search is for certainty, and every placement is worth its while, in bits.
const NEARLY_SURE_BITS: f64 = 0.1;
/// A drive that has moved nothing yet is tried on as long as it may move the part so probably.
const MAY_MOVE_MIN: f64 = 0.2;
/// A part that does not answer to its coil is searched for another one as long as some pair that
/// was not touched is one this probably.
const SECOND_COIL_MIN: f64 = 0.1;
/// How often a contact is put to the proof before the part stays undecided.
const PROOFS_MAX: usize = 4;

/// The most touches of a part with `pin_count` pins: three times every pair, and twenty.
const fn touches_max(pin_count: usize) -> usize {
    3 * Pair::count(pin_count) + 20
}

/// What follows.
#[derive(Debug)]
pub enum Decision {
    /// Touch these pins.
    Touch(Plan),
    /// There is nothing left to learn.
    Conclude(Box<IdentifyFinding>),
}

/// Decides.
#[must_use]
pub fn decide(record: &Record, insight: &Insight, terms: &Terms) -> Decision {
    let conclude = |open: Option<String>| {
        Decision::Conclude(Box::new(finding::conclude(record, insight, terms, open)))
    };
    if let Some(plan) = coil_plan(record, insight) {
        return Decision::Touch(plan);
    }
    if insight.effect.latch.as_ref().is_some_and(|latch| latch.reset.is_none()) {
        return match bring_back_plan(record, insight).or_else(|| other_coil_plan(record, insight)) {
            Some(plan) => Decision::Touch(plan),
            None => conclude(None),
        };
    }
    if record.touches.len() >= touches_max(record.pins().count()) {
        return conclude(Some("the readings contradict each other too often".into()));
    }
    if insight.effect.is_without_response(insight.drives.top_volts()) {
        return match second_coil_plan(record, insight) {
            Some(plan) => Decision::Touch(plan),
            None => conclude(None),
        };
    }
    let sure = insight.posterior.best.1 >= terms.start.confidence;
    let proof = if terms.start.quick { Ok(None) } else { proof_plan(record, insight) };
    match proof {
        // A proof that is needed anyway tells as much as a search once little is open.
        Ok(Some(plan)) if sure || insight.posterior.best.1 >= PROVEN_EARLY_FROM => {
            return Decision::Touch(plan);
        }
        Ok(None) if sure => {
            return match isolation_plan(record, insight, terms) {
                Some(plan) => Decision::Touch(plan),
                None => conclude(None),
            };
        }
        Err(reason) if sure => return conclude(Some(reason)),
        _ => {}
    }
    match search_plan(record, insight, terms) {
        Some(plan) => Decision::Touch(plan),
        None => {
            let open = "no further placement would tell more";
            let refused = record.drive_refused;
            let reason =
                if refused { finding::without_drive(record, open) } else { open.to_owned() };
            conclude(Some(reason))
        }
    }
}

/// A coil whose ohms and diode voltage are not known in both lead directions yet.
fn coil_plan(record: &Record, insight: &Insight) -> Option<Plan> {
    insight.coils.iter().find_map(|coil| {
        if record.unreachable.contains(&coil.pair) {
            return None;
        }
        let open: Vec<Way> =
            Way::both(coil.pair).into_iter().filter(|way| !is_measured(record, *way)).collect();
        let here = |way: &&Way| record.leads == Some(**way);
        let first = open.iter().find(here).or(open.first()).copied();
        let way = first.or_else(|| blocks_by_too_few(record, coil))?;
        let pins = record.pins();
        let why = format!(
            "to measure the coil between {} and {} with the leads this way round{}",
            pins.at(way.red()),
            pins.at(way.black()),
            if first.is_none() { " once more" } else { "" }
        );
        let fresh = first.is_none() && record.leads == Some(way);
        Some(Plan { way, purpose: Purpose::Coil, fresh, why })
    })
}

/// The way round in which a coil that looks polarised reads as open, where too few touches say so:
/// a lead that was lifted between the ohms and the diode test looks the same, and so do leads that
/// never touched. Slips of 2 % make two such touches in a row where a diode in series is hardly
/// more usual (common practice, no source); three do not.
fn blocks_by_too_few(record: &Record, coil: &CoilFacts) -> Option<Way> {
    let Polarity::Polarised { plus, kind } = coil.polarity else { return None };
    let blocks = match kind {
        Suppression::Diode => plus,
        Suppression::Lamp => plus.turned(),
    };
    let [forward, reverse] = Way::both(coil.pair);
    let way = if blocks == Direction::Forward { forward } else { reverse };
    let in_it = |t: &TouchRecord, function: Function, open: bool| {
        t.captures.iter().any(|c| c.function == function && (!open || c.value.is_none()))
    };
    let touches: Vec<&TouchRecord> = record
        .touches
        .iter()
        .filter(|t| t.way == way && in_it(t, Function::Diode, false))
        .collect();
    let never_touched = touches.iter().all(|t| in_it(t, Function::Resistance, true));
    let enough = if never_touched { 3 } else { 2 };
    let open = !touches.is_empty() && touches.iter().all(|t| in_it(t, Function::Diode, true));
    (open && touches.len() < enough).then_some(way)
}

fn is_measured(record: &Record, way: Way) -> bool {
    let doubted_at = record.doubted_at(way.pair()).unwrap_or(0);
    let has = |f: Function| {
        let mut touches = record.touches.iter().filter(|t| t.way == way && t.touch > doubted_at);
        touches.any(|t| t.captures.iter().any(|c| c.function == f))
    };
    has(Function::Resistance) && (has(Function::Diode) || record.refused.contains(&Function::Diode))
}

/// A part that holds its state, and a drive that may bring it back and has not been tried.
fn bring_back_plan(record: &Record, insight: &Insight) -> Option<Plan> {
    let latch = insight.effect.latch.as_ref()?;
    insight.drives.untried_way_back(latch)?;
    if record.unreachable.contains(&latch.shown_by) || !insight.may_be_driven_at(latch.shown_by) {
        return None;
    }
    let why = "to see which drive brings it back".into();
    let mut plan = plan_on(record, insight, latch.shown_by, why);
    plan.purpose = Purpose::BringBack;
    Some(plan)
}

/// A part that no way of driving its coil brings back has another coil: the pair not touched yet
/// that is most probably one.
fn other_coil_plan(record: &Record, insight: &Insight) -> Option<Plan> {
    let touched = |p: &Pair| record.touches.iter().any(|t| t.pair() == *p);
    let coil = |p: &Pair| insight.posterior.of(*p, Status::Coil);
    let pair = Pair::all(record.pins().count())
        .filter(|p| !touched(p) && !record.unreachable.contains(p))
        .max_by(|a, b| coil(a).total_cmp(&coil(b)).then(b.cmp(a)))?;
    let why = "to find the other coil".into();
    let mut plan = plan_on(record, insight, pair, why);
    plan.purpose = Purpose::Look;
    Some(plan)
}

/// The part did not answer to its coil: it may have another one, of which the first only brings
/// back what is back already. That is looked for, and once it is found, tried on a closed pair.
fn second_coil_plan(record: &Record, insight: &Insight) -> Option<Plan> {
    let shut = || insight.effect.still.iter().filter(|still| still.was_shut);
    let untried = |drive: &DriveState| !shut().any(|still| same_way(&still.drive, drive));
    if insight.drives.others.iter().any(untried) {
        let pair = shut().map(|still| still.pair).find(|pair| insight.may_be_driven_at(*pair))?;
        let why = "to see whether another way of driving it moves the part".into();
        return Some(plan_on(record, insight, pair, why));
    }
    other_coil_plan(record, insight)
        .filter(|plan| insight.posterior.of(plan.way.pair(), Status::Coil) >= SECOND_COIL_MIN)
}

fn search_plan(record: &Record, insight: &Insight, terms: &Terms) -> Option<Plan> {
    let known = insight.effect.mover.is_some();
    let driven = situation(record, insight, terms, true);
    let resting = situation(record, insight, terms, false);
    if insight.drives.is_empty() {
        return worthwhile(record, insight, &resting);
    }
    if known {
        return worthwhile(record, insight, &driven);
    }
    if !insight.effect.still.is_empty() {
        if let Some(pair) = shut_witness(record, insight) {
            let why = "to see whether it opens with the drive".into();
            return Some(plan_on(record, insight, pair, why));
        }
        let trusted = if insight.may_move >= MAY_MOVE_MIN { &driven } else { &resting };
        return worthwhile(record, insight, trusted);
    }
    if let Some(witness) = witness(record, insight) {
        return Some(plan_on(
            record,
            insight,
            witness,
            "to see whether it follows the coil".into(),
        ));
    }
    worthwhile(record, insight, &resting).or_else(|| worthwhile(record, insight, &driven))
}

/// The most informative placement, unless it would tell next to nothing.
fn worthwhile(record: &Record, insight: &Insight, situation: &Situation) -> Option<Plan> {
    let proposal: Proposal = choose(&insight.belief, &insight.posterior, situation)?;
    let unknown_bits = insight.posterior.entropy_bits;
    let enough = INFORMATION_SHARE_MIN * unknown_bits.min(1.0);
    if unknown_bits > NEARLY_SURE_BITS && proposal.information_bits < enough {
        return None;
    }
    let pins = record.pins();
    let names: Vec<&str> = pins.iter().map(Pin::label).collect();
    let why = proposal.why.named(&names).to_string();
    let asked = Way::of(proposal.red, proposal.black)?;
    let way = record.leads.filter(|leads| leads.pair() == asked.pair()).unwrap_or(asked);
    let driven = proposal.toggle && insight.may_be_driven_at(way.pair());
    let purpose = if driven { Purpose::LookDriven } else { Purpose::Look };
    let mut plan = Plan { way, purpose, fresh: false, why };
    plan.fresh = is_spent(record, &plan);
    Some(plan)
}

/// The pair that most probably is a break contact and has not been watched under the drive: where
/// an open pair stays open there may be no contact at all, but a closed one has to open.
fn shut_witness(record: &Record, insight: &Insight) -> Option<Pair> {
    let watched = |p: Pair| insight.effect.still.iter().any(|s| s.was_shut && s.pair == p);
    likeliest(record, insight, |p| {
        if watched(p) { 0.0 } else { insight.posterior.of(p, Status::Break) }
    })
}

/// The pair that most probably follows the coil.
fn witness(record: &Record, insight: &Insight) -> Option<Pair> {
    likeliest(record, insight, |p| {
        insight.posterior.of(p, Status::Break) + insight.posterior.of(p, Status::Make)
    })
}

/// The pair that can be watched under the drive and most probably is what is looked for.
fn likeliest(record: &Record, insight: &Insight, p: impl Fn(Pair) -> f64) -> Option<Pair> {
    Pair::all(record.pins().count())
        .filter(|pair| !record.unreachable.contains(pair) && insight.may_be_driven_at(*pair))
        .map(|pair| (p(pair), pair))
        .filter(|(likely, _)| *likely >= WITNESS_PROBABILITY_MIN)
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
        .map(|(_, pair)| pair)
}

/// The next contact to prove, the one with the fewest lead moves first.
fn proof_plan(record: &Record, insight: &Insight) -> Result<Option<Plan>, String> {
    let partition = &insight.posterior.best.0;
    let open: Vec<Pair> = claims(partition)
        .into_iter()
        .filter(|(pair, status)| !is_proven(insight, *pair, *status))
        .map(|(pair, _)| pair)
        .collect();
    let pins = record.pins();
    for pair in &open {
        let name = format!("{}-{}", pins.at(pair.lo()), pins.at(pair.hi()));
        let proofs = insight.touches.iter().filter(|t| t.pair == *pair && t.looks.len() > 1);
        if proofs.count() >= PROOFS_MAX {
            return Err(format!("the contact {name} did not do the same each time"));
        }
        if record.unreachable.contains(pair) {
            return Err(format!("the contact {name} could not be reached for its proof"));
        }
        if insight.drives.is_empty() {
            return Err(finding::without_drive(record, "no contact is proven"));
        }
    }
    let nearest =
        open.into_iter().min_by_key(|pair| (record.moves_to(nearest_way(record, *pair)), *pair));
    Ok(nearest.map(|pair| plan_on(record, insight, pair, "to prove this contact".into())))
}

/// Coil and poles against each other, where that was asked for: the next pair not touched yet.
fn isolation_plan(record: &Record, insight: &Insight, terms: &Terms) -> Option<Plan> {
    if !terms.start.isolation {
        return None;
    }
    let is_open =
        |pair: &Pair| !record.unreachable.contains(pair) && rest_capture(record, *pair).is_none();
    let pairs = nets_apart(&insight.posterior.best.0).into_iter().filter(is_open);
    let nearest = pairs.min_by_key(|pair| record.moves_to(nearest_way(record, *pair)))?;
    let why = "to see that coil and contacts are apart".into();
    let mut plan = plan_on(record, insight, nearest, why);
    plan.purpose = Purpose::Look;
    Some(plan)
}

/// The pairs that measure coils and poles against each other.
#[must_use]
pub fn nets_apart(partition: &Partition) -> Vec<Pair> {
    isolation_cover(&Partition { spares: Vec::new(), ..partition.clone() })
}

/// The newest capture in ohms of this pair at rest.
#[must_use]
pub fn rest_capture(record: &Record, pair: Pair) -> Option<&Capture> {
    let touches = record.touches.iter().rev().filter(|t| t.pair() == pair);
    touches.flat_map(TouchRecord::ohms_captures).find(|c| c.drive == DriveState::Rest)
}

/// How many more placements are expected until the search ends; `None` where it has ended.
#[must_use]
pub fn placements_left(record: &Record, insight: &Insight, terms: &Terms) -> Option<f64> {
    let driven = !insight.drives.is_empty();
    let situation = situation(record, insight, terms, driven);
    choose(&insight.belief, &insight.posterior, &situation)?.placements_left
}

/// Every contact that a partition claims, as pairs: each pin of a side against the first pin of
/// the other side.
#[must_use]
pub fn claims(partition: &Partition) -> Vec<(Pair, Status)> {
    let mut claims = Vec::new();
    for pole in &partition.poles {
        for (side, status) in [(&pole.nc, Status::Break), (&pole.no, Status::Make)] {
            let (Some(&first), Some((&common, more))) = (side.first(), pole.common.split_first())
            else {
                continue;
            };
            claims.extend(side.iter().map(|pin| (common, *pin, status)));
            claims.extend(more.iter().map(|pin| (*pin, first, status)));
        }
    }
    claims.into_iter().filter_map(|(a, b, status)| Some((Pair::new(a, b)?, status))).collect()
}

/// Whether one touch showed this contact at rest, driven, and at rest again.
#[must_use]
pub fn is_proven(insight: &Insight, pair: Pair, status: Status) -> bool {
    let shut_at_rest = status == Status::Break;
    insight.touches.iter().filter(|t| t.pair == pair).any(|touch| {
        let states: Vec<(bool, bool)> =
            touch.looks.iter().map(|l| (l.driven.is_some(), is_shut(&l.seen))).collect();
        let rest = (false, shut_at_rest);
        let driven = (true, !shut_at_rest);
        let mut wanted = [rest, driven, rest].into_iter().peekable();
        for state in states {
            if wanted.peek() == Some(&state) {
                wanted.next();
            }
        }
        wanted.peek().is_none()
    })
}

fn plan_on(record: &Record, insight: &Insight, pair: Pair, why: String) -> Plan {
    let purpose = insight.purpose_on(pair);
    let mut plan = Plan { way: nearest_way(record, pair), purpose, fresh: false, why };
    plan.fresh = is_spent(record, &plan);
    plan
}

/// Which lead goes where, so that the fewest move.
fn nearest_way(record: &Record, pair: Pair) -> Way {
    let [straight, swapped] = Way::both(pair);
    match record.leads {
        Some(leads) if leads.pair() == pair => leads,
        _ if record.moves_to(swapped) < record.moves_to(straight) => swapped,
        _ => straight,
    }
}

/// Whether the touch under way has already shown what the plan wants: then lift and touch again.
fn is_spent(record: &Record, plan: &Plan) -> bool {
    record.current_touch().is_some_and(|touch| {
        let driven = touch.ohms_captures().any(|c| c.drive != DriveState::Rest);
        let looked = touch.ohms_captures().next().is_some();
        touch.way == plan.way && (driven || (looked && plan.purpose != Purpose::LookDriven))
    })
}

/// The pairs that read between a contact and a coil.
fn unclear(insight: &Insight) -> BTreeSet<Pair> {
    let looked = |touch: &&Touch| touch.looks.iter().any(|look| look.seen.is_contact_or_coil());
    insight.touches.iter().filter(looked).map(|touch| touch.pair).collect()
}

/// Where the planner stands; `driven`: every touch may show both states.
fn situation(record: &Record, insight: &Insight, terms: &Terms, driven: bool) -> Situation {
    Situation {
        leads: record.leads.map(|way| (way.red(), way.black())),
        drive: insight.coils.first().filter(|_| driven).map(|coil| coil.pair),
        may_drive: !record.drive_refused,
        unreachable: record.unreachable.clone(),
        unclear: unclear(insight),
        costs: terms.start.hand_seconds.unwrap_or_default(),
        channel: terms.channel,
        confidence: terms.start.confidence,
    }
}
