//! A person who keeps time: seconds per identification with the program, against the same person
//! who measures every pair of pins by the book, at rest and again with the coil driven. Simulated
//! time, seeded; every part is dealt anew. Short by default; `COILMARK_CAMPAIGN=10 cargo test
//! --release --test person_time -- --nocapture` does ten times as many. The times are those of
//! MTM-1, from memory; what that system does not know is an assumption and says so.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that cannot go on has failed"
)]

mod guided;

use coilmark::bench::{Bench, BenchOptions, HandTimes, Part, SlipRates};
use coilmark::event::{Ask, Outcome};
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_pcg::Pcg64;
use std::fmt::Write;
use std::time::Duration;

/// One time measurement unit of MTM-1: a hundred-thousandth of an hour. From memory.
const TMU_S: f64 = 0.036;

/// Elements of MTM-1 in TMU. From memory.
mod mtm {
    /// Disengage, loose.
    pub const D1E: f64 = 4.0;
    /// Move 10 cm to an exact place.
    pub const M10C: f64 = 7.9;
    /// Reach or move 30 cm.
    pub const R30B: f64 = 12.8;
    /// Position, close fit, symmetrical, easy to handle: a tip on a pin.
    pub const P2SE: f64 = 16.2;
    /// Apply pressure.
    pub const APA: f64 = 10.6;
    /// Eye travel, the longest.
    pub const ET: f64 = 20.0;
    /// Eye focus.
    pub const EF: f64 = 7.3;
    /// Foot motion, as on a pedal.
    pub const FM: f64 = 8.5;
}

/// The person's times, in seconds.
struct Times {
    /// One lead to another pin: eyes to the part, find the pin, off, over, on, press.
    lead_s: f64,
    /// Eyes to the screen or the meter, and take in what stands there. The taking-in (half a
    /// second) is an assumption: two numbers that stand large, or one value.
    look_s: f64,
    /// The pedal.
    pedal_s: f64,
    /// The supply's switch and back.
    drive_s: f64,
    /// Write a value down in its box on a form, pen in hand: put the lead's hand aside, reach,
    /// write four characters, return. Four characters at a third of a second are an assumption.
    write_s: f64,
}

impl Times {
    fn new() -> Self {
        use mtm::*;
        Self {
            lead_s: TMU_S * (ET + EF + D1E + M10C + P2SE + APA),
            look_s: TMU_S * (ET + EF) + 0.5,
            pedal_s: TMU_S * FM,
            drive_s: TMU_S * (2.0 * R30B + APA),
            write_s: TMU_S * (2.0 * R30B + ET + EF) + 4.0 / 3.0,
        }
    }

    fn hands(&self) -> HandTimes {
        let span = Duration::from_secs_f64;
        HandTimes {
            lead: span(self.lead_s),
            drive: span(self.drive_s),
            dial: span(self.drive_s),
            answer: span(self.look_s + self.pedal_s),
        }
    }

    /// Every pair at rest, then every pair without the coil's pins while it is driven: one lead
    /// walks, the other follows once a row; each value is read and written down. No touch is
    /// repeated and nothing is proved; the thinking at the end is not counted.
    fn by_the_book_s(&self, pins: u32) -> f64 {
        let pairs = |n: u32| f64::from(n * (n - 1) / 2);
        let moves = |n: u32| pairs(n) + f64::from(n - 1);
        let looks = pairs(pins) + pairs(pins - 2);
        let settle_s = 0.25; // A usual meter's next reading. Assumption.
        (moves(pins) + moves(pins - 2)) * self.lead_s
            + looks * (self.look_s + settle_s + self.write_s)
            + 2.0 * self.drive_s
    }
}

