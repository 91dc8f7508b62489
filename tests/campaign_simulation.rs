//! Whole runs and whole jobs in simulated time, with named faults switched on by the seed: link
//! loss, garbage, a slow, stuck or dying meter, a clumsy person, a relay that sticks, a full disk,
//! a clock that steps back, a kill after any line. Checks after each part and at the end. Short by
//! default; `COILMARK_CAMPAIGN=400 cargo test --release --test campaign_simulation -- --nocapture`
//! does 10,000 runs. A failure prints the one command that replays its seed.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that cannot go on has failed"
)]

mod simulated;

use coilmark::event::{Finding, Outcome, Verdict};
use coilmark::journal::{self, FILE_NAME};
use simulated::cases::{self, Case};
use simulated::checks;
use simulated::faults::{ALL, Plan};
use std::collections::{BTreeMap, BTreeSet};
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::path::Path;
use std::sync::Mutex;

/// Runs, times the size that was asked for.
const RUNS: u64 = 25;
/// Seeds beyond those that once came to something wrong: a plain coil that was called polarised.
const ONCE_WRONG: [u64; 11] = [154, 1153, 1178, 2887, 3135, 3738, 4351, 5364, 6776, 8439, 9166];
/// A run is over after so many parts, whatever happens.
const PARTS_MAX: usize = 12;

/// What a campaign has seen.
#[derive(Default)]
struct Seen {
    runs: u64,
    parts: u64,
    strikes: u64,
    decided: u64,
    by_fault: BTreeMap<String, u64>,
}

/// A folder on which syncing costs nothing, where there is one.
fn folder() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    let made = memory.is_dir().then(|| tempfile::tempdir_in(memory).ok()).flatten();
    made.unwrap_or_else(|| tempfile::tempdir().unwrap())
}

/// Runs one command to its end, through all its parts.
fn command(case: &Case, plan: &Plan, job: &Path, seen: &mut Seen) -> Finding {
    let mut world = case.world(plan);
    for parts in 1..=PARTS_MAX {
        if std::env::var_os("COILMARK_SHOW").is_some() {
            println!("  {} begins part {parts}", case.name);
        }
        let part = world.part(job, &case.terms);
        if std::env::var_os("COILMARK_SHOW").is_some() {
            println!("  {} part {parts}: {:?}, {} facts", case.name, part.ended, part.shown.len());
        }
        let entries = checks::part(&world, &part, job);
        seen.parts += 1;
        if part.is_over() {
            seen.decided += u64::from(checks::result(case, &world, &entries, parts - 1));
            seen.strikes += u64::from(world.strikes());
            seen.runs += 1;
            checks::report(&entries);
            let found = checks::finding(&entries).clone();
            if std::env::var_os("COILMARK_SHOW").is_some() {
                println!("  {}: {}", case.name, serde_json::to_string(&found).unwrap());
            }
            return found;
        }
    }
    panic!("{}: the run does not come to its end", case.name);
}

/// All that a seed deals.
fn run(seed: u64, job: &Path, seen: &mut Seen) {
    let plan = Plan::of(seed);
    for fault in &plan.on {
        *seen.by_fault.entry(format!("{fault:?}")).or_default() += 1;
    }
    for case in cases::deal(seed) {
        let found = command(&case, &plan, job, seen);
        if plan.is_truthful() && !plan.on.is_empty() {
            same_as_unbroken(&case, seed, &found);
        }
    }
}

