//! How long a decision takes: taking in a touch, the whole posterior, and the choice of the next
//! placement. `cargo test --release --test bench_belief` prints the median over whole
//! identifications with the usual prior, on one core, and the memory that a belief keeps and
//! peaks at. A run is repeated by its seed.

#![allow(clippy::unwrap_used, reason = "in a test a panic is the finding")]

#[allow(dead_code, reason = "each program uses its own part of the hands")]
#[path = "belief_hands/mod.rs"]
mod belief_hands;

use belief_hands::{Case, Hands, Truth, identify_timed};
use coilmark::relay::{Belief, Channel, Family, Prior};
use drivers::{Clock, SystemClock};
use std::time::Duration;

fn main() {
    for (pins, poles, runs) in sizes() {
        let family = Family::relay(0, 0, poles);
        measure("the usual prior", Prior::usual, pins, &family, runs);
        let only = |pins| Prior::only(pins, [(family.clone(), 1.0)]);
        measure("one family", only, pins, &family, runs);
    }
}

fn measure(name: &str, prior: impl Fn(usize) -> Prior, pins: usize, family: &Family, runs: u64) {
    let clock = SystemClock::begin();
    let prior = prior(pins);
    let _ = Belief::new(&prior);
    let built = clock.now().since_start();
    let case = Case {
        prior,
        truth: Truth::Family(family.clone()),
        hands: Hands::default(),
        assumed: Channel::default(),
        confidence: 0.9999,
        most_placements: 200,
        prove: false,
    };
    let mut took: Vec<Duration> = Vec::new();
    for seed in 0..runs {
        let _ = identify_timed(&case, 0xBE + seed, &mut took);
    }
    took.sort_unstable();
    let at = |share: usize| took[(took.len() - 1) * share / 100];
    println!(
        "{pins} pins, {name}: {} decisions, median {:?}, 90 % {:?}, most {:?}; prior built in \
         {built:?}; peak memory {}",
        took.len(),
        at(50),
        at(90),
        at(100),
        peak_memory()
    );
}

/// Peak resident memory of this process so far, as the system says it.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.map_or_else(|| "unknown".to_owned(), |peak| peak.trim().to_owned())
}

/// Pins, changeovers and runs; `COILMARK_PINS=8` measures that size alone.
fn sizes() -> Vec<(usize, usize, u64)> {
    let all = [(5, 1, 200), (8, 2, 100), (11, 3, 3), (14, 4, 1), (16, 4, 1)];
    let only = std::env::var("COILMARK_PINS").ok().and_then(|pins| pins.parse::<usize>().ok());
    all.into_iter().filter(|size| only.is_none_or(|pins| pins == size.0)).collect()
}
