//! The log of an output through the real binary: cautions, rest, alarm, window and drop over a
//! pseudo-terminal, against the truth in the output files. Then what goes wrong in the middle: the
//! program killed, the link pulled, the log changed afterwards, the operator gone. Windows are of
//! a few seconds, and runs that wait for each other wait at once.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use coilmark::bench::{Bench, BenchOptions, MeterModel, Output, SlipRates};
use coilmark::event::{AlarmState, Answer, Ask, Finding, OutputFinding, Polarity, Shape};
use program::*;
use std::thread::scope;

/// Equipment and meter; one conversion takes so many milliseconds.
fn bench_with(name: &str, conversion_ms: u32) -> Bench {
    let meter = MeterModel { conversion_ms, ..MeterModel::commanded() };
    let options =
        BenchOptions { slips: SlipRates::NONE, noise: 0.0, meter, ..BenchOptions::default() };
    Bench::new(output(name), options)
}

fn truth(name: &str) -> Output {
    output(name).output.expect("an output file")
}

fn words(link: &str, job: &Job, more: &[&str]) -> Vec<String> {
    let dir = job.word();
    let usual = ["output", "--operator", "json", "--meter", link, "--job", &dir, "--guard", "1s"];
    [&usual[..], more].concat().into_iter().map(String::from).collect()
}

fn resume(link: &str, job: &Job) -> Program {
    Program::start(&["resume", &job.word(), "--operator", "json", "--meter", link])
}

fn found(job: &Job) -> OutputFinding {
    let results = job.recorded("result");
    let result = results.last().expect("a result is recorded");
    match serde_json::from_value(result.clone()).expect("a finding") {
        Finding::Output(finding) => *finding,
        other => panic!("another finding: {other:?}"),
    }
}

/// The rows of a log below its header: seconds and volts.
fn rows(job: &Job, file: &str) -> Vec<(f64, f64)> {
    let text = std::fs::read_to_string(job.file(file)).unwrap();
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("t_s,value,unit,overload"));
    let number = |text: Option<&str>| text.unwrap().parse::<f64>().unwrap();
    lines
        .map(|line| {
            let mut fields = line.split(',');
            (number(fields.next()), number(fields.next()))
        })
        .collect()
}

