//! The main job through the real binary: identifications over a pseudo-terminal and over TCP
//! against an instrument built on a SCPI parser that is not ours (the crate microscpi), and
//! against the simulated bench as a second process. The relay file's truth drives both the
//! instrument and the assertion; the operator's contract is checked line by line on the way.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that cannot go on has failed"
)]

mod program;

#[allow(unused_imports, reason = "each test program uses its own part of this")]
#[path = "../drivers/tests/instrument/mod.rs"]
mod instrument;

use coilmark::bench::{Bench, BenchOptions, HazardKind, Part, SlipRates};
use coilmark::event::{Answer, Ask, AskedDrive, DriveState};
use instrument::Instrument;
use program::{Program, coilmark, notes, output, relay};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Write};
use std::process::Stdio;

fn part(name: &str) -> Part {
    Part::load(std::path::Path::new(&relay(name))).expect("a relay file")
}

fn bench(part: Part) -> Bench {
    Bench::new(part, BenchOptions { slips: SlipRates::NONE, ..BenchOptions::default() })
}

fn measured(bench: &Bench) -> impl FnMut(drivers::Function) -> f64 + Send + 'static {
    let bench = bench.clone();
    move |function| match bench.read(function).0 {
        drivers::Value::Number(x) => x,
        drivers::Value::Overload => instrument::OVERLOAD,
        drivers::Value::NotANumber => 9.91e37,
    }
}

/// What the contract says of asks, held while they come.
#[derive(Default)]
struct Contract {
    drive: Option<DriveState>,
    leads: Option<(String, String)>,
    placements: u64,
    drive_changes: u64,
    lead_moves: u64,
    last_seq: u64,
}

impl Contract {
    fn hold(&mut self, seq: u64, ask: &Ask) {
        assert_eq!(seq, self.last_seq + 1, "asks are counted");
        self.last_seq = seq;
        match ask {
            Ask::Place { red, black, drive, .. } => {
                let energised = matches!(self.drive, Some(DriveState::Energised { .. }));
                assert_eq!(*drive == AskedDrive::Energised, energised, "drive of {ask:?}");
                let leads = (red.label().to_owned(), black.label().to_owned());
                self.placements += 1;
                self.lead_moves += match &self.leads {
                    Some(old) if *old != leads => {
                        u64::from(old.0 != leads.0) + u64::from(old.1 != leads.1)
                    }
                    _ => 2,
                };
                self.leads = Some(leads);
            }
            Ask::Drive(next) => {
                if let (DriveState::Energised { plus, minus, volts }, Some(leads)) =
                    (next, &self.leads)
                {
                    let driven = BTreeSet::from([plus.label(), minus.label()]);
                    let touched = BTreeSet::from([leads.0.as_str(), leads.1.as_str()]);
                    assert_ne!(driven, touched, "a drive under the leads");
                    assert!(*volts <= 24.0);
                }
                let before = self.drive.replace(next.clone()).unwrap_or(DriveState::Rest);
                self.drive_changes += u64::from(before != *next);
            }
            Ask::Acknowledge { .. } | Ask::Dial { .. } => {}
        }
    }

    fn hold_counts(&self, result: &Value) {
        assert_eq!(result["placements"], self.placements);
        assert_eq!(result["lead_moves"], self.lead_moves);
        assert_eq!(result["drive_changes"], self.drive_changes);
    }
}

fn labels(list: &Value) -> BTreeSet<String> {
    let list = list.as_array().cloned().unwrap_or_default();
    list.iter().filter_map(|pin| pin.as_str().map(str::to_owned)).collect()
}

/// Holds a result against the truth of its part.
fn assert_right(part: &Part, result: &Value) {
    assert_eq!(result["result"], "identified", "{result:#}");
    assert_eq!(result["kind"], "identify");
    assert_eq!(result["family"], part.truth.family.as_str());
    let pins = |pins: &[coilmark::event::Pin]| -> BTreeSet<String> {
        pins.iter().map(|pin| pin.label().to_owned()).collect()
    };
    let coil = &result["coils"][0];
    let truth = &part.truth.coils[0];
    let ends = labels(&json!([coil["plus"], coil["minus"]]));
    assert_eq!(ends, pins(&[truth.plus.clone(), truth.minus.clone()]));
    if coil["polarised"] == true {
        assert_eq!(coil["plus"], truth.plus.label());
    }
    let poles: BTreeSet<_> = result["poles"]
        .as_array()
        .expect("poles")
        .iter()
        .map(|pole| {
            assert_eq!(pole["evidence"], "measured");
            let sides = [labels(&pole["common"]), labels(&pole["nc"]), labels(&pole["no"])];
            let form = pole["form"].as_str().expect("a form");
            if form == "C" { sides.to_vec() } else { vec![sides.concat()] }
        })
        .collect();
    let wanted: BTreeSet<_> = part
        .truth
        .poles
        .iter()
        .map(|pole| {
            let sides = [pins(&pole.common), pins(&pole.nc), pins(&pole.no)];
            let whole = pole.form == coilmark::event::Form::C;
            if whole { sides.to_vec() } else { vec![sides.concat()] }
        })
        .collect();
    assert_eq!(poles, wanted, "{result:#}");
}

