//! What helps a person with the program itself: first words, topics, completions, manual pages, and
//! settings of one's own, and a speech program beside a run. The real program, with a folder for
//! settings that is the test's own.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use program::*;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// Runs the program with settings that say this.
fn with_settings(home: &Path, settings: &str, words: &[&str]) -> Output {
    let folder = home.join("coilmark");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("settings.toml"), settings).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilmark"));
    command.args(words).env("XDG_CONFIG_HOME", home).env("TZ", "UTC").stdin(Stdio::null());
    command.current_dir(home).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn the_first_words_say_what_to_do_next_in_five_lines() {
    let ended = Program::run::<&str>(&[]).exits(2);
    let lines: Vec<&str> = ended.stderr.lines().collect();
    assert!(lines.len() == 5 && lines.iter().all(|line| line.len() <= 79), "{}", ended.stderr);
    for word in ["demo", "meters", "identify --meter", "job DIR", "help TOPIC"] {
        assert!(ended.stderr.contains(word), "{word}: {}", ended.stderr);
    }
}

#[test]
fn every_topic_that_is_listed_is_explained_on_one_screen() {
    let listed = Program::run(&["help"]).exits(0);
    let topics: Vec<&str> =
        listed.lines.iter().filter_map(|line| line.strip_prefix("  ")).collect();
    assert!(topics.len() >= 10, "{:?}", listed.lines);
    for topic in topics.iter().filter_map(|line| line.split_whitespace().next()) {
        let told = Program::run(&["help", topic]).exits(0);
        assert!((5..=22).contains(&told.lines.len()), "{topic}: {} lines", told.lines.len());
        let wide = told.lines.iter().find(|line| line.chars().count() > 100);
        assert_eq!(wide, None, "{topic}");
    }
    let command = Program::run(&["help", "identify"]).exits(0);
    assert!(command.lines.iter().any(|line| line.contains("--footprint")), "{command:?}");
    Program::run(&["help", "no\u{1b}[2Jthing"]).refuses(2, &["\\u{1b}", "end-of-line"]);
}

#[test]
fn completions_know_every_command_and_the_shell_reads_them() {
    for shell in ["bash", "zsh", "fish"] {
        let completions = Program::run(&["completions", shell]).exits(0).lines.join("\n");
        for word in ["identify", "resume", "footprint", "settings"] {
            assert!(completions.contains(word), "{shell}: {word}");
        }
        let script = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(script.path(), completions).unwrap();
        match Command::new(shell).arg("-n").arg(script.path()).output() {
            Ok(read) => assert!(read.status.success(), "{shell}: {}", text(&read.stderr)),
            Err(_) => println!("skipped: there is no `{shell}` here to read its completions"),
        }
    }
    Program::run(&["completions", "tea"]).refuses(2, &["tea"]);
}

#[test]
fn there_is_a_manual_page_for_every_command() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("man1");
    Program::run(&["manual", &folder.display().to_string()]).exits(0);
    for page in ["coilmark", "coilmark-identify", "coilmark-settings"] {
        let page = std::fs::read_to_string(folder.join(format!("{page}.1"))).unwrap();
        assert!(page.contains(".TH") && page.contains(".SH"), "{page}");
    }
    let file = home.path().join("file");
    std::fs::write(&file, "").unwrap();
    Program::run(&["manual", &file.display().to_string()]).refuses(2, &["file"]);
}

#[test]
fn a_setting_is_a_default_and_a_flag_wins() {
    let home = tempfile::tempdir().unwrap();
    let part = format!("{}/fixtures/relays/make_1_pole.toml", env!("CARGO_MANIFEST_DIR"));
    let settings = format!("meter = \"sim:{part}?hands=alone\"\noperator = \"json\"\n");
    let ran = with_settings(home.path(), &settings, &["identify", "--pins", "4", "--job", "a"]);
    assert_eq!(ran.status.code(), Some(0), "{}", text(&ran.stderr));
    assert!(text(&ran.stdout).starts_with("{\"v\":1,"), "{}", text(&ran.stdout));
    let flags = ["identify", "--pins", "4", "--job", "b", "--operator", "lines"];
    let ran = with_settings(home.path(), &settings, &flags);
    assert!(text(&ran.stdout).starts_with("coilmark "), "{}", text(&ran.stdout));
    let help = with_settings(home.path(), &settings, &["identify", "--help"]);
    assert!(text(&help.stdout).contains("hands=alone"), "help shows it");
}

#[test]
fn settings_are_shown_with_where_they_are_from() {
    let home = tempfile::tempdir().unwrap();
    let shown = with_settings(home.path(), "# mine\ndwell = \"1.5s\"\n", &["settings"]);
    let shown = text(&shown.stdout);
    assert!(shown.contains("coilmark/settings.toml"), "{shown}");
    let line = |key: &str| shown.lines().find(|line| line.starts_with(key)).unwrap().to_owned();
    assert!(line("dwell").contains("1.5s") && line("dwell").contains("line 2"), "{shown}");
    assert!(line("sounds").contains("bell") && line("sounds").contains("built in"), "{shown}");
}

#[test]
fn a_setting_that_cannot_be_obeyed_is_named_with_its_line() {
    let home = tempfile::tempdir().unwrap();
    for (settings, culprits) in [
        ("\nmetre = \"x\"\n", ["settings.toml:2", "`metre`", "`meter`"]),
        ("dwell = 1.5\n", ["settings.toml:1", "`dwell`", "quotes"]),
        ("sounds = \"bell\"\ndwell = \"long\"\n", ["settings.toml:2", "dwell", "long"]),
        ("operator = \"choir\"\n", ["settings.toml:1", "operator", "choir"]),
    ] {
        let ran = with_settings(home.path(), settings, &["settings"]);
        let stderr = text(&ran.stderr);
        assert_eq!(ran.status.code(), Some(2), "{settings}: {stderr}");
        for culprit in culprits {
            assert!(stderr.contains(culprit), "{settings}: no {culprit} in {stderr}");
        }
    }
}

/// What is said is what is written, a line each, by a program that was started without a shell; and
/// that it dies stops nothing.
#[test]
fn a_speech_program_hears_asks_and_results_and_may_die() {
    let home = tempfile::tempdir().unwrap();
    let part = format!("{}/fixtures/relays/make_1_pole.toml", env!("CARGO_MANIFEST_DIR"));
    let link = format!("sim:{part}?hands=alone");
    let heard = home.path().join("heard");
    let say = format!("tee {}", heard.display());
    let words = |job: &'static str, say: &str| {
        let words = ["identify", "--meter", &link, "--pins", "4", "--operator", "lines", "--job"];
        let words = words.into_iter().chain([job, "--say", say]).map(str::to_owned);
        let words: Vec<String> = words.collect();
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        with_settings(home.path(), "", &words)
    };
    assert_eq!(words("a", &say).status.code(), Some(0));
    let heard = std::fs::read_to_string(heard).unwrap();
    assert!(heard.lines().any(|l| l.starts_with("RED lead on ")), "{heard}");
    assert!(heard.contains("IDENTIFIED: 1A"), "{heard}");
    assert!(!heard.contains("Enter when"), "keys are for eyes: {heard}");
    assert_eq!(words("b", "true").status.code(), Some(0), "one that ends at once");
    assert_eq!(words("c", "sleep 2").status.code(), Some(0), "one that does not listen");
    let missing = words("d", "no-such-program; echo");
    assert_eq!(missing.status.code(), Some(2));
    assert!(text(&missing.stderr).contains("--say no-such-program;"), "{}", text(&missing.stderr));
    assert!(!home.path().join("d").exists(), "nothing was begun");
}
