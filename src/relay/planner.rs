//! Which placement comes next: the one with the most expected information about the partition per
//! second of the operator's hands. Information is exact from the pair probabilities: the entropy
//! of the predicted outcome less the entropy of the channel itself. What a placement is for is
//! left to [`Why`]; when to stop, to the guide.

use super::belief::Belief;
use super::evidence::{Channel, Level, Status, Weights};
use super::pair::Pair;
use super::posterior::{Posterior, coil};
use super::why::Why;
use crate::event::HandSeconds;
use std::collections::BTreeSet;

/// Where the work stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Situation {
    /// Pins under the red and the black lead, if they rest on the part.
    pub leads: Option<(usize, usize)>,
    /// The pins that are driven, once the coil is known and may be driven: every touch but
    /// those on this very pair then shows both states. `None`: at rest only.
    pub drive: Option<Pair>,
    /// Whether a coil is going to be driven as soon as it is known.
    pub may_drive: bool,
    /// Pairs that cannot be reached.
    pub unreachable: BTreeSet<Pair>,
    /// Pairs that conduct with so many ohms that a contact and a coil look alike there: another
    /// touch can show what follows the drive, but not which of the two it is.
    pub unclear: BTreeSet<Pair>,
    /// What hands cost.
    pub costs: HandSeconds,
    /// How touches go wrong.
    pub channel: Channel,
    /// The posterior probability at which the search ends.
    pub confidence: f64,
}

impl Default for Situation {
    fn default() -> Self {
        Self {
            leads: None,
            drive: None,
            may_drive: true,
            unreachable: BTreeSet::new(),
            unclear: BTreeSet::new(),
            costs: HandSeconds::default(),
            channel: Channel::default(),
            confidence: 0.9999,
        }
    }
}

/// The placement to ask for.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The pin for the red lead.
    pub red: usize,
    /// The pin for the black lead.
    pub black: usize,
    /// Whether to look in both states, driving the coil while the leads stay.
    pub toggle: bool,
    /// What it is expected to tell, in bits.
    pub information_bits: f64,
    /// How many more placements are expected, this one included.
    pub placements_left: Option<f64>,
    /// What it is for.
    pub why: Why,
}

/// The next placement, by what `belief` and its own `posterior` say; `None` if every pair is
/// unreachable or no placement can tell anything.
///
/// While much is unknown that is the placement with the most information per second, on small
/// parts together with the one after it. When little is left, the aim is no longer to learn but
/// to be sure: then it is the placement that shrinks the square root of the posterior most, in
/// which rare alternatives weigh more.
#[must_use]
pub fn choose(belief: &Belief, posterior: &Posterior, situation: &Situation) -> Option<Proposal> {
    let given = All::of(situation);
    let mut rated = rate_all(&posterior.pairs, &given, situation);
    rated.retain(|rated| rated.information_bits > 1e-12);
    let scores: Vec<f64> = if posterior.entropy_bits < PROVING_BITS {
        let doubt = doubt(posterior);
        let settled = |rated: &Rated| {
            let index = rated.pair.index();
            let given = &given.on(rated.pair, rated.toggle, situation).outcomes;
            settled(&posterior.pairs[index], &doubt[index], given) / rated.cost_s
        };
        rated.iter().map(settled).collect()
    } else if posterior.pins <= LOOK_AHEAD_PINS && posterior.entropy_bits > LOOK_AHEAD_BITS {
        rated.sort_by(|a, b| b.per_second.total_cmp(&a.per_second));
        let least = rated.first()?.per_second * LOOK_AHEAD_SHARE;
        rated.truncate(LOOK_AHEAD_WIDTH);
        rated.retain(|rated| rated.per_second >= least);
        rated.iter().map(|rated| look_ahead(belief, posterior, &given, situation, rated)).collect()
    } else {
        rated.iter().map(|rated| rated.per_second).collect()
    };
    let scored = rated.iter().zip(scores);
    let best = scored.max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.pair.cmp(&a.0.pair)))?.0;
    let (red, black) = hands(best.pair, situation.leads);
    Some(Proposal {
        red,
        black,
        toggle: best.toggle,
        information_bits: best.information_bits,
        placements_left: placements_left(posterior, situation),
        why: Why::of(posterior, best.pair, best.toggle),
    })
}

