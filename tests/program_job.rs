//! A whole job through the real binary: the demonstration's record and what is made of it, steps
//! done again and gone stale, steps left out with a reason, labels typed in, a process killed in
//! the middle, a sheet that is wrong, and two jobs beside each other.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use program::*;
use serde_json::{Value, json};

/// How every step stands: its name and status, as the list says.
fn standing(job: &Job) -> Vec<(String, String)> {
    let listed = Program::run(&["job", &job.word(), "--list", "--json"]).exits(0);
    let listed: Value = serde_json::from_str(&listed.lines[0]).unwrap();
    let steps = listed["job"]["steps"].as_array().unwrap().iter();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    steps.map(|step| (text(&step["step"]), text(&step["status"]))).collect()
}

fn with_status(job: &Job, status: &str) -> Vec<String> {
    let all = standing(job).into_iter();
    all.filter(|(_, is)| is == status).map(|(step, _)| step).collect()
}

fn demo(seed: &str) -> Job {
    let job = Job::new();
    let _ = Program::run(&["demo", "--job", &job.word(), "--seed", seed]).exits(0);
    job
}

#[test]
fn a_job_is_done_and_what_is_done_again_makes_stale_what_stands_on_it() {
    let job = demo("7");
    assert_eq!(with_status(&job, "done").len(), 8, "{:?}", standing(&job));
    let report = std::fs::read_to_string(job.file("report.html")).unwrap();
    for part in ["Hand-over record", "Every step passed", "Duck farm", "Signature", "zone-check"] {
        assert!(report.contains(part), "no {part}");
    }
    are_by_the_published_schemas(&job);
    let words = ["job", &job.word(), "--step", "output", "--operator", "lines"];
    let _ = Program::run(&[&words[..], &["--meter", "sim:none?hands=alone"]].concat()).exits(0);
    assert_eq!(with_status(&job, "stale"), ["fit", "hand-over"]);
    let words = ["job", &job.word(), "--operator", "lines", "--meter", "sim:none?hands=alone"];
    let led = Program::run(&words).exits(0);
    let next: Vec<&String> = led.lines.iter().filter(|line| line.contains("NEXT:")).collect();
    assert_eq!(next.len(), 2, "only what is stale is done: {next:?}");
    assert_eq!(with_status(&job, "done").len(), 8);
    // A step by its own command, on the same folder.
    let words = ["zone", "design", "--panel", "series-3k3-12v", "--job", &job.word()];
    let _ = Program::run(&words).exits(0);
    assert_eq!(with_status(&job, "stale"), ["board", "zone", "hand-over"]);
    let _ = Program::run(&["verify", &job.word()]).exits(0);
}

/// The record, the report and the sheet, by a validator that is not ours.
fn are_by_the_published_schemas(job: &Job) {
    let schema = |name: &str| {
        let text = Program::run(&["schema", name]).exits(0).lines.join("\n");
        jsonschema::validator_for(&serde_json::from_str(&text).unwrap()).unwrap()
    };
    let line = schema("journal");
    for entry in job.record() {
        assert!(line.is_valid(&entry), "{entry}");
    }
    let text = std::fs::read_to_string(job.file("report.json")).unwrap();
    let report: Value = serde_json::from_str(&text).unwrap();
    assert!(schema("report").is_valid(&report));
    assert_eq!(report["job"]["steps"].as_array().unwrap().len(), 8);
    let sheet: toml::Table = include_str!("../src/run/demo/job.toml").parse().unwrap();
    let sheets = schema("job");
    assert!(sheets.is_valid(&serde_json::to_value(sheet).unwrap()));
    assert!(!sheets.is_valid(&json!({ "rely": { "pins": 8 } })));
    let verdicts = std::fs::read_to_string(job.file("verdicts.xml")).unwrap();
    for suite in ["identify", "output", "fit", "zone-design", "wiring", "zone-check"] {
        assert!(verdicts.contains(&format!("<testsuite name=\"{suite}\"")), "no {suite}");
    }
    let rows = std::fs::read_to_string(job.file("readings.csv")).unwrap();
    assert!(rows.lines().any(|row| row.ends_with(",zone-check")), "captures of every task");
}

/// Answers what is asked until the end; `answer` makes an answer of an ask.
fn led(words: &[&str], mut answer: impl FnMut(&Value) -> Value) -> (Ended, Vec<Value>) {
    let mut program = Program::start(words);
    let mut seen = Vec::new();
    while let Some(line) = program.next_line() {
        let line: Value = serde_json::from_str(&line).unwrap();
        if line.get("ask").is_some() {
            let mut said = answer(&line);
            said["seq"] = line["seq"].clone();
            program.send(&said.to_string());
        }
        seen.push(line);
    }
    (program.finish(), seen)
}

