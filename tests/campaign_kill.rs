//! The real program over a real pseudo-terminal, killed with -9 at random moments, wherever it is
//! then, and gone on with: no capture that was shown is missing, none is doubled, no drive that
//! hands had applied is forgotten, and the result and the report are those of a run that nobody
//! disturbed. Short by default; `COILMARK_CAMPAIGN=200 cargo test --release --test campaign_kill --
//! --nocapture` kills at 1,000 moments. `COILMARK_SEED=N` repeats one; its moment is real time.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use drivers::{Clock, SystemClock};
use program::broken_off::{AT_ONCE, RELAY, begin, resume};
use program::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

/// Moments, times the size that was asked for.
const MOMENTS: u64 = 5;
/// Fields of a result that more touches change; every other is the same.
const CHANGED: [&str; 5] =
    ["posterior", "placements", "lead_moves", "drive_changes", "decisive_touches"];

/// The next part of the run: its beginning where nothing was written yet.
fn part(link: &str, job: &Job) -> Program {
    if job.record().is_empty() { begin(link, job) } else { resume(link, job, &[]) }
}

/// What a job ended with.
struct End {
    report: Value,
    took: Duration,
    kills: u64,
}

/// A run of this relay, killed after these spans, one part after another.
fn run(spans: &[Duration]) -> End {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let link = served.link();
    let mut person = Person::at(&bench);
    let clock = SystemClock::begin();
    let mut kills = 0;
    for span in spans {
        let mut program = part(&link, &job);
        let killer = program.kill_after(*span);
        person.lead(&mut program, |_| Reply::Perform);
        killer.join().unwrap();
        drop(program);
        if person.ledger.finished().is_some() {
            break;
        }
        kills += 1;
        kept(&person, &job);
        if job.record().is_empty() {
            // Nothing was begun yet, or only its folder.
            let _ = std::fs::remove_dir_all(job.dir());
            person = Person::at(&bench);
        } else {
            person.survive(&job.record());
        }
    }
    if person.ledger.finished().is_none() {
        person.finish(part(&link, &job), 0);
    }
    assert_eq!(bench.hazards(), [], "killed after {spans:?}");
    assert!(!bench.is_driven(), "the drive is still on");
    kept(&person, &job);
    once(&job);
    let verified = Program::run(&["verify", &job.word()]).exits(0);
    assert!(verified.lines[0].contains("whole"), "{verified:?}");
    let again = Program::run(&["report", &job.word()]).exits(0);
    assert_eq!(again.stderr, "");
    let report = std::fs::read_to_string(job.file("report.json")).unwrap();
    End { report: serde_json::from_str(&report).unwrap(), took: clock.now().since_start(), kills }
}

/// Every capture that was shown is in the record, as it was shown.
fn kept(person: &Person, job: &Job) {
    let key = |line: &Value| (line["capture"].as_u64(), line["value"].as_f64().map(f64::to_bits));
    let recorded: BTreeSet<_> = job.recorded("capture").iter().map(key).collect();
    for shown in person.ledger.noted("capture") {
        assert!(recorded.contains(&key(shown)), "shown, and not in the record: {shown}");
    }
}

/// No capture has another's number, and no look was captured twice.
fn once(job: &Job) {
    let mut numbers = BTreeSet::new();
    let mut looks = BTreeSet::new();
    let mut stage = 0;
    for line in job.record() {
        // The same look is another one once hands have done something.
        stage += u32::from(["placement", "drive"].contains(&line["event"].as_str().unwrap()));
        if line["event"] != "capture" {
            continue;
        }
        assert!(numbers.insert(line["capture"].as_u64()), "doubled: {line}");
        let look = format!("{stage} {} {}", line["touch"], line["function"]);
        assert!(looks.insert(look), "captured twice: {line}");
    }
}

/// The result without what more touches change.
fn result(report: &Value) -> Value {
    let mut result = report["result"].clone();
    CHANGED.iter().for_each(|field| drop(result.as_object_mut().unwrap().remove(*field)));
    result
}

/// What each look showed: where, how, under which drive; the value.
fn looks(report: &Value) -> BTreeMap<String, Value> {
    let look = |c: &Value| {
        let key = format!("{} {} {} {}", c["red"], c["black"], c["function"], c["drive"]);
        (key, c["value"].clone())
    };
    report["captures"].as_array().unwrap().iter().map(look).collect()
}

/// The report is that of the undisturbed run, but for the parts of the run, the counts, and what
/// was touched once more.
fn same(broken: &End, whole: &End) {
    assert_eq!(result(&broken.report), result(&whole.report));
    let (seen, wanted) = (looks(&broken.report), looks(&whole.report));
    assert!(!seen.is_empty());
    for (look, value) in &seen {
        assert!(wanted.get(look).is_none_or(|v| v == value), "{look}: {value}");
    }
    for field in ["v", "kind", "simulated", "certificate"] {
        assert_eq!(broken.report[field], whole.report[field], "{field}");
    }
    let fields = |end: &End| end.report.as_object().unwrap().keys().cloned().collect::<Vec<_>>();
    assert_eq!(fields(broken), fields(whole));
    let parts = broken.report["runs"].as_array().unwrap().len() as u64;
    assert!((1..=broken.kills + 1).contains(&parts), "{parts} parts of {} kills", broken.kills);
}

fn seeds() -> Vec<u64> {
    let set = |name| std::env::var(name).ok().and_then(|text| text.parse::<u64>().ok());
    match set("COILMARK_SEED") {
        Some(seed) => vec![seed],
        None => (1..=MOMENTS * set("COILMARK_CAMPAIGN").unwrap_or(1)).collect(),
    }
}

#[test]
fn a_run_killed_at_random_moments_loses_and_doubles_nothing() {
    let whole = run(&[]);
    let (killed, whole) = (AtomicU64::new(0), &whole);
    for seeds in seeds().chunks(AT_ONCE) {
        std::thread::scope(|scope| {
            for &seed in seeds {
                let killed = &killed;
                scope.spawn(move || {
                    let mut chance = Pcg64::seed_from_u64(seed);
                    // One kill, or one more while it is gone on with.
                    let parts = 1 + usize::from(chance.random::<f64>() < 0.3);
                    let spans: Vec<Duration> =
                        (0..parts).map(|_| whole.took.mul_f64(chance.random::<f64>())).collect();
                    println!("seed {seed}: killed after {spans:?}");
                    let broken = run(&spans);
                    same(&broken, whole);
                    killed.fetch_add(broken.kills, Ordering::Relaxed);
                });
            }
        });
    }
    let killed = killed.into_inner();
    println!("{killed} kills, an undisturbed run takes {:?}", whole.took);
    assert!(killed > 0, "nothing was killed");
}