trait Concat {
    fn concat(self) -> BTreeSet<String>;
}

impl Concat for [BTreeSet<String>; 3] {
    fn concat(self) -> BTreeSet<String> {
        self.into_iter().flatten().collect()
    }
}

fn schema() -> jsonschema::Validator {
    let printed = output(&["schema", "operator"]);
    let whole: Value = serde_json::from_slice(&printed.stdout).expect("JSON");
    let mut one = whole["properties"]["output"].clone();
    one["$defs"] = whole["$defs"].clone();
    jsonschema::validator_for(&one).expect("a schema")
}

/// Leads one identification; the hands are the bench's.
fn lead(name: &str, link: &str, bench: &Bench) {
    let part = part(name);
    let folder = tempfile::tempdir().expect("a folder");
    let job = program::job(folder.path());
    let pins = part.pins.iter().map(|pin| pin.label()).collect::<Vec<_>>().join(",");
    let mut program = Program::start(&[
        "identify",
        "--meter",
        link,
        "--pins",
        &pins,
        "--operator",
        "json",
        "--job",
        &job,
    ]);
    let mut contract = Contract::default();
    while let Some((seq, ask)) = program.next_ask() {
        contract.hold(seq, &ask);
        program.answer(seq, bench.perform(&ask));
    }
    let (code, errors, said) = program.end();
    assert_eq!(code, 0, "{errors}");
    let results = notes(&said, "result");
    assert_eq!(results.len(), 1);
    assert_right(&part, results[0]);
    contract.hold_counts(results[0]);
    assert_eq!(said.last().map(|line| line["note"].clone()), Some(json!("finished")));
    let harmful = |kind| kind != HazardKind::CurrentLimit;
    assert!(bench.hazards().iter().all(|hazard| !harmful(hazard.kind)), "{:?}", bench.hazards());
    let schema = schema();
    for line in &said {
        assert!(schema.is_valid(line), "{line}");
    }
    for file in ["journal.jsonl", "report.html", "report.json", "readings.csv"] {
        assert!(std::path::Path::new(&job).join(file).is_file(), "{file}");
    }
    assert_eq!(output(&["verify", &job]).status.code(), Some(0));
}

#[test]
fn parts_are_identified_over_a_pseudo_terminal_on_a_parser_that_is_not_ours() {
    for name in ["changeover_1_pole", "changeover_2_pole_diode"] {
        let bench = bench(part(name));
        let instrument = Instrument::on_pty(measured(&bench));
        lead(name, &instrument.link(), &bench);
        let queries: Vec<_> = instrument.errors();
        assert!(!queries.iter().any(|e| e.starts_with("-4")), "{name}: {queries:?}");
    }
}

#[test]
fn parts_are_identified_over_tcp_on_a_parser_that_is_not_ours() {
    for name in ["make_and_break", "changeover_1_pole_labelled"] {
        let bench = bench(part(name));
        let instrument = Instrument::on_tcp(measured(&bench));
        lead(name, &instrument.link(), &bench);
        let queries: Vec<_> = instrument.errors();
        assert!(!queries.iter().any(|e| e.starts_with("-4")), "{name}: {queries:?}");
    }
}

/// Two processes joined by pipes: the bench takes the person's place.
fn lead_by_bench(name: &str, bench_flags: &[&str], flags: &[&str]) {
    let part = part(name);
    let mut bench = coilmark()
        .args(["bench", "--relay", &relay(name), "--steady"])
        .args(bench_flags)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the bench starts");
    let mut hands = bench.stdin.take().expect("piped");
    let mut answers = BufReader::new(bench.stdout.take().expect("piped")).lines();
    let first: Value =
        serde_json::from_str(&answers.next().expect("a line").expect("text")).expect("JSON");
    let link = first["meter"].as_str().expect("a link").to_owned();
    let folder = tempfile::tempdir().expect("a folder");
    let job = program::job(folder.path());
    let pins = part.pins.count().to_string();
    let mut arguments =
        vec!["identify", "--meter", &link, "--pins", &pins, "--operator", "json", "--job", &job];
    arguments.extend(flags);
    let mut program = Program::start(&arguments);
    while let Some(line) = program.next() {
        if line.get("ask").is_some() {
            writeln!(hands, "{line}").expect("the bench reads");
            let answer = answers.next().expect("an answer").expect("text");
            program.send(&answer);
        }
    }
    let (code, errors, said) = program.end();
    assert_eq!(code, 0, "{errors}");
    assert_right(&part, notes(&said, "result")[0]);
    assert_eq!(notes(&said, "result")[0]["simulated"], false, "the program cannot tell");
    drop(hands);
    assert_eq!(bench.wait().expect("it ends").code(), Some(0), "a hazard");
}

