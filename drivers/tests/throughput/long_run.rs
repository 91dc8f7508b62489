//! What long runs cost: a meter that sends 10,000 lines a second for some seconds of real time,
//! each written to a log, with the processor time of the port's thread; and a day of readings on a
//! clock set by hand, with the memory that is left of it. Linux only: it tells both under `/proc`.

use super::far_end::pty;
use drivers::clock::Moment;
use drivers::watch::Watch;
use drivers::{Clock, Function, Input, MeterEvent, Order, Port, Profile, SystemClock};
use std::io::{BufWriter, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

const PER_SECOND: u64 = 10_000;
/// The most that it may take of one core, in percent.
const CORE_PERCENT_MAX: f64 = 15.0;
/// The most that a day may leave in memory, in kilobytes.
const GROWTH_KB_MAX: u64 = 1024;

/// Sends numbered lines at a steady rate; gives how many, once it is told to stop.
fn send_lines(mut far: std::fs::File, stop: &AtomicBool) -> u64 {
    let clock = SystemClock::begin();
    let mut sent = 0_u64;
    while !stop.load(Ordering::Relaxed) {
        let due = (clock.now().as_secs_f64() * PER_SECOND as f64) as u64;
        let mut lines = Vec::new();
        while sent < due {
            // The number is the reading, so that a lost line shows as a gap.
            writeln!(lines, "+{:07} OHM\r", sent % 1_000_000).unwrap();
            sent += 1;
        }
        far.write_all(&lines).unwrap();
        clock.pause(Duration::from_millis(2));
    }
    sent
}

/// Processor time of the thread of this name, in seconds.
fn processor_seconds(name: &str) -> f64 {
    for task in std::fs::read_dir("/proc/self/task").unwrap().flatten() {
        let read = |file: &str| std::fs::read_to_string(task.path().join(file)).unwrap_or_default();
        if read("comm").trim() == name {
            let nanos = read("schedstat");
            let nanos = nanos.split(' ').next().and_then(|text| text.parse::<f64>().ok());
            return nanos.unwrap_or(f64::NAN) / 1e9;
        }
    }
    f64::NAN
}

/// Whether nothing was lost and the core was left alone.
pub fn ten_thousand_lines_a_second(seconds: u64) -> bool {
    println!("\na meter that sends {PER_SECOND} lines a second, logged for {seconds} s");
    let (path, far, near) = pty();
    let stop = Arc::new(AtomicBool::new(false));
    let stopped = stop.clone();
    let sender = std::thread::spawn(move || send_lines(far, &stopped));
    let log = tempfile::NamedTempFile::new().unwrap();
    let mut out = BufWriter::new(log.reopen().unwrap());
    let (taken, gaps) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicU64::new(0)));
    let (counter, gap_counter) = (taken.clone(), gaps.clone());
    let newest = Arc::new(AtomicU64::new(0));
    let newest_taken = newest.clone();
    let mut last = None;
    let sink = move |event| {
        match event {
            MeterEvent::ReadingTaken { reading, .. } => {
                let value = reading.value.number().unwrap();
                let at = reading.at.as_secs_f64();
                writeln!(out, "{at:.6},{value},{},0", reading.unit.symbol()).unwrap();
                let in_order = last.is_none_or(|last: f64| (last + 1.0) % 1e6 == value);
                gap_counter.fetch_add(u64::from(!in_order), Ordering::Relaxed);
                last = Some(value);
                newest_taken.store(value as u64, Ordering::Relaxed);
                counter.fetch_add(1, Ordering::Relaxed);
            }
            MeterEvent::Complained(error) => println!("  complaint: {error}"),
            _ => {}
        }
        true
    };
    let clock = Arc::new(SystemClock::begin());
    let spec = format!("serial:{path}").parse().unwrap();
    let profile = Profile::load("ascii-lines").unwrap();
    let port = Port::open(&spec, &profile, clock.clone(), Duration::ZERO, sink).unwrap();
    port.order(Order::Measure { function: Function::Resistance, epoch: 1 });
    clock.pause(Duration::from_millis(500));
    let (began, busy, first) =
        (clock.now(), processor_seconds("meter"), taken.load(Ordering::Relaxed));
    clock.pause(Duration::from_secs(seconds));
    let wall = clock.now().since(began).as_secs_f64();
    let percent = 100.0 * (processor_seconds("meter") - busy) / wall;
    let rate = (taken.load(Ordering::Relaxed) - first) as f64 / wall;
    // The sender stops first: with nobody reading, its writes would wait for ever.
    stop.store(true, Ordering::Relaxed);
    let sent = sender.join();
    clock.pause(Duration::from_millis(200));
    port.close();
    drop(near);
    let lost = gaps.load(Ordering::Relaxed);
    let rows = std::fs::read_to_string(log.path()).unwrap().lines().count();
    println!("  {rate:.0} readings/s logged, {rows} rows, {lost} gaps, {percent:.1} % of one core");
    // Without a gap, and with the last line that was sent, the log has all since its first.
    let (sent, newest) = (sent.unwrap_or_default(), newest.load(Ordering::Relaxed));
    let whole = lost == 0 && newest == sent.wrapping_sub(1) % 1_000_000;
    println!("  {sent} lines sent in all; the last logged has number {newest}");
    let met = whole && rate > 0.98 * PER_SECOND as f64 && percent < CORE_PERCENT_MAX;
    println!(
        "  aim nothing lost, under {CORE_PERCENT_MAX} %: {}",
        if met { "met" } else { "MISSED" }
    );
    met
}

/// The most memory that this process has held, in kilobytes.
fn peak_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
    line.trim().trim_end_matches(" kB").parse().unwrap()
}

/// A day of lines, four a second, through a session and the counts of a watch.
pub fn a_day_of_readings() -> bool {
    println!("\na day of readings, four a second, on a clock set by hand");
    let profile = Profile::load("ascii-lines").unwrap();
    let mut session = profile.session("day");
    let (mut watch, mut tenth) = (Watch::new(), 0);
    let at = |quarter: u64| Moment::from_start(Duration::from_millis(250 * quarter));
    session.handle(Input::LinkOpened, at(0)).unwrap();
    let order = Order::Measure { function: Function::Resistance, epoch: 1 };
    session.handle(Input::OrderGiven(order), at(1)).unwrap();
    let quarters = 24 * 3600 * 4;
    for quarter in 2..quarters {
        let line = format!("+{:06.1} OHM\r\n", 300.0 + (quarter % 977) as f64 / 10.0);
        session.handle(Input::BytesReceived(line.as_bytes()), at(quarter)).unwrap();
        while let Some(event) = session.next_event() {
            watch.handle(&event);
        }
        if quarter == quarters / 10 {
            tenth = peak_kb();
        }
    }
    let grown = peak_kb() - tenth;
    println!("  {} readings; {grown} kB more memory after the first tenth", watch.readings);
    let met = watch.readings > quarters - 10 && grown < GROWTH_KB_MAX;
    println!("  aim under {GROWTH_KB_MAX} kB: {}", if met { "met" } else { "MISSED" });
    met
}