/// Runs on this output to its end.
fn logged(name: &str, conversion_ms: u32, more: &[&str]) -> (OutputFinding, Job) {
    let (bench, job) = (bench_with(name, conversion_ms), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    person.finish(Program::start(&words(&served.link(), &job, more)), 0);
    assert_eq!(bench.hazards(), [], "{name}");
    let noted = person.ledger.noted("result").last().expect("a result is noted").clone();
    let finding = found(&job);
    assert_eq!(noted["window_s"].as_f64(), finding.window_s);
    is_whole(&job);
    (finding, job)
}

fn is_whole(job: &Job) {
    let verified = Program::run(&["verify", &job.word()]).exits(0);
    assert!(verified.lines.iter().all(|line| line.contains(": whole: ")), "{verified:?}");
}

/// Within the largest error that the finding states, and a conversion in which it changed.
#[track_caller]
fn lasts(finding: &OutputFinding, seconds: f64) {
    let (window, u) = (finding.window_s.unwrap(), finding.window_s_u.unwrap());
    assert!((window - seconds).abs() <= u + 0.02, "{window} s within {u} s, not {seconds} s");
}

#[track_caller]
fn near(found: Option<f64>, truth: f64) {
    assert!((found.unwrap() - truth).abs() <= 0.002 * truth.abs() + 0.001, "{found:?} {truth}");
}

fn steady() {
    let (finding, job) = logged("steady", 20, &["--nominal", "12"]);
    let truth = truth("steady");
    assert_eq!((finding.shape, finding.simulated), (Shape::Steady, false));
    assert_eq!(finding.polarity, Some(Polarity::AsConnected));
    near(finding.rest_volts, truth.rest_volts);
    near(finding.alarm_volts, truth.alarm_volts);
    lasts(&finding, truth.window_s);
    let began = job.recorded("log").into_iter().find(|line| line["state"] == "alarm_begun");
    let delay = finding.on_at_s.unwrap() - began.unwrap()["t_s"].as_f64().unwrap();
    assert!((delay - truth.on_delay_s).abs() < 0.5, "on after {delay} s");
    the_record_and_the_log_agree(&finding, &job);
    the_report_has_a_chapter(&job);
}

fn the_record_and_the_log_agree(finding: &OutputFinding, job: &Job) {
    let rows = rows(job, "output-1.csv");
    assert_eq!(finding.readings, rows.len() as u64);
    assert!(rows.windows(2).all(|pair| pair[0].0 < pair[1].0), "times run on");
    assert_eq!(job.recorded("capture").len(), 1, "readings stand in the log, not in the record");
    let closed = job.recorded("log").into_iter().find(|line| line["state"] == "closed").unwrap();
    assert_eq!(
        (closed["rows"].as_u64(), closed["file"].as_str()),
        (Some(finding.readings), Some("output-1.csv"))
    );
    // The log by itself says the same.
    let log = job.file("output-1.csv").display().to_string();
    let analysed = Program::run(&["analyse", &log, "--json"]).exits(0);
    let analysed: serde_json::Value = serde_json::from_str(&analysed.lines[0]).unwrap();
    for field in ["alarm_volts", "on_at_s", "off_at_s", "window_s", "window_s_u"] {
        let live = serde_json::to_value(finding).unwrap()[field].clone();
        assert_eq!(analysed[field], live, "{field}");
    }
}

fn the_report_has_a_chapter(job: &Job) {
    let html = std::fs::read_to_string(job.file("report.html")).unwrap();
    for part in ["What the output does", "Steady 13.62", "<svg", "SHA-256", "kilovolt pulses"] {
        assert!(html.contains(part), "no `{part}` in the report");
    }
    assert!(html.len() < 100_000, "{} bytes", html.len());
    Program::run(&["report", &job.word()]).exits(0);
    assert_eq!(std::fs::read_to_string(job.file("report.html")).unwrap(), html, "the same bytes");
    let json = std::fs::read_to_string(job.file("report.json")).unwrap();
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let chapter = &json["chapters"][0];
    assert_eq!((&chapter["command"], &chapter["standing"]), (&"output".into(), &"passed".into()));
    assert_eq!(chapter["value"]["result"]["shape"], "steady");
}

fn pulsed() {
    let (finding, _) = logged("pulsed", 20, &[]);
    let truth = truth("pulsed");
    assert_eq!(finding.shape, Shape::Pulsed);
    assert!((finding.period_s.unwrap() - truth.pulse_period_s).abs() < 0.05, "{finding:?}");
    assert!((finding.duty.unwrap() - truth.pulse_duty).abs() < 0.1, "{finding:?}");
}

fn reversed() {
    let (finding, _) = logged("reversed", 20, &[]);
    assert_eq!(finding.polarity, Some(Polarity::Reversed));
    near(finding.alarm_volts, -truth("reversed").alarm_volts);
    lasts(&finding, truth("reversed").window_s);
}

fn held_up() {
    let (finding, _) = logged("hold_up", 20, &[]);
    assert_eq!(finding.shape, Shape::Steady);
    lasts(&finding, truth("hold_up").window_s);
}

fn never_on() {
    let (finding, job) = logged("never", 20, &["--for", "2s"]);
    assert_eq!((finding.shape, finding.alarm_volts), (Shape::None, None));
    assert!(finding.warnings.iter().any(|text| text.contains("within 2 s")), "{finding:?}");
    assert!(job.recorded("log").iter().any(|line| line["why"] == "time_over"));
    let json = std::fs::read_to_string(job.file("report.json")).unwrap();
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["chapters"][0]["standing"], "undecided", "it did nothing: that is no pass");
}

fn still_on() {
    let (finding, _) = logged("held", 20, &["--for", "3s"]);
    assert_eq!(finding.shape, Shape::Held);
    assert!(finding.held_s_min.unwrap() > 2.0, "{finding:?}");
    near(finding.alarm_volts, truth("held").alarm_volts);
}

fn slow() {
    let (finding, _) = logged("sagging", 500, &[]);
    assert_eq!(finding.shape, Shape::Steady);
    lasts(&finding, truth("sagging").window_s);
    assert!(finding.counts.interval_s.unwrap() >= 0.5);
}

fn taken_out_of_alarm() {
    let (finding, job) = logged("begins_in_alarm", 20, &["--for", "2s"]);
    assert_eq!(finding.shape, Shape::Held);
    let alarms: Vec<String> =
        job.recorded("alarm").iter().map(|line| line["state"].to_string()).collect();
    assert_eq!(alarms, ["\"off\"", "\"on\""]);
}

#[test]
fn outputs_are_described_as_their_files_say() {
    let runs = [steady, pulsed, reversed, held_up, never_on, still_on, slow, taken_out_of_alarm];
    scope(|scope| {
        for run in runs {
            scope.spawn(run);
        }
    });
}

