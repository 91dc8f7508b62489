//! The house rules, read off the tree: which room may use which, how long files, functions and
//! lines may be, headers, and what has no place in the code (sleep, clocks, chance, unwrap). Each
//! rule is a function from a file to its violations as `file:line: what`; one test runs it over
//! the tree, and `every_rule_bites` shows each rule a small file that breaks it. Exceptions are
//! named here, with their reason, and an exception that nothing needs is a violation too.

#[path = "house/source.rs"]
mod source;

use source::{Source, is_word, tree, walk};
use std::collections::BTreeSet;
use std::path::Path;

const FOLDERS: [&str; 4] = ["src", "drivers/src", "tests", "drivers/tests"];

const CORE: [&str; 8] = ["relay", "output", "cable", "zone", "board", "fit", "metrology", "guide"];

/// What a room that sees no link may use of the drivers' crate: the words for a value.
const PLAIN_DRIVERS: [&[&str]; 9] = [
    &["Function"],
    &["Reading"],
    &["Unit"],
    &["Value"],
    &["Moment"],
    &["clock", "Moment"],
    &["digits"],
    &["error", "escape"],
    &["reading"],
];

/// The program itself, which only fills in what `run` asks for: files and folders.
const PROGRAM: [&str; 2] = ["src/main.rs", "src/command_line/"];

/// Functions that may be longer: a `match` whose every arm is one call, say.
const MAY_BE_LONG: [(&str, &str); 0] = [];

/// Where a thread may sleep.
const MAY_SLEEP: [(&str, &str); 4] = [
    ("drivers/src/clock.rs", "a pause by the real clock; a clock set by hand only moves on"),
    ("drivers/src/port/real_tests.rs", "real links: the other side must act while a read waits"),
    ("src/bench/console.rs", "plays a person, who takes a person's time"),
    ("tests/bench_links.rs", "a real link: silence is only seen by waiting"),
];

/// Where time may be read.
const MAY_READ_TIME: [(&str, &str); 5] = [
    ("tests/belief_hands/mod.rs", "a campaign prints its rate"),
    ("tests/bench_belief.rs", "a benchmark"),
    ("tests/campaign_history.rs", "times what a person waits for"),
    ("drivers/src/clock.rs", "the one clock that everything else is handed"),
    ("drivers/src/port/real_tests.rs", "measures that a real link keeps its deadlines"),
];

/// Where the date may be read, once it is written.
const STAMP: &str = "src/run/stamp.rs";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Runs a rule over every file and fails with all that it finds.
fn hold(rule: impl Fn(&Source) -> Vec<String>) {
    let files = tree(root(), &FOLDERS);
    assert!(files.len() > 15, "only {} files found: is the tree here?", files.len());
    none(files.iter().flat_map(rule).collect());
}

fn none(found: Vec<String>) {
    assert!(found.is_empty(), "{} broken:\n{}", found.len(), found.join("\n"));
}

// Arrows.

/// The room of a file of the main crate; none for its root files.
fn room(file: &Source) -> Option<String> {
    let inside = file.path.starts_with("src/");
    inside.then(|| file.modules()).and_then(|modules| modules.first().cloned())
}

fn arrows(file: &Source) -> Vec<String> {
    let mut found = Vec::new();
    for path in file.paths() {
        let target = path.parts.get(1).map_or("", String::as_str);
        let allowed = match (path.parts.first().map(String::as_str), room(file)) {
            (Some("coilmark"), _) if file.path.starts_with("drivers/") => false,
            (Some("coilmark"), _) if is_program(file) => ["run", "event"].contains(&target),
            (Some("drivers"), _) if is_program(file) => false,
            (Some("crate"), _) if is_program(file) => true,
            (Some("drivers"), Some(room)) => may_use_of_drivers(&room, &path.parts[1..]),
            (Some("crate" | "coilmark"), Some(room)) => room_may_use(&room, target),
            _ => true,
        };
        if !allowed {
            found.push(file.at(path.line, &format!("may not use {}", path.parts.join("::"))));
        }
    }
    found
}

/// `drivers <- event <- core`; `event <- outside`; bench beside them; run joins everything.
fn room_may_use(room: &str, target: &str) -> bool {
    // What tests are held against outside values by; no program has it.
    if target == "checked" {
        return true;
    }
    if room == target || target == "event" {
        return room != "event" || target == "event";
    }
    match room {
        "run" => true,
        "report" => target == "journal",
        _ => CORE.contains(&room) && CORE.contains(&target),
    }
}

