//! How fast links are, each beside its peers in one run, and what a long run costs. The far end is
//! one server for all: it answers every line at once. Ours is the whole way from an order to a
//! reading (port, session, parser); the peers are a bare loop in Rust on the same socket or port,
//! and clients in Python in an environment that is made under `target/` at the first run (it needs
//! `python3` and a package index; without them those rows are left out, and said). Rounds alternate
//! between the contestants; medians and ratios are printed, and aims that are missed fail the run.
//! `cargo test --release -p coilmark-drivers --test throughput`; `COILMARK_CAMPAIGN=60` takes 60 s
//! for the meter that sends 10,000 lines a second; a word behind `--` chooses parts by name.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a benchmark rests on and does not find ends it"
)]

#[path = "throughput/far_end.rs"]
mod far_end;
#[path = "throughput/long_run.rs"]
mod long_run;
#[path = "throughput/ours.rs"]
mod ours;
#[path = "throughput/peers.rs"]
mod peers;

use far_end::FarEnd;
use std::path::Path;
use std::time::Duration;

/// One contestant's turn lasts this long.
const TURN: Duration = Duration::from_millis(600);
/// Turns of each contestant; the median counts.
const TURNS: usize = 5;
/// Readings of a block.
const BLOCK: usize = 10_000;

/// A contestant: its name, and what it did in each turn, per second.
struct Row {
    name: &'static str,
    rates: Vec<f64>,
}

impl Row {
    fn median(&self) -> f64 {
        let mut rates = self.rates.clone();
        rates.sort_by(f64::total_cmp);
        rates.get(rates.len() / 2).copied().unwrap_or(f64::NAN)
    }
}

type Contestant<'a> = (&'static str, Box<dyn FnMut() -> Option<f64> + 'a>);

/// Lets them take turns; who cannot take part is left out.
fn compete(title: &str, unit: &str, mut contestants: Vec<Contestant<'_>>) -> Vec<Row> {
    let mut rows: Vec<Row> =
        contestants.iter().map(|(name, _)| Row { name, rates: Vec::new() }).collect();
    for _ in 0..TURNS {
        for (row, (_, turn)) in rows.iter_mut().zip(&mut contestants) {
            row.rates.extend(turn());
        }
    }
    println!("\n{title} ({unit}, median of {TURNS} turns)");
    for row in &rows {
        match row.rates.is_empty() {
            true => println!("  {:<28} left out", row.name),
            false => println!("  {:<28} {:>12.0}", row.name, row.median()),
        }
    }
    rows.retain(|row| !row.rates.is_empty());
    rows
}

/// Compares ours with a peer; false if the aim is missed.
fn aim(rows: &[Row], peer: &str, at_least: f64) -> bool {
    let of = |name: &str| rows.iter().find(|row| row.name == name).map(Row::median);
    let (Some(ours), Some(theirs)) = (of("ours"), of(peer)) else { return true };
    let ratio = ours / theirs;
    let met = ratio >= at_least;
    let word = if met { "met" } else { "MISSED" };
    println!("  ours / {peer}: {ratio:.2} (aim {at_least}: {word})");
    met
}

/// A part of the benchmark: what it does, as a word on the command line chooses it, and whether all
/// its aims are met.
type Part = (&'static str, fn(Option<&Path>) -> bool);

const PARTS: [Part; 5] = [
    ("queries-tcp", queries_over_tcp),
    ("blocks-tcp", blocks_over_tcp),
    ("queries-terminal", queries_over_a_terminal),
    ("lines", |_| long_run::ten_thousand_lines_a_second(campaign_seconds())),
    ("day", |_| long_run::a_day_of_readings()),
];

fn main() {
    let python = peers::python();
    let wanted = std::env::args().skip(1).find(|word| !word.starts_with('-'));
    let chosen =
        PARTS.iter().filter(|(name, _)| wanted.as_ref().is_none_or(|word| name.contains(word)));
    let met: Vec<bool> = chosen.map(|(_, part)| part(python.as_deref())).collect();
    let missed = met.iter().filter(|met| !**met).count();
    println!("\n{} parts, aims missed in {missed}", met.len());
    std::process::exit(i32::from(missed > 0 || met.is_empty()));
}

fn campaign_seconds() -> u64 {
    let seconds = std::env::var("COILMARK_CAMPAIGN").ok().and_then(|text| text.parse().ok());
    seconds.unwrap_or(5)
}

fn queries_over_tcp(python: Option<&Path>) -> bool {
    let server = FarEnd::on_tcp(BLOCK);
    let link = server.link();
    let rows = compete(
        "queries over TCP",
        "answers per second",
        vec![
            ("ours", Box::new(|| Some(ours::queries(&server, TURN)))),
            ("a bare client", Box::new(|| Some(peers::bare_tcp(&link, TURN)))),
            ("pyvisa-py", Box::new(|| peers::pyvisa(python, &link, "query", TURN))),
        ],
    );
    aim(&rows, "pyvisa-py", 1.5) & aim(&rows, "a bare client", 0.9)
}

fn blocks_over_tcp(python: Option<&Path>) -> bool {
    let server = FarEnd::on_tcp(BLOCK);
    let link = server.link();
    let rows = compete(
        "blocks of 10,000 readings over TCP",
        "readings per second",
        vec![
            ("ours", Box::new(|| Some(ours::blocks(&server, TURN, BLOCK)))),
            ("pyvisa-py", Box::new(|| peers::pyvisa(python, &link, "block", TURN))),
        ],
    );
    aim(&rows, "pyvisa-py", 5.0)
}

fn queries_over_a_terminal(python: Option<&Path>) -> bool {
    let server = FarEnd::on_pty(BLOCK);
    let link = server.link();
    let rows = compete(
        "queries over a pseudo-terminal",
        "answers per second",
        vec![
            ("ours", Box::new(|| Some(ours::queries(&server, TURN)))),
            ("a bare loop on serialport", Box::new(|| Some(peers::bare_serial(&link, TURN)))),
            ("pyserial", Box::new(|| peers::pyserial(python, &link, TURN))),
            ("pyvisa-py", Box::new(|| peers::pyvisa(python, &link, "query", TURN))),
        ],
    );
    aim(&rows, "a bare loop on serialport", 1.0)
        & aim(&rows, "pyserial", 3.0)
        & aim(&rows, "pyvisa-py", 3.0)
}
