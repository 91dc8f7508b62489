//! Campaigns: whole identifications by simulated hands, many of them, to see how many placements
//! they take and whether an answer that is sure is ever wrong. Short by default;
//! `COILMARK_CAMPAIGN=20 cargo test --release --test campaign_belief -- --nocapture` runs twenty
//! times as many. Every failure prints the seed that repeats it.

#![allow(clippy::unwrap_used, reason = "in a test a panic is the finding")]

#[allow(dead_code, reason = "each program uses its own part of the hands")]
#[path = "belief_hands/mod.rs"]
mod belief_hands;

use belief_hands::{Case, Hands, Tally, Truth, campaign};
use coilmark::relay::{Channel, Family, Footprint, Prior};

/// Runs per campaign, times the size that was asked for; none of a fraction of one.
fn runs(short: f64) -> u64 {
    let size = std::env::var("COILMARK_CAMPAIGN").ok().and_then(|size| size.parse::<f64>().ok());
    (short * size.unwrap_or(1.0)).floor() as u64
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
        prove: false,
    }
}

fn say(name: &str, tally: &Tally) {
    if tally.runs > 0 {
        println!("{name}: {tally}");
    }
}

/// With a stated footprint: parts that follow its pattern, and parts that break it.
fn on_footprint(text: &str, poles: usize, truth: Truth) -> Case {
    let footprint: Footprint = text.parse().unwrap();
    let free = case(footprint.pins(), &changeovers(poles));
    Case { prior: free.prior.with_footprint(&footprint), truth, ..free }
}

#[test]
fn free_parts_come_out_right() {
    for (pins, poles, short) in
        [(5, 1, 20.0), (8, 2, 4.0), (10, 2, 0.1), (11, 3, 0.1), (14, 4, 0.02)]
    {
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
    for (text, poles, short) in [("4+4", 2, 6.0), ("7+7", 4, 0.1)] {
        for confidence in [0.9999, 0.999_999] {
            let case = Case { confidence, ..on_footprint(text, poles, Truth::Layout) };
            let tally = campaign(&case, runs(short), 0xF007);
            let layouts = case.prior.layouts().len();
            say(&format!("{poles}C on {text}, one of {layouts} layouts, to {confidence}"), &tally);
            assert!(tally.wrong_and_sure <= tally.allowed(confidence), "{tally}");
        }
    }
    let case = on_footprint("4+4", 2, Truth::Family(changeovers(2)));
    let tally = campaign(&case, runs(4.0), 0xB40C);
    say("2C on 4+4, any labelling, to 0.9999", &tally);
    assert!(tally.wrong_and_sure <= tally.allowed(0.9999), "{tally}");
}

/// Hands that slip three times as often as the belief reckons with.
#[test]
fn clumsy_hands_end_right_or_undecided() {
    let slips = Channel { no_contact: 0.06, bridge: 0.006 };
    for (pins, poles, short) in [(5, 1, 20.0), (8, 2, 3.0)] {
        let hands = Hands { slips, ..Hands::default() };
        let case = Case { hands, prove: true, ..case(pins, &changeovers(poles)) };
        let tally = campaign(&case, runs(short), 0xC1);
        say(&format!("{pins} pins, {poles}C, three times the slips"), &tally);
        assert_eq!(tally.wrong_and_sure, 0, "{tally}");
    }
}

/// One pin that never makes contact: the part looks like another one, with a spare.
#[test]
fn a_dirty_pin_ends_right_or_undecided() {
    for (pins, poles, short) in [(5, 1, 5.0), (6, 1, 2.0), (8, 2, 0.5)] {
        for prior in [Prior::usual(pins), Prior::only(pins, [(changeovers(poles), 1.0)])] {
            let hands = Hands { dirty: Some(2), ..Hands::default() };
            let case = Case {
                hands,
                prior,
                prove: true,
                most_placements: 80,
                ..case(pins, &changeovers(poles))
            };
            let tally = campaign(&case, runs(short), 0xD1);
            say(&format!("{pins} pins, {poles}C, pin 3 dirty"), &tally);
            assert!(tally.wrong_and_sure <= tally.allowed(0.9999), "{tally}");
        }
    }
}

/// The black lead one pin too far, from the first touch to the last.
#[test]
fn an_operator_who_is_one_pin_off_ends_right_or_undecided() {
    for (pins, poles, short) in [(5, 1, 5.0), (8, 2, 1.0)] {
        for prior in [Prior::usual(pins), Prior::only(pins, [(changeovers(poles), 1.0)])] {
            let hands = Hands { off_by_one: true, ..Hands::default() };
            let case = Case {
                hands,
                prior,
                prove: true,
                most_placements: 80,
                ..case(pins, &changeovers(poles))
            };
            let tally = campaign(&case, runs(short), 0x0FF1);
            say(&format!("{pins} pins, {poles}C, black lead one pin too far"), &tally);
            assert!(tally.wrong_and_sure <= tally.allowed(0.9999), "{tally}");
        }
    }
}

/// Any part of the usual prior, by its own frequencies.
#[test]
fn any_usual_part_ends_right_or_undecided() {
    for (pins, short) in [(5, 10.0), (6, 4.0), (8, 1.0)] {
        let base = case(pins, &changeovers(1));
        let case = Case { prior: Prior::usual(pins), truth: Truth::Prior, ..base };
        let tally = campaign(&case, runs(short), 0xA11);
        say(&format!("{pins} pins, any usual part"), &tally);
        assert!(tally.wrong_and_sure <= tally.allowed(0.9999), "{tally}");
    }
}

/// A single wrong touch, whichever it is, never changes the answer: one run for each.
#[test]
fn one_wrong_touch_never_changes_the_answer_at_eight_pins() {
    for wrong in 1..=16 {
        let slips = Channel { no_contact: 0.0, bridge: 0.0 };
        let hands = Hands { wrong_touch: Some(wrong), slips, ..Hands::default() };
        let case = Case { hands, ..case(8, &changeovers(2)) };
        let tally = campaign(&case, runs(1.0), 0x1000 * u64::from(wrong));
        if wrong == 16 || tally.wrong_and_sure > 0 {
            say(&format!("8 pins, 2C, touch {wrong} wrong"), &tally);
        }
        assert_eq!(tally.wrong_and_sure + tally.undecided, 0, "{tally}");
    }
}
