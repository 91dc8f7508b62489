//! A person who keeps time: seconds per identification with the program, against the same person
//! who measures every pair of pins by the book, at rest and again with the coil driven. Simulated
//! time, seeded; every part is dealt anew; the coil is driven by a switch or by a supply that takes
//! commands. Short by default; `COILMARK_CAMPAIGN=10 cargo test --release --test person_time --
//! --nocapture` does ten times as many, and holds the aims. The times are those of MTM-1, from
//! memory; what that system does not know is an assumption and says so.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that cannot go on has failed"
)]

mod guided;

use coilmark::bench::{Bench, BenchOptions, HandTimes, Part, SlipRates};
use coilmark::event::{Ask, HandSeconds, Outcome};
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

/// A usual meter's next reading, in seconds. Assumption.
const SETTLE_S: f64 = 0.25;

/// The two slow bells, and to react to them: 0.2 s. From memory; simple reactions to a sound are
/// given as 0.14 to 0.2 s.
const HEARD_S: f64 = 0.45 + 0.2;

/// Who drives the coil.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Supply {
    /// The person, by the switch of a supply without a link.
    Switched,
    /// A supply that takes commands (`--drive`).
    Commanded,
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

    fn hands(&self, supply: Supply) -> HandTimes {
        let span = Duration::from_secs_f64;
        HandTimes {
            lead: span(self.lead_s),
            drive: span(self.switch_s(supply)),
            dial: span(self.drive_s),
            answer: span(self.look_s + self.pedal_s),
        }
    }

    /// The coil is driven or released: the bells are heard out, the switch is thrown, the pedal
    /// pressed. The first time the drive is also read on the screen, which is left out here.
    fn switch_s(&self, supply: Supply) -> f64 {
        match supply {
            Supply::Switched => HEARD_S + self.drive_s + self.pedal_s,
            Supply::Commanded => 0.0,
        }
    }

    /// What this person tells the program of their hands (`--hand-seconds`): a placement is read,
    /// made, confirmed and settles.
    fn costs(&self, supply: Supply) -> HandSeconds {
        let placed_s = self.look_s + self.pedal_s + SETTLE_S;
        HandSeconds {
            one_lead_s: self.lead_s + placed_s,
            two_leads_s: 2.0 * self.lead_s + placed_s,
            drive_s: 2.0 * (self.switch_s(supply) + SETTLE_S),
        }
    }

    /// Every pair at rest, then every pair without the coil's pins while it is driven: one lead
    /// walks, the other follows once a row; each value is read and written down. No touch is
    /// repeated and nothing is proved; the thinking at the end is not counted.
    fn by_the_book_s(&self, pins: u32, supply: Supply) -> f64 {
        let pairs = |n: u32| f64::from(n * (n - 1) / 2);
        let moves = |n: u32| pairs(n) + f64::from(n - 1);
        let looks = pairs(pins) + pairs(pins - 2);
        (moves(pins) + moves(pins - 2)) * self.lead_s
            + looks * (self.look_s + SETTLE_S + self.write_s)
            + 2.0 * self.switch_s(supply)
    }
}

/// A part with `poles` changeovers. On two equal rows the coil stands at one end and the rows
/// mirror each other, as real parts are built; without a footprint the pins are dealt.
fn part(poles: usize, on_rows: bool, seed: u64) -> Part {
    let count = 2 + 3 * poles;
    let mut order: Vec<usize> = (1..=count).collect();
    let row = count / 2;
    if on_rows {
        // Coil across the rows at one end or the other, then each row's pins in threes.
        order = match seed % 2 {
            0 => vec![row, count],
            _ => vec![1, row + 1],
        };
        let coil = order.clone();
        order.extend((1..=count).filter(|pin| !coil.contains(pin)));
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
fn row(poles: usize, on_rows: bool, quick: bool, supply: Supply, runs: u64) -> Row {
    let times = Times::new();
    let mut row = Row { seconds: 0.0, placements: 0.0, by_the_book_s: 0.0, decided: 0 };
    for seed in 1..=runs {
        let part = part(poles, on_rows, seed);
        let mut terms = guided::terms(&part.pins, part.footprint.as_deref());
        terms.start.quick = quick;
        terms.start.hand_seconds = Some(times.costs(supply));
        row.by_the_book_s = times.by_the_book_s(part.pins.count() as u32, supply);
        let options = BenchOptions {
            seed,
            slips: SlipRates::USUAL,
            times: times.hands(supply),
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

fn measured(
    (poles, on_rows): (usize, bool),
    quick: bool,
    supply: Supply,
    short: f64,
) -> Option<Row> {
    let runs = (short * size()).floor() as u64;
    if runs == 0 {
        return None;
    }
    let row = row(poles, on_rows, quick, supply, runs);
    println!(
        "{:2} pins, {}, {}, {}: {:6.1} s, {:5.1} placements; pair by pair {:6.1} s: {:4.1} times ({} runs)",
        2 + 3 * poles,
        if on_rows { "footprint" } else { "any      " },
        if quick { "named        " } else { "named, proved" },
        if supply == Supply::Switched { "switched " } else { "commanded" },
        row.seconds,
        row.placements,
        row.by_the_book_s,
        row.factor(),
        runs
    );
    assert!(row.decided * 10 >= runs * 9, "{} of {runs} decided", row.decided);
    Some(row)
}

/// So many times faster at the least. Few runs say little: then faster at all.
fn aim(part: (usize, bool), supply: Supply, runs: u64) -> f64 {
    match (part, supply) {
        _ if runs < 20 => 1.0,
        ((2, false), Supply::Commanded) => 3.0,
        ((2, true), Supply::Commanded) => 6.0,
        ((2, false), Supply::Switched) => 2.5,
        ((2, true), Supply::Switched) => 3.5,
        _ => 1.5,
    }
}

#[test]
fn a_person_is_faster_than_pair_by_pair() {
    let kinds =
        [(1, false, 10.0), (2, false, 6.0), (2, true, 6.0), (4, false, 0.1), (4, true, 0.5)];
    for supply in [Supply::Switched, Supply::Commanded] {
        for quick in [false, true] {
            for (poles, on_rows, short) in kinds {
                let Some(row) = measured((poles, on_rows), quick, supply, short) else { continue };
                assert!(row.factor() > aim((poles, on_rows), supply, row.decided));
            }
        }
    }
}
