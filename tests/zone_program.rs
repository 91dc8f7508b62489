//! The zone commands through the real binary: designs, numbers, learning, drawings, and checks at
//! a simulated panel whose loop is as designed or not. Files in `fixtures/zones/` are the truth
//! for the simulator and for the claim.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test fails by panicking"
)]

use assert_cmd::Command;
use serde_json::Value;
use std::path::Path;

const PANEL: &str = "fixtures/panels/series_3k3_12_volt.toml";

fn coilmark(words: &[&str]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("coilmark").unwrap();
    command.current_dir(env!("CARGO_MANIFEST_DIR")).args(words).write_stdin("");
    let output = command.output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

fn json(words: &[&str]) -> (i32, Value) {
    let (exit, out, err) = coilmark(words);
    (exit, serde_json::from_str(out.trim()).unwrap_or_else(|e| panic!("{e}: {out}{err}")))
}

#[test]
fn a_design_says_states_faults_ranking_and_what_to_pick() {
    let (exit, found) = json(&[
        "zone",
        "design",
        "--panel",
        PANEL,
        "--cable-length-m",
        "50",
        "--json",
        "--draws",
        "500",
    ]);
    assert_eq!(exit, 0, "{found}");
    assert_eq!((&found["kind"], &found["result"]), (&"zone_design".into(), &"pass".into()));
    assert_eq!(found["resistors"][0]["code"], "3K3J");
    assert!(found["ranking"].as_array().unwrap().len() >= 2, "{found}");
    let welded = found["faults"].as_array().unwrap().iter().find(|f| f["code"] == "contact_welded");
    assert_eq!(welded.unwrap()["effect"], "silent");
}

#[test]
fn a_wiring_that_the_panel_cannot_read_fails() {
    let (exit, found) = json(&["zone", "design", "--panel", PANEL, "--contact", "no", "--json"]);
    assert_eq!((exit, &found["result"]), (1, &"fail".into()), "{found}");
    assert_ne!(found["ranking"][0]["wiring"]["contact"], "normally_open");
}

#[test]
fn a_misspelt_key_is_named_with_its_line_and_the_nearest_one() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("p.toml");
    let text = std::fs::read_to_string(PANEL).unwrap().replace("eol_ohms", "eol_ohm");
    std::fs::write(&file, text).unwrap();
    let (exit, out, err) = coilmark(&["zone", "design", "--panel", file.to_str().unwrap()]);
    assert_eq!((exit, out.as_str()), (2, ""));
    assert!(err.contains("p.toml:15") && err.contains("did you mean `eol_ohms`?"), "{err}");
}

#[test]
fn numbers_go_both_ways_and_a_schedule_is_checked() {
    let (exit, there) = json(&[
        "zone",
        "number",
        "--panel",
        PANEL,
        "--switches",
        "0100",
        "--terminal",
        "3",
        "--json",
    ]);
    assert_eq!((exit, &there["zone"]), (0, &27.into()), "{there}");
    let (_, back) = json(&["zone", "number", "--panel", PANEL, "--zone", "27", "--json"]);
    assert_eq!((&back["switches"], &back["terminal"]), (&"0100".into(), &3.into()));
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("site.csv");
    std::fs::write(&file, "zone,name,switches,terminal\n27,gate,0100,3\n28,yard,0100,5\n").unwrap();
    let words = ["zone", "number", "--panel", PANEL, "--schedule", file.to_str().unwrap()];
    let (exit, out, _) = coilmark(&words);
    assert_eq!(exit, 1);
    assert!(out.contains("site.csv:3: yard") && out.contains("1 of 2 lines agree"), "{out}");
}

#[test]
fn a_learnt_panel_file_is_read_back() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("learnt.toml");
    let path = file.to_str().unwrap();
    let words = [
        "zone",
        "learn",
        "--open-volts",
        "12",
        "--known-ohms",
        "3300",
        "--known-volts",
        "4.95",
        "--meter-ohms",
        "1e12",
        "--panel",
        PANEL,
        "--out",
        path,
        "--json",
    ];
    let (exit, learnt) = json(&words);
    assert_eq!(exit, 0);
    assert!((learnt["ohms"].as_f64().unwrap() - 4700.0).abs() < 0.01, "{learnt}");
    let (exit, found) = json(&["zone", "design", "--panel", path, "--json", "--draws", "500"]);
    assert_eq!(exit, 0, "{found}");
    assert!((found["supply_ohms"].as_f64().unwrap() - 4700.0).abs() < 0.01);
    assert_eq!(coilmark(&words).0, 2, "a file that is there is not written over");
}

