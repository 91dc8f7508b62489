//! A session of hours in simulated time, alone in its process: a log of an output that stays on, by
//! the real loop, leaves nothing behind in memory but the log's own figures. One hour by default;
//! `COILMARK_CAMPAIGN=8 cargo test --release --test load_session -- --nocapture` sits for eight.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that cannot go on has failed"
)]

mod simulated;

use coilmark::bench::{Bench, BenchOptions, Part};
use coilmark::event::{OutputStart, RunTerms};
use simulated::World;
use simulated::faults::Plan;
use std::collections::BTreeSet;

/// What this process holds in memory, in kibibytes.
fn resident_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// The log of an output that stays on, so long.
fn session(seconds: f64) -> usize {
    let text = "name = \"held\"\n[output]\nalarm_volts = 13.6\nsag_volts_per_min = -0.01\n\
                noise_volts = 0.01\n";
    let bench = Bench::new(Part::parse(text, "held").unwrap(), BenchOptions::default());
    let plan = Plan { seed: 1, on: BTreeSet::new() };
    let mut world = World::new(bench, plan, "scpi", false);
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job");
    let start = OutputStart { nominal_volts: Some(12.0), for_s: seconds, guard_s: 10.0 };
    let part = world.part(&job, &RunTerms::Output(start));
    assert!(part.is_over(), "{:?}", part.ended);
    let log = std::fs::read_to_string(job.join("output-1.csv")).unwrap();
    log.lines().count() - 1
}

#[test]
fn simulated_hours_leave_nothing_behind_in_memory() {
    let size = std::env::var("COILMARK_CAMPAIGN").ok().and_then(|size| size.parse::<f64>().ok());
    let hours = size.unwrap_or(1.0);
    let short = session(300.0);
    let before = resident_kib();
    let long = session(3600.0 * hours);
    let grown = resident_kib().saturating_sub(before);
    println!("{long} readings in {hours} h, {grown} KiB more than after {short} in 5 min");
    assert!(long > short * 8, "{long} readings");
    assert!(grown < 40_000, "{grown} KiB more");
}