/// Pair marginals of the square root of the posterior, as good as the candidates tell it. There an
/// alternative of one in a million still counts for a thousandth: it shows where doubt is left.
/// The candidates are rooted one by one; what is left of a status beyond them counts as one more.
/// (The exact sum over all partitions takes another pass, and saves no placement in a hundred.)
fn doubt(posterior: &Posterior) -> Vec<[f64; 5]> {
    let index = posterior.pairs.iter().enumerate();
    let of = |(index, of): (usize, &[f64; 5])| {
        let (lo, hi) = Pair::at(index);
        let (mut left, mut roots) = (*of, [0.0; 5]);
        for (candidate, p) in &posterior.candidates {
            let status = candidate.status(Pair::ordered(lo, hi)) as usize;
            left[status] -= p;
            roots[status] += p.sqrt();
        }
        roots.iter_mut().zip(left).for_each(|(root, left)| *root += left.max(0.0).sqrt());
        let sum: f64 = roots.iter().sum();
        roots.map(|root| root / sum.max(f64::MIN_POSITIVE))
    };
    index.map(of).collect()
}

/// Below this entropy the aim is to be sure, not to learn.
const PROVING_BITS: f64 = 4.0;

/// Looking one placement further pays on small parts while much is unknown, between placements
/// that are nearly as good as each other.
const LOOK_AHEAD_BITS: f64 = 11.0;
const LOOK_AHEAD_PINS: usize = 8;
const LOOK_AHEAD_WIDTH: usize = 2;
const LOOK_AHEAD_SHARE: f64 = 0.9;

/// Above this probability a coil counts as known when looking ahead.
const KNOWN: f64 = 0.99;

/// What finding the coil is worth beside what it tells: from then on a placement shows both states
/// and proves as it tells, while a contact found before has to be touched once more. By trial: 1 to
/// 4 bits save a person up to 14 % of the seconds (`tests/person_time.rs`), and 8 bits less.
const COIL_BITS: f64 = 4.0;
/// A placement that tells less than this does not find a coil.
const COIL_TOLD_BITS: f64 = 0.25;

/// Information per second of this placement and the best one after it.
fn look_ahead(
    belief: &Belief,
    posterior: &Posterior,
    all: &All,
    situation: &Situation,
    first: &Rated,
) -> f64 {
    let given = &all.on(first.pair, first.toggle, situation).outcomes;
    let pair = posterior.pairs[first.pair.index()];
    let (mut bits, mut cost_s) = (first.information_bits, first.cost_s);
    for outcome in 0..OUTCOMES {
        let likely: [f64; 5] = std::array::from_fn(|status| given[status][outcome]);
        let p: f64 = likely.iter().zip(pair).map(|(given, p)| given * p).sum();
        if p < 1e-3 {
            continue;
        }
        let mut after = belief.clone();
        after.observe(first.pair, &Weights(likely.map(|p| p.max(1e-18).ln())));
        let pairs = after.pairs();
        let coil = coil(posterior.pins, &pairs).filter(|(_, p)| *p > KNOWN && situation.may_drive);
        let then = Situation {
            leads: Some(hands(first.pair, situation.leads)),
            drive: situation.drive.or(coil.map(|(pair, _)| pair)),
            ..situation.clone()
        };
        let next = rate_all(&pairs, all, &then);
        if let Some(next) = next.iter().max_by(|a, b| a.per_second.total_cmp(&b.per_second)) {
            bits += p * next.information_bits;
            cost_s += p * next.cost_s;
        }
    }
    bits / cost_s.max(1e-3)
}

/// How many placements from here, by the entropy that is left and the usual yield of one.
fn placements_left(posterior: &Posterior, situation: &Situation) -> Option<f64> {
    let doubt = (1.0 - posterior.best.1).max(1.0 - situation.confidence);
    let proof = (doubt / (1.0 - situation.confidence)).ln() / 4.0;
    let left = posterior.entropy_bits / 0.9 + proof.max(0.0);
    left.is_finite().then_some(left.max(1.0))
}

/// A placement and what it is worth.
struct Rated {
    pair: Pair,
    toggle: bool,
    information_bits: f64,
    cost_s: f64,
    /// Bits per second of the operator's hands, a coil's worth included.
    per_second: f64,
}

fn rate_all(pairs: &[[f64; 5]], given: &All, situation: &Situation) -> Vec<Rated> {
    let costs = &situation.costs;
    let sought = situation.drive.is_none() && situation.may_drive;
    let index = pairs.iter().enumerate();
    let rate = |(index, of): (usize, &[f64; 5])| {
        let (lo, hi) = Pair::at(index);
        let pair = Pair::ordered(lo, hi);
        if situation.unreachable.contains(&pair) {
            return None;
        }
        let toggle = situation.drive.is_some_and(|driven| driven != pair);
        let hands_s = if lead_moves(pair, situation.leads) < 2 {
            costs.one_lead_s
        } else {
            costs.two_leads_s
        };
        let information_bits = information(of, given.on(pair, toggle, situation));
        let cost_s = hands_s + if toggle { costs.drive_s } else { 0.0 };
        // A coil that is known already, or cannot be told from a contact, is not found there.
        let finds = of[Status::Coil as usize] * (information_bits / COIL_TOLD_BITS).min(1.0);
        let coil_bits = if sought { COIL_BITS * finds } else { 0.0 };
        let per_second = (information_bits + coil_bits) / cost_s.max(1e-3);
        Some(Rated { pair, toggle, information_bits, cost_s, per_second })
    };
    index.filter_map(rate).collect()
}