fn is_program(file: &Source) -> bool {
    PROGRAM.iter().any(|program| file.path.starts_with(program))
}

fn may_use_of_drivers(room: &str, path: &[String]) -> bool {
    let starts = |plain: &&[&str]| path.iter().zip(plain.iter()).all(|(a, b)| a == b);
    ["run", "bench"].contains(&room)
        || PLAIN_DRIVERS.iter().any(|plain| path.len() >= plain.len() && starts(plain))
}

#[test]
fn arrows_point_one_way() {
    hold(arrows);
}

#[test]
fn the_drivers_know_nothing_of_what_is_above_them() {
    let text = std::fs::read_to_string(root().join("drivers/Cargo.toml")).unwrap();
    let manifest: toml::Table = text.parse().unwrap();
    let mut found = Vec::new();
    for (section, value) in &manifest {
        let Some(entries) = value.as_table().filter(|_| section.contains("dependencies")) else {
            continue;
        };
        for (name, entry) in entries {
            if format!("{name} {entry}").contains("coilmark") || entry.get("path").is_some() {
                found.push(format!("drivers/Cargo.toml: [{section}] {name} = {entry}"));
            }
        }
    }
    none(found);
}

// Size and shape.

fn short_files(file: &Source) -> Vec<String> {
    let lines = file.raw.lines().count();
    let long = lines > 500;
    long.then(|| file.at(500, &format!("{lines} lines, at most 500"))).into_iter().collect()
}

fn short_functions(file: &Source) -> Vec<String> {
    let long = file.functions().into_iter().filter(|(from, to, _)| to - from + 1 > 70);
    let long = long.filter(|(_, _, name)| !MAY_BE_LONG.contains(&(&file.path, name)));
    long.map(|(from, to, name)| {
        file.at(from, &format!("`{name}` has {} lines, at most 70", to - from + 1))
    })
    .collect()
}

fn narrow_lines(file: &Source) -> Vec<String> {
    // The formatter cannot break a string; a message is easier to find in one piece.
    let one_piece =
        |line: &str| line.starts_with("//! |") || (line.contains('"') && line.trim().len() > 60);
    let wide = |line: &str| line.chars().count() > 100 && !one_piece(line);
    let lines = file.raw.lines().enumerate().filter(|(_, line)| wide(line));
    lines.map(|(i, _)| file.at(i + 1, "more than 100 columns")).collect()
}

/// A file of under ten lines heads itself.
fn headed(file: &Source) -> Vec<String> {
    let header = file.raw.lines().take_while(|line| line.starts_with("//!"));
    let header = header.filter(|line| !line.starts_with("//! |")).count();
    let small = file.raw.lines().count() < 10;
    let fits = small || (3..=10).contains(&header);
    (!fits).then(|| file.at(1, &format!("header of {header} lines, 3 to 10"))).into_iter().collect()
}

#[test]
fn files_are_at_most_500_lines() {
    hold(short_files);
}

#[test]
fn functions_are_at_most_70_lines() {
    hold(short_functions);
}

#[test]
fn lines_are_at_most_100_columns() {
    hold(narrow_lines);
}

#[test]
fn every_file_has_a_header() {
    hold(headed);
}

// What has no place in the code.

/// Lines with one of these token sequences, outside the files that are allowed to.
fn forbidden(file: &Source, words: &[&[&str]], allowed: &[(&str, &str)], why: &str) -> Vec<String> {
    if allowed.iter().any(|(path, _)| file.path == *path) {
        return Vec::new();
    }
    let hits = words.iter().flat_map(|sequence| file.find(sequence));
    hits.map(|line| file.at(line, why)).collect()
}

fn sleeps(file: &Source) -> Vec<String> {
    let words: [&[&str]; 3] = [&["sleep", "("], &["sleep", "}"], &["sleep_until", "("]];
    // Waiting for the deadline that a guide asked for is the loop's work.
    let words = if file.path.starts_with("src/run") { &words[..2] } else { &words };
    forbidden(file, words, &MAY_SLEEP, "sleeps")
}

