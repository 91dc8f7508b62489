//! Golden reports: journals written by hand in, the committed HTML, JSON and CSV out, byte for
//! byte. The journals are committed too, and the builders must still write exactly them. After a
//! wanted change: `UPDATE_FIXTURES=1 cargo test --test report_golden`, then read the difference.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod report_jobs;

use coilmark::event::{
    Ask, AskedDrive, Caution, DriveState, Event, Fault, FaultCode, Finding, Latching, LinkNews,
};
use coilmark::journal::{self, Entry, FILE_NAME};
use coilmark::report::{
    Report, render_csv, render_fit_summary, render_html, render_json, render_summary,
    render_verdicts,
};
use drivers::Function;
use report_jobs::{Job, candidate, changeover, coil, finding, identified, pin, start, terms};
use std::fs;
use std::path::PathBuf;

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures");
const METER: &str = "EXAMPLE,BENCH-6,0042,1.07";
const CLOSED: Option<f64> = Some(0.14);

/// Two changeovers on two rows of four, one slip taken back.
fn two_changeovers() -> Job {
    let right = |p| candidate(p, "2C", ["1", "5"], &["3,2,4", "7,6,8"]);
    let swapped = |p| candidate(p, "2C", ["1", "5"], &["3,4,2", "7,6,8"]);
    let other = |p| candidate(p, "2C", ["4", "8"], &["2,3,1", "6,7,5"]);
    let single = |p| candidate(p, "1C", ["1", "5"], &["3,2,4"]);
    let mut job = Job::begin(start("8", Some("4+4")));
    job.meter(METER, true).caution(Caution::DeadCircuit);
    job.touch("1", "5").ohms(Some(329.8));
    job.believe(&[right(0.31), swapped(0.31), single(0.05)], 3.92);
    job.touch("2", "5").ohms(Some(0.21)).event(Event::CaptureTakenBack { capture: 2 });
    job.touch("2", "5").ohms(None).believe(&[right(0.34), swapped(0.33), single(0.04)], 3.61);
    job.touch("2", "3").ohms(CLOSED).believe(&[right(0.71), single(0.12), other(0.02)], 1.48);
    let steps = [
        (4.5, 0.061, "the highest usual voltage that is allowed below the next rating"),
        (9.0, 0.246, "the next rated voltage that is plausible"),
        (12.0, 0.437, "the next rated voltage that is plausible"),
    ];
    let rated = [(5.0, 0.02), (9.0, 0.31), (12.0, 0.64)];
    let ladder = report_jobs::ladder("1", "5", 329.8, &rated, &steps);
    job.event(Event::LadderPlanned(ladder));
    job.caution(Caution::CoilDrive);
    for volts in [4.5, 6.0, 9.0] {
        job.drive("1", "5", volts).ohms(if volts < 9.0 { CLOSED } else { None });
    }
    job.release().ohms(CLOSED).believe(&[right(0.94), single(0.05), swapped(0.001)], 0.41);
    job.touch("3", "4").ohms(None).drive("1", "5", 9.0).ohms(Some(0.12)).release().ohms(None);
    job.believe(&[right(0.981), single(0.018)], 0.14);
    job.touch("7", "6").ohms(Some(0.17)).drive("1", "5", 9.0).ohms(None).release();
    job.ohms(Some(0.16)).believe(&[right(0.9991), single(0.0008)], 0.011);
    job.touch("7", "8").ohms(None).drive("1", "5", 9.0).ohms(Some(0.13)).release().ohms(None);
    job.believe(&[right(0.999_983)], 0.0004);
    job.touch("5", "1").diode(Some(0.55)).touch("1", "5").diode(None);
    let found = identified(
        "2C",
        vec![coil("1", "5", 329.8, Some(true))],
        vec![changeover("3,2,4"), changeover("7,6,8")],
    );
    job.caution(Caution::NotACertificate).result(found).finish(0, None);
    job
}

