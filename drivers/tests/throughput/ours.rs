//! Our side of each row: a port that measures as fast as the meter answers, with the shipped SCPI
//! profile but for its pause between readings. Every reading is parsed and arrives in an event,
//! which keeps its text; every query the session makes counts, its checks included.

use super::far_end::FarEnd;
use drivers::{Clock, Function, MeterEvent, Order, Port, Profile, SystemClock};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc;
use std::time::Duration;

fn profile(changes: &[(&str, &str)]) -> Profile {
    let mut text = Profile::shipped_text("scpi").unwrap().to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "the profile has no {from}");
        text = text.replace(from, to);
    }
    Profile::parse("throughput", &text).unwrap()
}

/// Measures for a while; what `count` counts, per second.
fn measured(server: &FarEnd, profile: &Profile, turn: Duration, count: impl Fn(u64) -> f64) -> f64 {
    let clock = Arc::new(SystemClock::begin());
    let (sender, answered) = mpsc::channel();
    let readings = Arc::new(AtomicU64::new(0));
    let counter = readings.clone();
    let sink = move |event| match event {
        MeterEvent::ReadingTaken { .. } => {
            counter.fetch_add(1, Ordering::Relaxed);
            true
        }
        MeterEvent::BlockTaken { block, .. } => {
            // What a caller does with them at the least: as the Python rows do, and a sum.
            let sum: f64 = block.values().filter_map(|value| value.number()).sum();
            assert!(sum > block.values().len() as f64, "it read what was sent");
            counter.fetch_add(block.values().len() as u64, Ordering::Relaxed);
            true
        }
        MeterEvent::Answered { .. } => sender.send(()).is_ok(),
        other => panic!("{other:?}"),
    };
    let spec = server.link().parse().unwrap();
    let ended = move |event| matches!(event, MeterEvent::Ended(None)) || sink(event);
    let port = Port::open(&spec, profile, clock.clone(), Duration::ZERO, ended).unwrap();
    answered.recv_timeout(Duration::from_secs(10)).unwrap();
    port.order(Order::Measure { function: Function::VoltageDc, epoch: 1 });
    let late = clock.now() + Duration::from_secs(10);
    while readings.load(Ordering::Relaxed) == 0 {
        assert!(clock.now() < late, "no reading came");
        clock.pause(Duration::from_millis(1));
    }
    let (began, before) = (clock.now(), count(readings.load(Ordering::Relaxed)));
    clock.pause(turn);
    let after = count(readings.load(Ordering::Relaxed));
    let seconds = clock.now().since(began).as_secs_f64();
    port.close();
    (after - before) / seconds
}

/// Queries answered per second.
pub fn queries(server: &FarEnd, turn: Duration) -> f64 {
    let profile = profile(&[("pace_ms = 5", "pace_ms = 0")]);
    measured(server, &profile, turn, |_| server.answered() as f64)
}

/// Readings per second that come in blocks.
pub fn blocks(server: &FarEnd, turn: Duration, block: usize) -> f64 {
    let many = format!("pace_ms = 0\nreadings_per_query = {block}");
    let volts = "configure = [\"CONF:VOLT:DC\"]";
    let fetched = format!("{volts}\nread = \"FETC?\"");
    let profile = profile(&[("pace_ms = 5", &many), (volts, &fetched)]);
    measured(server, &profile, turn, |readings| readings as f64)
}