/// How many leads change pin; two for the same pair again, which is lifted and touched anew.
fn lead_moves(pair: Pair, leads: Option<(usize, usize)>) -> u32 {
    match leads {
        Some((a, b)) => match u32::from(pair.has(a)) + u32::from(pair.has(b)) {
            1 => 1,
            _ => 2,
        },
        None => 2,
    }
}

/// Which lead goes where, so that the fewest move.
fn hands(pair: Pair, leads: Option<(usize, usize)>) -> (usize, usize) {
    let (lo, hi) = (pair.lo(), pair.hi());
    match leads {
        Some((red, black)) if red == hi || black == lo => (hi, lo),
        _ => (lo, hi),
    }
}

/// Open, closed or coil, at rest and energised.
const OUTCOMES: usize = 9;

/// The probability of each outcome given each status; a touch at rest only shows one level. Where
/// it is `unclear` which is which, a coil shows what a contact shows.
fn outcomes(toggle: bool, unclear: bool, channel: Channel) -> [[f64; OUTCOMES]; 5] {
    let good = (1.0 - channel.no_contact - channel.bridge).max(0.0);
    Status::ALL.map(|status| {
        let at = |energised: bool| match status.level(energised && toggle) {
            Level::Coil if unclear => Level::Closed as usize,
            level => level as usize,
        };
        let mut given = [0.0; OUTCOMES];
        given[at(false) * 3 + at(true)] += good;
        given[Level::Open as usize * 4] += channel.no_contact;
        given[Level::Closed as usize * 4] += channel.bridge;
        given
    })
}

/// The probability of each outcome given each status, and the entropy of each of those.
struct Given {
    outcomes: [[f64; OUTCOMES]; 5],
    noise: [f64; 5],
}

impl Given {
    fn new(outcomes: [[f64; OUTCOMES]; 5]) -> Self {
        let noise = std::array::from_fn(|status| entropy(&outcomes[status]));
        Self { outcomes, noise }
    }
}

/// Whatever a touch can be like: at rest only or in both states, and the same where it is unclear
/// which is which, if that is so anywhere.
struct All {
    clear: [Given; 2],
    unclear: Option<[Given; 2]>,
}

impl All {
    fn of(situation: &Situation) -> Self {
        let given = |unclear| {
            let of = |toggle| Given::new(outcomes(toggle, unclear, situation.channel));
            [false, true].map(of)
        };
        let unclear = (!situation.unclear.is_empty()).then(|| given(true));
        Self { clear: given(false), unclear }
    }

    fn on(&self, pair: Pair, toggle: bool, situation: &Situation) -> &Given {
        let unclear = self.unclear.as_ref().filter(|_| situation.unclear.contains(&pair));
        let [rest, both] = unclear.unwrap_or(&self.clear);
        if toggle { both } else { rest }
    }
}

/// Expected information about a pair's status, in bits.
fn information(pair: &[f64; 5], given: &Given) -> f64 {
    let mut predicted = [0.0; OUTCOMES];
    let mut noise = 0.0;
    for ((given, each), &p) in given.outcomes.iter().zip(given.noise).zip(pair) {
        noise += p * each;
        predicted.iter_mut().zip(given).for_each(|(sum, each)| *sum += p * each);
    }
    (entropy(&predicted) - noise).max(0.0)
}

/// By how much a touch is expected to shrink the sum of the square roots of all probabilities, as
/// a natural logarithm. `doubt` are the pair's shares of that sum.
fn settled(pair: &[f64; 5], doubt: &[f64; 5], given: &[[f64; OUTCOMES]; 5]) -> f64 {
    let left = (0..OUTCOMES).map(|outcome| {
        let predicted: f64 = pair.iter().zip(given).map(|(p, given)| p * given[outcome]).sum();
        let rooted = doubt.iter().zip(given).map(|(share, given)| share * given[outcome].sqrt());
        predicted.sqrt() * rooted.sum::<f64>()
    });
    -left.sum::<f64>().max(1e-300).ln()
}

fn entropy(of: &[f64]) -> f64 {
    of.iter().filter(|p| **p > 0.0).map(|p| -p * p.log2()).sum()
}

#[cfg(test)]
mod tests;