/// Undecided: a lost link, a resume, a skipped placement, candidates left.
fn undecided() -> Job {
    let nearly = |p| candidate(p, "1C", ["85", "86"], &["30,87a,87"]);
    let mirror = |p| candidate(p, "1C", ["85", "86"], &["30,87,87a"]);
    let make = |p| candidate(p, "1A", ["85", "86"], &["30,,87"]);
    let mut job = Job::begin(start("30,85,86,87,87a", Some("2-1-2")));
    job.meter(METER, false).caution(Caution::DeadCircuit);
    job.event(Event::DialTurned { function: Function::Resistance });
    job.touch("85", "86").ohms(Some(91.2)).believe(&[nearly(0.4), mirror(0.4)], 1.9);
    job.touch("30", "87");
    let text = "link lost while reading \"+9.1\"".to_owned();
    job.wait(3000).event(Event::LinkChanged(LinkNews::Lost { text }));
    job.wait(30_000).finish(3, Some("the meter did not come back within 30 s"));
    let again = start("30,85,86,87,87a", Some("2-1-2"));
    job.resume(again, 5400).meter(METER, false);
    job.event(Event::MeterComplained { text: "late answer `+9.1E1` dropped".into() });
    job.touch("30", "87").ohms(None);
    job.wait(2000).event(Event::LinkChanged(LinkNews::Lost { text: "hung up".into() }));
    job.wait(4200).event(Event::LinkChanged(LinkNews::Restored { gap_s: 4.2 }));
    job.touch("30", "87a").ohms(Some(0.3)).believe(&[nearly(0.7), make(0.2)], 0.9);
    job.event(Event::AskSkipped {
        ask: Ask::Place {
            red: pin("87"),
            black: pin("87a"),
            function: Function::Resistance,
            drive: AskedDrive::Rest,
            why: None,
        },
    });
    let drive = DriveState::Energised { plus: pin("85"), minus: pin("86"), volts: 4.5 };
    job.event(Event::AskSkipped { ask: Ask::Drive(drive) });
    let mut found = finding("1C", vec![coil("85", "86", 91.2, None)], vec![]);
    found.reason = Some("no drive was possible, so nothing was seen to change over".into());
    found.posterior = 0.74;
    found.candidates = vec![nearly(0.74), make(0.2), mirror(0.04)];
    job.result(found).finish(1, Some("the part stays undecided"));
    job
}

/// A latching part with one coil, a doubled common, joined pins and a spare.
fn latching() -> Job {
    let right = |p| candidate(p, "1C", ["1", "10"], &["3=8,4,7"]);
    let mut run = start("10", Some("5+5 round"));
    terms(&mut run).ambient_celsius = Some(27.5);
    let mut job = Job::begin(run);
    job.meter(METER, true).caution(Caution::DeadCircuit);
    job.touch("1", "10").ohms(Some(178.4)).believe(&[right(0.2)], 5.1);
    job.touch("3", "8").ohms(Some(0.09)).believe(&[right(0.5)], 2.2);
    job.caution(Caution::CoilDrive);
    job.touch("3", "4").ohms(None).drive("10", "1", 5.0).ohms(CLOSED).release().ohms(CLOSED);
    job.drive("1", "10", 5.0).ohms(None).release().ohms(None).believe(&[right(0.998)], 0.03);
    job.touch("8", "7").ohms(Some(0.11)).drive("10", "1", 5.0).ohms(None).release().ohms(None);
    job.drive("1", "10", 5.0).ohms(Some(0.12)).release().ohms(Some(0.12));
    job.touch("5", "6").ohms(Some(0.08)).believe(&[right(0.999_99)], 0.0003);
    let mut found =
        identified("1C", vec![coil("1", "10", 173.3, Some(false))], vec![changeover("3=8,4,7")]);
    found.latching = Latching::OneCoil;
    found.reset = Some(DriveState::Energised { plus: pin("10"), minus: pin("1"), volts: 5.0 });
    found.joined = vec![vec![pin("5"), pin("6")]];
    found.spares = vec![pin("2"), pin("9")];
    job.result(found).finish(0, None);
    job
}