#[test]
fn a_drawing_is_one_svg_element_with_the_resistor_in_it() {
    let (exit, svg, _) = coilmark(&["zone", "draw", "--panel", PANEL]);
    assert_eq!(exit, 0);
    assert!(svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>"));
    assert!(svg.contains("3K3J") && svg.contains(">12<") && svg.contains("currentColor"));
}

/// A check at a simulated panel: exit, the result, and the job's folder.
fn check(zone: &str, dir: &Path) -> (i32, Value) {
    check_on(zone, dir, &["--panel", PANEL])
}

/// The same at another panel, or with more words.
fn check_on(zone: &str, dir: &Path, more: &[&str]) -> (i32, Value) {
    let link = format!("sim:fixtures/zones/{zone}.toml?hands=alone");
    let job = dir.join("job");
    let words = [
        "zone",
        "check",
        "--follow-within",
        "3s",
        "--meter",
        &link,
        "--operator",
        "json",
        "--job",
        job.to_str().unwrap(),
    ];
    let (exit, out, err) = coilmark(&[&words[..], more].concat());
    let lines = out.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let found = lines.rev().find(|line| line["note"] == "result");
    (exit, found.unwrap_or_else(|| panic!("no result: {out}{err}")))
}

#[test]
fn a_loop_as_designed_passes_at_the_panel_and_the_record_is_whole() {
    let dir = tempfile::tempdir().unwrap();
    let (exit, found) = check("series_as_designed", dir.path());
    assert_eq!((exit, &found["result"]), (0, &"pass".into()), "{found}");
    assert_eq!(found["simulated"], true);
    assert!(found["violated_at_s"].is_number() && found["restored_at_s"].is_number(), "{found}");
    let job = dir.path().join("job");
    assert_eq!(coilmark(&["verify", job.to_str().unwrap()]).0, 0);
    let log = std::fs::read_to_string(job.join("zone-1.csv")).unwrap();
    let rows = log.lines().skip(1);
    let volts: Vec<f64> = rows.map(|row| row.split(',').nth(1).unwrap().parse().unwrap()).collect();
    let on = volts.iter().position(|volts| *volts > 11.5).expect("the alarm is in the log");
    let off = volts.iter().rposition(|volts| *volts > 11.5).unwrap();
    let rests = |part: &[f64]| part.iter().any(|volts| (4.5..5.5).contains(volts));
    assert!(rests(&volts[..on]) && rests(&volts[off..]), "rest, alarm, rest: {log}");
    std::fs::write(job.join("zone-1.csv"), log.replace("12.", "13.")).unwrap();
    assert_eq!(coilmark(&["verify", job.to_str().unwrap()]).0, 1, "a changed log is found");
    std::fs::write(job.join("zone-1.csv"), log).unwrap();
    let page = std::fs::read_to_string(job.join("report.html")).unwrap();
    assert!(page.contains("The zone loop, proved at the panel"), "{page}");
}

/// A loop that is not as designed fails, and what is wrong with it is named by this code.
fn fails_as(zone: &str, code: &str) {
    let dir = tempfile::tempdir().unwrap();
    let (exit, found) = check(zone, dir.path());
    assert_eq!((exit, &found["result"]), (1, &"fail".into()), "{zone}: {found}");
    let named = found["explanations"].as_array().unwrap().iter().any(|e| e["code"] == code);
    assert!(named, "{zone}: {found}");
}

#[test]
fn another_contact_than_designed_fails_and_is_named() {
    fails_as("series_other_contact", "other_contact");
}

#[test]
fn a_joined_resistor_fails_and_is_named() {
    fails_as("series_resistor_joined", "resistor_joined");
}

#[test]
fn an_open_loop_fails_and_is_named() {
    fails_as("series_wire_cut", "wire_cut");
}

#[test]
fn a_shorted_pair_fails_and_is_named() {
    fails_as("series_pair_shorted", "pair_shorted");
}

#[test]
fn a_welded_contact_fails_and_is_named() {
    fails_as("series_contact_welded", "contact_welded");
}

#[test]
fn a_swapped_pair_is_named_though_the_panel_reads_it_as_it_should() {
    let dir = tempfile::tempdir().unwrap();
    let (exit, found) = check("series_swapped", dir.path());
    assert_eq!((exit, &found["result"]), (0, &"pass".into()), "{found}");
    let named = found["explanations"].as_array().unwrap();
    assert!(named[0]["text"].as_str().unwrap().contains("swapped"), "{found}");
}

#[test]
fn a_tamper_contact_is_opened_and_one_that_is_bridged_fails() {
    let words = ["--panel", "double-4k7-5v", "--tamper"];
    let dir = tempfile::tempdir().unwrap();
    let (exit, found) = check_on("double_tamper", dir.path(), &words);
    assert_eq!((exit, &found["result"]), (0, &"pass".into()), "{found}");
    assert_eq!(found["states"][3]["reads"], "tamper", "{found}");
    let dir = tempfile::tempdir().unwrap();
    let (exit, found) = check_on("double_tamper_bridged", dir.path(), &words);
    assert_eq!((exit, &found["result"]), (1, &"fail".into()), "{found}");
    assert_eq!(found["states"][3]["verdict"], "fail", "{found}");
}
