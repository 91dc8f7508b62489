//! Bad input and trouble on the way: each gets its exit code, one clear message that names the
//! culprit, one hint, nothing on standard output, and no control characters. And the good words:
//! the demonstration, the reports rendered twice, every help text.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that cannot go on has failed"
)]

mod program;

use coilmark::bench::{Bench, BenchOptions, Part, SlipRates};
use program::{Program, notes, output, relay};
use std::fs;
use std::net::TcpListener;
use std::path::Path;

/// Runs to its end and holds the message against the contract.
fn refused(arguments: &[&str], exit: i32, names: &[&str]) {
    let run = output(arguments);
    let errors = String::from_utf8_lossy(&run.stderr).into_owned();
    assert_eq!(run.status.code(), Some(exit), "{arguments:?}: {errors}");
    assert!(run.stdout.is_empty(), "{arguments:?}: {}", String::from_utf8_lossy(&run.stdout));
    assert_eq!(errors.matches("hint:").count(), 1, "{arguments:?}: {errors}");
    assert!(errors.lines().count() <= 12, "{errors}");
    assert!(!errors.chars().any(|c| c.is_control() && c != '\n'), "{errors:?}");
    for name in names {
        assert!(errors.contains(name), "{arguments:?} should name {name}: {errors}");
    }
}

fn identify<'a>(link: &'a str, job: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    let mut all = vec!["identify", "--meter", link, "--pins", "8", "--job", job];
    all.extend(more);
    all
}

#[test]
fn bad_words_are_refused_with_the_culprit() {
    let folder = tempfile::tempdir().unwrap();
    let job = program::job(folder.path());
    let link = format!("sim:{}", relay("changeover_2_pole"));
    let run = |more: &[&str], names: &[&str]| refused(&identify(&link, &job, more), 2, names);
    run(&["--footprint", "3+3"], &["3+3"]);
    run(&["--footprint", "\u{1b}[31m"], &["footprint"]);
    run(&["--confidence", "2"], &["confidence"]);
    run(&["--confidence", "NaN"], &["confidence"]);
    run(&["--volts-max", "1000"], &["volts-max"]);
    run(&["--profile", "nonesuch"], &["nonesuch"]);
    run(&["--nonsense"], &["--nonsense"]);
    run(&["--reconnect-for", "30"], &["30"]);
    for pins in ["1", "200", "A,A", "A,,B"] {
        refused(&["identify", "--meter", &link, "--pins", pins], 2, &["pin"]);
    }
    for bad in ["nonsense", "tcp:nowhere", "serial:", "sim:x?seed=y"] {
        refused(&identify(bad, &job, &[]), 2, &[]);
    }
    assert!(!Path::new(&job).exists(), "a refused run leaves nothing behind");
}

#[test]
fn bad_files_are_named_with_their_line() {
    let folder = tempfile::tempdir().unwrap();
    let job = program::job(folder.path());
    refused(&identify("sim:/nowhere/x.toml", &job, &[]), 2, &["/nowhere/x.toml"]);
    let bad = folder.path().join("bad.toml");
    let text = fs::read_to_string(relay("changeover_2_pole")).unwrap();
    fs::write(&bad, text.replacen("rated_volts", "rated_volt", 1)).unwrap();
    let link = format!("sim:{}", bad.display());
    refused(&identify(&link, &job, &[]), 2, &["bad.toml:9", "rated_volt"]);
    let profile = folder.path().join("mine.toml");
    fs::write(&profile, "name = \"mine\"\nkind = \"scpi\"\ntimeout_msec = 3\n").unwrap();
    let profile = profile.display().to_string();
    let link = "tcp:127.0.0.1:9";
    let flags = ["--profile", profile.as_str()];
    refused(&identify(link, &job, &flags), 2, &["mine.toml", "timeout_msec"]);
}

#[test]
fn ports_that_are_not_there_or_not_ports_are_the_instruments_fault() {
    let folder = tempfile::tempdir().unwrap();
    let job = program::job(folder.path());
    refused(&identify("serial:/dev/nowhere0", &job, &[]), 3, &["/dev/nowhere0"]);
    let plain = folder.path().join("plain");
    fs::write(&plain, "x").unwrap();
    let job = folder.path().join("job2").display().to_string();
    let link = format!("serial:{}", plain.display());
    refused(&identify(&link, &job, &[]), 3, &["plain"]);
    let closed = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let job = folder.path().join("job3").display().to_string();
    refused(&identify(&format!("tcp:{closed}"), &job, &[]), 3, &["127.0.0.1:"]);
}