#[test]
fn steps_are_left_out_with_a_reason_and_labels_are_typed() {
    let job = Job::new();
    let mut bare_skips = 0;
    let words = ["job", &job.word(), "--operator", "json"];
    let (ended, seen) = led(&words, |ask| match ask["ask"].as_str().unwrap() {
        "acknowledge" => json!({ "answer": "acknowledged" }),
        "label" if ask["label"] == "site" => json!({ "answer": "ready", "text": "Pond <house>" }),
        "label" => json!({ "answer": "ready" }),
        "step" if ask["step"] == "hand-over" => json!({ "answer": "ready" }),
        "step" if ask["step"] == "fit" && bare_skips == 0 => {
            bare_skips += 1;
            json!({ "answer": "skip" })
        }
        "step" => json!({ "answer": "skip", "reason": "not today" }),
        other => panic!("{other}"),
    });
    assert_eq!(ended.code, Some(0), "{}", ended.stderr);
    let objections = seen.iter().filter(|line| line["note"] == "error").count();
    assert_eq!((bare_skips, objections), (1, 1), "a skip wants its reason");
    assert_eq!(with_status(&job, "done"), ["site", "hand-over"]);
    assert_eq!(with_status(&job, "skipped").len(), 6);
    let seqs: Vec<u64> =
        seen.iter().filter(|l| l.get("ask").is_some()).filter_map(|l| l["seq"].as_u64()).collect();
    assert!(seqs.windows(2).all(|pair| pair[1] >= pair[0]), "numbers go on: {seqs:?}");
    assert_eq!(seen.last().unwrap()["note"], "finished");
    let report = std::fs::read_to_string(job.file("report.html")).unwrap();
    assert!(report.contains("not today") && !report.contains("<house>"));
    let json = Program::run(&["report", "--json", &job.word()]).exits(0).lines.join("\n");
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["job"]["labels"]["site"], "Pond <house>");
}

#[test]
fn a_killed_job_goes_on_with_the_step_that_broke_off() {
    let job = Job::new();
    let sheet = job.home().join("sheet.toml");
    let text = "[labels]\nsite = \"Pond house\"\n[relay]\npins = 8\nfootprint = \"4+4\"\n\
                meter = \"sim:demo-relay?hands=alone\"\n";
    std::fs::write(&sheet, text).unwrap();
    let sheet = sheet.display().to_string();
    let words = ["job", &job.word(), "--step", "relay", "--operator", "lines"];
    let words = [&words[..], &["--meter", "sim:none?hands=alone", "--sheet", &sheet]].concat();
    let mut program = Program::start(&words);
    while !program.next_line().expect("it measures").contains("driven at") {}
    program.kill();
    let _ = program.finish();
    assert_eq!(with_status(&job, "broken_off"), ["relay"]);
    let before = job.recorded("capture").len();
    assert!(before > 0);
    let _ = Program::run(&words).exits(0);
    assert_eq!(with_status(&job, "done"), ["relay"]);
    let captures: Vec<u64> =
        job.recorded("capture").iter().filter_map(|line| line["capture"].as_u64()).collect();
    assert!(captures.windows(2).all(|pair| pair[1] == pair[0] + 1), "{captures:?}");
}

#[test]
fn a_wrong_sheet_is_refused_before_anything_is_asked() {
    let job = Job::new();
    let sheet = job.home().join("sheet.toml");
    let refused = |text: &str, parts: &[&str]| {
        std::fs::write(&sheet, text).unwrap();
        let words = ["job", &job.word(), "--sheet", &sheet.display().to_string()];
        Program::run(&words).refuses(2, parts);
        assert!(!job.dir().exists(), "nothing was begun");
    };
    refused("[relay]\npin = 8\n", &["[relay]", "--pin", "identify --help"]);
    refused("[labels]\nsit = \"x\"\n", &["sheet.toml:2", "site"]);
    refused("[output]\nfor = \"5\"\n", &["[output]", "unit"]);
    refused("[zones]\n", &["sheet.toml:1", "zone"]);
}

#[test]
fn two_jobs_of_a_site_stand_beside_each_other() {
    let (older, newer) = (demo("3"), demo("4"));
    let same = Program::run(&["report", &older.word(), "--against", &older.word()]).exits(0);
    assert!(same.lines.iter().any(|line| line.contains("stand as they did")), "{same:?}");
    let words = ["report", &newer.word(), "--against", &older.word(), "--json"];
    let told = Program::run(&words);
    let told: Value = serde_json::from_str(&told.lines[0]).unwrap();
    let rows = told["against"]["rows"].as_array().unwrap();
    let row = |of: &str, name: &str| {
        rows.iter().find(|row| row["of"] == of && row["name"] == name).expect(name)
    };
    assert_eq!(row("relay", "coil 1")["change"], "same", "one relay, within its uncertainty");
    assert_eq!(row("relay", "pins")["change"], "same");
    assert_eq!(row("site", "Site")["then"], "Duck farm, hatchery yard");
    let words = ["job", &newer.word(), "--step", "site", "--operator", "json"];
    let (ended, _) = led(&words, |ask| match ask["ask"].as_str().unwrap() {
        "acknowledge" => json!({ "answer": "acknowledged" }),
        "label" if ask["label"] == "zone_number" => json!({ "answer": "ready", "text": "12" }),
        _ => json!({ "answer": "ready" }),
    });
    assert_eq!(ended.code, Some(0), "{}", ended.stderr);
    let told = Program::run(&["report", &newer.word(), "--against", &older.word()]).exits(1);
    let told = told.lines.join("\n");
    assert!(told.contains("CHANGED") && told.contains("Zone number: 11 -> 12"), "{told}");
    assert!(newer.file("against.html").is_file());
}
