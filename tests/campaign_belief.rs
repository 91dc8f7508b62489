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

/// With a stated footprint: parts that follow its pattern, and parts that break it.
fn on_footprint(text: &str, poles: usize, truth: Truth) -> Case {
    let footprint: Footprint = text.parse().unwrap();
    let free = case(footprint.pins(), &changeovers(poles));
    Case { prior: free.prior.with_footprint(&footprint), truth, ..free }
}

#[test]
fn free_parts_come_out_right() {
    for (pins, poles, short) in [(5, 1, 40), (8, 2, 12), (11, 3, 1)] {
        for confidence in [0.9999, 0.999_999] {
            let case = Case { confidence, ..case(pins, &changeovers(poles)) };
            let tally = campaign(&case, runs(short), 0xC011);
            say(&format!("{pins} pins, {poles}C, any labelling, to {confidence}"), &tally);
            assert!(tally.wrong_and_sure <= tally.allowed(confidence), "{tally}");
        }
    }
}

#[test]
fn a_footprint_saves_placements_and_breaks_nothing() {
    for (text, poles, short) in [("4+4", 2, 12), ("7+7", 4, 1)] {
        for confidence in [0.9999, 0.999_999] {
            let case = Case { confidence, ..on_footprint(text, poles, Truth::Layout) };
            let tally = campaign(&case, runs(short), 0xF007);
            let layouts = case.prior.layouts().len();
            say(&format!("{poles}C on {text}, one of {layouts} layouts, to {confidence}"), &tally);
            assert!(tally.wrong_and_sure <= tally.allowed(confidence), "{tally}");
        }
    }
    let case = on_footprint("4+4", 2, Truth::Family(changeovers(2)));
    let tally = campaign(&case, runs(12), 0xB40C);
    say("2C on 4+4, any labelling, to 0.9999", &tally);
    assert!(tally.wrong_and_sure <= tally.allowed(0.9999), "{tally}");
}

#[test]
#[ignore]
fn fourteen_pins_free() {
    let case = case(14, &changeovers(4));
    let tally = campaign(&case, runs(1), 0x14);
    say("14 pins, 4C, any labelling, to 0.9999", &tally);
}

#[test]
#[ignore]
fn zz() {
    for confidence in [0.9999, 0.999_999] {
        let case = Case { confidence, ..case(8, &changeovers(2)) };
        say("zz 8 free", &campaign(&case, runs(20), 0xC011));
    }
}