#[test]
fn a_port_in_use_says_so() {
    let part = Part::load(Path::new(&relay("make_1_pole"))).unwrap();
    let bench = Bench::new(part, BenchOptions::default());
    let served = bench.serve_pty(None).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let link = served.link();
    let job = program::job(folder.path());
    let mut first = Program::start(&[
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
    let _ = first.next_ask();
    let job = folder.path().join("second").display().to_string();
    refused(&identify(&link, &job, &[]), 3, &["in use"]);
    first.hang_up();
    assert_eq!(first.end().0, 4);
}

#[test]
fn a_meter_that_never_answers_ends_the_run_with_the_record_whole() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let link = format!("tcp:{}", listener.local_addr().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let job = program::job(folder.path());
    let mut mute = Program::start(&[
        "identify",
        "--meter",
        &link,
        "--pins",
        "4",
        "--operator",
        "json",
        "--job",
        &job,
        "--reconnect-for",
        "1s",
    ]);
    let _ = mute.next_ask();
    let (code, errors, said) = mute.end();
    assert_eq!(code, 3, "{errors}");
    assert!(errors.contains("no answer") && errors.contains("hint:"), "{errors}");
    assert_eq!(said.last().unwrap()["exit"], 3);
    assert_eq!(output(&["verify", &job]).status.code(), Some(0));
}

#[test]
fn a_pulled_plug_is_noticed_and_the_run_goes_on_or_ends_resumable() {
    for comes_back in [true, false] {
        let part = Part::load(Path::new(&relay("changeover_1_pole"))).unwrap();
        let options = BenchOptions { slips: SlipRates::NONE, ..BenchOptions::default() };
        let bench = Bench::new(part, options);
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("meter");
        let mut served = bench.serve_pty(Some(&name)).unwrap();
        let link = served.link();
        let job = program::job(folder.path());
        let wait = if comes_back { "30s" } else { "1s" };
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
            "--reconnect-for",
            wait,
        ]);
        let mut asks = 0;
        while let Some((seq, ask)) = program.next_ask() {
            asks += 1;
            if asks == 5 {
                served.unplug();
                while program.next().is_some_and(|line| line["note"] != "link") {}
                if comes_back {
                    served.plug().unwrap();
                }
            }
            program.answer(seq, bench.perform(&ask));
        }
        let (code, errors, said) = program.end();
        let lost = notes(&said, "link").iter().any(|n| n["state"] == "lost");
        assert!(lost, "{errors}");
        assert_eq!(code, if comes_back { 0 } else { 3 }, "{errors}");
        let back = notes(&said, "link").iter().any(|n| n["state"] == "restored");
        assert_eq!(back, comes_back);
        assert_eq!(output(&["verify", &job]).status.code(), Some(0));
    }
}

#[test]
fn folders_that_will_not_do_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let empty = folder.path().join("empty").display().to_string();
    fs::create_dir(&empty).unwrap();
    refused(&["report", &empty], 2, &["journal"]);
    refused(&["resume", &empty], 2, &["journal"]);
    let file = folder.path().join("file");
    fs::write(&file, "x").unwrap();
    let under = file.join("job").display().to_string();
    let link = format!("sim:{}", relay("make_1_pole"));
    let words = ["identify", "--meter", &link, "--pins", "4", "--job", &under];
    refused(&words, 5, &["file"]);
}

#[test]
fn the_demonstration_shows_all_and_reports_are_the_same_each_time() {
    let folder = tempfile::tempdir().unwrap();
    let job = program::job(folder.path());
    let run = output(&["demo", "--job", &job]);
    let shown = String::from_utf8_lossy(&run.stdout).into_owned();
    assert_eq!(run.status.code(), Some(0), "{shown}");
    assert!(shown.contains("SIMULATED") && shown.contains("IDENTIFIED: 2C"), "{shown}");
    let read = |name: &str| fs::read(Path::new(&job).join(name)).unwrap();
    let names = ["report.html", "report.json", "readings.csv"];
    let before = names.map(read);
    assert_eq!(output(&["report", &job]).status.code(), Some(0));
    assert_eq!(before, names.map(read));
    assert!(String::from_utf8_lossy(&before[0]).contains("SIMULATED"));
    let again = ["identify", "--meter", "tcp:127.0.0.1:9", "--pins", "8", "--job", &job];
    refused(&again, 2, &["journal"]);
}

#[test]
fn every_command_has_its_help_and_every_schema_is_json() {
    for command in ["demo", "meters", "identify", "resume", "report", "verify", "bench", "schema"] {
        let help = output(&[command, "--help"]);
        assert_eq!(help.status.code(), Some(0), "{command}");
        assert!(help.stdout.len() > 100, "{command}");
    }
    for name in ["operator", "journal", "report", "profile", "relay"] {
        let schema = output(&["schema", name]);
        assert!(serde_json::from_slice::<serde_json::Value>(&schema.stdout).is_ok(), "{name}");
    }
}