/// A simulated part with a welded contact, and a run that used `quick`.
fn simulated_faults() -> Job {
    let mut run = start("8", None);
    run.simulated = true;
    terms(&mut run).quick = true;
    run.meter = "sim:bench.toml".into();
    let mut job = Job::begin(run);
    job.meter("SIMULATED,METER,0,1", true).caution(Caution::DeadCircuit);
    job.touch("2", "7").ohms(Some(1440.0)).believe(&[], 9.0);
    job.touch("1", "8").ohms(CLOSED).drive("2", "7", 12.0).ohms(CLOSED).release().ohms(CLOSED);
    job.touch("3", "6").ohms(None).drive("2", "7", 12.0).ohms(Some(8.7)).release().ohms(None);
    let mut poles = vec![changeover("1,8,"), changeover("3,,6"), changeover("4,,5")];
    for pole in &mut poles {
        pole.evidence = coilmark::event::Evidence::Inferred;
    }
    let mut found = identified("2A+1B", vec![coil("2", "7", 1440.0, Some(false))], poles);
    found.simulated = true;
    let fault = |code, pins: &[&str], text: &str| Fault {
        code,
        pins: pins.iter().map(|p| pin(p)).collect(),
        text: text.into(),
    };
    found.faults = vec![
        fault(FaultCode::WeldedContact, &["1", "8"], "stays closed at rest and energised"),
        fault(FaultCode::HighContactOhms, &["3", "6"], "8.7 ohms when closed"),
    ];
    job.result(found).finish(1, Some("a fault was found"));
    job
}

fn jobs() -> [(&'static str, Job); 6] {
    [
        ("two_changeovers", two_changeovers()),
        ("undecided_resumed", undecided()),
        ("latching_one_coil", latching()),
        ("simulated_faults", simulated_faults()),
        ("pickup", report_jobs::pickup()),
        ("fit", report_jobs::fit()),
    ]
}

fn updating() -> bool {
    std::env::var_os("UPDATE_FIXTURES").is_some()
}

/// Compares with the committed file, or writes it when updating.
fn golden(path: &str, text: &[u8]) {
    let file = PathBuf::from(FIXTURES).join(path);
    if updating() {
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(&file, text).unwrap();
    }
    let committed = fs::read(&file).unwrap_or_else(|e| panic!("{path}: {e}"));
    if committed != text {
        let (committed, text) =
            (String::from_utf8_lossy(&committed), String::from_utf8_lossy(text));
        let line = committed.lines().zip(text.lines()).position(|(a, b)| a != b);
        let at = line.unwrap_or_else(|| committed.lines().count().min(text.lines().count()));
        panic!(
            "{path} differs from line {}:\n  committed: {:?}\n  now:       {:?}\n\
             run UPDATE_FIXTURES=1 cargo test --test report_golden if that is wanted",
            at + 1,
            committed.lines().nth(at),
            text.lines().nth(at)
        );
    }
}

fn entries(journal: &[u8]) -> Vec<Entry> {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join(FILE_NAME), journal).unwrap();
    journal::read(dir.path()).unwrap().entries
}

/// What a terminal is shown: of an identification, of a fit, or else nothing.
fn summary(report: &Report, entries: &[Entry]) -> Option<String> {
    let fit = entries.iter().find_map(|entry| match &entry.event {
        Event::ResultReached(Finding::Fit(finding)) => Some(render_fit_summary(finding)),
        _ => None,
    });
    let identified = || (!report.runs.is_empty()).then(|| render_summary(report));
    fit.or_else(identified)
}

#[test]
fn journals_give_the_committed_reports_byte_for_byte() {
    for (name, job) in jobs() {
        golden(&format!("journals/{name}.jsonl"), &job.journal());
        let committed = fs::read(format!("{FIXTURES}/journals/{name}.jsonl")).unwrap();
        let report = Report::from_entries(&entries(&committed));
        golden(&format!("reports/{name}.html"), render_html(&report).as_bytes());
        golden(&format!("reports/{name}.json"), render_json(&report).as_bytes());
        golden(&format!("reports/{name}.csv"), render_csv(&report).as_bytes());
        if let Some(text) = summary(&report, &entries(&committed)) {
            golden(&format!("reports/{name}.txt"), text.as_bytes());
        }
        golden(&format!("reports/{name}.xml"), render_verdicts(&report).as_bytes());
    }
}
