//! A run that is killed, and goes on: the real binary with kill -9 at several moments over a real
//! pseudo-terminal, then `resume`. Nothing captured is asked again, the counts have both parts, and
//! the record verifies; an edited record is found out, and another meter is refused.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that cannot go on has failed"
)]

mod program;

use coilmark::bench::{Bench, BenchOptions, Part, Served, SlipRates};
use coilmark::event::{Answer, Ask};
use program::{Program, notes, output, relay};
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;

fn bench() -> (Bench, Served) {
    let part = Part::load(Path::new(&relay("changeover_1_pole"))).unwrap();
    let options = BenchOptions { slips: SlipRates::NONE, ..BenchOptions::default() };
    let bench = Bench::new(part, options);
    let served = bench.serve_pty(None).unwrap();
    (bench, served)
}

fn captures(said: &[Value]) -> BTreeSet<u64> {
    notes(said, "capture").iter().map(|c| c["capture"].as_u64().unwrap()).collect()
}

fn result(said: &[Value]) -> Value {
    let mut one = notes(said, "result")[0].clone();
    for count in ["placements", "lead_moves", "drive_changes", "posterior", "decisive_touches"] {
        one.as_object_mut().unwrap().remove(count);
    }
    one["coils"][0]["ohms"] = Value::Null;
    one["coils"][0]["ohms_u"] = Value::Null;
    one["coils"][0]["rated_volts"] = Value::Null;
    one
}

/// Begins a run and kills it when this many asks have been answered.
fn begin_and_kill(bench: &Bench, link: &str, job: &str, asks: usize) -> Vec<Value> {
    let mut program = Program::start(&[
        "identify",
        "--meter",
        link,
        "--pins",
        "5",
        "--operator",
        "json",
        "--job",
        job,
    ]);
    for _ in 0..asks {
        let Some((seq, ask)) = program.next_ask() else { break };
        program.answer(seq, bench.perform(&ask));
    }
    // The next ask shows that the last answer has been taken in.
    let _ = program.next_ask();
    program.signal("KILL");
    program.end().2
}

fn resume(bench: &Bench, job: &str, flags: &[&str]) -> (i32, String, Vec<Value>) {
    let mut arguments = vec!["resume", job, "--operator", "json"];
    arguments.extend(flags);
    let mut program = Program::start(&arguments);
    while let Some((seq, ask)) = program.next_ask() {
        program.answer(seq, bench.perform(&ask));
    }
    program.end()
}

#[test]
fn a_killed_run_goes_on_where_it_stopped() {
    let (first_bench, served) = bench();
    let folder = tempfile::tempdir().unwrap();
    let unbroken = folder.path().join("unbroken").display().to_string();
    let whole = begin_and_kill(&first_bench, &served.link(), &unbroken, 10_000);
    let asked = whole.iter().filter(|line| line.get("ask").is_some()).count();
    drop(served);
    for asks in [1, 3, 5, 7, asked - 2] {
        let (bench, served) = bench();
        let job = folder.path().join(format!("killed-{asks}")).display().to_string();
        let before = begin_and_kill(&bench, &served.link(), &job, asks);
        let (code, errors, after) = resume(&bench, &job, &[]);
        assert_eq!(code, 0, "{asks}: {errors}");
        assert_eq!(result(&after), result(&whole), "{asks}");
        let (old, new) = (captures(&before), captures(&after));
        assert!(old.is_disjoint(&new), "{asks}: {old:?} {new:?}");
        let places = |said: &[Value]| notes(said, "placement").len() as u64;
        let counted = notes(&after, "result")[0]["placements"].as_u64().unwrap();
        let shown = places(&before) + places(&after);
        assert!((shown..=shown + 1).contains(&counted), "{asks}: {shown} {counted}");
        assert!(counted <= places(&whole) + 3, "{asks}: {counted}");
        assert_eq!(output(&["verify", &job]).status.code(), Some(0), "{asks}");
    }
}

#[test]
fn an_edited_record_is_found_out_and_no_record_is_said() {
    let (bench, served) = bench();
    let folder = tempfile::tempdir().unwrap();
    let job = program::job(folder.path());
    begin_and_kill(&bench, &served.link(), &job, 4);
    let journal = Path::new(&job).join("journal.jsonl");
    let text = std::fs::read_to_string(&journal).unwrap();
    std::fs::write(&journal, text.replacen("\"meter\"", "\"Meter\"", 1)).unwrap();
    let found = output(&["verify", &job]);
    assert_eq!(found.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&found.stdout).contains("line"), "{found:?}");
    let none = folder.path().join("none").display().to_string();
    assert_eq!(output(&["verify", &none]).status.code(), Some(2));
}

#[test]
fn another_meter_is_refused_unless_it_is_accepted() {
    let (bench, served) = bench();
    let folder = tempfile::tempdir().unwrap();
    let job = program::job(folder.path());
    begin_and_kill(&bench, &served.link(), &job, 4);
    served.swap_identity("SOME,OTHER METER,77,1");
    let (code, errors, said) = resume(&bench, &job, &[]);
    assert_eq!(code, 3, "{errors}");
    assert!(errors.contains("different meter") && errors.contains("hint:"), "{errors}");
    assert!(notes(&said, "result").is_empty());
    let (code, errors, said) = resume(&bench, &job, &["--accept-meter"]);
    assert_eq!(code, 0, "{errors}");
    assert!(notes(&said, "link").iter().any(|n| n["state"] == "other_meter_accepted"));
}

#[test]
fn an_interrupt_and_the_end_of_input_leave_a_record_that_goes_on() {
    for by_signal in [true, false] {
        let (bench, served) = bench();
        let folder = tempfile::tempdir().unwrap();
        let job = program::job(folder.path());
        let link = served.link();
        let mut program = Program::start(&[
            "identify",
            "--meter",
            &link,
            "--pins",
            "5",
            "--operator",
            "json",
            "--job",
            &job,
        ]);
        for _ in 0..4 {
            let (seq, ask) = program.next_ask().unwrap();
            program.answer(seq, bench.perform(&ask));
        }
        let _: Option<(u64, Ask)> = program.next_ask();
        if by_signal {
            program.signal("INT")
        } else {
            program.hang_up()
        }
        let (code, errors, said) = program.end();
        assert_eq!(code, 4, "{errors}");
        assert_eq!(said.last().unwrap()["note"], "finished");
        assert_eq!(said.last().unwrap()["exit"], 4);
        assert_eq!(output(&["verify", &job]).status.code(), Some(0));
        let (code, errors, _) = resume(&bench, &job, &[]);
        assert_eq!(code, 0, "{errors}");
    }
}

#[test]
fn an_abort_is_resumable() {
    let (bench, served) = bench();
    let folder = tempfile::tempdir().unwrap();
    let job = program::job(folder.path());
    let link = served.link();
    let mut program = Program::start(&[
        "identify",
        "--meter",
        &link,
        "--pins",
        "5",
        "--operator",
        "json",
        "--job",
        &job,
    ]);
    for _ in 0..3 {
        let (seq, ask) = program.next_ask().unwrap();
        program.answer(seq, bench.perform(&ask));
    }
    let (seq, _) = program.next_ask().unwrap();
    program.answer(seq, Answer::Abort);
    assert_eq!(program.end().0, 4);
    assert_eq!(resume(&bench, &job, &[]).0, 0);
}
