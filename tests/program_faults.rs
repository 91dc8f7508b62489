//! Parts that are broken, through the real program on its simulated bench: each relay file's truth
//! says which fault is switched on, and the result must name it, in words and by its code. What can
//! still be named is named; what cannot is undecided, never wrong.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use program::*;
use serde_json::Value;

/// The result of identifying this part, and the exit code.
fn result(name: &str) -> (Value, Option<i32>) {
    let part = relay(name);
    let job = Job::new();
    let meter = format!("sim:{}?hands=alone", relay_file(name).display());
    let pins: Vec<String> = part.pins.iter().map(ToString::to_string).collect();
    let words = ["identify", "--operator", "json", "--meter", &meter, "--pins", &pins.join(",")];
    let ended = Program::run(&[&words[..], &["--job", &job.word()]].concat());
    let lines = ended.lines.iter().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let result = lines.into_iter().find(|line| line["note"] == "result").expect("a result");
    // The report says it too, in words.
    let report = std::fs::read_to_string(std::path::Path::new(&job.word()).join("report.html"));
    let report = report.expect("a report");
    for fault in result["faults"].as_array().unwrap() {
        let said = fault["text"].as_str().unwrap().split([';', '<']).next().unwrap().trim();
        assert!(report.contains(said), "{name}: the report does not say: {said}");
    }
    (result, ended.code)
}

fn codes(result: &Value) -> Vec<&str> {
    let faults = result["faults"].as_array().unwrap().iter();
    faults.map(|fault| fault["code"].as_str().unwrap()).collect()
}

/// Each case in a thread of its own: a run mostly waits for its meter.
fn at_once<C: Send>(cases: impl IntoIterator<Item = C>, each: impl Fn(C) + Sync) {
    let each = &each;
    std::thread::scope(|scope| {
        for case in cases {
            scope.spawn(move || each(case));
        }
    });
}

#[test]
fn each_fault_is_named_by_its_code_where_the_part_can_still_be_named() {
    let cases = [
        ("fault_high_contact_ohms", "high_contact_ohms"),
        ("fault_stuck_open_nc", "stuck_open_contact"),
        ("fault_stuck_open_no", "stuck_open_contact"),
        ("fault_welded_nc", "welded_contact"),
        ("fault_welded_no", "welded_contact"),
    ];
    at_once(cases, |(name, code)| {
        let (result, exit) = result(name);
        assert_eq!((result["result"].as_str(), exit), (Some("identified"), Some(0)), "{name}");
        assert_eq!(codes(&result), [code], "{name}: {result}");
    });
}

#[test]
fn what_cannot_be_named_is_undecided_with_the_fault() {
    let cases = [
        ("fault_open_coil", &["open_coil"][..]),
        ("fault_shorted_turns", &["shorted_turns", "no_response"]),
        ("fault_no_response", &["no_response"]),
        // Not broken, but for more volts than may be applied.
        ("changeover_2_pole_48_volt", &["no_response"]),
        ("not_a_relay_open", &["not_a_relay"]),
    ];
    at_once(cases, |(name, wanted)| {
        let (result, exit) = result(name);
        assert_eq!((result["result"].as_str(), exit), (Some("undecided"), Some(1)), "{name}");
        assert_eq!(codes(&result), wanted, "{name}: {result}");
        assert!(result["reason"].as_str().is_some_and(|reason| !reason.is_empty()), "{name}");
    });
}

#[test]
fn a_part_that_holds_its_state_and_one_with_a_diode_are_told() {
    for (name, latching) in [("latching_1_coil", "one coil"), ("latching_2_coils", "two coils")] {
        let (result, exit) = result(name);
        assert_eq!((&result["latching"], exit), (&Value::from(latching), Some(0)), "{name}");
    }
    let (result, _) = result("changeover_2_pole_diode");
    assert_eq!(result["coils"][0]["polarised"], true, "{result}");
}