fn reads_time(file: &Source) -> Vec<String> {
    let words: [&[&str]; 5] = [
        &["Instant", "::", "now"],
        &["SystemTime", "::", "now"],
        &["Zoned", "::", "now"],
        &["ZonedDateTime", "::", "now"],
        &["Timestamp", "::", "now"],
    ];
    if file.path == STAMP {
        return Vec::new();
    }
    forbidden(file, &words, &MAY_READ_TIME, "reads time")
}

fn leaves_to_chance(file: &Source) -> Vec<String> {
    let words: [&[&str]; 7] = [
        &["thread_rng"],
        &["rand", "::", "rng"],
        &["rand", "::", "random"],
        &["from_os_rng"],
        &["from_entropy"],
        &["OsRng"],
        &["SysRng"],
    ];
    forbidden(file, &words, &[], "unseeded randomness")
}

fn unfinished(file: &Source) -> Vec<String> {
    let words: [&[&str]; 3] = [&["todo", "!"], &["unimplemented", "!"], &["dbg", "!"]];
    let mut found = forbidden(file, &words, &[], "unfinished");
    let marks = ["FIX", "XX"].map(|half| half.to_string() + if half == "FIX" { "ME" } else { "X" });
    for (i, line) in file.raw.lines().enumerate() {
        let mut parts = line.split(|c: char| !(c.is_alphanumeric() || c == '_'));
        if parts.any(|word| marks.iter().any(|mark| word == mark)) {
            found.push(file.at(i + 1, "marked as unfinished"));
        }
    }
    found
}

/// `unwrap()`, `expect("...")` and the macros that panic, outside tests, without an attribute in
/// the twelve lines above that allows it with a reason.
fn panics(file: &Source) -> Vec<String> {
    let words: [&[&str]; 6] = [
        &[".", "unwrap", "(", ")"],
        &[".", "unwrap_err", "("],
        &[".", "expect", "(", "\""],
        &[".", "expect", "(", "&"],
        &["panic", "!"],
        &["unreachable", "!"],
    ];
    let excused = |line: usize| {
        let above = line.saturating_sub(13);
        let near: Vec<&str> = file.raw.lines().skip(above).take(line - above).collect();
        let near = near.join("\n");
        let attribute = near.contains("#[expect(") || near.contains("#[allow(");
        attribute && near.contains("reason = ") && near.contains("clippy::")
    };
    let hits = words.iter().flat_map(|sequence| file.find(sequence));
    hits.filter(|line| !file.in_tests(*line) && !excused(*line))
        .map(|line| file.at(line, "may panic, and no attribute beside it says why it cannot"))
        .collect()
}

#[test]
fn nothing_sleeps() {
    hold(sleeps);
}

#[test]
fn time_is_read_in_one_place() {
    hold(reads_time);
}

#[test]
fn chance_has_a_seed() {
    hold(leaves_to_chance);
}

#[test]
fn nothing_is_left_unfinished() {
    hold(unfinished);
}

#[test]
fn nothing_unwraps_outside_tests() {
    hold(panics);
}

#[test]
fn exceptions_are_still_needed() {
    let files = tree(root(), &FOLDERS);
    let needless = MAY_SLEEP
        .iter()
        .chain(&MAY_READ_TIME)
        .filter(|(path, _)| !files.iter().any(|file| file.path == *path));
    none(needless.map(|(path, _)| format!("{path} is not there")).collect());
}

// The whole tree, not only Rust.

/// Folders of somebody's machine, which mean nothing in a clone.
fn machine_paths(path: &str, text: &str) -> Vec<String> {
    let folders = ["root", "home", "work", "Users"].map(|name| format!("/{name}/"));
    let mut found = Vec::new();
    for (i, line) in text.lines().enumerate() {
        // In a web address it is part of the address.
        let own =
            |at: usize| !line[..at].ends_with(|c: char| c.is_alphanumeric() || ".-".contains(c));
        let hit = folders.iter().any(|name| line.match_indices(name).any(|(at, _)| own(at)));
        if hit || line.contains(&["", "tmp", "wt"].join("/")) {
            found.push(format!("{path}:{}: a path of somebody's machine", i + 1));
        }
    }
    found
}

