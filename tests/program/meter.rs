//! A meter for the program to talk to: an instrument whose commands somebody else's interpreter
//! reads, on a pseudo-terminal or TCP, and which shows what the bench in the test's process says.
//! Its conversions take real time, as a meter's do; the bench's own time is simulated.

use super::instrument::{Instrument, OVERLOAD};
use coilmark::bench::{Bench, BenchOptions, Part, SlipRates};
use drivers::{Clock, Function, SystemClock, Value};
use std::time::Duration;

/// One conversion. A bench meter at its fast setting; common practice, no source.
const CONVERSION: Duration = Duration::from_millis(10);

/// A bench with steady hands and a meter without noise, so that two runs differ in nothing.
pub fn bench(part: Part) -> Bench {
    let options = BenchOptions { slips: SlipRates::NONE, noise: 0.0, ..BenchOptions::default() };
    Bench::new(part, options)
}

/// Its meter on a pseudo-terminal.
pub fn on_pty(bench: &Bench) -> Instrument {
    Instrument::on_pty(shown_by(bench))
}

/// Its meter on TCP.
pub fn on_tcp(bench: &Bench) -> Instrument {
    Instrument::on_tcp(shown_by(bench))
}

/// What the meter shows, after the time that it takes.
fn shown_by(bench: &Bench) -> impl FnMut(Function) -> f64 + Send + 'static {
    let bench = bench.clone();
    move |function| {
        SystemClock::begin().pause(CONVERSION);
        match bench.read(function).0 {
            Value::Number(shown) => shown,
            _ => OVERLOAD,
        }
    }
}
