//! Identifications in which a programmable supply drives the coil: the real program, its meter on a
//! pseudo-terminal, the supply on another one or on TCP, both of one simulated bench. A person only
//! clips the supply's leads. However a run ends, the output is off; a killed process is the
//! documented exception.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;
mod supplied;

use coilmark::bench::{Bench, Served};
use coilmark::event::Answer;
use program::{Job, Program, relay, relay_file};
use supplied::Station;

fn identifies(name: &str, supply: impl Fn(&Bench) -> Served) {
    let mut station = Station::with(name, supply);
    let said = station.lead(|_| false);
    let asks = |word: &str| said.iter().filter(|line| line["ask"] == word).count();
    let drives = said.iter().filter(|line| line["note"] == "drive").count();
    // A part with one latching coil is set and reset by polarity: that takes a clip each time.
    let few = name == "latching_1_coil" || (asks("clip") <= 4 && drives > asks("clip"));
    assert!(asks("clip") >= 1 && few, "{name}: {} clips, {drives} drives", asks("clip"));
    let result = said.iter().find(|line| line["note"] == "result").expect("a result");
    assert_eq!(result["result"], "identified", "{name}: {result}");
    assert_eq!(station.bench.hazards(), [], "{name}");
    let ended = station.ends(0);
    assert_eq!(ended.stderr, "", "{name}");
}

#[test]
fn a_supply_toggles_the_coil_by_itself_over_a_pseudo_terminal_and_over_tcp() {
    std::thread::scope(|scope| {
        for name in ["changeover_1_pole", "changeover_2_pole_diode", "latching_1_coil"] {
            scope.spawn(move || identifies(name, |bench| bench.serve_supply_pty(None).unwrap()));
        }
        let any = "127.0.0.1:0".parse().unwrap();
        scope.spawn(move || {
            identifies("changeover_1_pole", |bench| bench.serve_supply_tcp(any).unwrap());
        });
    });
}

#[test]
fn an_interrupt_switches_the_supply_off() {
    let mut station = Station::on_pty("changeover_1_pole");
    station.until_driven();
    station.program.interrupt();
    station.ends(4);
}

#[test]
fn a_stop_and_the_end_of_input_switch_the_supply_off() {
    for end_input in [true, false] {
        let mut station = Station::on_pty("changeover_1_pole");
        station.until_driven();
        if end_input {
            station.program.end_input();
        } else {
            let seq = station.last_seq;
            station.program.send(&format!("{{\"seq\":{seq},\"answer\":\"abort\"}}"));
        }
        station.ends(4);
    }
}

#[test]
fn a_meter_that_goes_away_switches_the_supply_off_at_once() {
    let mut station = Station::on_pty("changeover_1_pole");
    station.until_driven();
    station.meter.unplug();
    station.lead_to(|line| line["note"] == "link");
    assert!(!station.bench.is_driven(), "driven, and nobody measures");
    station.ends(3);
}

#[test]
fn a_supply_that_cannot_be_clipped_leaves_the_part_undecided() {
    let mut station = Station::on_pty("changeover_1_pole");
    let ask = station.lead_to(|line| line["ask"] == "clip");
    station.answer(&ask, Answer::Skip);
    station.ends(1);
}

#[test]
fn a_supply_that_is_not_there_ends_the_run_before_it_begins() {
    let file = relay_file("changeover_1_pole").display().to_string();
    let job = Job::new();
    let meter = format!("sim:{file}?hands=alone");
    let words = |drive: &str| {
        ["identify", "--meter", &meter, "--drive", drive, "--pins", "5", "--job", &job.word()]
            .map(str::to_owned)
    };
    Program::run(&words("tcp:127.0.0.1:1")).exits(3).complains(&["supply"]);
    Program::run(&words("tcp:")).refuses(2, &["tcp:"]);
    assert!(!std::path::Path::new(&job.word()).join("journal.jsonl").exists());
}

#[test]
fn the_simulated_supply_comes_with_the_simulated_meter() {
    let part = relay("changeover_1_pole");
    let pins: Vec<String> = part.pins.iter().map(ToString::to_string).collect();
    let meter = format!("sim:{}?hands=alone", relay_file("changeover_1_pole").display());
    let job = Job::new();
    let words = [
        "identify",
        "--meter",
        &meter,
        "--drive",
        "sim:",
        "--pins",
        &pins.join(","),
        "--job",
        &job.word(),
    ]
    .map(str::to_owned);
    let ended = Program::run(&words).exits(0);
    assert!(ended.lines.iter().any(|line| line.contains("Clip the SUPPLY")), "{ended:#?}");
}
