//! Every crate that is built in may be given on under this project's own terms: each licence, as
//! `cargo metadata` lists it, must have an alternative of which every part is among those that
//! `.ci/deny.toml` names. One that is not known is refused, and so is a crate that comes from
//! anywhere but the registry. Wants no tool, unlike `.ci/advisories`, which reads the same list.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use serde_json::Value;
use std::process::Command;

/// The licences that `.ci/deny.toml` allows, by their SPDX names.
fn allowed() -> Vec<String> {
    let checks: toml::Table = include_str!("../.ci/deny.toml").parse().unwrap();
    let names = checks["licenses"]["allow"].as_array().unwrap();
    names.iter().map(|name| name.as_str().unwrap().to_owned()).collect()
}

/// Whether this expression of SPDX has an alternative that is allowed throughout.
fn is_allowed(expression: &str, allowed: &[String]) -> bool {
    let text = expression.trim().replace('/', " OR ");
    if let Some((left, right)) = split(&text, " OR ") {
        return is_allowed(&left, allowed) || is_allowed(&right, allowed);
    }
    if let Some((left, right)) = split(&text, " AND ") {
        return is_allowed(&left, allowed) && is_allowed(&right, allowed);
    }
    match text.strip_prefix('(').and_then(|inside| inside.strip_suffix(')')) {
        Some(inside) => is_allowed(inside, allowed),
        None => allowed.contains(&text),
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
    let (mut bad, allowed) = (Vec::new(), allowed());
    let packages = all["packages"].as_array().unwrap();
    for package in packages {
        let (name, licence) = (package["name"].as_str().unwrap(), package["license"].as_str());
        let registry = package["source"].as_str().is_some_and(|s| s.starts_with("registry+"));
        if !licence.is_some_and(|licence| is_allowed(licence, &allowed))
            || !(registry || ours.contains(&name))
        {
            bad.push(format!("{name} {}: {licence:?}", package["source"]));
        }
    }
    println!("{} crates, all features, every platform", packages.len());
    assert!(packages.len() > 50 && bad.is_empty(), "{bad:#?}");
}

#[test]
fn an_expression_is_allowed_by_its_parts() {
    let names = allowed();
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
        assert_eq!(is_allowed(expression, &names), allowed, "{expression}");
    }
}
