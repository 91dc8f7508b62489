//! Campaigns: whole identifications by simulated hands, many of them, to see how many placements
//! they take and whether an answer that is sure is ever wrong. Short by default;
//! `COILMARK_CAMPAIGN=20 cargo test --release --test campaign_belief -- --nocapture` runs twenty
//! times as many. Every failure prints the seed that repeats it.

#[path = "belief_hands/mod.rs"]
mod belief_hands;

use belief_hands::{Case, Hands, Tally, Truth, campaign};
use coilmark::relay::{Channel, Family, Footprint, Prior};

/// Runs per campaign, times the size that was asked for.
fn runs(short: u64) -> u64 {
    let size = std::env::var("COILMARK_CAMPAIGN").ok().and_then(|size| size.parse().ok());
    short * size.unwrap_or(1)
}

fn changeovers(poles: usize) -> Family {
    Family::relay(0, 0, poles)
}

fn case(pins: usize, family: &Family) -> Case {
    Case {
        prior: Prior::only(pins, [(family.clone(), 1.0)]),
        truth: Truth::Family(family.clone()),
        hands: Hands::default(),
        assumed: Channel::default(),
        confidence: 0.9999,
        most_placements: 400,
    }
}

fn say(name: &str, tally: &Tally) {
    println!("{name}: {tally}");
}

#[test]
fn free_parts_come_out_right() {
    for (pins, poles, short) in [(5, 1, 40), (8, 2, 12)] {
        for confidence in [0.9999, 0.999_999] {
            let case = Case { confidence, ..case(pins, &changeovers(poles)) };
            let tally = campaign(&case, runs(short), 0xC011);
            say(&format!("{pins} pins, {poles}C, any labelling, to {confidence}"), &tally);
            assert!(tally.wrong_and_sure <= tally.allowed(confidence), "{tally}");
        }
    }
}
