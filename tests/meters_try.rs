//! `coilmark meters --try`, whole: the program works out how a meter talks that another process
//! serves (`coilmark bench`, each of its voices, on a pseudo-terminal and on TCP), or an instrument
//! whose commands somebody else's interpreter reads. What it prints is a profile that can be saved
//! and used as it is. A trial listens before it asks, so each of these takes some seconds.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use drivers::Profile;
use program::*;
use serde_json::Value;
use std::net::TcpListener;

/// A bench in a process of its own, and the link to its meter.
fn bench_process(voice: &[&str], place: &[&str]) -> (Program, String) {
    let relay = relay_file("make_1_pole").display().to_string();
    let words = [&["bench", "--relay", &relay][..], voice, place].concat();
    let mut bench = Program::start(&words);
    let first: Value = serde_json::from_str(&bench.next_line().expect("where it is")).unwrap();
    let link = first["meter"].as_str().unwrap_or_else(|| panic!("no link in {first}")).to_owned();
    (bench, link)
}

/// Its meter is worked out; the profile that is printed is taken by `--watch`, which then reads.
fn is_worked_out(voice: &[&str], place: &[&str], dialect: &str, said: &str) {
    let (_bench, link) = bench_process(voice, place);
    let found = Program::run(&["meters", "--try", &link]).exits(0);
    assert!(found.stderr.starts_with(&format!("trying {link} (1 of ")), "{}", found.stderr);
    let printed = found.lines.join("\n");
    assert!(printed.starts_with(&format!("# who answers: {said}")), "{printed}");
    assert!(printed.contains(&format!("# on the link: {link}\n")), "{printed}");
    let profile = Profile::parse("printed", &printed).unwrap();
    assert_eq!(profile.name, dialect);
    let job = Job::new();
    let file = job.home().join("meter.toml");
    std::fs::write(&file, &printed).unwrap();
    let file = file.display().to_string();
    let words = ["meters", "--watch", &link, "--profile", &file, "--for", "1200ms", "--json"];
    let watched = Program::run(&words).exits(0);
    let summary: Value = serde_json::from_str(watched.lines.last().unwrap()).unwrap();
    assert!(summary["readings"].as_u64().unwrap() >= 2, "{summary}");
}

#[test]
fn each_voice_of_the_bench_is_worked_out_on_each_kind_of_link() {
    const ON_TCP: [&str; 2] = ["--tcp", "127.0.0.1:0"];
    // At once: a trial mostly waits.
    std::thread::scope(|scope| {
        for place in [&[][..], &ON_TCP] {
            scope.spawn(move || is_worked_out(&[], place, "scpi", "SIMULATED,BENCH METER,"));
            scope.spawn(move || is_worked_out(&["--line-meter"], place, "ascii-lines", ""));
            scope.spawn(move || is_worked_out(&["--polled-meter"], place, "polled-lines", ""));
        }
    });
}

#[test]
fn an_instrument_of_somebody_elses_grammar_is_worked_out() {
    let bench = bench(relay("make_1_pole"));
    for served in [on_pty(&bench), on_tcp(&bench)] {
        let found = Program::run(&["meters", "--try", &served.link(), "--json"]).exits(0);
        let object: Value = serde_json::from_str(&found.lines.join("\n")).unwrap();
        assert_eq!(object["v"], 1, "{object}");
        assert_eq!(object["link"], served.link(), "{object}");
        assert_eq!(object["profile"], "scpi", "{object}");
        assert_eq!(object["commanded"], true, "{object}");
        assert_eq!(object["said"], instrument::IDENTITY, "{object}");
        let text = object["profile_text"].as_str().unwrap();
        assert!(Profile::parse("found", text).is_ok());
        assert_eq!(served.errors(), Vec::<String>::new(), "it was asked nothing it refuses");
    }
}

#[test]
fn a_profile_is_saved_once_and_never_over_another_file() {
    let bench = bench(relay("make_1_pole"));
    let (served, job) = (on_tcp(&bench), Job::new());
    let file = job.home().join("meter.toml");
    let name = file.display().to_string();
    let link = served.link();
    let words = ["meters", "--try", &link, "--save", &name];
    let saved = Program::run(&words).exits(0);
    assert!(saved.lines.iter().any(|line| line.contains(&name)), "{saved:?}");
    let text = std::fs::read_to_string(&file).unwrap();
    assert!(text.contains(instrument::IDENTITY) && Profile::parse("saved", &text).is_ok());
    Program::run(&words).refuses(2, &["--save", &name, "there already"]);
    assert_eq!(std::fs::read_to_string(&file).unwrap(), text, "it is as it was");
    let nowhere = job.home().join("no/such/folder.toml").display().to_string();
    Program::run(&["meters", "--save", &nowhere]).refuses(2, &["--try"]);
    let ended = Program::run(&["meters", "--try", &link, "--save", &nowhere]).exits(2);
    assert!(ended.stderr.contains(&nowhere) && ended.stderr.contains("hint: "), "{ended:?}");
}

#[test]
fn a_mute_port_is_an_instrument_failure_with_a_hint() {
    let mute = TcpListener::bind("127.0.0.1:0").unwrap();
    let link = format!("tcp:{}", mute.local_addr().unwrap());
    let ended = Program::run(&["meters", "--try", &link]).exits(3);
    assert_eq!(ended.lines, Vec::<String>::new(), "nothing is claimed");
    for said in [&*link, "silence", "error: ", "no answer", "hint: ", "no other program"] {
        assert!(ended.stderr.contains(said), "{said}: {}", ended.stderr);
    }
}

#[test]
fn a_known_dialect_is_only_asked() {
    let bench = bench(relay("make_1_pole"));
    let served = on_tcp(&bench);
    let words = ["meters", "--try", &served.link(), "--profile", "scpi"];
    let found = Program::run(&words).exits(0);
    assert_eq!(found.stderr, "", "nothing is tried");
    assert_eq!(found.lines[0], format!("{}: {}", served.link(), instrument::IDENTITY));
    let words = ["meters", "--try", &served.link(), "--profile", "scpy"];
    Program::run(&words).refuses(2, &["scpy", "scpi"]);
}
