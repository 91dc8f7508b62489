//! A check against an outside value: asserted, and printed as one line that `tests/reference/run`
//! collects into its table: `reference|check|source|ours|theirs|difference|tolerance|verdict`. The
//! check is named by the test and the line that asks for it, so that a row leads to its code. A
//! line is printed before the check can fail, and a check that cannot be done is `skipped`, which
//! is never `pass`.

#![allow(dead_code, reason = "each test program uses its own part of this")]

use std::fmt::Display;
use std::panic::Location;

/// Holds a number against a published one; `within` is a share of it.
#[track_caller]
pub fn relative(source: &str, ours: f64, theirs: f64, within: f64) {
    let off = if ours == theirs { 0.0 } else { ((ours - theirs) / theirs).abs() };
    number(source, ours, theirs, off, within, "relative");
}

/// Holds a number against a published one; `within` is in its unit.
#[track_caller]
pub fn absolute(source: &str, ours: f64, theirs: f64, within: f64) {
    number(source, ours, theirs, (ours - theirs).abs(), within, "absolute");
}

#[track_caller]
fn number(source: &str, ours: f64, theirs: f64, off: f64, within: f64, kind: &str) {
    let verdict = if off <= within { "pass" } else { "FAIL" };
    let difference = format!("{off:.2e}");
    row(
        source,
        &ours.to_string(),
        &theirs.to_string(),
        &difference,
        &format!("{within:.0e} {kind}"),
        verdict,
    );
    assert!(off <= within, "{ours}, {source} says {theirs}, off by {off:e} {kind}");
}

/// Holds what is the same or not against what is published; long lists are shown by their length.
#[track_caller]
pub fn same<T: PartialEq + Display>(source: &str, ours: &T, theirs: &T) {
    let verdict = if ours == theirs { "pass" } else { "FAIL" };
    let shown = |value: &T| {
        let text = value.to_string();
        let count = text.split_whitespace().count();
        if text.len() > 40 { format!("{count} values") } else { text }
    };
    let difference = if ours == theirs { "none" } else { "differs" };
    row(source, &shown(ours), &shown(theirs), difference, "exact", verdict);
    assert!(ours == theirs, "{ours}\n{source} says\n{theirs}");
}

/// A check that needs what is not here.
#[track_caller]
pub fn skipped(source: &str, needs: &str) {
    eprintln!("skipped: needs {needs}");
    row(source, "-", "-", "-", "-", &format!("skipped: needs {needs}"));
}

#[track_caller]
fn row(source: &str, ours: &str, theirs: &str, difference: &str, tolerance: &str, verdict: &str) {
    let thread = std::thread::current();
    let check = thread.name().unwrap_or("a check").replace('_', " ");
    let line = Location::caller().line();
    let source = source.replace('|', "/");
    println!(
        "reference|{check}:{line}|{source}|{ours}|{theirs}|{difference}|{tolerance}|{verdict}"
    );
}