#[test]
fn no_file_names_a_path_of_somebodys_machine() {
    let mut files = Vec::new();
    walk(root(), Path::new(""), &mut files);
    let text = |path: &String| std::fs::read(root().join(path)).unwrap_or_default();
    let found = files
        .iter()
        .flat_map(|path| machine_paths(path, &String::from_utf8_lossy(&text(path))))
        .collect();
    none(found);
}

/// What is kept at the top: the agreed layout and what a tool wants there. A folder of somebody's
/// own work in the tree is theirs.
#[test]
fn the_top_level_is_as_agreed() {
    let agreed = [
        ".ci",
        ".gitignore",
        "Cargo.lock",
        "Cargo.toml",
        "DEVELOPERS.md",
        "LICENSE",
        "README.md",
        "clippy.toml",
        "drivers",
        "fixtures",
        "rustfmt.toml",
        "src",
        "tests",
    ];
    let listed = std::process::Command::new("git").arg("ls-files").current_dir(root()).output();
    let listed = listed.map(|listed| String::from_utf8_lossy(&listed.stdout).into_owned());
    let Some(listed) = listed.ok().filter(|listed| listed.contains("Cargo.toml")) else {
        println!("skipped: needs git, and a clone");
        return;
    };
    let top = listed.lines().map(|path| path.split('/').next().unwrap_or(path));
    let stray: BTreeSet<_> = top.filter(|name| !agreed.contains(name)).collect();
    none(stray.into_iter().map(String::from).collect());
}

// The rules themselves.

/// A file of the tree, with a header so that only the rule in question bites.
fn file(path: &str, body: &str) -> Source {
    Source::read(path, &format!("//! One.\n//! Two.\n//! Three.\n{body}"))
}

#[test]
fn every_rule_bites() {
    type Rule = fn(&Source) -> Vec<String>;
    let long_function = format!("fn f() {{\n{}}}\n", "    g();\n".repeat(69));
    let broken: [(Rule, &str, &str); 15] = [
        (short_files, "src/a.rs", &"//\n".repeat(498)),
        (short_functions, "src/a.rs", &long_function),
        (narrow_lines, "src/a.rs", &format!("// {}", "x".repeat(98))),
        (sleeps, "src/a.rs", "fn f() { std::thread::sleep(d); }"),
        (sleeps, "tests/a.rs", "use std::thread::{sleep};"),
        (reads_time, "src/a.rs", "fn f() { Instant::now(); }"),
        (reads_time, "tests/a.rs", "fn f() { jiff::Timestamp::now(); }"),
        (leaves_to_chance, "tests/a.rs", "fn f() { rand::rng(); }"),
        (unfinished, "src/a.rs", "fn f() { todo!() }"),
        (unfinished, "src/a.rs", &["// FIX", "ME: later"].concat()),
        (panics, "src/a.rs", "fn f() { x.unwrap(); }"),
        (panics, "src/a.rs", "fn f() { x.expect(\"why\"); }"),
        (panics, "src/a.rs", "#[cfg(test)]\nmod tests { fn f() {} }\nfn g() { x.unwrap(); }"),
        (panics, "src/a.rs", "#[allow(clippy::unwrap_used)]\nfn g() { x.unwrap(); }"),
        (headed, "src/a.rs", "//! 4\n//! 5\n//! 6\n//! 7\n//! 8\n//! 9\n//! 10\n//! 11\n"),
    ];
    for (i, (rule, path, body)) in broken.into_iter().enumerate() {
        assert_eq!(rule(&file(path, body)).len(), 1, "case {i}, {path}: {body}");
    }
    assert_eq!(headed(&Source::read("src/a.rs", &"use x;\n".repeat(10))).len(), 1);
    let path = ["see ", "home", "ann", "x"].join("/");
    assert_eq!(machine_paths("README.md", &path).len(), 1);
}