/// Leads until the output is on.
fn lead_until_on(person: &mut Person, program: &mut Program) {
    let asked = person.lead_to(program, |ask| *ask == Ask::Alarm { state: AlarmState::On });
    person.perform(program, &asked);
    loop {
        let note = person.until_noted(program, "log");
        if note.fields["state"] == "came_on" {
            return;
        }
    }
}

fn killed_while_on() {
    let (bench, job) = (bench_with("sagging", 20), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    let mut program = Program::start(&words(&served.link(), &job, &[]));
    lead_until_on(&mut person, &mut program);
    for _ in 0..40 {
        person.until_noted(&mut program, "reading");
    }
    program.kill();
    drop(program);
    // Loss of power in the middle of a row that reads like a whole one.
    let log = job.file("output-1.csv");
    let mut text = std::fs::read_to_string(&log).unwrap();
    let kept = text.lines().count() - 1;
    assert!(kept > 20, "{kept} rows are on disk");
    text.push_str("99.500000,13.");
    std::fs::write(&log, text).unwrap();
    person.ledger.resume();
    let asks = person.ledger.asks.len();
    person.finish(resume(&served.link(), &job), 0);
    assert_eq!(person.ledger.asks.len(), asks, "nothing is asked again");
    let opened: Vec<_> =
        job.recorded("log").into_iter().filter(|line| line["state"] == "opened").collect();
    assert_eq!((opened.len(), &opened[1]["torn_bytes"]), (2, &13.into()));
    assert_eq!(opened[1]["rows"], kept);
    let finding = found(&job);
    lasts(&finding, truth("sagging").window_s);
    assert_eq!(rows(&job, "output-1.csv").len() as u64, finding.readings);
    is_whole(&job);
}

fn pulled_while_on() {
    let (bench, job) = (bench_with("sagging", 20), Job::new());
    let name = job.home().join("meter");
    let mut served = bench.serve_pty(Some(&name)).unwrap();
    let mut person = Person::at(&bench);
    let mut program = Program::start(&words(&served.link(), &job, &[]));
    lead_until_on(&mut person, &mut program);
    served.unplug();
    person.until_noted(&mut program, "link");
    served.plug().unwrap();
    person.finish(program, 0);
    let news: Vec<String> =
        job.recorded("link").iter().map(|line| line["state"].to_string()).collect();
    assert_eq!(news, ["\"lost\"", "\"restored\""]);
    let finding = found(&job);
    assert!(finding.counts.gaps >= 1, "{:?}", finding.counts);
    lasts(&finding, truth("sagging").window_s);
    is_whole(&job);
    let html = std::fs::read_to_string(job.file("report.html")).unwrap();
    assert!(html.contains("the meter was back after"), "the break is in the report");
}

/// The link stays away: exit 3, and later the same log goes on.
fn pulled_for_long() {
    let (bench, job) = (bench_with("sagging", 20), Job::new());
    let name = job.home().join("meter");
    let mut served = bench.serve_pty(Some(&name)).unwrap();
    let mut person = Person::at(&bench);
    let more = ["--reconnect-for", "500ms"];
    let mut program = Program::start(&words(&served.link(), &job, &more));
    lead_until_on(&mut person, &mut program);
    served.unplug();
    person.ends(program, 3);
    served.plug().unwrap();
    person.ledger.resume();
    person.finish(resume(&served.link(), &job), 0);
    let finding = found(&job);
    lasts(&finding, truth("sagging").window_s);
    assert!(finding.counts.gaps >= 1);
    is_whole(&job);
}

#[test]
fn what_breaks_in_the_middle_goes_on_with_the_same_log() {
    let runs = [killed_while_on, pulled_while_on, pulled_for_long];
    scope(|scope| {
        for run in runs {
            scope.spawn(run);
        }
    });
}

fn a_second_log() {
    let (bench, job) = (bench_with("never", 20), Job::new());
    let served = bench.serve_pty(None).unwrap();
    for _ in 0..2 {
        let mut person = Person::at(&bench);
        person.finish(Program::start(&words(&served.link(), &job, &["--for", "1s"])), 0);
    }
    assert!(job.file("output-1.csv").exists() && job.file("output-2.csv").exists());
    let verified = Program::run(&["verify", &job.word()]).exits(0);
    assert_eq!(verified.lines.len(), 3, "{verified:?}");
    let json = Program::run(&["report", &job.word(), "--json"]).exits(0).lines.join("\n");
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["chapters"].as_array().map(Vec::len), Some(2));
    changed_logs_are_found(&job);
}

