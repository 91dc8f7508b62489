//! Simulated hands: a part with a known truth, leads that slip at a settable rate, and the loop
//! that a guide would run, cut down to touches. Seeded; a run is repeated by its seed alone.
//! It knows no ohms: looks are open, closed or coil.

pub mod parts;
pub mod remembered;

use coilmark::relay::{
    Belief, Channel, Family, Level, Look, Pair, Partition, Posterior, Prior, Proposal, Seen,
    Situation, Status, Touch, choose,
};
use drivers::{Clock, SystemClock};
use parts::drawn;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::fmt;
use std::time::Duration;

/// What the part on the bench is.
#[derive(Clone, Debug)]
pub enum Truth {
    /// Any labelling of this family, all equally likely.
    Family(Family),
    /// One of the prior's layouts, by weight.
    Layout,
    /// What the prior says: a layout as often as it says, else any family by its probability, in
    /// any labelling.
    Prior,
}

/// How touches go wrong on this bench.
#[derive(Clone, Copy, Debug, Default)]
pub struct Hands {
    /// Rates of slips.
    pub slips: Channel,
    /// A pin that never makes contact.
    pub dirty: Option<usize>,
    /// The black lead is always one pin too far.
    pub off_by_one: bool,
    /// The touch of this number, from 1, is wrong whatever happens.
    pub wrong_touch: Option<u32>,
}

/// One campaign.
#[derive(Clone, Debug)]
pub struct Case {
    pub prior: Prior,
    pub truth: Truth,
    pub hands: Hands,
    /// The slips that the belief reckons with.
    pub assumed: Channel,
    pub confidence: f64,
    pub most_placements: u32,
    /// Whether the claim is proved before it is named: it must be a relay, the slips and the silent
    /// pins are weighed, and every contact is touched again with the leads the other way round.
    pub prove: bool,
}

/// How a run ended.
#[derive(Clone, Debug)]
pub struct Ended {
    pub truth: Partition,
    pub named: Option<Partition>,
    pub placements: u32,
    pub lead_moves: u32,
}

/// How a campaign ended.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub runs: u64,
    pub right: u64,
    pub undecided: u64,
    pub wrong_and_sure: u64,
    pub placements: u64,
    pub lead_moves: u64,
    pub first_wrong_seed: Option<u64>,
    pub first_seed: u64,
}

impl Tally {
    pub fn mean_placements(&self) -> f64 {
        self.placements as f64 / self.runs as f64
    }

    /// How many wrong answers the stated confidence allows, with room for chance: one run in a
    /// thousand campaigns would exceed it.
    pub fn allowed(&self, confidence: f64) -> u64 {
        let mean = self.runs as f64 * (1.0 - confidence);
        (mean + 3.1 * mean.sqrt()).floor() as u64
    }

    fn add(&mut self, seed: u64, ended: &Ended) {
        self.runs += 1;
        self.placements += u64::from(ended.placements);
        self.lead_moves += u64::from(ended.lead_moves);
        match &ended.named {
            None => self.undecided += 1,
            Some(named) if *named == ended.truth => self.right += 1,
            Some(_) => {
                self.wrong_and_sure += 1;
                self.first_wrong_seed.get_or_insert(seed);
            }
        }
    }

    fn join(mut self, other: &Self) -> Self {
        self.runs += other.runs;
        self.right += other.right;
        self.undecided += other.undecided;
        self.wrong_and_sure += other.wrong_and_sure;
        self.placements += other.placements;
        self.lead_moves += other.lead_moves;
        self.first_wrong_seed = self.first_wrong_seed.or(other.first_wrong_seed);
        self
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let runs = self.runs as f64;
        write!(
            f,
            "{} runs from seed {:#x}: {:.2} placements, {:.2} lead moves; right {}, undecided {}, wrong and sure {}",
            self.runs,
            self.first_seed,
            self.placements as f64 / runs,
            self.lead_moves as f64 / runs,
            self.right,
            self.undecided,
            self.wrong_and_sure
        )?;
        self.first_wrong_seed.map_or(Ok(()), |seed| write!(f, " (first: seed {seed:#x})"))
    }
}

