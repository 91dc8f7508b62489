//! Pick-up and drop-out by the real program on the simulated bench: by a supply over its own link,
//! and by hands that set every step. The relay file's own thresholds drive the simulation and the
//! assertion; copper carries them to the coil's temperature (IEC 60028).

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use program::{Ended, Job, Program, relay_file};
use serde_json::Value;

/// The pick-up and drop-out of `changeover_1_pole.toml`, in volts at 20 degrees.
const TRUE_VOLTS: (f64, f64) = (7.8, 3.0);

fn measure(job: &Job, more: &[&str]) -> Ended {
    let meter = format!("sim:{}?hands=alone", relay_file("changeover_1_pole").display());
    let words = [
        "pickup",
        "--meter",
        &meter,
        "--coil",
        "2,5",
        "--contact",
        "1,3",
        "--operator",
        "json",
        "--job",
        &job.word(),
    ];
    Program::run(&[&words[..], more].concat())
}

fn result(ended: &Ended) -> Value {
    let lines = ended.lines.iter().map(|line| serde_json::from_str::<Value>(line).unwrap());
    lines.clone().find(|line| line["note"] == "result").unwrap_or_else(|| panic!("{ended:#?}"))
}

fn assert_true(found: &Value) {
    for (name, truth) in [("pick_up", TRUE_VOLTS.0), ("drop_out", TRUE_VOLTS.1)] {
        let value = &found[name];
        let (volts, u) = (value["volts"].as_f64().unwrap(), value["volts_u"].as_f64().unwrap());
        assert!((volts - truth).abs() <= 2.0 * u, "{name}: {volts}, u {u}, truth {truth}");
        let hot = value["volts_hot"].as_f64().unwrap();
        assert!((hot / (volts * (1.0 + 0.00393 * 50.0)) - 1.0).abs() < 1e-6, "{name}: {hot}");
    }
}

#[test]
fn a_supply_finds_both_within_their_uncertainty() {
    let job = Job::new();
    let ended = measure(&job, &["--drive", "sim:", "--rated-volts", "12"]).exits(0);
    let found = result(&ended);
    assert_eq!((&found["kind"], &found["result"]), (&"pickup".into(), &"pass".into()));
    assert_true(&found);
    assert_eq!(found["ramps"].as_array().map(Vec::len), Some(3));
    let asked = ended.lines.iter().filter(|line| line.contains("\"ask\":\"drive\"")).count();
    assert_eq!(asked, 0, "a drive was asked of a person");
    Program::run(&["verify", &job.word()]).exits(0);
    let page = std::fs::read_to_string(format!("{}/report.html", job.word())).unwrap();
    assert!(page.contains("Pick-up and drop-out") && page.contains("class=\"pickup\""));
}

#[test]
fn hands_find_both_with_a_coarser_step() {
    let job = Job::new();
    let ended = measure(&job, &["--step-volts", "0.5", "--ramps", "2"]).exits(1);
    let found = result(&ended);
    assert_eq!(found["result"], "undecided", "without the rated volts there is no limit: {found}");
    assert_true(&found);
}

#[test]
fn a_relay_of_another_rating_does_not_keep_its_limits() {
    let job = Job::new();
    let ended = measure(&job, &["--drive", "sim:", "--rated-volts", "6", "--ramps", "1"]).exits(1);
    let found = result(&ended);
    assert_eq!(found["result"], "fail");
    let reason = found["reason"].as_str().unwrap();
    assert!(reason.contains("6.6 V") && reason.contains("4.80 V"), "{reason}");
    // A coil rated 6 V stands 6.6 V, and nobody knows yet that it is another.
    assert!(driven_volts(&ended).all(|volts| volts <= 6.6), "{ended:#?}");
}

/// Every drive of a run, in volts.
fn driven_volts(ended: &Ended) -> impl Iterator<Item = f64> {
    let lines = ended.lines.iter().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let drives = lines.filter(|line| line["note"] == "drive" && line["state"] == "energised");
    drives.map(|line| line["volts"].as_f64().unwrap())
}

#[test]
fn without_rated_volts_no_drive_is_more_than_the_least_plausible_coil_stands() {
    let job = Job::new();
    let ended = measure(&job, &["--drive", "sim:", "--ramps", "1"]).exits(1);
    assert_true(&result(&ended));
    let lines = ended.lines.iter().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let ladder = lines.clone().find(|line| line["note"] == "ladder").expect("a ladder");
    let lowest = ladder["rated_volts"][0]["volts"].as_f64().unwrap();
    let stands = ladder["steps"][0]["volts"].as_f64().unwrap();
    // IEC 61810-1, 5.2 (from memory): every part stands 110 % of its rated volts.
    assert!((stands - 1.1 * lowest).abs() < 1e-9, "{ladder}");
    let top = driven_volts(&ended).fold(0.0, f64::max);
    assert!(top >= TRUE_VOLTS.0, "{top}");
    // It went above the lowest step only if it stood still there.
    let still = |volts: f64| driven_volts(&ended).any(|v| (v - volts).abs() < 1e-9);
    for step in ladder["steps"].as_array().unwrap() {
        let volts = step["volts"].as_f64().unwrap();
        assert!(top <= volts || still(volts), "{top} V without {volts} V: {ladder}");
    }
    let page = std::fs::read_to_string(format!("{}/report.html", job.word())).unwrap();
    assert!(page.contains("Ladder of drives") && page.contains("least powerful"));
}

#[test]
fn a_class_says_the_percentage() {
    let limit = |more: &[&str]| {
        let job = Job::new();
        let words = ["--drive", "sim:", "--rated-volts", "12", "--ramps", "1"];
        let ended = measure(&job, &[&words[..], more].concat());
        result(&ended)["pick_up"]["limit_volts"].as_f64().unwrap()
    };
    // IEC 61810-1, 5.2 (from memory): class 2 picks up at 85 % of the rated volts.
    assert!((limit(&["--operate-class", "2"]) - 10.2).abs() < 1e-9);
}

#[test]
fn words_that_cannot_be_are_refused() {
    let job = Job::new();
    let refuse = |more: &[&str], culprit: &str| {
        let meter = format!("sim:{}?hands=alone", relay_file("changeover_1_pole").display());
        let words = ["pickup", "--meter", &meter, "--job", &job.word()];
        Program::run(&[&words[..], more].concat()).refuses(2, &[culprit]);
    };
    refuse(&["--coil", "2,5", "--contact", "2,3"], "coil and for the contact");
    refuse(&["--coil", "2,5,1", "--contact", "3,4"], "expected two");
    refuse(&["--coil", "2,5", "--contact", "1,3", "--step-volts", "0"], "--step-volts");
}
