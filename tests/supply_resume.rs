//! Runs with a programmable supply that are killed while the coil is driven, which nothing can
//! switch off, and are gone on with: the supply goes off first of all, and keeps the current limit
//! that the coil's ohms give, though they were captured before.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;
mod supplied;

use supplied::Station;

#[test]
fn ramps_that_were_killed_go_on_to_the_same_result() {
    let mut station = Station::ramps();
    station.until_driven();
    station.killed_and_resumed();
    let said = station.lead(|line| line["note"] == "result");
    let result = said.last().expect("a result");
    assert_eq!(result["result"], "pass", "{result}");
    let found = |of: &str| result[of]["volts"].as_f64().unwrap();
    // The relay file's truth: 7.8 and 3.0.
    assert!((found("pick_up") - 7.8).abs() < 0.2, "{result}");
    assert!((found("drop_out") - 3.0).abs() < 0.2, "{result}");
    assert_eq!(station.bench.hazards(), []);
    station.ends(0);
}

#[test]
fn an_identification_that_was_killed_goes_on_with_its_supply() {
    let mut station = Station::on_pty("changeover_1_pole");
    station.until_driven();
    station.killed_and_resumed();
    station.ends(0);
}

#[test]
fn a_resumed_run_switches_the_supply_off_though_no_meter_answers() {
    let mut station = Station::on_pty("changeover_1_pole");
    station.until_driven();
    station.killed();
    assert!(station.bench.is_driven(), "a killed process switches nothing off");
    let link = station.meter.link();
    station.meter.unplug();
    assert_eq!(station.meter.link(), link);
    station.resumed();
    station.ends(3);
}
