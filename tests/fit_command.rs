//! `coilmark fit` from outside: flags, a recorded log and a job's record in; a few lines or one
//! JSON object, an exit code, and a chapter in the job's report out. Logs and circuits are
//! invented; the circuit of the first test is ngspice's.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use program::{Ended, Job, Program, relay, relay_file};
use serde_json::Value;
use std::fmt::Write as _;

/// What passes by itself.
const GOOD: [&str; 22] = [
    "--source-ohms",
    "1.5",
    "--siren-amps",
    "0.5",
    "--battery-floor-volts",
    "11",
    "--battery-volts",
    "12.6",
    "--rated-volts",
    "12",
    "--pick-up-volts",
    "7.2",
    "--drop-out-volts",
    "2.1",
    "--volts-max",
    "15.6",
    "--cable-length-m",
    "50",
    "--cable-mm2",
    "0.5",
    "--output-volts-max",
    "13.8",
];

fn fit(words: &[&str], more: &[&str]) -> Ended {
    Program::run(&[&["fit"], words, more].concat())
}

fn json(ended: &Ended) -> Value {
    assert_eq!(ended.lines.len(), 1, "{ended:#?}");
    serde_json::from_str(&ended.lines[0]).unwrap()
}

/// A log of an output that is at rest, on for a while, and at rest again.
fn log(folder: &Job, volts: f64, pulsed: bool) -> String {
    let mut text = String::from("t_s,value,unit,overload\n");
    for i in 0..1200 {
        let t = f64::from(i) * 0.05;
        let alarm = (10.0..50.0).contains(&t) && (!pulsed || (t * 10.0) as u32 % 10 < 5);
        let level = if alarm { volts } else { 0.01 };
        writeln!(text, "{t:.2},{:.3},V,0", level + f64::from(i % 3) * 0.001).unwrap();
    }
    std::fs::create_dir_all(folder.word()).unwrap();
    let file = format!("{}/log.csv", folder.word());
    std::fs::write(&file, text).unwrap();
    file
}

#[test]
fn one_json_object_holds_every_check() {
    // ngspice 39, coil_cable_sag.cir: 10.5 V behind 1.5 ohm, 24 ohm siren, 8.42 ohm, hot coil:
    // 9.6834 V.
    let circuit = [
        "--output-volts-min",
        "12",
        "--output-percent",
        "0",
        "--battery-floor-volts",
        "10.5",
        "--battery-volts",
        "12",
        "--source-ohms",
        "1.5",
        "--siren-amps",
        "0.5",
        "--coil-ohms",
        "400",
        "--cable-ohms",
        "8.42",
        "--cable-celsius",
        "20",
        "--ambient-celsius",
        "20",
        "--coil-celsius-max",
        "70",
        "--rated-volts",
        "12",
        "--pick-up-volts",
        "7.2",
        "--json",
    ];
    let ended = fit(&circuit, &[]);
    let found = json(&ended);
    assert_eq!(
        (&found["v"], &found["note"], &found["kind"]),
        (&1.into(), &"result".into(), &"fit".into())
    );
    let volts = found["coil_volts_min"].as_f64().unwrap();
    // The cable is taken at the air's temperature, which here is that of the netlist.
    assert!((volts / 9.683_428_6 - 1.0).abs() < 1e-6, "{volts}");
    for check in found["checks"].as_array().unwrap() {
        let low = check["margin_low"].as_f64().unwrap();
        assert!(low <= check["margin_high"].as_f64().unwrap(), "{check}");
        assert!(!check["numbers"].as_str().unwrap().is_empty(), "{check}");
    }
}

#[test]
fn the_exit_code_is_the_verdict() {
    let output = ["--output-volts-min", "12.4", "--coil-ohms", "400", "--coil-ohms-percent", "2"];
    let passed = fit(&output, &GOOD).exits(0);
    assert!(passed.lines[0].starts_with("PASS: "), "{passed:#?}");
    assert!(passed.lines.iter().all(|line| line.chars().count() <= 79), "{passed:#?}");
    let failed =
        fit(&output, &[&GOOD[..], &["--loop-milliamps", "1.5", "--contact", "silver"]].concat());
    assert!(failed.exits(1).lines[0].starts_with("FAIL: "));
    let open = fit(&output, &[&GOOD[..], &["--loop-milliamps", "1.5"]].concat());
    assert!(open.exits(1).lines[0].starts_with("UNDECIDED: "));
}

#[test]
fn a_class_says_what_pick_up_is_taken_for_where_nobody_measured_it() {
    let limit = |more: &[&str]| {
        let words = ["--output-volts-min", "12.4", "--coil-ohms", "400", "--rated-volts", "12"];
        let ended = fit(&words, &[&["--json"], more].concat());
        let found = json(&ended);
        let mut inputs = found["inputs"].as_array().unwrap().iter();
        let input = inputs.find(|input| input["name"] == "pick-up at 20 C").unwrap();
        input["high"].as_f64().unwrap()
    };
    // IEC 61810-1, 5.2 (from memory): class 1 picks up at 80 %, class 2 at 85 % of the rated volts.
    assert!(
        (limit(&[]) - 9.6).abs() < 1e-9 && (limit(&["--operate-class", "1"]) - 9.6).abs() < 1e-9
    );
    assert!((limit(&["--operate-class", "2"]) - 10.2).abs() < 1e-9);
    assert!((limit(&["--operate-percent", "70"]) - 8.4).abs() < 1e-9);
    let both = ["--operate-class", "2", "--operate-percent", "70"];
    fit(&["--output-volts-min", "12"], &both).exits(2);
}

