//! What comes from outside and means harm, through the real program: links in a job folder that
//! lead elsewhere, names that lead out of it, input without an end or nested without a bottom, a
//! meter whose name steers a terminal. Nothing outside the folder is touched, nothing hangs, each
//! refusal names its culprit. And what we write: readable by all, writable by its owner alone,
//! never executable. Reports are in report_hostile.rs.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use coilmark::event::{Event, LogNews, OutputStart, RunStart, RunTerms};
use coilmark::journal::{Journal, LocalTime, Stamp};
use drivers::Moment;
use jiff::Timestamp;
use jiff::tz::Offset;
use program::*;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::Path;
use std::process::{Command, Stdio};

/// What stands in a file that is none of the job's.
const TREASURE: &str = "not ours\n";

/// Identifies a relay on the simulated bench, whose hands answer.
fn identify(job: &Job) -> Ended {
    let relay = relay_file("changeover_1_pole");
    let meter = format!("sim:{}?hands=alone", relay.display());
    let words = ["identify", "--operator", "json", "--pins", "5", "--meter", &meter];
    Program::run(&[&words[..], &["--job", &job.word()]].concat())
}

/// A file outside of a job, and a link to it in the job's folder.
fn link_out(job: &Job, name: &str) -> std::path::PathBuf {
    let outside = job.home().join("treasure");
    std::fs::write(&outside, TREASURE).unwrap();
    std::fs::create_dir_all(job.dir()).unwrap();
    let place = job.file(name);
    let _ = std::fs::remove_file(&place);
    symlink(&outside, &place).unwrap();
    outside
}

fn untouched(outside: &Path) {
    assert_eq!(std::fs::read_to_string(outside).unwrap(), TREASURE);
}

#[test]
fn a_record_that_is_a_link_is_refused_and_what_it_leads_to_untouched() {
    let job = Job::new();
    let outside = link_out(&job, "journal.jsonl");
    identify(&job).refuses(2, &["journal.jsonl", "link"]);
    for command in ["resume", "report", "verify"] {
        let ended = Program::run(&[command, &job.word()]);
        ended.refuses(2, &["journal.jsonl", "link"]);
    }
    untouched(&outside);
}

#[test]
fn a_torn_line_is_not_set_aside_into_a_file_elsewhere() {
    let job = Job::new();
    identify(&job).exits(0);
    let journal = job.file("journal.jsonl");
    let mut text = std::fs::read_to_string(&journal).unwrap();
    text.push_str("{\"v\":1,\"seq\":");
    std::fs::write(&journal, &text).unwrap();
    let outside = link_out(&job, "journal.torn");
    Program::run(&["verify", &job.word()]).exits(5).complains(&["journal.jsonl"]);
    untouched(&outside);
    assert_eq!(std::fs::read_to_string(&journal).unwrap(), text, "nothing was lost");
}

#[test]
fn a_report_takes_the_place_of_a_link_and_never_what_it_leads_to() {
    let job = Job::new();
    identify(&job).exits(0);
    for name in ["report.html", "report.json", "readings.csv", "verdicts.xml"] {
        let outside = link_out(&job, name);
        Program::run(&["report", &job.word()]).exits(0);
        untouched(&outside);
        let written = std::fs::symlink_metadata(job.file(name)).unwrap();
        assert!(written.is_file() && written.len() > 100, "{name} is the report itself");
    }
}

#[test]
fn a_log_that_is_a_link_is_refused_and_what_it_leads_to_untouched() {
    let job = Job::new();
    let outside = link_out(&job, "output-1.csv");
    let meter = format!("sim:{}?hands=alone", output_file("never").display());
    let words = ["output", "--operator", "json", "--for", "1s", "--guard", "1s", "--meter", &meter];
    Program::run(&[&words[..], &["--job", &job.word()]].concat());
    untouched(&outside);
    // A log of a number that is free is begun instead, or none.
    let link = std::fs::symlink_metadata(job.file("output-1.csv")).unwrap();
    assert!(link.is_symlink());
}

#[test]
fn a_log_named_in_a_record_never_leads_out_of_the_folder() {
    for name in ["../treasure", "/etc/passwd", "output-1.csv/../../treasure", "output-1.csv\0"] {
        let job = Job::new();
        std::fs::write(job.home().join("treasure"), TREASURE).unwrap();
        let mut journal = Journal::create(&job.dir()).unwrap();
        let at = LocalTime::new(Timestamp::UNIX_EPOCH, Offset::UTC);
        let stamp = Stamp { at, elapsed: Moment::START };
        let start = OutputStart { nominal_volts: None, for_s: 1.0, guard_s: 1.0 };
        let terms = RunTerms::Output(start);
        let begun = RunStart::without_meter(terms, true, 0);
        let meter = format!("sim:{}?hands=alone", output_file("never").display());
        let begun = RunStart { meter, profile: "scpi".into(), ..begun };
        journal.append(&Event::RunStarted(begun), stamp).unwrap();
        let opened = LogNews::Opened { file: name.into(), t_s: 0.0, rows: 0, torn_bytes: 0 };
        journal.append(&Event::Logged(opened), stamp).unwrap();
        drop(journal);
        let ended = Program::run(&["resume", &job.word(), "--operator", "json"]);
        assert_ne!(ended.code, Some(0), "{name}: {ended:?}");
        assert!(ended.stderr.contains("no name of a log"), "{name}: {ended:?}");
        untouched(&job.home().join("treasure"));
    }
}

