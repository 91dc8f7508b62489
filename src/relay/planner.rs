//! Which placement comes next: the one with the most expected information about the partition per
//! second of the operator's hands. Information is exact from the pair probabilities: the entropy
//! of the predicted outcome less the entropy of the channel itself.

use super::evidence::{Channel, Level, Status};
use super::pair::Pair;
use super::posterior::Posterior;
use super::why::Why;
use std::collections::{BTreeMap, BTreeSet};

/// What the operator's hands cost, in seconds. Stated assumptions without a source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Costs {
    /// Moving one lead, and reading.
    pub one_lead_s: f64,
    /// Moving both leads, and reading.
    pub two_leads_s: f64,
    /// Driving the coil and releasing it while the leads stay.
    pub toggle_s: f64,
    /// Turning the meter's dial.
    pub dial_change_s: f64,
}

impl Default for Costs {
    fn default() -> Self {
        Self { one_lead_s: 4.0, two_leads_s: 5.0, toggle_s: 0.5, dial_change_s: 3.0 }
    }
}

/// Where the work stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Situation {
    /// Pins under the red and the black lead, if they rest on the part.
    pub leads: Option<(usize, usize)>,
    /// The pins that are driven, once the coil is known and may be driven: every touch but
    /// those on this very pair then shows both states. `None`: at rest only.
    pub drive: Option<Pair>,
    /// Pairs that cannot be reached.
    pub unreachable: BTreeSet<Pair>,
    /// How often each pair was touched.
    pub touched: BTreeMap<Pair, u32>,
    /// What hands cost.
    pub costs: Costs,
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
            unreachable: BTreeSet::new(),
            touched: BTreeMap::new(),
            costs: Costs::default(),
            channel: Channel::default(),
            confidence: 0.9999,
        }
    }
}

/// The placement to ask for.
#[derive(Clone, Debug, PartialEq)]
pub struct Probe {
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

/// The next placement; `None` if every pair is unreachable or no placement can tell anything.
#[must_use]
pub fn choose(posterior: &Posterior, situation: &Situation) -> Option<Probe> {
    let marginals = Known { pairs: &posterior.pairs };
    let rated = Pair::all(posterior.pins)
        .filter(|pair| !situation.unreachable.contains(pair))
        .map(|pair| marginals.rate(pair, situation));
    let best = rated.max_by(|a, b| a.per_second.total_cmp(&b.per_second))?;
    if best.information_bits < 1e-12 {
        return None;
    }
    let (red, black) = hands(best.pair, situation.leads);
    Some(Probe {
        red,
        black,
        toggle: best.toggle,
        information_bits: best.information_bits,
        placements_left: placements_left(posterior, situation),
        why: Why::of(posterior, best.pair, best.toggle),
    })
}

/// How many placements from here, by the entropy that is left and the usual yield of one.
fn placements_left(posterior: &Posterior, situation: &Situation) -> Option<f64> {
    let doubt = (1.0 - posterior.best.1).max(1.0 - situation.confidence);
    let proof = (doubt / (1.0 - situation.confidence)).ln() / 4.0;
    let left = posterior.entropy_bits / 0.9 + proof.max(0.0);
    left.is_finite().then_some(left.max(1.0))
}

struct Known<'a> {
    pairs: &'a [[f64; 5]],
}

struct Rated {
    pair: Pair,
    toggle: bool,
    information_bits: f64,
    per_second: f64,
}

impl Known<'_> {
    fn rate(&self, pair: Pair, situation: &Situation) -> Rated {
        let toggle = situation.drive.is_some_and(|driven| driven != pair);
        let information_bits = information(&self.pairs[pair.index()], toggle, situation.channel);
        let moves = lead_moves(pair, situation.leads);
        let costs = &situation.costs;
        let hands = if moves < 2 { costs.one_lead_s } else { costs.two_leads_s };
        let cost = hands + if toggle { costs.toggle_s } else { 0.0 };
        Rated { pair, toggle, information_bits, per_second: information_bits / cost.max(1e-3) }
    }
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

/// Expected information of a touch about its pair's status, in bits.
pub(super) fn information(pair: &[f64; 5], toggle: bool, channel: Channel) -> f64 {
    // Outcomes: per state open, closed or coil; a touch shows one at rest, or one in each state.
    let slip = channel.no_contact + channel.bridge;
    let outcome = |status: Status| {
        let at = |energised| status.level(energised) as usize;
        if toggle { at(false) * 3 + at(true) } else { at(false) * 3 + at(false) }
    };
    let open = Level::Open as usize * 4;
    let short = Level::Closed as usize * 4;
    let mut predicted = [0.0; 9];
    let mut noise = 0.0;
    for (status, &p) in Status::ALL.into_iter().zip(pair) {
        let mut given = [0.0; 9];
        given[outcome(status)] += 1.0 - slip;
        given[open] += channel.no_contact;
        given[short] += channel.bridge;
        noise += p * entropy(&given);
        predicted.iter_mut().zip(given).for_each(|(sum, each)| *sum += p * each);
    }
    (entropy(&predicted) - noise).max(0.0)
}

fn entropy(of: &[f64]) -> f64 {
    of.iter().filter(|p| **p > 0.0).map(|p| -p * p.log2()).sum()
}