/// Where every reading was true, a run that was broken off and gone on with ends as one that was
/// not: which pin is what, and every verdict.
fn same_as_unbroken(case: &Case, seed: u64, found: &Finding) {
    let calm = Plan { seed, on: BTreeSet::new() };
    let folder = folder();
    let whole = command(case, &calm, &folder.path().join("job"), &mut Seen::default());
    match (found, &whole) {
        (Finding::Identify(a), Finding::Identify(b)) => {
            // A part with a fault is left as soon as it cannot be proved, and any part over a link
            // that breaks again and again: how soon, chance says. What is named is the same.
            let sound = case.part.truth.faults.is_empty();
            let left = a.result == Outcome::Undecided;
            assert!(!sound || left || a.result == b.result, "{}", case.name);
            // What stays undecided has no names to compare, only what is wrong with it.
            let named = |f: &coilmark::event::IdentifyFinding| {
                (f.result == Outcome::Identified).then(|| (f.marks.clone(), f.family.clone()))
            };
            assert!(a.result != b.result || named(a) == named(b), "{}", case.name);
            let codes = |f: &coilmark::event::IdentifyFinding| {
                f.faults.iter().map(|fault| fault.code).collect::<BTreeSet<_>>()
            };
            assert!(a.result != b.result || codes(a) == codes(b), "{}", case.name);
        }
        (Finding::Board(a), Finding::Board(b)) => {
            for (one, other) in a.checks.iter().zip(&b.checks) {
                assert_eq!(one.check, other.check);
                let both = [one.verdict, other.verdict];
                // What lies at a limit is undecided by one reading's noise.
                let near = both.contains(&Verdict::Undecided);
                assert!(near || both[0] == both[1], "{} {}: {both:?}", case.name, one.check);
            }
        }
        _ => {}
    }
}

/// Runs a seed; what fails is named with the one command that replays it.
fn guarded(seed: u64, seen: &mut Seen) {
    let folder = folder();
    let job = folder.path().join("job");
    let outcome = catch_unwind(AssertUnwindSafe(|| run(seed, &job, seen)));
    if let Err(failure) = outcome {
        if let Some(kept) = std::env::var_os("COILMARK_KEEP") {
            let _ = std::fs::copy(job.join(FILE_NAME), kept);
        }
        let plan = Plan::of(seed);
        eprintln!("seed {seed} failed; faults: {}", plan.names());
        eprintln!(
            "replay: COILMARK_SEED={seed} COILMARK_SHOW=1 cargo test --test campaign_simulation \
             whole_jobs -- --nocapture"
        );
        resume_unwind(failure);
    }
}

fn seeds() -> Vec<u64> {
    if let Some(seed) = std::env::var("COILMARK_SEED").ok().and_then(|text| text.parse().ok()) {
        return vec![seed];
    }
    let size = std::env::var("COILMARK_CAMPAIGN").ok().and_then(|size| size.parse::<u64>().ok());
    let all = RUNS * size.unwrap_or(1);
    ONCE_WRONG.into_iter().filter(|seed| *seed > all).chain(1..=all).collect()
}

#[test]
fn whole_jobs_with_faults_are_right_or_undecided_and_always_end() {
    let seeds = Mutex::new(seeds().into_iter());
    let all = Mutex::new(Seen::default());
    let work = || {
        let mut seen = Seen::default();
        loop {
            let next = seeds.lock().unwrap().next();
            let Some(seed) = next else { break };
            guarded(seed, &mut seen);
        }
        let mut all = all.lock().unwrap();
        all.runs += seen.runs;
        all.parts += seen.parts;
        all.strikes += seen.strikes;
        all.decided += seen.decided;
        for (fault, count) in seen.by_fault {
            *all.by_fault.entry(fault).or_default() += count;
        }
    };
    std::thread::scope(|scope| {
        let hands = std::thread::available_parallelism().map_or(1, usize::from).min(4);
        let others: Vec<_> = (1..hands).map(|_| scope.spawn(work)).collect();
        work();
        others.into_iter().for_each(|other| other.join().unwrap_or_else(|e| resume_unwind(e)));
    });
    let all = all.into_inner().unwrap();
    println!(
        "{} whole runs in {} parts, {} strikes on the wire, {} decided",
        all.runs, all.parts, all.strikes, all.decided
    );
    for (fault, count) in &all.by_fault {
        println!("{count:6} jobs with {fault}");
    }
    let alone = std::env::var_os("COILMARK_SEED").is_some();
    assert!(alone || all.by_fault.len() == ALL.len(), "a fault was never on: {:?}", all.by_fault);
}

#[test]
fn the_same_seed_writes_the_same_journal_byte_for_byte() {
    for seed in [3, 7, 12] {
        let journal = || {
            let folder = folder();
            let job = folder.path().join("job");
            run(seed, &job, &mut Seen::default());
            assert!(journal::verify(&job).unwrap().is_sound());
            std::fs::read(job.join(FILE_NAME)).unwrap()
        };
        assert_eq!(journal(), journal(), "seed {seed}");
    }
}
