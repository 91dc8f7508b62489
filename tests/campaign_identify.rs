//! Whole identifications, proof included, of parts with random labellings: the guide on the
//! simulated bench, in simulated time. Never wrong; and how many placements it takes. Short by
//! default; `COILMARK_CAMPAIGN=25 cargo test --release --test campaign_identify -- --nocapture`
//! does 1,000 runs a row. A failure names its seed.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that cannot go on has failed"
)]

mod guided;

use coilmark::bench::{Bench, BenchOptions, Part, SlipRates};
use coilmark::event::{Event, Outcome, Pin};
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_pcg::Pcg64;
use std::collections::BTreeSet;
use std::fmt::Write;

/// Runs a row, times the size that was asked for.
const RUNS: u64 = 40;

fn runs() -> u64 {
    let size = std::env::var("COILMARK_CAMPAIGN").ok().and_then(|size| size.parse::<u64>().ok());
    RUNS * size.unwrap_or(1)
}

/// A part with `poles` changeovers, its pins dealt by the seed.
fn part(poles: usize, seed: u64) -> Part {
    let mut pins: Vec<usize> = (1..=2 + 3 * poles).collect();
    pins.shuffle(&mut Pcg64::seed_from_u64(seed));
    let mut text = format!("name = \"dealt by {seed}\"\npins = {}\n", pins.len());
    let mut contacts = String::new();
    for pole in pins[2..].chunks(3) {
        let [c, nc, no] = [pole[0], pole[1], pole[2]];
        let _ =
            writeln!(contacts, "[[contact]]\ncommon = [\"{c}\"]\nnc = [\"{nc}\"]\nno = [\"{no}\"]");
    }
    let (a, b) = (pins[0], pins[1]);
    let _ = write!(
        text,
        "[[coil]]\npins = [\"{a}\", \"{b}\"]\nohms = 360.0\nrated_volts = 12.0\n\
         pick_up_volts = 7.8\ndrop_out_volts = 3.0\n{contacts}\n\
         [truth]\nfamily = \"{poles}C\"\ncoils = [[\"{a}\", \"{b}\"]]\n"
    );
    Part::parse(&text, "dealt").unwrap_or_else(|bad| panic!("{bad}: {text}"))
}

struct Row {
    placements: f64,
    lead_moves: f64,
    searched: f64,
    undecided: u64,
}

fn campaign(poles: usize, slips: SlipRates, runs: u64) -> Row {
    let mut row = Row { placements: 0.0, lead_moves: 0.0, searched: 0.0, undecided: 0 };
    for seed in 1..=runs {
        let part = part(poles, seed);
        let terms = guided::terms(&part.pins, None);
        let truth = part.truth.clone();
        let options = BenchOptions { seed, slips, ..BenchOptions::default() };
        let bench = Bench::new(part, options);
        let led = guided::lead(&bench, terms, &[], |_, _, _| None);
        let found = led.finding();
        if found.result == Outcome::Undecided {
            println!("seed {seed}: undecided: {:?}", found.reason);
            row.undecided += 1;
            continue;
        }
        let set = |pins: [&Pin; 2]| pins.into_iter().cloned().collect::<BTreeSet<_>>();
        let coil = &truth.coils[0];
        let same =
            set([&found.coils[0].plus, &found.coils[0].minus]) == set([&coil.plus, &coil.minus]);
        let contacts = |c: &[Pin], nc: &[Pin], no: &[Pin]| (c.to_vec(), nc.to_vec(), no.to_vec());
        let poles: BTreeSet<_> =
            found.poles.iter().map(|p| contacts(&p.common, &p.nc, &p.no)).collect();
        let wanted: BTreeSet<_> =
            truth.poles.iter().map(|p| contacts(&p.common, &p.nc, &p.no)).collect();
        assert!(same && poles == wanted, "seed {seed}: named wrong: {found:#?}");
        row.placements += f64::from(found.placements);
        row.lead_moves += f64::from(found.lead_moves);
        row.searched += searched(&led.facts);
    }
    let decided = (runs - row.undecided) as f64;
    row.placements /= decided;
    row.lead_moves /= decided;
    row.searched /= decided;
    row
}

/// Placements until the best candidate first passed the confidence.
fn searched(facts: &[Event]) -> f64 {
    let mut placements = 0.0;
    for fact in facts {
        match fact {
            Event::LeadsPlaced(_) => placements += 1.0,
            Event::BeliefUpdated(b) if b.candidates.iter().any(|c| c.posterior >= 0.9999) => break,
            _ => {}
        }
    }
    placements
}

#[test]
fn dealt_parts_are_named_right() {
    println!("poles  slips    placements  lead moves  to 0.9999  undecided");
    for (poles, runs) in [(1, runs()), (2, runs())] {
        for (name, slips) in [("none", SlipRates::NONE), ("usual", SlipRates::USUAL)] {
            let row = campaign(poles, slips, runs);
            println!(
                "{poles}C     {name:7}  {:10.3}  {:10.3}  {:9.3}  {:9}",
                row.placements, row.lead_moves, row.searched, row.undecided
            );
            assert!(row.undecided * 50 <= runs, "{} of {runs} undecided", row.undecided);
        }
    }
}