/// Over a long cable a hot coil keeps more volts than a cold one: the words say which is which.
#[test]
fn neither_case_of_the_coil_is_called_the_least_or_the_most() {
    let circuit = ["--output-volts-min", "12", "--output-volts-max", "12", "--coil-ohms", "400"];
    let more = [
        "--cable-ohms",
        "80",
        "--cable-celsius",
        "20",
        "--source-ohms",
        "0",
        "--rated-volts",
        "12",
    ];
    let found = json(&fit(&circuit, &[&more[..], &["--json"]].concat()));
    let volts = |key: &str| found[key].as_f64().unwrap();
    assert!(volts("coil_volts_min") > volts("coil_volts_max"), "{found}");
    let lines = fit(&circuit, &more).lines.join(" ");
    assert!(lines.contains("when hot on the lowest supply") && lines.contains("when cold on the"));
    assert!(!lines.contains("at the worst") && !lines.contains("at the most"), "{lines}");
}

#[test]
fn words_that_cannot_be_are_refused_by_name() {
    fit(&[], &[]).refuses(2, &["lowest volts"]);
    fit(&["--output-volts-min", "12"], &[]).refuses(2, &["coil's resistance"]);
    let output = ["--output-volts-min", "12", "--coil-ohms", "400"];
    fit(&output, &["--cable-length-m", "5", "--cable-mm2", "0.6"]).refuses(2, &["0.6 mm2", "0.5"]);
    fit(&output, &["--cable-mm2", "0.5"]).refuses(2, &["half stated"]);
    fit(&output, &["--period-s", "1"]).refuses(2, &["duty"]);
    fit(&output, &["--log", "there-is-none.csv"]).refuses(2, &["there-is-none.csv"]);
}

#[test]
fn a_log_gives_level_and_cadence() {
    let folder = Job::new();
    let steady = log(&folder, 12.6, false);
    let coil = ["--coil-ohms", "400", "--coil-ohms-percent", "2", "--json"];
    let ended = fit(&["--log", &steady], &[&GOOD[..], &coil].concat()).exits(0);
    let found = json(&ended);
    let level = found["inputs"].as_array().unwrap().iter();
    let level = level.clone().find(|input| input["origin"] == "log").expect("from the log");
    assert!((level["nominal"].as_f64().unwrap() - 12.6).abs() < 0.01, "{level}");
    assert_eq!(found["hold_up"], Value::Null);

    let pulsed = log(&folder, 12.6, true);
    let ended = fit(&["--log", &pulsed], &[&GOOD[..], &coil].concat()).exits(1);
    let found = json(&ended);
    let gap = found["hold_up"]["gap_s"].as_f64().expect("a capacitor for the gap");
    assert!((gap - 0.5).abs() < 0.06, "{gap}");
}

#[test]
fn a_jobs_record_gives_the_coil_and_keeps_the_fit() {
    let part = relay("changeover_1_pole");
    let pins: Vec<String> = part.pins.iter().map(ToString::to_string).collect();
    let meter = format!("sim:{}?hands=alone", relay_file("changeover_1_pole").display());
    let job = Job::new();
    let identify = ["identify", "--meter", &meter, "--pins", &pins.join(","), "--job", &job.word()];
    Program::run(&identify).exits(0);

    let ended = fit(&["--output-volts-min", "12.4", "--job", &job.word(), "--json"], &GOOD);
    let found = json(&ended);
    assert_eq!(found["simulated"], true);
    let coil = found["inputs"].as_array().unwrap().iter();
    let coil = coil.clone().find(|input| input["name"] == "coil at 20 C").unwrap();
    let truth = part.truth.coils[0].ohms;
    assert_eq!(coil["origin"], "job");
    let (low, high) = (coil["low"].as_f64().unwrap(), coil["high"].as_f64().unwrap());
    assert!(low < truth && truth < high, "{truth}: {coil}");

    Program::run(&["verify", &job.word()]).exits(0);
    let page = std::fs::read_to_string(format!("{}/report.html", job.word())).unwrap();
    assert!(
        page.contains("Will this output hold this relay") && page.contains("class=\"margins\"")
    );
    let report = std::fs::read_to_string(format!("{}/report.json", job.word())).unwrap();
    let report: Value = serde_json::from_str(&report).unwrap();
    assert_eq!(report["chapters"][0]["command"], "fit");
    assert_eq!(report["chapters"][0]["value"]["coil_volts_min"], found["coil_volts_min"]);
    // The same record gives the same page.
    Program::run(&["report", &job.word()]).exits(0);
    assert_eq!(page, std::fs::read_to_string(format!("{}/report.html", job.word())).unwrap());
}

#[test]
fn a_new_folder_begins_a_record() {
    let job = Job::new();
    let output = ["--output-volts-min", "12.4", "--coil-ohms", "400", "--coil-ohms-percent", "2"];
    let ended = fit(&output, &[&GOOD[..], &["--job", &job.word()]].concat()).exits(0);
    assert!(ended.lines.last().unwrap().starts_with("report: "), "{ended:#?}");
    Program::run(&["verify", &job.word()]).exits(0);
    Program::run(&["resume", &job.word()])
        .refuses(2, &["no run to go on with", "worked out again at once"]);
}