/// So many runs of a case, on all cores (or on `COILMARK_THREADS` of them).
pub fn campaign(case: &Case, runs: u64, seed: u64) -> Tally {
    campaign_with(runs, seed, || |seed| identify(case, seed))
}

/// So many runs by what `begin` makes, once for each core.
fn campaign_with<F: FnMut(u64) -> Ended>(
    runs: u64,
    seed: u64,
    begin: impl Fn() -> F + Sync,
) -> Tally {
    let asked = std::env::var("COILMARK_THREADS").ok().and_then(|threads| threads.parse().ok());
    let cores = || std::thread::available_parallelism().map_or(1, usize::from);
    let threads: u64 = asked.unwrap_or_else(|| cores() as u64).max(1);
    let part = |thread: u64| {
        let mut tally = Tally::default();
        let mut identify = begin();
        for run in (thread..runs).step_by(threads as usize) {
            tally.add(seed + run, &identify(seed + run));
        }
        tally
    };
    std::thread::scope(|scope| {
        let part = &part;
        let parts: Vec<_> = (0..threads).map(|thread| scope.spawn(move || part(thread))).collect();
        let begun = Tally { first_seed: seed, ..Tally::default() };
        parts.into_iter().fold(begun, |all, part| all.join(&part.join().unwrap()))
    })
}

/// One whole identification.
pub fn identify(case: &Case, seed: u64) -> Ended {
    Run::new(case, seed).end()
}

/// Each decision that is timed is made so many times over and the least time counts, so that what
/// else the machine does is not counted.
const TIMED: usize = 5;

/// One whole identification; how long each decision took is added to `took`.
pub fn identify_timed(case: &Case, seed: u64, took: &mut Vec<Duration>) -> Ended {
    let mut run = Run::new(case, seed);
    run.times = TIMED;
    let ended = run.end();
    took.append(&mut run.took);
    ended
}

struct Run<'a> {
    case: &'a Case,
    rng: Pcg64,
    truth: Partition,
    belief: Belief,
    situation: Situation,
    /// Last time each pair was touched: red, black.
    before: std::collections::BTreeMap<Pair, (usize, usize)>,
    placements: u32,
    lead_moves: u32,
    /// How often each decision is made.
    times: usize,
    took: Vec<Duration>,
}

impl<'a> Run<'a> {
    fn new(case: &'a Case, seed: u64) -> Self {
        let mut rng = Pcg64::seed_from_u64(seed);
        let truth = drawn(case, &mut rng);
        let belief = Belief::new(&case.prior);
        let situation = Situation {
            channel: case.assumed,
            confidence: case.confidence,
            ..Situation::default()
        };
        let before = std::collections::BTreeMap::new();
        let took = Vec::new();
        let (placements, lead_moves, times) = (0, 0, 1);
        Self { case, rng, truth, belief, situation, before, placements, lead_moves, times, took }
    }

    fn end(&mut self) -> Ended {
        let named = self.finish();
        let (placements, lead_moves) = (self.placements, self.lead_moves);
        Ended { truth: self.truth.clone(), named, placements, lead_moves }
    }

    fn finish(&mut self) -> Option<Partition> {
        loop {
            let (posterior, probe) = self.decide();
            let sure = posterior.best.1 >= self.case.confidence;
            if sure && (!self.case.prove || self.is_proved(&posterior)?) {
                return Some(posterior.best.0);
            }
            if !sure {
                let probe = probe?;
                self.touch((probe.red, probe.black), &posterior);
            }
            if self.placements > self.case.most_placements {
                return None;
            }
        }
    }

    /// What is believed, and what to do next.
    fn decide(&mut self) -> (Posterior, Option<Proposal>) {
        let mut least = Duration::MAX;
        let mut once = || {
            let clock = SystemClock::begin();
            let posterior = self.belief.posterior();
            self.situation.drive = known_coil(&posterior);
            let probe = choose(&self.belief, &posterior, &self.situation);
            least = least.min(clock.now().since_start());
            (posterior, probe)
        };
        for _ in 1..self.times {
            let _ = once();
        }
        let decided = once();
        if decided.0.best.1 < self.case.confidence {
            self.took.push(least);
        }
        decided
    }

