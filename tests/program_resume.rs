//! Runs that are killed and gone on with. Killed at any line of its output, a job goes on where it
//! stood: what was captured is not asked for again, the counts are those of all parts together,
//! and the result is that of a run that nobody disturbed. Then what the record is worth when it
//! was torn, edited or is somebody else's.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use coilmark::bench::Bench;
use coilmark::event::{Ask, IdentifyFinding};
use program::broken_off::{AT_ONCE, RELAY, begin, resume};
use program::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use serde_json::Value;

/// How many runs are killed, each once; `COILMARK_CAMPAIGN` sets another number.
const KILLS: usize = 6;

/// Does what is asked, until so many lines were heard, live readings not counted; false if it
/// ended before.
fn lead_lines(person: &mut Person, program: &mut Program, lines: usize) -> bool {
    let mut heard = 0;
    while heard < lines {
        match person.hear(program) {
            None => return false,
            Some(Line::Ask(asked)) => person.perform(program, &asked),
            Some(Line::Note(note)) if note.name == "reading" => continue,
            Some(Line::Note(_)) => {}
        }
        heard += 1;
    }
    true
}

/// Each touch that was over before the kill is asked for again at most once, as a check; only the
/// one under way begins anew.
fn asks_nothing_again(record: &[Value]) {
    let starts = |line: &Value| line["event"] == "started";
    let resumed = record.iter().rposition(starts).unwrap();
    let ways = |part: &[Value]| -> Vec<[Value; 2]> {
        let placed = part.iter().filter(|line| line["event"] == "placement");
        placed.map(|line| [line["red"].clone(), line["black"].clone()]).collect()
    };
    let (mut before, after) = (ways(&record[..resumed]), ways(&record[resumed..]));
    before.pop();
    let again = after.iter().filter(|way| before.contains(way)).count();
    assert!(again <= 1, "before: {before:?}, after: {after:?}");
}

/// A run that nobody disturbs.
fn undisturbed() -> (Person, Job, usize) {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    let mut program = begin(&served.link(), &job);
    let mut lines = 0;
    while lead_lines(&mut person, &mut program, 1) {
        lines += 1;
    }
    person.ends(program, 0);
    (person, job, lines)
}

/// Killed after so many lines of output, then gone on with; the whole job's record.
fn killed_at(line: usize) -> (Person, Job) {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    let mut program = begin(&served.link(), &job);
    lead_lines(&mut person, &mut program, line);
    program.kill();
    drop(program);
    person.survive(&job.record());
    person.finish(resume(&served.link(), &job, &[]), 0);
    assert_eq!(bench.hazards(), [], "killed at line {line}");
    (person, job)
}

#[test]
fn a_run_killed_at_any_moment_goes_on_to_the_same_result() {
    let (person, _, lines) = undisturbed();
    let whole = finding(&person.ledger);
    assert_true(&whole, &relay(RELAY).truth);
    let seed = 20_261_125;
    let mut chance = Pcg64::seed_from_u64(seed);
    // Before the last ask, so that the result cannot be there yet.
    let size = std::env::var("COILMARK_CAMPAIGN").ok().and_then(|size| size.parse().ok());
    let kills = size.unwrap_or(KILLS);
    let moments: Vec<usize> = (0..kills).map(|_| chance.random_range(1..lines - 5)).collect();
    for moments in moments.chunks(AT_ONCE) {
        kill_all(moments, &whole, seed);
    }
}

fn kill_all(moments: &[usize], whole: &IdentifyFinding, seed: u64) {
    std::thread::scope(|scope| {
        for &line in moments {
            scope.spawn(move || {
                println!("seed {seed}: killed after line {line}");
                let (person, job) = killed_at(line);
                let found = finding(&person.ledger);
                assert_eq!(names(&found), names(whole));
                assert_eq!(job.recorded("started").len(), 2);
                asks_nothing_again(&job.record());
                assert_contacts_measured(&found, &person.ledger);
                let verified = Program::run(&["verify", &job.word()]).exits(0);
                assert!(verified.lines[0].contains("whole"), "{verified:?}");
            });
        }
    });
}

/// A run that stopped at its second place, with the bench that it stopped at.
fn stopped() -> (Bench, Job, Person) {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    let mut program = begin(&served.link(), &job);
    let first = person.lead_to(&mut program, |ask| matches!(ask, Ask::Place { .. }));
    person.perform(&mut program, &first);
    person.lead_to(&mut program, |ask| matches!(ask, Ask::Place { .. }));
    program.kill();
    drop(program);
    person.survive(&job.record());
    (bench, job, person)
}

