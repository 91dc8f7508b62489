//! Whether sure is sure: whole identifications, proof included, by the hundred thousand, on parts
//! of 5, 6, 8 and 10 pins in any labelling and on footprints, with slips as often as reckoned with
//! and three times as often. Short by default; `COILMARK_CAMPAIGN=1250 cargo test --release --test
//! campaign_calibration -- --nocapture` makes 1,000,000. Each line says its seed and rate; a run
//! is repeated by its seed.

#![allow(clippy::unwrap_used, reason = "in a test a panic is the finding")]

#[allow(dead_code, reason = "each program uses its own part of the hands")]
#[path = "belief_hands/mod.rs"]
mod belief_hands;

use belief_hands::remembered::campaign;
use belief_hands::{Case, Hands, Truth};
use coilmark::relay::{Channel, Family, Footprint, Prior};
use drivers::{Clock, SystemClock};

const CONFIDENCE: f64 = 0.9999;

/// Runs of one part, times the size that was asked for.
fn runs() -> u64 {
    let size = std::env::var("COILMARK_CAMPAIGN").ok().and_then(|size| size.parse::<u64>().ok());
    50 * size.unwrap_or(1)
}

/// The parts: with its footprint a part follows the prior, four times in five a layout.
fn cases(slips: Channel) -> Vec<(String, Case)> {
    let free = |pins, family| Prior::only(pins, [(family, 1.0)]);
    let parts = [
        ("2-1-2", Family::relay(0, 0, 1)),
        ("3+3", Family::relay(1, 1, 0)),
        ("4+4", Family::relay(0, 0, 2)),
        ("5+5", Family::relay(4, 0, 0)),
    ];
    let both = parts.into_iter().flat_map(|(text, family)| {
        let footprint: Footprint = text.parse().unwrap();
        let pins = footprint.pins();
        let laid = free(pins, family.clone()).with_footprint(&footprint);
        assert!(!laid.layouts().is_empty(), "{text}");
        [
            (format!("{pins} pins, {family}, any labelling"), free(pins, family.clone())),
            (format!("{pins} pins, {family}, on {text}"), laid),
        ]
    });
    let case = |prior| Case {
        prior,
        truth: Truth::Prior,
        hands: Hands { slips, ..Hands::default() },
        assumed: Channel::default(),
        confidence: CONFIDENCE,
        most_placements: 120,
        prove: true,
    };
    both.map(|(name, prior)| (name, case(prior))).collect()
}

/// Wrong-and-sure answers over all parts stay below `times` what the confidence leaves.
fn hold(slips: Channel, times: f64, seed: u64) {
    let clock = SystemClock::begin();
    let (mut wrong, mut all) = (0, 0);
    for (name, case) in cases(slips) {
        let begun = clock.now();
        let tally = campaign(&case, runs(), seed);
        let took = clock.now().since(begun).as_secs_f64();
        println!("{name}: {tally}; {:.0} a second", tally.runs as f64 / took);
        wrong += tally.wrong_and_sure;
        all += tally.runs;
    }
    let mean = all as f64 * (1.0 - CONFIDENCE) * times;
    println!("{all} runs, wrong and sure {wrong}, below {mean:.0} on the mean");
    // Of few runs one may be wrong by chance: so many once in a thousand campaigns.
    assert!(wrong as f64 <= mean + 3.1 * mean.sqrt() + 0.5, "{wrong} of {all}, seed {seed:#x}");
}

#[test]
fn sure_is_as_sure_as_it_says() {
    hold(Channel::default(), 1.0, 0xCA11_0000_0000);
}

#[test]
fn with_three_times_the_slips_sure_is_a_tenth_as_sure_at_worst() {
    hold(Channel { no_contact: 0.06, bridge: 0.006 }, 10.0, 0xCA13_0000_0000);
}
