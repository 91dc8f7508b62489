//! Every crate that is built in may be given on under this project's own terms: each licence, as
//! `cargo metadata` lists it, must have an alternative of which every part is among those named
//! here. One that is not known is refused, and so is a crate that comes from anywhere but the
//! registry.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use serde_json::Value;
use std::process::Command;

/// Licences that ask for no more than a notice, by their SPDX names.
const ALLOWED: [&str; 12] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Zlib",
];
/// Asks for its own files' source to be given on, and no more: taken unchanged from the registry.
const UNCHANGED: &str = "MPL-2.0";

/// Whether this expression of SPDX has an alternative that is allowed throughout.
fn is_allowed(expression: &str) -> bool {
    let text = expression.trim().replace('/', " OR ");
    if let Some((left, right)) = split(&text, " OR ") {
        return is_allowed(&left) || is_allowed(&right);
    }
    if let Some((left, right)) = split(&text, " AND ") {
        return is_allowed(&left) && is_allowed(&right);
    }
    match text.strip_prefix('(').and_then(|inside| inside.strip_suffix(')')) {
        Some(inside) => is_allowed(inside),
        None => ALLOWED.contains(&text.as_str()) || text == UNCHANGED,
    }
}

/// Splits at the first of these words outside of parentheses.
fn split(text: &str, word: &str) -> Option<(String, String)> {
    let depth = |place: usize| {
        text[..place].matches('(').count() as i64 - text[..place].matches(')').count() as i64
    };
    let (place, _) = text.match_indices(word).find(|(place, _)| depth(*place) == 0)?;
    Some((text[..place].to_owned(), text[place + word.len()..].to_owned()))
}

#[test]
fn every_crate_may_be_given_on_and_comes_from_the_registry() {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".into());
    let words = ["metadata", "--format-version", "1", "--locked", "--all-features"];
    let done = Command::new(cargo).args(words).current_dir(env!("CARGO_MANIFEST_DIR")).output();
    let done = done.unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let all: Value = serde_json::from_slice(&done.stdout).unwrap();
    let ours = ["coilmark", "coilmark-drivers"];
    let mut bad = Vec::new();
    let packages = all["packages"].as_array().unwrap();
    for package in packages {
        let (name, licence) = (package["name"].as_str().unwrap(), package["license"].as_str());
        let registry = package["source"].as_str().is_some_and(|s| s.starts_with("registry+"));
        if !licence.is_some_and(is_allowed) || !(registry || ours.contains(&name)) {
            bad.push(format!("{name} {}: {licence:?}", package["source"]));
        }
    }
    println!("{} crates, all features, every platform", packages.len());
    assert!(packages.len() > 50 && bad.is_empty(), "{bad:#?}");
}

#[test]
fn an_expression_is_allowed_by_its_parts() {
    for (expression, allowed) in [
        ("MIT", true),
        ("GPL-3.0", false),
        ("MIT OR GPL-3.0", true),
        ("MIT/Apache-2.0", true),
        ("MIT AND GPL-3.0", false),
        ("(MIT OR Apache-2.0) AND Unicode-3.0", true),
        ("(GPL-2.0 OR Apache-2.0) AND LGPL-3.0", false),
        ("Apache-2.0 WITH LLVM-exception OR GPL-2.0", true),
        ("", false),
    ] {
        assert_eq!(is_allowed(expression), allowed, "{expression}");
    }
}