/// Words that name a file of each kind.
fn readers(file: &str) -> Vec<Vec<String>> {
    let job = "no-such-job";
    let relay = format!("sim:{file}");
    let meter = "tcp:127.0.0.1:1";
    let all: [&[&str]; 6] = [
        &["identify", "--pins", "5", "--meter", meter, "--profile", file, "--job", job],
        &["identify", "--pins", "5", "--meter", &relay, "--job", job],
        &["board", "--plan", file, "--serial", "1", "--meter", meter, "--job", job],
        &["zone", "design", "--panel", file],
        &["job", job, "--sheet", file],
        &["bench", "--relay", file],
    ];
    all.iter().map(|words| words.iter().map(|word| (*word).to_owned()).collect()).collect()
}

#[test]
fn a_file_without_an_end_is_refused_and_not_read_to_the_end() {
    for words in readers("/dev/zero") {
        Program::run(&words).refuses(2, &["/dev/zero", "too many"]);
    }
}

#[test]
fn nesting_without_a_bottom_is_refused_in_every_file() {
    let folder = tempfile::tempdir().unwrap();
    let (arrays, tables) = ("[".repeat(200_000), "{a=".repeat(100_000));
    for (name, text) in
        [("arrays.toml", format!("a = {arrays}")), ("tables.toml", format!("a = {tables}"))]
    {
        let file = folder.path().join(name);
        std::fs::write(&file, text).unwrap();
        for words in readers(file.to_str().unwrap()) {
            Program::run(&words).refuses(2, &[name]);
        }
    }
}

#[test]
fn a_record_nested_without_a_bottom_is_no_record() {
    for text in [
        "[".repeat(900_000),
        format!("{{\"v\":1,\"seq\":1,\"event\":{}", "{\"a\":".repeat(100_000)),
        "x".repeat(3 << 20),
    ] {
        let job = Job::new();
        std::fs::create_dir_all(job.dir()).unwrap();
        std::fs::write(job.file("journal.jsonl"), format!("{text}\n{text}\n")).unwrap();
        Program::run(&["verify", &job.word()]).exits(1);
        for command in ["report", "resume"] {
            Program::run(&[command, &job.word()]).refuses(2, &["journal.jsonl"]);
        }
    }
}

#[test]
fn answers_nested_or_long_without_a_bottom_are_objected_to() {
    let (bench, job) = (bench(relay("changeover_1_pole")), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    let words = ["identify", "--operator", "json", "--pins", "5", "--meter", &served.link()];
    let mut program = Program::start(&[&words[..], &["--job", &job.word()]].concat());
    for line in ["[".repeat(4000), "{\"seq\":".repeat(500), "[".repeat(1_000_000)] {
        let asked = person.until_asked(&mut program);
        program.send(&line);
        person.until_noted(&mut program, "error");
        assert_eq!(person.until_asked(&mut program), asked, "the same ask comes again");
        person.perform(&mut program, &asked);
    }
    person.finish(program, 0);
}

#[test]
fn a_meter_whose_name_steers_a_terminal_is_spelt_out() {
    let (bench, job) = (bench(relay("make_1_pole")), Job::new());
    let served = bench.serve_pty(None).unwrap();
    served.swap_identity("A\u{1b}[2J\u{1b}]0;mine\u{7}\u{9b}31m,B,1,1");
    for operator in ["json", "lines"] {
        let words = ["identify", "--operator", operator, "--pins", "4", "--meter", &served.link()];
        let ended = Program::run(&[&words[..], &["--job", &job.word()]].concat());
        let said = ended.lines.join("\n") + &ended.stderr;
        let steers = |c: char| c.is_control() && c != '\n';
        assert!(!said.contains(steers), "{operator}: {said:?}");
        let _ = std::fs::remove_dir_all(job.dir());
    }
}

#[test]
fn words_that_steer_a_terminal_are_spelt_out_where_they_are_refused() {
    let nasty = "a\u{1b}[31m\u{202e}b";
    for words in [
        vec!["report", nasty],
        vec!["identify", "--pins", nasty],
        vec!["board", "--plan", nasty, "--meter", "tcp:127.0.0.1:1"],
        vec!["zone", "design", "--panel", nasty],
        vec!["job", "x", "--sheet", nasty],
        vec!["schema", nasty],
        vec!["identify", "--pins", "5", "--meter", nasty],
    ] {
        let ended = Program::run(&words);
        assert_ne!(ended.code, Some(0), "{words:?}");
        let said = ended.lines.join("\n") + &ended.stderr;
        let steers = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
        assert!(!said.contains(steers), "{words:?}: {said:?}");
    }
}

#[test]
fn what_we_write_is_for_all_to_read_and_for_its_owner_to_write() {
    let (relay, job) = (relay_file("make_1_pole"), Job::new());
    // Under a mask that takes nothing away, and under one that takes all from others.
    for (mask, mode) in [("000", 0o644), ("077", 0o600)] {
        let meter = format!("sim:{}?hands=alone", relay.display());
        let line = format!(
            "umask {mask}; exec {} identify --operator json --pins 4 --meter '{meter}' --job '{}'",
            env!("CARGO_BIN_EXE_coilmark"),
            job.word()
        );
        let mut shell = Command::new("sh");
        shell.args(["-c", &line]).env("COILMARK_DATA", job.home()).stdin(Stdio::null());
        let done = shell.output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        let mut seen = 0;
        for entry in std::fs::read_dir(job.dir()).unwrap().flatten() {
            let found = entry.metadata().unwrap().permissions().mode() & 0o7777;
            assert_eq!(found, mode, "umask {mask}: {:?} has {found:o}", entry.file_name());
            seen += 1;
        }
        assert!(seen >= 5, "{seen} files");
        std::fs::remove_dir_all(job.dir()).unwrap();
    }
}
