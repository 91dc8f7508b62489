//! Relay boards whose input a programmable supply drives: the real program, its meter and its
//! supply on pseudo-terminals of one simulated bench. A person clips the supply's leads once for
//! each board, with the output off, and moves the meter's leads; however a run ends, the output
//! is off.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;
mod supplied;

use coilmark::event::Answer;
use program::{Job, Program};
use serde_json::Value;
use supplied::Station;

fn count(said: &[Value], key: &str, word: &str) -> usize {
    said.iter().filter(|line| line[key] == word).count()
}

#[test]
fn a_supply_is_clipped_once_for_each_board_of_a_batch_and_drives_it_by_itself() {
    let mut station = Station::boards("good", &["--batch"]);
    for serial in ["A1", "A2"] {
        let asked = station.lead_to(|line| line["ask"] == "serial");
        let seq = &asked["seq"];
        station
            .program
            .send(&format!("{{\"seq\":{seq},\"answer\":\"ready\",\"serial\":\"{serial}\"}}"));
        let said = station.lead(|line| line["note"] == "result");
        let result = said.last().unwrap();
        assert_eq!((&result["result"], &result["serial"]), (&"pass".into(), &serial.into()));
        assert_eq!(count(&said, "ask", "clip"), 1, "{serial}: a board that nobody clipped");
        assert!(count(&said, "note", "drive") >= 4, "{serial}: {said:#?}");
        assert!(!station.bench.is_driven(), "{serial}: the board leaves the bench driven");
    }
    assert_eq!(station.bench.hazards(), []);
    station.ends(0);
}

#[test]
fn an_interrupt_leaves_the_boards_input_undriven() {
    let mut station = Station::boards("good", &["--serial", "A1"]);
    station.until_driven();
    station.program.interrupt();
    station.ends(4);
}

#[test]
fn a_run_that_was_killed_goes_on_with_the_same_supply_clipped_anew() {
    let mut station = Station::boards("good", &["--serial", "A1"]);
    station.until_driven();
    station.killed_and_resumed();
    let said = station.lead(|line| line["note"] == "result");
    assert_eq!(said.last().unwrap()["result"], "pass", "{said:#?}");
    assert_eq!(count(&said, "ask", "clip"), 1);
    station.ends(0);
}

#[test]
fn a_supply_that_cannot_be_clipped_leaves_the_board_undecided() {
    let mut station = Station::boards("good", &["--serial", "A1"]);
    let ask = station.lead_to(|line| line["ask"] == "clip");
    station.answer(&ask, Answer::Skip);
    let result = station.lead_to(|line| line["note"] == "result");
    assert_eq!(result["result"], "undecided", "{result}");
    station.ends(1);
}

#[test]
fn a_supply_that_is_not_there_ends_the_test_before_it_begins() {
    let root = env!("CARGO_MANIFEST_DIR");
    let meter = format!("sim:{root}/fixtures/boards/sim/good.toml?hands=alone");
    let job = Job::new();
    let words = ["board", "--plan", "changeover-12v", "--serial", "A1", "--meter", &meter];
    let drive = ["--drive", "tcp:127.0.0.1:1", "--job", &job.word()].map(str::to_owned);
    let words = [&words.map(str::to_owned)[..], &drive].concat();
    Program::run(&words).exits(3).complains(&["supply"]);
    assert!(!job.file("journal.jsonl").exists());
}

#[test]
fn a_board_s_words_are_understood_with_and_without_its_plan_s() {
    let meter = ["--meter", "sim:none.toml"];
    let refused = |words: &[&str]| Program::run(&[&["board"], words].concat()).exits(2).stderr;
    assert!(refused(&meter).contains("--plan"), "no plan, and that is not said");
    assert!(refused(&["--plan", "changeover-12v"]).contains("--meter"));
    assert!(refused(&[&meter[..], &["--plan", "none.toml"]].concat()).contains("none.toml"));
    let made = Program::run(&["board", "plan", "--like", "changeover-12v"]).exits(0);
    assert!(made.lines.iter().any(|line| line.contains("changeover board")), "{made:#?}");
    assert!(refused(&["--serial", "A1", "plan", "--like", "changeover-12v"]).contains("plan"));
}
