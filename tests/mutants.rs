//! The written reasons of `tests/mutation/accepted.txt`, for mutants that no test notices: each is
//! of a line of code that is still there, says why, and stands once. Whether a test notices them by
//! now is for `tests/mutation/run` to find, which runs every mutant.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use std::collections::BTreeSet;
use std::path::Path;

/// The shortest reason that says anything, in characters.
const REASON_MIN: usize = 30;

/// What is wrong with one block: the mutant, its line of code, the reason.
fn wrong_with(block: &str, code_of: impl Fn(&str) -> Option<String>) -> Option<String> {
    let mut lines = block.lines().map(str::trim);
    let (mutant, code) = (lines.next()?, lines.next()?);
    let reason = lines.collect::<Vec<_>>().join(" ");
    let mut place = mutant.splitn(3, ':');
    let (file, column, change) = (place.next()?, place.next(), place.next());
    let Some(column) = column.and_then(|column| column.parse::<usize>().ok()) else {
        return Some(format!("{mutant}: no column"));
    };
    if change.is_none_or(|change| change.trim().is_empty()) {
        return Some(format!("{mutant}: no change"));
    }
    if reason.len() < REASON_MIN {
        return Some(format!("{mutant}: no reason"));
    }
    let Some(text) = code_of(file) else { return Some(format!("{mutant}: no such file")) };
    let is_there = text.lines().any(|line| line.trim() == code && line.len() >= column);
    (!is_there).then(|| format!("{mutant}: no such line: {code}"))
}

fn blocks(text: &str) -> Vec<String> {
    let lines = text.lines().filter(|line| !line.starts_with('#')).collect::<Vec<_>>().join("\n");
    lines.split("\n\n").map(str::trim).filter(|b| !b.is_empty()).map(str::to_owned).collect()
}

#[test]
fn every_reason_is_of_code_that_is_there_and_stands_once() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let blocks = blocks(include_str!("mutation/accepted.txt"));
    let code_of = |file: &str| std::fs::read_to_string(root.join(file)).ok();
    let mut wrong: Vec<String> = blocks.iter().filter_map(|b| wrong_with(b, code_of)).collect();
    let mut named = BTreeSet::new();
    for block in &blocks {
        let mutant: Vec<&str> = block.lines().take(2).collect();
        if !named.insert(mutant.clone()) {
            wrong.push(format!("{}: stands twice", mutant.join(" ")));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn a_reason_that_says_nothing_or_is_of_other_code_is_told() {
    let code = |file: &str| (file == "src/a.rs").then(|| "fn f() {\n    a < b\n}\n".to_owned());
    let why = "where both are equal either will do";
    let good = format!("src/a.rs:7: replace < with <= in f\na < b\n{why}");
    assert_eq!(wrong_with(&good, code), None);
    for (bad, told) in [
        (good.replace("src/a.rs", "src/b.rs"), "no such file"),
        (good.replace("a < b", "a > b"), "no such line"),
        (good.replace(":7:", ":70:"), "no such line"),
        (good.replace(":7:", ":"), "no column"),
        (good.replace(why, "equal"), "no reason"),
    ] {
        assert!(wrong_with(&bad, code).is_some_and(|problem| problem.contains(told)), "{bad}");
    }
}
