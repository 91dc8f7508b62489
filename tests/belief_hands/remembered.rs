//! Identifications by the hundred thousand. Looks are open, closed or coil with one value in ohms
//! each, so that the same touches always lead to the same belief; what is decided after them is
//! decided once and remembered. What is remembered is what belief and planner say, nothing else.

use super::parts::drawn;
use super::{Case, Ended, Hands, Tally, is_upheld, known_coil, moved};
use coilmark::relay::{
    Belief, Level, Look, Pair, Partition, Seen, Situation, Status, Touch, choose,
};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::collections::HashMap;
use std::sync::Arc;

/// What to do after some touches.
#[derive(Clone)]
enum Step {
    Touch {
        leads: (usize, usize),
        drive: Option<(Pair, f64)>,
    },
    /// Every contact of the claim is touched again, one after the other.
    Prove {
        claim: Arc<Partition>,
        drive: Option<(Pair, f64)>,
    },
    Name(Arc<Partition>),
    GiveUp,
}

/// More than this is not kept: the memory is emptied and filled anew.
const KEPT_MOST: usize = 3_000_000;

/// What was decided so far, for one case.
pub struct Remembered<'a> {
    case: &'a Case,
    start: Belief,
    steps: HashMap<u64, Step>,
}

/// Touches of one run, as belief and memory need them.
struct History {
    belief: Option<Belief>,
    touches: Vec<Touch>,
    /// How many of them the belief has taken in.
    taken: usize,
    key: u64,
    leads: Option<(usize, usize)>,
    lead_moves: u32,
    /// What the last touches proved.
    proved: Option<Arc<Partition>>,
}

impl<'a> Remembered<'a> {
    pub fn new(case: &'a Case) -> Self {
        Self { case, start: Belief::new(&case.prior), steps: HashMap::new() }
    }

    /// One whole identification.
    pub fn identify(&mut self, seed: u64) -> Ended {
        let mut rng = Pcg64::seed_from_u64(seed);
        let truth = drawn(self.case, &mut rng);
        let mut history = History {
            belief: None,
            touches: Vec::new(),
            taken: 0,
            key: 1,
            leads: None,
            lead_moves: 0,
            proved: None,
        };
        let named = loop {
            match self.step(&mut history) {
                Step::Name(partition) => break Some(partition.as_ref().clone()),
                Step::GiveUp => break None,
                Step::Touch { leads, drive } => {
                    let shown = shown(&truth, leads, drive, self.case, &mut rng);
                    history.touch(leads, drive, shown);
                    history.proved = None;
                }
                Step::Prove { claim, drive } => {
                    for pair in Pair::all(truth.pins()) {
                        if claim.status(pair) != Status::Open {
                            let leads = (pair.hi(), pair.lo());
                            let drive = drive.filter(|(coil, _)| *coil != pair);
                            let shown = shown(&truth, leads, drive, self.case, &mut rng);
                            history.touch(leads, drive, shown);
                        }
                    }
                    history.proved = Some(claim);
                }
            }
        };
        let placements = history.touches.len() as u32;
        Ended { truth, named, placements, lead_moves: history.lead_moves }
    }

    fn step(&mut self, history: &mut History) -> Step {
        if let Some(step) = self.steps.get(&history.key) {
            return step.clone();
        }
        let step = self.decide(history);
        if self.steps.len() >= KEPT_MOST {
            self.steps.clear();
        }
        self.steps.insert(history.key, step.clone());
        step
    }

    fn decide(&self, history: &mut History) -> Step {
        let belief = history.belief.get_or_insert_with(|| self.start.clone());
        for touch in &history.touches[history.taken..] {
            belief.observe(touch.pair, &self.case.assumed.weigh(touch));
        }
        history.taken = history.touches.len();
        let posterior = belief.posterior();
        let drive = known_coil(&posterior);
        if posterior.best.1 >= self.case.confidence {
            let claim = Arc::new(posterior.best.0.clone());
            if !self.case.prove {
                return Step::Name(claim);
            }
            if history.proved.as_ref() == Some(&claim) {
                let upheld = is_upheld(belief, &posterior, self.case);
                return if upheld { Step::Name(claim) } else { Step::GiveUp };
            }
            let drive = drive.map(|coil| (coil, posterior.of(coil, Status::Coil)));
            return Step::Prove { claim, drive };
        }
        if history.touches.len() >= self.case.most_placements as usize {
            return Step::GiveUp;
        }
        let situation = Situation {
            channel: self.case.assumed,
            confidence: self.case.confidence,
            leads: history.leads,
            drive,
            ..Situation::default()
        };
        choose(belief, &posterior, &situation).map_or(Step::GiveUp, |probe| {
            let pair = Pair::new(probe.red, probe.black);
            let drive = drive.filter(|coil| Some(*coil) != pair);
            let drive = drive.map(|coil| (coil, posterior.of(coil, Status::Coil)));
            Step::Touch { leads: (probe.red, probe.black), drive }
        })
    }
}

impl History {
    fn touch(&mut self, leads: (usize, usize), drive: Option<(Pair, f64)>, shown: [Level; 2]) {
        let pair = Pair::new(leads.0, leads.1).unwrap();
        let mut looks = vec![Look { driven: None, seen: seen(shown[0]) }];
        if let Some((_, p)) = drive {
            looks.push(Look { driven: Some(p), seen: seen(shown[1]) });
            looks.push(looks[0]);
        }
        self.touches.push(Touch { pair, looks });
        self.lead_moves += moved(self.leads, leads);
        self.leads = Some(leads);
        // What was asked follows from what was shown before, so what was shown is the whole story.
        let code = shown[0] as u64 * 3 + shown[1] as u64 + 1;
        self.key = (self.key ^ code).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(29);
    }
}

/// What the meter meets at rest and driven.
fn shown(
    truth: &Partition,
    leads: (usize, usize),
    drive: Option<(Pair, f64)>,
    case: &Case,
    rng: &mut Pcg64,
) -> [Level; 2] {
    let Hands { slips, .. } = case.hands;
    let slip: f64 = rng.random();
    let status = if slip < slips.no_contact {
        Status::Open
    } else if slip < slips.no_contact + slips.bridge {
        Status::Joined
    } else {
        truth.status(Pair::new(leads.0, leads.1).unwrap())
    };
    let moves = drive.is_some_and(|(coil, _)| truth.status(coil) == Status::Coil);
    [status.level(false), status.level(moves)]
}

fn seen(level: Level) -> Seen {
    match level {
        Level::Open => Seen::Open,
        Level::Closed => Seen::Ohms { ohms: 0.1, u: 0.05 },
        Level::Coil => Seen::Ohms { ohms: 330.0, u: 1.0 },
    }
}

/// So many runs of a case, on all cores; each core remembers for itself.
pub fn campaign(case: &Case, runs: u64, seed: u64) -> Tally {
    super::campaign_with(runs, seed, || {
        let mut remembered = Remembered::new(case);
        move |seed| remembered.identify(seed)
    })
}