fn changed_logs_are_found(job: &Job) {
    let log = job.file("output-1.csv");
    let whole = std::fs::read_to_string(&log).unwrap();
    std::fs::write(&log, whole.replacen("V,0", "V,1", 1)).unwrap();
    let verified = Program::run(&["verify", &job.word()]).exits(1);
    assert!(verified.lines.iter().any(|l| l.contains("output-1.csv: changed")), "{verified:?}");
    std::fs::remove_file(&log).unwrap();
    let verified = Program::run(&["verify", &job.word()]).exits(1);
    assert!(verified.lines.iter().any(|l| l.contains("output-1.csv: missing")), "{verified:?}");
    std::fs::write(&log, whole).unwrap();
    Program::run(&["verify", &job.word()]).exits(0);
}

fn taken_back() {
    let (bench, job) = (bench_with("never", 20), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    let mut program = Program::start(&words(&served.link(), &job, &["--for", "1s"]));
    let alarm = |ask: &Ask| *ask == Ask::Alarm { state: AlarmState::On };
    let asked = person.lead_to(&mut program, alarm);
    person.say(&mut program, asked.seq, Answer::Acknowledged);
    person.until_noted(&mut program, "error");
    let again = person.until_asked(&mut program);
    assert_eq!(again, asked, "the same ask again");
    person.say(&mut program, asked.seq, Answer::Again);
    let asked = person.lead_to(&mut program, alarm);
    person.say(&mut program, asked.seq, Answer::Skip);
    person.finish(program, 0);
    assert!(job.file("output-2.csv").exists(), "the first log is left as it was");
    assert_eq!(job.recorded("taken_back").len(), 1);
    let warnings = found(&job).warnings;
    assert!(warnings.iter().any(|w| w.contains("not brought into alarm")), "{warnings:?}");
    is_whole(&job);
}

fn left_alone() {
    let (bench, job) = (bench_with("held", 20), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    let mut program = Program::start(&words(&served.link(), &job, &["--for", "2s"]));
    lead_until_on(&mut person, &mut program);
    program.end_input();
    person.ends(program, 4);
    let html = std::fs::read_to_string(job.file("report.html")).unwrap();
    assert!(html.contains("No result: the operator&#39;s input ended"), "the report says so");
    person.ledger.resume();
    person.finish(resume(&served.link(), &job), 0);
    assert_eq!(found(&job).shape, Shape::Held);
    is_whole(&job);
}

fn too_high() {
    let (bench, job) = (bench_with("too_high", 20), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    person.finish(Program::start(&words(&served.link(), &job, &[])), 1);
    let reason = person.ledger.finished().unwrap()["reason"].to_string();
    assert!(reason.contains("take the leads off"), "{reason}");
    assert!(!job.file("output-1.csv").exists());
}

#[test]
fn operators_and_folders_get_what_the_contract_says() {
    let runs = [a_second_log, taken_back, left_alone, too_high];
    scope(|scope| {
        for run in runs {
            scope.spawn(run);
        }
    });
}

#[test]
fn bad_words_are_refused_before_any_folder_is_made() {
    let job = Job::new();
    let steady = format!("sim:{}", output_file("steady").display());
    let refused = |link: &str, more: &[&str], culprits: &[&str]| {
        Program::run(&words(link, &job, more)).refuses(2, culprits);
        assert!(!job.dir().exists(), "{more:?}");
    };
    refused(&steady, &["--for", "0s"], &["--for 0"]);
    refused(&steady, &["--for", "5"], &["--for", "unit"]);
    refused(&steady, &["--nominal", "230"], &["--nominal 230"]);
    let bad = job.home().join("bad.toml");
    std::fs::write(&bad, "name = \"x\"\n[output]\nwindow_s = -3\n").unwrap();
    refused(&format!("sim:{}", bad.display()), &[], &["bad.toml:3", "output.window_s"]);
}

#[test]
fn a_simulated_output_runs_by_itself_and_says_that_it_is_simulated() {
    let job = Job::new();
    let link = format!("sim:{}?hands=alone", output_file("steady").display());
    let dir = job.word();
    let words = ["output", "--meter", &link, "--job", &dir, "--guard", "1s"];
    let ended = Program::run(&words).exits(0);
    assert!(ended.lines.iter().any(|line| line.starts_with("STEADY 13.6")), "{ended:#?}");
    assert!(ended.lines.iter().any(|line| line.contains("it came ON at")), "{ended:#?}");
    assert!(ended.lines.iter().filter(|line| line.contains("SIMULATED")).count() >= 2);
    assert!(found(&job).simulated);
}