#[test]
fn a_line_torn_by_power_loss_is_set_aside_and_said() {
    let (bench, job, mut person) = stopped();
    let journal = job.file("journal.jsonl");
    let mut text = std::fs::read_to_string(&journal).unwrap();
    let whole = text.clone();
    text.push_str("{\"v\":1,\"seq\":99,\"at\":\"2026");
    std::fs::write(&journal, &text).unwrap();
    let verified = Program::run(&["verify", &job.word()]).exits(0);
    assert!(verified.lines[0].contains("repaired"), "{verified:?}");
    assert_eq!(std::fs::read_to_string(&journal).unwrap(), whole);
    let verified = Program::run(&["verify", &job.word()]).exits(0);
    assert!(verified.lines[0].contains("whole"), "{verified:?}");
    // Without verifying first, resuming repairs it too, and says so.
    std::fs::write(&journal, &text).unwrap();
    let served = bench.serve_pty(None).unwrap();
    let ended = person.finish(resume(&served.link(), &job, &[]), 0);
    assert!(ended.stderr.contains("torn"), "{}", ended.stderr);
    let report = std::fs::read_to_string(job.file("report.html")).unwrap();
    assert!(report.contains("torn (26 bytes) and has been set aside"), "not in the report");
    assert_true(&finding(&person.ledger), &relay(RELAY).truth);
}

#[test]
fn an_edited_record_is_refused_and_the_line_named() {
    let (_, job, _) = stopped();
    let journal = job.file("journal.jsonl");
    let text = std::fs::read_to_string(&journal).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let changed = lines[4].replacen("\"seq\":5", "\"seq\":5 ", 1);
    assert_ne!(changed, lines[4]);
    let mut edits = [lines.clone(), lines.clone(), lines.clone()];
    edits[0][4] = &changed;
    edits[1].remove(4);
    edits[2].swap(4, 5);
    for (edit, word) in edits.iter().zip(["changed", "cut", "reordered"]) {
        std::fs::write(&journal, edit.join("\n") + "\n").unwrap();
        let verified = Program::run(&["verify", &job.word()]).exits(1);
        let said = &verified.lines[0];
        assert!(said.contains("line 5") && said.contains(word), "{said}");
        for command in ["resume", "report"] {
            Program::run(&[command, &job.word()]).refuses(2, &["journal.jsonl", "line 5"]);
        }
    }
}

#[test]
fn another_meter_is_refused_unless_it_is_accepted() {
    let (bench, job, mut person) = stopped();
    let served = bench.serve_pty(None).unwrap();
    served.swap_identity("ANOTHER,METER,7,1.0");
    let ended = Person::at(&bench).ends(resume(&served.link(), &job, &[]), 3);
    ended.complains(&["ANOTHER,METER,7,1.0", "SIMULATED,BENCH METER", "--accept-meter"]);
    assert!(job.recorded("placement").len() == 1, "nothing was done with it");
    let ended = person.finish(resume(&served.link(), &job, &["--accept-meter"]), 0);
    assert_eq!(ended.stderr, "");
    assert_true(&finding(&person.ledger), &relay(RELAY).truth);
    let accepted = job.recorded("link");
    assert_eq!(accepted.len(), 1);
    assert_eq!(accepted[0]["identity"], "ANOTHER,METER,7,1.0");
    assert_eq!(job.recorded("meter").len(), 2);
}

#[test]
fn a_job_that_is_being_recorded_is_not_gone_on_with() {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    let mut program = begin(&served.link(), &job);
    let open = person.lead_to(&mut program, |ask| matches!(ask, Ask::Place { .. }));
    Program::run(&["resume", &job.word()]).refuses(2, &["journal.jsonl", "another run"]);
    // Looking at it is no harm, and no hindrance.
    Program::run(&["verify", &job.word()]).exits(0);
    person.perform(&mut program, &open);
    person.finish(program, 0);
}

#[test]
fn a_job_that_is_done_says_so_again_and_asks_nothing() {
    let (mut person, job, _) = undisturbed();
    let before = finding(&person.ledger);
    let served = person.bench.serve_pty(None).unwrap();
    person.ledger.resume();
    let asks = person.ledger.asks.len();
    person.finish(resume(&served.link(), &job, &[]), 0);
    assert_eq!(person.ledger.asks.len(), asks);
    assert_eq!(job.recorded("result").len(), 1);
    assert_eq!(names(&finding(&person.ledger)), names(&before));
}
