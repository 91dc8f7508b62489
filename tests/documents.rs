//! The documents are true: each command in README.md and DEVELOPERS.md, and each example in the
//! help texts, has flags that the program knows; each test, script and file that they name is
//! there; and each campaign is in the table. Commands run in an empty folder with the fixtures in
//! it; what wants a meter or a job that is not there is refused, but never for its words.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// What the program says of words that it does not understand.
const MISUNDERSTOOD: [&str; 7] = [
    "unexpected argument",
    "unrecognized subcommand",
    "invalid value",
    "required arguments",
    "cannot be used with",
    "unexpected value",
    "a value is required",
];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn document(name: &str) -> String {
    std::fs::read_to_string(root().join(name)).unwrap()
}

/// Every command of a document: lines behind a prompt, and words in backticks that begin like one.
fn commands(text: &str) -> Vec<String> {
    let prompted = text.lines().filter_map(|line| line.trim().strip_prefix("$ "));
    let ticked = text.split('`').skip(1).step_by(2);
    let begins = ["coilmark ", "cargo ", "tests/", "COILMARK_", "target/", "UPDATE_FIXTURES="];
    let ticked = ticked.filter(|words| begins.iter().any(|b| words.starts_with(b)));
    let all = prompted.chain(ticked).map(|words| words.split_whitespace().collect::<Vec<_>>());
    all.map(|words| words.join(" ")).collect()
}

/// The words of a command of the program; the first of alternatives, nothing that may be left out.
fn words(command: &str) -> Option<Vec<String>> {
    let rest = command.strip_prefix("coilmark ").or_else(|| {
        let rest = command.strip_prefix("cargo run ")?;
        rest.split_once("-- ").map(|(_, rest)| rest)
    })?;
    let plain =
        |word: &&str| !word.starts_with(['[', '<']) && !word.ends_with(']') && *word != "...";
    let first = |word: &str| match word.contains("://") {
        true => word.to_owned(),
        false => word.split('|').next().unwrap_or_default().to_owned(),
    };
    Some(rest.split(' ').filter(plain).map(first).collect())
}

/// An empty folder with the fixtures in it.
fn bench() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::os::unix::fs::symlink(root().join("fixtures"), folder.path().join("fixtures")).unwrap();
    folder
}

/// Runs the program with these words; what it said on its standard error.
fn said(words: &[String]) -> (Option<i32>, String, String) {
    let folder = bench();
    let mut run = Command::new("timeout");
    run.arg("60").arg(env!("CARGO_BIN_EXE_coilmark")).args(words).current_dir(&folder);
    run.env("COILMARK_DATA", folder.path().join("history")).env_remove("RUST_LOG");
    run.env("XDG_CONFIG_HOME", folder.path()).stdin(Stdio::null());
    let done = run.output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (done.status.code(), text(&done.stdout), text(&done.stderr))
}

fn is_understood(words: &[String]) {
    // A command that is only named has no words yet. The demonstration takes its time, and the
    // gate runs it: its words alone are looked at here.
    let mut words = words.to_vec();
    let named =
        words[0] != "demo" && words.len() <= 2 && !words.iter().any(|word| word.starts_with('-'));
    let (_, _, stderr) = if named { said(&words) } else { Default::default() };
    if words[0] == "demo" || stderr.contains("required arguments") {
        words.push("--help".into());
    }
    let (code, _, stderr) = said(&words);
    let misunderstood = MISUNDERSTOOD.iter().find(|text| stderr.contains(**text));
    assert_eq!(misunderstood, None, "coilmark {}: {stderr}", words.join(" "));
    assert!(code.is_some_and(|code| code <= 4), "coilmark {}: {code:?}", words.join(" "));
}

fn each_at_once(all: Vec<Vec<String>>) {
    let next = std::sync::Mutex::new(all.into_iter());
    std::thread::scope(|scope| {
        for _ in 0..6 {
            scope.spawn(|| {
                loop {
                    let Some(words) = next.lock().unwrap().next() else { return };
                    is_understood(&words);
                }
            });
        }
    });
}

