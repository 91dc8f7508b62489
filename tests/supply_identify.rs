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
use coilmark::event::{Answer, Ask, Pin};
use program::{Job, Program, relay, relay_file};
use serde_json::Value;
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

/// Everything that drives a coil waits for a word of the operator's after the meter was away.
#[test]
fn a_meter_that_comes_back_does_not_drive_the_coil_by_itself() {
    for begin in [|| Station::on_pty("changeover_1_pole"), Station::ramps] {
        let mut station = begin();
        station.until_driven();
        station.meter.unplug();
        station.lead_to(|line| line["note"] == "drive" && line["state"] == "rest");
        assert!(!station.bench.is_driven(), "driven, and nobody measures");
        station.meter.plug().unwrap();
        // Nothing is answered until the meter is back, and then only what is asked.
        let asked = station.lead_to(|line| {
            assert!(!supplied::is_energised(line), "driven unasked: {line}");
            line.get("ask").is_some()
        });
        assert!(!station.bench.is_driven(), "driven before an answer");
        station.does(&asked);
        // Nor does an answer drive it without one to the clips.
        station.lead_to(|line| {
            assert!(!supplied::is_energised(line), "driven without a clip: {line}");
            line["ask"] == "clip"
        });
        assert!(!station.bench.is_driven());
    }
}

#[test]
fn clips_are_not_taken_as_confirmed_while_the_meter_is_away() {
    let mut station = Station::on_pty("changeover_1_pole");
    let clip = station.lead_to(|line| line["ask"] == "clip");
    station.meter.unplug();
    station.lead_to(|line| line["note"] == "link");
    station.answer(&clip, Answer::Ready);
    let told = station.lead_to(|line| line["note"] == "error");
    assert!(told["text"].as_str().unwrap().contains("the supply stays off"), "{told}");
    assert!(!station.bench.is_driven());
    station.meter.plug().unwrap();
    station.lead_to(|line| {
        assert!(!supplied::is_energised(line), "driven before the meter is back: {line}");
        line["note"] == "link" && line["state"] == "restored"
    });
    let result = station.lead_to(|line| line["note"] == "result");
    assert_eq!(result["result"], "identified", "{result}");
    station.ends(0);
}

#[test]
fn the_ladder_is_told_before_the_first_drive() {
    for begin in [|| Station::on_pty("changeover_1_pole"), Station::ramps] {
        let mut station = begin();
        let ladder =
            station.lead_to(|line| line["note"] == "ladder" || supplied::is_energised(line));
        assert_eq!(ladder["note"], "ladder", "driven before it was said how far: {ladder}");
        let steps = ladder["steps"].as_array().unwrap();
        let top = steps.last().unwrap()["volts"].as_f64().unwrap();
        assert!(steps.iter().all(|step| !step["why"].as_str().unwrap().is_empty()));
        assert!(!ladder["order"].as_str().unwrap().is_empty());
        assert!(ladder["end"].as_str().unwrap().contains("at the latest at"), "{ladder}");
        let driven = station.lead_to(supplied::is_energised);
        assert!(driven["volts"].as_f64().unwrap() <= top, "{driven} above {ladder}");
    }
}

/// Clips the supply to a closed contact, and says that it is done.
fn misclips(station: &mut Station, asked: &Value) {
    let pin = |name: &str| Pin::new(name);
    station.bench.perform(&Ask::Clip { plus: pin("1"), minus: pin("4") });
    station.answer(asked, Answer::Ready);
    let limited = station.lead_to(|line| line["note"] == "drive_limited");
    assert!(limited["reached_volts"].as_f64().unwrap() < 1.0, "{limited}");
    assert!(!station.bench.is_driven(), "left on at its limit");
}

#[test]
fn a_supply_at_its_limit_has_the_coil_measured_again() {
    let mut station = Station::on_pty("changeover_1_pole");
    let clip = station.lead_to(|line| line["ask"] == "clip");
    misclips(&mut station, &clip);
    let said = station.lead(|line| line["ask"] == "clip");
    let on_coil = |line: &&Value| {
        line["ask"] == "place"
            && [&line["red"], &line["black"]].iter().all(|p| **p == "2" || **p == "5")
    };
    assert_eq!(said.iter().filter(on_coil).count(), 2, "both ways round: {said:#?}");
    station.does(said.last().unwrap());
    let result = station.lead_to(|line| line["note"] == "result");
    assert_eq!(result["result"], "identified", "{result}");
    station.ends(0);
}

#[test]
fn a_supply_that_stays_at_its_limit_leaves_the_part_undecided() {
    let mut station = Station::on_pty("changeover_1_pole");
    for _ in 0..2 {
        let clip = station.lead_to(|line| line["ask"] == "clip");
        misclips(&mut station, &clip);
    }
    let result = station.lead_to(|line| line["note"] == "result");
    assert_eq!(result["result"], "undecided", "{result}");
    let reason = result["reason"].as_str().unwrap();
    assert!(reason.contains("at its limit of") && reason.contains("did so before"), "{reason}");
    station.ends(1);
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
    Program::run(&words("tcp:127.0.0.1:1")).exits(3).complains(&["supply", "127.0.0.1:1"]);
    Program::run(&words("tcp:")).refuses(2, &["supply: ", "tcp:"]);
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
