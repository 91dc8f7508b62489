//! Whole runs of the program in simulated time: the real loop, guides, journal, operator in JSON
//! lines, port, sessions and supply, on the simulated bench, with the faults that a plan has. Only
//! what a run stands on is of this world: its clock, its cables, its person. Nothing waits, and the
//! same seed writes the same journal, byte for byte.

#![allow(dead_code, reason = "each test program uses its own part of this")]

mod cable;
pub mod cases;
pub mod checks;
pub mod faults;
mod person;
mod watcher;

use cable::{Cable, End, Shared, opener};
use coilmark::bench::Bench;
use coilmark::event::{Event, RunStart, RunTerms};
use coilmark::journal::{Journal, LocalTime, Past, Stamp, Task, tasks};
use coilmark::operator::Json;
use coilmark::run::{
    Drive, Ease, Exit, Failure, Hands, OperatorChoice, ResumeTerms, Seat, Workbench, guide_for,
    supply_limits,
};
use drivers::{Clock, Moment, Port, PortOptions, Profile, Supply};
use faults::{Dice, Fault, Plan};
use jiff::Timestamp;
use jiff::tz::Offset;
use person::Person;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use watcher::{Death, Watcher};

/// The most steps of a part: a run that takes more does not end.
const TURNS_MAX: u64 = 1_000_000;
/// Parts in which a run may break off; after that the world is kind, so that it ends.
const UNKIND_PARTS: u64 = 5;
/// What breaks a run off, or may.
const BREAKING: [Fault; 7] = [
    Fault::Killed,
    Fault::Aborts,
    Fault::DiskFull,
    Fault::DyingBattery,
    Fault::LinkLost,
    Fault::StuckMeter,
    Fault::SlowMeter,
];

/// A bench with everything that is plugged into it.
pub struct World {
    pub plan: Plan,
    pub bench: Bench,
    meter: Shared,
    supply: Option<Shared>,
    profile: Profile,
    parts: u64,
}

/// A part of a run that has come to its end.
pub struct Part {
    /// How it ended; `None`: it was killed.
    pub ended: Option<Result<Exit, Failure>>,
    /// Every fact that was shown, in order.
    pub shown: Vec<Event>,
    /// How many lines the journal had before.
    pub before: usize,
    /// What the person's hands had done when each placement became a fact.
    pub misplaced: Vec<String>,
}

impl Part {
    /// Whether the run is over for good.
    pub fn is_over(&self) -> bool {
        matches!(&self.ended, Some(Ok(Exit::Done | Exit::NotPassed)))
    }
}

/// The time of one part: it begins at zero, as a process's does.
struct PartClock {
    bench: Bench,
    began: Moment,
}

impl Clock for PartClock {
    fn now(&self) -> Moment {
        Moment::from_start(self.bench.now().since(self.began))
    }

    fn pause(&self, span: Duration) {
        self.bench.let_pass(span);
    }
}

impl World {
    /// A bench under this plan, its meter in this dialect, with a supply or a person who drives.
    pub fn new(bench: Bench, plan: Plan, profile: &str, supplied: bool) -> Self {
        let meter = Cable::new(&bench, bench.wire(), plan.clone(), 2);
        let calm = Plan { seed: plan.seed, on: std::collections::BTreeSet::new() };
        let supply = supplied.then(|| Cable::new(&bench, bench.supply_wire(), calm, 3));
        let profile = Profile::load(profile).unwrap();
        Self { plan, bench, meter, supply, profile, parts: 0 }
    }

    /// How often a fault of the wire struck.
    pub fn strikes(&self) -> u32 {
        self.meter.lock().unwrap().strikes
    }

    /// Whether a supply drives.
    pub fn is_supplied(&self) -> bool {
        self.supply.is_some()
    }

    /// Wall time: an hour is taken back somewhere in the first ten minutes, if the plan has that.
    fn wall(plan: &Plan, at: Moment) -> LocalTime {
        let mut dice = Dice::of(plan.seed, 4);
        let steps = dice.millis(0, 600_000);
        let mut seconds = 1_764_000_000 + i64::try_from(at.since_start().as_secs()).unwrap();
        if plan.has(Fault::ClockBack) && at.since_start() > steps {
            seconds -= 3600;
        }
        LocalTime::new(Timestamp::from_second(seconds).unwrap(), Offset::UTC)
    }

    /// Runs this command in this job, or goes on with it, until it ends or breaks off.
    pub fn part(&mut self, job: &Path, terms: &RunTerms) -> Part {
        self.parts += 1;
        let plan = match self.parts {
            part if part > UNKIND_PARTS => self.plan.without(&BREAKING),
            _ => self.plan.clone(),
        };
        let mut dice = Dice::of(plan.seed, 0x200 + self.parts);
        self.meter.lock().unwrap().mend(plan.clone());
        if let Some(supply) = &self.supply {
            supply
                .lock()
                .unwrap()
                .mend(Plan { seed: plan.seed, on: std::collections::BTreeSet::new() });
        }
        let (mut journal, past) = match Journal::open_existing(job).unwrap() {
            Some(found) => found,
            None => (Journal::create(job).unwrap(), Past::default()),
        };
        if plan.has(Fault::DiskFull) && dice.strikes(0.5) {
            let bytes = std::fs::metadata(journal.path()).unwrap().len();
            journal = journal.with_room(bytes + 300 + dice.below(40_000) as u64);
        }
        let cables = [Some(&self.meter), self.supply.as_ref()].into_iter().flatten().cloned();
        let killed = plan.has(Fault::Killed) && dice.strikes(0.7);
        let death = Death::of(killed, &mut dice, cables.collect(), job);
        self.run(job, terms, (journal, past), &plan, death)
    }