    /// `None`: the claim cannot be upheld. `false`: proof moved the belief; go on.
    fn is_proved(&mut self, posterior: &Posterior) -> Option<bool> {
        let claim = &posterior.best.0;
        if !claim.family().is_relay() {
            return None;
        }
        let pins = self.belief.pins();
        for pair in Pair::all(pins).filter(|pair| claim.status(*pair) != Status::Open) {
            let (red, black) = self.before.get(&pair).copied().unwrap_or((pair.hi(), pair.lo()));
            self.touch((black, red), posterior);
        }
        let after = self.belief.posterior();
        if after.best.1 < self.case.confidence || after.best.0 != *claim {
            return Some(false);
        }
        is_upheld(&self.belief, &after, self.case).then_some(true)
    }

    fn touch(&mut self, leads: (usize, usize), posterior: &Posterior) {
        self.placements += 1;
        self.lead_moves += moved(self.situation.leads, leads);
        let pair = Pair::new(leads.0, leads.1).unwrap();
        let drive = self.situation.drive.filter(|driven| *driven != pair);
        let drive = drive.map(|coil| (coil, posterior.of(coil, Status::Coil)));
        let looks = touched(self.case, &self.truth, leads, drive, self.placements, &mut self.rng);
        self.belief.observe(pair, &self.case.assumed.weigh(&Touch { pair, looks }));
        self.situation.leads = Some(leads);
        self.before.insert(pair, leads);
    }
}

/// Whether the slips so far are no more than chance, and no silent pin could be more than a spare.
fn is_upheld(belief: &Belief, posterior: &Posterior, case: &Case) -> bool {
    let claim = &posterior.best.0;
    let strain = belief.strain(claim, case.assumed);
    let silent: f64 = belief.silent(claim, 0.005).iter().map(|silent| silent.odds).sum();
    strain.chance > 1e-3 && posterior.best.1 / (1.0 + silent) >= case.confidence
}

/// The coil, once it is sure enough to be driven.
fn known_coil(posterior: &Posterior) -> Option<Pair> {
    posterior.coil().filter(|(_, p)| *p > 0.95).map(|(pair, _)| pair)
}

fn moved(before: Option<(usize, usize)>, now: (usize, usize)) -> u32 {
    match before {
        Some(before) if before == now => 2,
        Some(before) => u32::from(before.0 != now.0) + u32::from(before.1 != now.1),
        None => 2,
    }
}

/// What the meter shows in one touch.
fn touched(
    case: &Case,
    truth: &Partition,
    (red, black): (usize, usize),
    drive: Option<(Pair, f64)>,
    number: u32,
    rng: &mut Pcg64,
) -> Vec<Look> {
    let hands = &case.hands;
    let slip: f64 = rng.random();
    let black = if hands.off_by_one { black + 1 } else { black };
    let dirty = hands.dirty.is_some_and(|pin| pin == red || pin == black);
    let status = match Pair::new(red, black) {
        _ if black >= truth.pins() => Status::Open,
        None => Status::Joined,
        Some(pair) => truth.status(pair),
    };
    let mut status = status;
    if dirty || slip < hands.slips.no_contact {
        status = Status::Open;
    } else if slip < hands.slips.no_contact + hands.slips.bridge {
        status = Status::Joined;
    }
    if hands.wrong_touch == Some(number) {
        status = if status == Status::Open { Status::Joined } else { Status::Open };
    }
    // The part moves only if what is driven really is its coil.
    let moves = |pair: Pair| truth.status(pair) == Status::Coil;
    let mut looks = vec![Look { driven: None, seen: seen(status.level(false), rng) }];
    if let Some((pair, p)) = drive {
        let level = status.level(moves(pair));
        looks.push(Look { driven: Some(p), seen: seen(level, rng) });
        looks.push(Look { driven: None, seen: looks[0].seen });
    }
    looks
}

fn seen(level: Level, rng: &mut Pcg64) -> Seen {
    let mut around = |low: f64, high: f64| 10_f64.powf(rng.random_range(low..high));
    match level {
        Level::Open => Seen::Open,
        Level::Closed => Seen::Ohms { ohms: around(-1.3, 0.2), u: 0.05 },
        Level::Coil => Seen::Ohms { ohms: around(1.7, 4.0), u: 1.0 },
    }
}