#[test]
fn every_command_of_the_documents_is_understood() {
    let both = ["README.md", "DEVELOPERS.md"].map(document).join("\n");
    let found: BTreeSet<Vec<String>> = commands(&both).iter().filter_map(|c| words(c)).collect();
    assert!(found.len() > 40, "{} commands", found.len());
    each_at_once(found.into_iter().collect());
}

#[test]
fn every_example_of_the_help_texts_is_understood() {
    let (_, help, _) = said(&["--help".into()]);
    let of_commands = help.lines().skip_while(|line| !line.starts_with("Commands:")).skip(1);
    let names: Vec<String> = of_commands
        .take_while(|line| line.starts_with("  "))
        .filter(|line| line.as_bytes().get(2).is_some_and(u8::is_ascii_lowercase))
        .filter_map(|line| line.split_whitespace().next())
        .map(str::to_owned)
        .collect();
    assert!(names.len() > 15, "{names:?}");
    let mut found = BTreeSet::new();
    for name in &names {
        let (code, help, stderr) = said(&[name.clone(), "--help".into()]);
        assert_eq!(code, Some(0), "{name}: {stderr}");
        let examples = help.lines().map(|line| line.trim().trim_start_matches("$ "));
        found.extend(examples.filter(|l| l.starts_with("coilmark ")).filter_map(words));
        found.extend(commands(&help).iter().filter_map(|command| words(command)));
    }
    println!("{} examples in the help texts", found.len());
    each_at_once(found.into_iter().collect());
}

/// The word behind each of these flags.
fn behind<'a>(command: &'a str, flag: &str) -> Vec<&'a str> {
    let words: Vec<&str> = command.split(' ').collect();
    words.windows(2).filter(|pair| pair[0] == flag).map(|pair| pair[1]).collect()
}

#[test]
fn every_test_script_and_feature_that_the_documents_name_is_there() {
    let both = ["README.md", "DEVELOPERS.md"].map(document).join("\n");
    let manifest = document("Cargo.toml") + &document("drivers/Cargo.toml");
    for command in commands(&both) {
        let crates =
            if command.contains("-p coilmark-drivers") { "drivers/tests" } else { "tests" };
        for test in behind(&command, "--test").iter().filter(|name| **name != "NAME") {
            let file = root().join(crates).join(format!("{test}.rs"));
            assert!(file.exists(), "`{command}`: no {}", file.display());
        }
        for feature in behind(&command, "--features") {
            assert!(manifest.contains(&format!("\n{feature} = [")), "`{command}`: no {feature}");
        }
        for word in command.split(' ').filter(|word| word.starts_with("tests/")) {
            assert!(root().join(word).exists(), "`{command}`: no {word}");
        }
    }
}

#[test]
fn every_file_that_the_developers_are_shown_is_there() {
    let text = document("DEVELOPERS.md");
    let mut seen = 0;
    for name in text.split('`').skip(1).step_by(2) {
        let of_ours = ["src/", "tests/", "fixtures/", "drivers/", ".ci/"];
        let path = of_ours.iter().any(|folder| name.starts_with(folder));
        if !path || name.contains([' ', '*', '{']) || name.contains("NAME") {
            continue;
        }
        assert!(root().join(name).exists(), "DEVELOPERS.md names {name}");
        seen += 1;
    }
    assert!(seen > 40, "{seen} files");
}

#[test]
fn every_campaign_and_reference_script_is_in_the_table() {
    let text = document("DEVELOPERS.md");
    let names = |folder: &Path| -> Vec<String> {
        let all = std::fs::read_dir(folder).unwrap().flatten();
        all.map(|entry| entry.file_name().into_string().unwrap()).collect()
    };
    for name in names(&root().join("tests")) {
        let campaign = name.strip_suffix(".rs").filter(|name| name.starts_with("campaign_"));
        let Some(campaign) = campaign else { continue };
        assert!(text.contains(&format!("--test {campaign}")), "{campaign} is not in the table");
        let source = document(&format!("tests/{campaign}.rs"));
        assert!(source.contains("COILMARK_CAMPAIGN"), "{campaign} has no size");
    }
    for word in ["tests/reference/run", "tests/fuzz/run"] {
        assert!(text.contains(word), "{word} is not in the table");
    }
}
