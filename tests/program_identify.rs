//! Whole identifications by the real program, from its start to `finished`: over a pseudo-terminal
//! and over TCP, against a meter whose commands somebody else's interpreter reads, and against the
//! program's own bench as a second process. A relay file's truth drives the electricity and the
//! assertion; the ledger holds each line to the contract on the way.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use coilmark::bench::{Bench, Part};
use coilmark::event::Ask;
use program::instrument::Instrument;
use program::*;

/// One changeover, two with a diode, a make and a break, one that holds its state, and one whose
/// pins have labels.
const RELAYS: [&str; 5] = [
    "changeover_1_pole",
    "changeover_2_pole_diode",
    "make_and_break",
    "latching_1_coil",
    "changeover_1_pole_labelled",
];

/// The words of an identification of this part.
fn words(part: &Part, link: &str, job: &Job) -> Vec<String> {
    let pins: Vec<String> = part.pins.iter().map(ToString::to_string).collect();
    let mut words =
        ["identify", "--operator", "json", "--meter", link, "--pins"].map(String::from).to_vec();
    words.extend([pins.join(","), "--job".into(), job.word()]);
    words.extend(part.footprint.iter().flat_map(|f| ["--footprint".into(), f.clone()]));
    words
}

fn identify(name: &str, plug: impl Fn(&Bench) -> Instrument) {
    let part = relay(name);
    let bench = bench(part.clone());
    let instrument = plug(&bench);
    let job = Job::new();
    let program = Program::start(&words(&part, &instrument.link(), &job));
    let mut person = Person::at(&bench);
    let ended = person.finish(program, 0);
    assert_eq!(ended.stderr, "", "{name}");
    let found = finding(&person.ledger);
    assert_true(&found, &part.truth);
    assert_contacts_measured(&found, &person.ledger);
    assert!(!found.simulated);
    assert_eq!(bench.hazards(), [], "{name}");
    // It has no query for its function; that is found out once.
    assert_eq!(instrument.errors(), ["-113 Undefined header"], "{name}");
    assert_eq!(instrument.commands().iter().filter(|c| *c == "FUNC?").count(), 1, "{name}");
    assert!(person.ledger.readings > 0);
    let cautions: Vec<_> = person.ledger.noted("caution").map(|c| c["caution"].clone()).collect();
    assert_eq!(cautions, ["dead-circuit", "not-a-certificate", "coil-drive"], "{name}");
    Program::run(&["verify", &job.word()]).exits(0);
}

#[test]
fn each_relay_is_identified_over_a_pseudo_terminal_and_over_tcp() {
    // All at once: each run mostly waits for its meter.
    std::thread::scope(|scope| {
        for name in RELAYS {
            scope.spawn(move || identify(name, on_pty));
            scope.spawn(move || identify(name, on_tcp));
        }
    });
}

/// Two processes of the program joined by pipes: asks go to its bench, answers come from there.
fn identify_on_its_own_bench(name: &str, bench_words: &[&str], words_more: &[&str]) {
    let part = relay(name);
    let file = relay_file(name).display().to_string();
    let mut station =
        Program::start(&[&["bench", "--relay", &file, "--steady"], bench_words].concat());
    let first: serde_json::Value =
        serde_json::from_str(&station.next_line().expect("it says where its meter is")).unwrap();
    let link = first["meter"].as_str().expect("a link");
    let job = Job::new();
    let mut all = words(&part, link, &job);
    all.extend(words_more.iter().map(ToString::to_string));
    let mut program = Program::start(&all);
    let mut ledger = Ledger::new();
    while let Some(text) = program.next_line() {
        let line = ledger.hear(&text);
        station.send(&text);
        if let Line::Ask(asked) = line {
            let answer = station.next_line().expect("the bench answers");
            let words: serde_json::Value = serde_json::from_str(&answer).unwrap();
            assert_eq!(words["seq"], asked.seq);
            ledger.answered(serde_json::from_value(words["answer"].clone()).unwrap());
            program.send(&answer);
        }
    }
    assert_eq!(ledger.finished().map(|f| &f["exit"]), Some(&serde_json::json!(0)));
    program.finish().exits(0);
    // It ends by itself at `finished`, and its exit code says that there was no hazard.
    let ended = station.finish().exits(0);
    assert_eq!((ended.stderr.as_str(), ended.lines.len()), ("", 0));
    let found = finding(&ledger);
    assert_true(&found, &part.truth);
    assert_contacts_measured(&found, &ledger);
    let dials = ledger.asks.iter().filter(|a| matches!(a.ask, Ask::Dial { .. }));
    assert_eq!(dials.count() > 0, bench_words.contains(&"--line-meter"));
}

#[test]
fn two_processes_joined_by_pipes_identify_a_relay_over_tcp() {
    identify_on_its_own_bench("changeover_1_pole", &["--tcp", "127.0.0.1:0"], &[]);
}

#[test]
fn a_line_meters_dial_is_turned_between_two_processes_joined_by_pipes() {
    identify_on_its_own_bench("make_1_pole", &["--line-meter"], &["--profile", "ascii-lines"]);
}
