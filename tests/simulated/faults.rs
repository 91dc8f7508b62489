//! The faults of a simulated job, each with its name, and the dice that say when one strikes. A
//! plan is drawn from the seed of its run: which faults are on. How often a fault that is on
//! strikes is said here too, so that one table tells what a campaign is made of. The same seed
//! gives the same plan and the same strikes.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::collections::BTreeSet;
use std::time::Duration;

/// What goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// The link to the meter goes away and comes back, mostly within the patience of the program.
    LinkLost,
    /// Bytes arrive that are no answer, or instead of one.
    Garbage,
    /// An answer comes late, at times after its deadline.
    SlowMeter,
    /// The meter neither hears nor answers for a while.
    StuckMeter,
    /// The meter falls back to another function by itself, or the dial is turned to another one.
    WrongUnit,
    /// The meter's battery dies: nothing more in this part of the run.
    DyingBattery,
    /// Tips slip as the belief expects: no contact, a bridge.
    Slips,
    /// A tip stands on the next pin, or touches it too.
    WrongPin,
    /// The leads are lifted before the reading is taken.
    LiftsEarly,
    /// The person takes their time.
    AnswersLate,
    /// Words that are no answer, answers to another ask, captures taken back.
    WrongAnswers,
    /// The person stops, and goes on later.
    Aborts,
    /// The armature stays where it is once in a hundred moves.
    RelaySticks,
    /// The disk is full in the middle of a line.
    DiskFull,
    /// The wall clock steps back an hour.
    ClockBack,
    /// The process is killed after any line of its journal.
    Killed,
}

/// Every fault.
pub const ALL: [Fault; 16] = [
    Fault::LinkLost,
    Fault::Garbage,
    Fault::SlowMeter,
    Fault::StuckMeter,
    Fault::WrongUnit,
    Fault::DyingBattery,
    Fault::Slips,
    Fault::WrongPin,
    Fault::LiftsEarly,
    Fault::AnswersLate,
    Fault::WrongAnswers,
    Fault::Aborts,
    Fault::RelaySticks,
    Fault::DiskFull,
    Fault::ClockBack,
    Fault::Killed,
];

/// Share of runs in which a fault is on.
const ON: f64 = 0.2;

/// Seeded chance, one stream for each concern.
#[derive(Clone, Debug)]
pub struct Dice(Pcg64);

impl Dice {
    pub fn of(seed: u64, concern: u64) -> Self {
        Self(Pcg64::seed_from_u64(seed ^ concern.wrapping_mul(0x9e37_79b9_7f4a_7c15)))
    }

    pub fn strikes(&mut self, share: f64) -> bool {
        self.0.random::<f64>() < share
    }

    pub fn below(&mut self, count: usize) -> usize {
        self.0.random_range(0..count)
    }

    pub fn millis(&mut self, low: u64, high: u64) -> Duration {
        Duration::from_millis(self.0.random_range(low..high))
    }

    pub fn bytes(&mut self, most: usize) -> Vec<u8> {
        let count = self.below(most);
        (0..count).map(|_| self.0.random::<u8>()).collect()
    }
}

/// The faults of one run.
#[derive(Clone, Debug)]
pub struct Plan {
    pub seed: u64,
    pub on: BTreeSet<Fault>,
}

impl Plan {
    /// Drawn from the seed; one run in eight has no fault at all.
    pub fn of(seed: u64) -> Self {
        let mut dice = Dice::of(seed, 1);
        let whole = dice.below(8) == 0;
        let on = ALL.into_iter().filter(|_| dice.strikes(ON) && !whole).collect();
        Self { seed, on }
    }

    /// Without any of these.
    pub fn without(&self, faults: &[Fault]) -> Self {
        let on = self.on.iter().filter(|fault| !faults.contains(fault)).copied().collect();
        Self { seed: self.seed, on }
    }

    pub fn has(&self, fault: Fault) -> bool {
        self.on.contains(&fault)
    }

    /// Whether every reading that comes is one of what was asked for.
    pub fn is_truthful(&self) -> bool {
        use Fault::{LiftsEarly, RelaySticks, Slips, WrongPin};
        ![Slips, WrongPin, LiftsEarly, RelaySticks].iter().any(|fault| self.has(*fault))
    }

    /// In words.
    pub fn names(&self) -> String {
        self.on.iter().map(|fault| format!("{fault:?}")).collect::<Vec<_>>().join(" ")
    }
}