/// A part with `poles` changeovers. On two equal rows the coil stands at one end and the rows
/// mirror each other, as real parts are built; without a footprint the pins are dealt.
fn part(poles: usize, on_rows: bool, seed: u64) -> Part {
    let count = 2 + 3 * poles;
    let mut order: Vec<usize> = (1..=count).collect();
    let row = count / 2;
    if on_rows {
        // Coil across the rows at one end, then each row's pins in threes.
        order = vec![1, row + 1];
        order.extend((2..=row).chain(row + 2..=count));
    } else {
        order.shuffle(&mut Pcg64::seed_from_u64(seed));
    }
    let mut text = format!("name = \"dealt by {seed}\"\npins = {count}\n");
    if on_rows {
        let _ = writeln!(text, "footprint = \"{row}+{row}\"");
    }
    let (a, b) = (order[0], order[1]);
    let mut contacts = String::new();
    for pole in order[2..].chunks(3) {
        let [c, nc, no] =
            [pole[seed as usize % 3], pole[(seed as usize + 1) % 3], pole[(seed as usize + 2) % 3]];
        let _ =
            writeln!(contacts, "[[contact]]\ncommon = [\"{c}\"]\nnc = [\"{nc}\"]\nno = [\"{no}\"]");
    }
    let _ = write!(
        text,
        "[[coil]]\npins = [\"{a}\", \"{b}\"]\nohms = 360.0\nrated_volts = 12.0\n\
         pick_up_volts = 7.8\ndrop_out_volts = 3.0\n{contacts}\n\
         [truth]\nfamily = \"{poles}C\"\ncoils = [[\"{a}\", \"{b}\"]]\n"
    );
    Part::parse(&text, "dealt").unwrap_or_else(|bad| panic!("{bad}: {text}"))
}

/// What a row of runs took on average.
struct Row {
    seconds: f64,
    placements: f64,
    by_the_book_s: f64,
    decided: u64,
}

impl Row {
    fn factor(&self) -> f64 {
        self.by_the_book_s / self.seconds
    }
}

/// The cautions are read once in a working day, by either person, and are not counted.
fn row(poles: usize, on_rows: bool, quick: bool, runs: u64) -> Row {
    let times = Times::new();
    let mut row = Row { seconds: 0.0, placements: 0.0, by_the_book_s: 0.0, decided: 0 };
    for seed in 1..=runs {
        let part = part(poles, on_rows, seed);
        let mut terms = guided::terms(&part.pins, part.footprint.as_deref());
        terms.start.quick = quick;
        row.by_the_book_s = times.by_the_book_s(part.pins.count() as u32);
        let options = BenchOptions {
            seed,
            slips: SlipRates::USUAL,
            times: times.hands(),
            ..BenchOptions::default()
        };
        let bench = Bench::new(part, options);
        let led = guided::lead(&bench, terms, &[], |_, _, _| None);
        if led.finding().result == Outcome::Undecided {
            println!("seed {seed}: undecided: {:?}", led.finding().reason);
            continue;
        }
        let cautions = led.asks.iter().filter(|ask| matches!(ask, Ask::Acknowledge { .. })).count();
        let cautions_s = cautions as f64 * (times.look_s + times.pedal_s);
        row.seconds += bench.now().as_secs_f64() - cautions_s;
        row.placements += f64::from(led.finding().placements);
        row.decided += 1;
    }
    row.seconds /= row.decided as f64;
    row.placements /= row.decided as f64;
    row
}

fn size() -> f64 {
    let size = std::env::var("COILMARK_CAMPAIGN").ok().and_then(|size| size.parse::<f64>().ok());
    size.unwrap_or(1.0)
}

fn measured(poles: usize, on_rows: bool, quick: bool, short: f64) -> Option<Row> {
    let runs = (short * size()).floor() as u64;
    if runs == 0 {
        return None;
    }
    let row = row(poles, on_rows, quick, runs);
    println!(
        "{:2} pins, {}, {}: {:6.1} s, {:5.1} placements; pair by pair {:6.1} s: {:4.1} times ({} runs)",
        2 + 3 * poles,
        if on_rows { "footprint" } else { "any      " },
        if quick { "named       " } else { "named, proved" },
        row.seconds,
        row.placements,
        row.by_the_book_s,
        row.factor(),
        runs
    );
    assert!(row.decided * 10 >= runs * 9, "{} of {runs} decided", row.decided);
    Some(row)
}

#[test]
fn a_person_is_faster_than_pair_by_pair() {
    let proved_and_quick = [false, true];
    for quick in proved_and_quick {
        for (poles, on_rows, short) in
            [(1, false, 10.0), (2, false, 6.0), (2, true, 6.0), (4, false, 0.1), (4, true, 0.5)]
        {
            let Some(row) = measured(poles, on_rows, quick, short) else { continue };
            assert!(row.factor() > 1.0, "slower than pair by pair");
        }
    }
}