#[test]
fn every_rule_lets_good_code_be() {
    let long_function = format!("fn f() {{\n{}}}\n", "    g();\n".repeat(68));
    let good = [
        long_function.as_str(),
        "// todo!() and x.unwrap() in a comment\n/* Instant::now() /* nested */ sleep(1) */",
        "const TEXT: &str = \"x.unwrap() sleep( Instant::now \\\" todo!()\";",
        "const TEXT: &str = r#\"x.unwrap() \" sleep( todo!()\"#; fn f<'a>(x: &'a str) -> char { '\"' }",
        "#[cfg(test)]\nmod tests {\n    fn f() { x.unwrap(); }\n}\n",
        "#[expect(\n    clippy::unwrap_used,\n    reason = \"1 is positive\"\n)]\nfn g() { x.unwrap(); }",
        "fn f() { parser.expect(b',') }",
    ];
    let rules = [
        short_files,
        short_functions,
        narrow_lines,
        headed,
        sleeps,
        reads_time,
        leaves_to_chance,
        unfinished,
        panics,
        arrows,
    ];
    for body in good {
        for (i, rule) in rules.into_iter().enumerate() {
            assert_eq!(rule(&file("src/relay/a.rs", body)), Vec::<String>::new(), "rule {i}");
        }
    }
    let address = ["https://example.org", "home", "x"].join("/");
    assert_eq!(machine_paths("README.md", &address), Vec::<String>::new());
}

#[test]
fn arrows_are_seen_however_they_are_written() {
    let broken = [
        ("src/relay/a.rs", "use crate::journal::Journal;"),
        ("src/relay/a.rs", "use crate::{event::Pin, report};"),
        ("src/relay/a.rs", "use crate::{event::{Pin, Ask}, bench::{self, Bench}};"),
        ("src/relay/a.rs", "fn f() { crate::operator::ask(); }"),
        ("src/relay/a.rs", "use super::super::journal;"),
        ("src/relay/mod.rs", "use super::journal::Entry;"),
        ("src/relay/a.rs", "#[cfg(test)]\nmod tests { use super::super::super::run::go; }"),
        ("src/relay/a.rs", "use drivers::link::Link;"),
        ("src/relay/a.rs", "use drivers::{Function, Clock};"),
        ("src/relay/a.rs", "use ::drivers::port;"),
        ("src/relay/a.rs", "use drivers::*;"),
        ("src/guide/a.rs", "use coilmark::run;"),
        ("src/event/a.rs", "use crate::relay::Pair;"),
        ("src/event/a.rs", "use drivers::profile::Profile;"),
        ("src/journal/a.rs", "use crate::report::Html;"),
        ("src/operator/a.rs", "use crate::journal::Entry;"),
        ("src/report/a.rs", "use crate::relay::Pair;"),
        ("src/logbook/a.rs", "use crate::output::Analysis;"),
        ("src/output/a.rs", "use crate::logbook::Columns;"),
        ("src/report/output/a.rs", "use crate::output::nominal;"),
        ("src/bench/a.rs", "use crate::relay::Pair;"),
        ("src/main.rs", "use coilmark::relay::Pair;"),
        ("src/command_line/mod.rs", "use coilmark::operator::plain;"),
        ("src/command_line/mod.rs", "use drivers::Function;"),
        ("drivers/src/a.rs", "use coilmark::event::Pin;"),
    ];
    for (path, body) in broken {
        assert!(!arrows(&file(path, body)).is_empty(), "{path}: {body}");
    }
    let good = [
        ("src/relay/a.rs", "use super::coil;\nuse crate::{event::{Form, Pin}, guide::x};"),
        ("src/relay/mod.rs", "use self::coil::ladder;\nuse drivers::{Function, clock::Moment};"),
        ("src/relay/a.rs", "#[cfg(test)]\nmod tests { use super::*; }"),
        ("src/event/a.rs", "use super::pin::Pin;\nuse drivers::{Reading, Unit};"),
        ("src/report/a.rs", "use crate::journal::Entry;"),
        ("src/bench/a.rs", "use drivers::link::{Link, LinkSpec};\nuse crate::event::Ask;"),
        ("src/run/a.rs", "use crate::{guide, journal, bench};\nuse drivers::port::Port;"),
        ("src/main.rs", "use coilmark::run::{self, Command};"),
        ("src/command_line/mod.rs", "use coilmark::{event::Pins, run::Exit};"),
        ("tests/a.rs", "use coilmark::{bench, relay, report};\nuse drivers::port::Port;"),
        ("drivers/src/a.rs", "use crate::reading::Reading;\nuse super::link;"),
    ];
    for (path, body) in good {
        assert_eq!(arrows(&file(path, body)), Vec::<String>::new(), "{path}: {body}");
    }
    assert!(is_word("crate") && !is_word("::"));
}