#[test]
fn a_bench_of_its_own_over_tcp_is_taken_for_hardware() {
    lead_by_bench("changeover_1_pole", &["--tcp", "127.0.0.1:0"], &[]);
}

#[test]
fn a_dial_meter_that_sends_by_itself_is_asked_for_its_dial() {
    lead_by_bench("changeover_1_pole", &["--line-meter"], &["--profile", "ascii-lines"]);
}

#[test]
fn wrong_answers_get_an_error_note_and_the_same_ask_again() {
    let bench = bench(part("make_1_pole"));
    let instrument = Instrument::on_tcp(measured(&bench));
    let folder = tempfile::tempdir().expect("a folder");
    let job = program::job(folder.path());
    let link = instrument.link();
    let mut program = Program::start(&[
        "identify",
        "--meter",
        &link,
        "--pins",
        "4",
        "--operator",
        "json",
        "--job",
        &job,
    ]);
    let (seq, caution) = program.next_ask().expect("a caution");
    let wrong = [
        "nonsense",
        "[]",
        "{\"seq\":99,\"answer\":\"acknowledged\"}",
        "{\"seq\":1,\"answer\":\"yes\"}",
        "{\"seq\":1,\"answer\":\"ready\"}",
        "{\"seq\":1,\"answer\":\"skip\"}",
        "{\"seq\":1,\"answer\":\"again\"}",
    ];
    for line in wrong {
        program.send(line);
        program.send("");
        let (again, ask) = program.next_ask().expect("the ask again");
        assert_eq!((again, &ask), (seq, &caution), "{line}");
    }
    program.answer(seq, Answer::Abort);
    let (code, _, said) = program.end();
    assert_eq!(code, 4);
    assert_eq!(notes(&said, "error").len(), wrong.len());
    assert_eq!(said.last().expect("a line")["exit"], 4);
}

#[test]
fn again_takes_back_the_last_capture_and_skip_is_not_asked_again() {
    let bench = bench(part("changeover_1_pole"));
    let instrument = Instrument::on_tcp(measured(&bench));
    let folder = tempfile::tempdir().expect("a folder");
    let job = program::job(folder.path());
    let link = instrument.link();
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
    let (mut places, mut skipped) = (0, None);
    while let Some((seq, ask)) = program.next_ask() {
        let Ask::Place { red, black, .. } = &ask else {
            program.answer(seq, bench.perform(&ask));
            continue;
        };
        places += 1;
        let pair = BTreeSet::from([red.clone(), black.clone()]);
        assert_ne!(skipped.as_ref(), Some(&pair), "skipped pairs are not asked again");
        match places {
            2 => program.answer(seq, Answer::Again),
            3 => {
                skipped = Some(pair);
                program.answer(seq, Answer::Skip);
            }
            _ => program.answer(seq, bench.perform(&ask)),
        }
    }
    let (code, errors, said) = program.end();
    assert!(code == 0 || code == 1, "{code} {errors}");
    assert_eq!(notes(&said, "taken_back").len(), 1);
    assert_eq!(notes(&said, "skip").len(), 1);
    if code == 0 {
        assert_right(&part("changeover_1_pole"), notes(&said, "result")[0]);
    }
}

#[test]
fn a_drive_that_is_refused_ends_undecided_with_candidates() {
    let bench = bench(part("changeover_1_pole"));
    let instrument = Instrument::on_tcp(measured(&bench));
    let folder = tempfile::tempdir().expect("a folder");
    let job = program::job(folder.path());
    let link = instrument.link();
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
    while let Some((seq, ask)) = program.next_ask() {
        match ask {
            Ask::Drive(DriveState::Energised { .. }) => program.answer(seq, Answer::Skip),
            _ => program.answer(seq, bench.perform(&ask)),
        }
    }
    let (code, _, said) = program.end();
    assert_eq!(code, 1);
    let result = notes(&said, "result")[0];
    assert_eq!(result["result"], "undecided");
    assert!(result["reason"].is_string());
    assert!(!result["candidates"].as_array().expect("candidates").is_empty());
}