    fn run(
        &mut self,
        job: &Path,
        terms: &RunTerms,
        (journal, past): (Journal, Past),
        plan: &Plan,
        death: Death,
    ) -> Part {
        let of_command =
            |task: &&Task<'_>| task.command() == terms.command() && !task.is_finished();
        let known = tasks(&past.entries);
        let task = known.iter().rev().find(of_command).cloned();
        let begun = RunStart {
            resumed: task.is_some(),
            meter: "sim:bench".into(),
            profile: self.profile.name.clone(),
            ..RunStart::without_meter(terms.clone(), true, past.torn_bytes())
        };
        let task = task.unwrap_or(Task { start: None, entries: Vec::new() });
        let now = Self::wall(plan, self.bench.now());
        let mut guide = guide_for(&begun, &task, &going_on(job), now).unwrap();
        task.entries.iter().for_each(|entry| guide.apply(&entry.event));
        let began = self.bench.now();
        let clock: Arc<dyn Clock> = Arc::new(PartClock { bench: self.bench.clone(), began });
        let drive = self.drive(terms, &task, &clock);
        let mut seat = Seat::new();
        let person = Person::new(&self.bench, plan.clone(), self.parts, seat.inbox.slot());
        let person = Arc::new(Mutex::new(person));
        let death = Arc::new(Mutex::new(death));
        let meter = self.plug(&mut seat, &person, &clock, &death);
        let mut watcher = Watcher::new(Json::new(std::io::sink()), &person, &death);
        let stamps = (plan.clone(), self.bench.clone());
        let workbench = Workbench {
            guide,
            journal,
            operator: &mut watcher,
            meter: Some(meter),
            seat: &mut seat,
            clock,
            stamp: Box::new(move |clock| Stamp {
                at: Self::wall(&stamps.0, stamps.1.now()),
                elapsed: clock.now(),
            }),
            hands: Hands::Real,
            drive,
            link: "sim:bench".into(),
            job: "job".into(),
        };
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        let ended = runtime.block_on(workbench.run(Event::RunStarted(begun)));
        let mut dice = Dice::of(plan.seed, 0x300 + self.parts);
        let killed = death.lock().unwrap().leave_as_killed(&mut dice);
        Part {
            ended: (!killed).then_some(ended),
            shown: watcher.shown,
            before: past.entries.len(),
            misplaced: watcher.misplaced,
        }
    }

    fn drive(&self, terms: &RunTerms, task: &Task<'_>, clock: &Arc<dyn Clock>) -> Option<Drive> {
        let (volts_max, watts_max) = match terms {
            RunTerms::Identify(start) => (start.volts_max, start.coil_watts_max),
            RunTerms::PickUp(start) => (start.volts_max, start.coil_watts_max),
            RunTerms::Board(start) => (start.plan.supply.volts, start.plan.supply.watts_max),
            _ => return None,
        };
        let link = Box::new(End::of(self.supply.as_ref()?));
        let supply =
            Supply::over(link, supply_limits(volts_max, watts_max), Arc::clone(clock)).unwrap();
        let mut drive = Drive::new(supply, watts_max);
        task.entries.iter().for_each(|entry| drive.recorded(&entry.event));
        Some(drive)
    }

    /// Plugs the meter in; from then on the inbox turns the world.
    fn plug(
        &self,
        seat: &mut Seat,
        person: &Arc<Mutex<Person>>,
        clock: &Arc<dyn Clock>,
        death: &Arc<Mutex<Death>>,
    ) -> Port {
        let (slot, knock, death) = (seat.inbox.slot(), seat.inbox.slot(), Arc::clone(death));
        let sink = move |event| slot(coilmark::run::Arrival::Meter(event));
        let (opener, session) = (opener(&self.meter), self.profile.session("meter"));
        let options = PortOptions::default();
        let (port, crank) = Port::by_hand(opener, session, Arc::clone(clock), options, sink);
        let (bench, person) = (self.bench.clone(), Arc::clone(person));
        let mut turns = 0;
        seat.inbox.turned_by(Box::new(move || {
            turns += 1;
            assert!(turns < TURNS_MAX, "the run does not end: {}", person.lock().unwrap().state());
            if death.lock().unwrap().strikes_at(turns) {
                // Whatever the loop does next, it finds that nobody is there.
                knock(coilmark::run::Arrival::LongLine);
                return;
            }
            if !crank.turn() {
                bench.let_pass(Duration::from_millis(10));
            }
            person.lock().unwrap().act();
        }));
        port
    }
}

fn going_on(job: &Path) -> ResumeTerms {
    ResumeTerms {
        job: job.to_owned(),
        meter: None,
        drive: None,
        profile: None,
        reconnect_for: Duration::from_secs(30),
        accept_meter: false,
        ease: Ease::default(),
        operator: OperatorChoice::Json,
    }
}
