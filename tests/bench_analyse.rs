//! The benchmark of `coilmark analyse`: a made-up log of many rows through the whole program,
//! beside a bare loop over the same bytes that does no more than find numbers. By hand, in release:
//!
//! `COILMARK_BENCH_ROWS=1e7 cargo test --release --test bench_analyse -- --nocapture`
//!
//! It prints rows a second, the ratio of medians and the peak of resident memory. By default it is
//! a short run, which holds that memory does not grow with the log and the page stays small.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use drivers::{Clock, SystemClock};
use std::fmt::Write as _;
use std::fs::File;
use std::io::{Read, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};

/// Seconds of a log, and when its output is on.
const LONG_S: f64 = 150.0;
const ON_S: f64 = 12.0;
const OFF_S: f64 = 132.0;

/// SplitMix64's mixer.
fn mixed(mut z: u64) -> u64 {
    z = z.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// Mean 0, variance 1, nearly normal.
fn scatter(i: u64) -> f64 {
    let z = mixed((1 << 40) + i);
    let sum = (z & 0xffff) + (z >> 16 & 0xffff) + (z >> 32 & 0xffff) + (z >> 48);
    (sum as f64 - 131_070.0) * 3.0_f64.sqrt() / 65_536.0
}

fn volts(t: f64, shape: &str, i: u64) -> f64 {
    let on = (ON_S..OFF_S).contains(&t);
    let beat = shape != "pulsed" || (t - ON_S).rem_euclid(1.0) < 0.5;
    let level = 13.7 - 0.25 * (1.0 - (-(t - ON_S).max(0.0) / 45.0).exp());
    if on && beat {
        let rise = if shape == "decay" { 1.0 - (-(t - ON_S) / 0.02).exp() } else { 1.0 };
        return level * rise + (0.005 + 0.015 * (t - ON_S) / 120.0) * scatter(i);
    }
    let end = 13.7 - 0.25 * (1.0 - (-120.0_f64 / 45.0).exp());
    let tail = if shape == "decay" && t >= OFF_S { end * (-(t - OFF_S) / 0.3).exp() } else { 0.0 };
    tail + 0.0005 + 0.002 * scatter(i)
}

/// A log of `rows` rows, exponent form if asked for.
fn write_log(path: &Path, rows: u64, shape: &str, exponents: bool) {
    let mut file = File::create(path).unwrap();
    let mut text = String::from("time,value,unit\n");
    for i in 0..rows {
        let micros = (i as f64 * LONG_S * 1e6 / rows as f64) as u64;
        let x = (volts(micros as f64 / 1e6, shape, i) * 1e4).round() / 1e4;
        let _ = write!(text, "{}.{:06},", micros / 1_000_000, micros % 1_000_000);
        let _ = if exponents {
            let power = if x.abs() >= 10.0 { 1 } else { 0 };
            writeln!(text, "{:+.5}E+{power:02},V", x / 10_f64.powi(power))
        } else {
            writeln!(text, "{x:.4},V")
        };
        if text.len() > 1 << 20 {
            file.write_all(text.as_bytes()).unwrap();
            text.clear();
        }
    }
    file.write_all(text.as_bytes()).unwrap();
}

/// Seconds that the whole program takes for this log, and what it says.
fn run(log: &Path, page: &Path, clock: &SystemClock) -> (f64, String) {
    let begun = clock.now();
    let out = Command::new(env!("CARGO_BIN_EXE_coilmark"))
        .args(["analyse", "--json", "--html"])
        .args([page, log])
        .output()
        .unwrap();
    let seconds = clock.now().since(begun).as_secs_f64();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    (seconds, String::from_utf8(out.stdout).unwrap())
}

/// Peak of resident memory, in KiB, once the whole log has gone in: asked before the input ends, so
/// that the process is still there.
fn peak_kib(log: &Path) -> Option<u64> {
    let mut child = Command::new(env!("CARGO_BIN_EXE_coilmark"))
        .args(["analyse", "--json", "-"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    std::io::copy(&mut File::open(log).unwrap(), &mut input).unwrap();
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id()));
    drop(input);
    assert!(child.wait_with_output().unwrap().status.success());
    let status = status.ok()?;
    let peak = status.lines().find(|line| line.starts_with("VmHWM"))?;
    peak.split_whitespace().nth(1)?.parse().ok()
}

/// The least that reading a log can cost: blocks of 256 KiB, and a sum over the numbers in them.
fn bare_loop(log: &Path, clock: &SystemClock) -> (f64, u64) {
    let begun = clock.now();
    let mut file = File::open(log).unwrap();
    let mut block = vec![0; 256 * 1024];
    let (mut number, mut sum) = (0_u64, 0_u64);
    loop {
        let n = file.read(&mut block).unwrap();
        if n == 0 {
            break;
        }
        for b in &block[..n] {
            let digit = b.wrapping_sub(b'0');
            if digit < 10 {
                number = number.wrapping_mul(10).wrapping_add(u64::from(digit));
            } else if *b != b'.' {
                sum = sum.wrapping_add(number);
                number = 0;
            }
        }
    }
    (clock.now().since(begun).as_secs_f64(), std::hint::black_box(sum))
}

fn median(mut of: Vec<f64>) -> f64 {
    of.sort_by(f64::total_cmp);
    of[of.len() / 2]
}

#[test]
fn any_length_in_little_memory_and_time() {
    let rows = std::env::var("COILMARK_BENCH_ROWS").ok().and_then(|n| n.parse::<f64>().ok());
    let (rows, rounds) = rows.map_or((200_000, 1), |rows| (rows as u64, 7));
    let clock = SystemClock::begin();
    let folder = tempfile::tempdir().unwrap();
    let (log, page) = (folder.path().join("log.csv"), folder.path().join("page.html"));
    for (shape, exponents) in
        [("steady", false), ("pulsed", false), ("decay", false), ("steady", true)]
    {
        write_log(&log, rows, shape, exponents);
        let (mut ours, mut bare) = (Vec::new(), Vec::new());
        let mut said = String::new();
        for _ in 0..rounds {
            let (seconds, stdout) = run(&log, &page, &clock);
            ours.push(seconds);
            bare.push(bare_loop(&log, &clock).0);
            said = stdout;
        }
        let (ours, bare) = (median(ours), median(bare));
        let peak = peak_kib(&log);
        let page_bytes = std::fs::metadata(&page).unwrap().len();
        println!(
            "{rows} rows, {shape}{}: {ours:.3} s, {:.1} million rows/s; bare loop {bare:.3} s, \
             ratio {:.2}; peak {} KiB; page {page_bytes} bytes",
            if exponents { ", exponent form" } else { "" },
            rows as f64 / ours / 1e6,
            ours / bare,
            peak.map_or("?".into(), |kib| kib.to_string()),
        );
        judge(&said, shape, rows);
        assert!(page_bytes <= 100_000, "{page_bytes}");
        // An unoptimised build is a little larger; the promise is 16 MiB.
        assert!(peak.is_none_or(|kib| kib < 16 * 1024), "{peak:?} KiB");
    }
}

/// No edge too many, none missed, each where it truly is.
fn judge(said: &str, shape: &str, rows: u64) {
    let found: serde_json::Value = serde_json::from_str(said).unwrap();
    let edges = found["changes"].as_array().unwrap();
    let interval = LONG_S / rows as f64;
    let beats = if shape == "pulsed" { 120 } else { 1 };
    assert_eq!(edges.len(), 2 * beats, "{shape}: {said:.2000}");
    let near = |field: &str, truly: f64| {
        let at = found[field].as_f64().unwrap();
        assert!((at - truly).abs() <= interval.max(1e-3), "{shape}: {field} {at}, truly {truly}");
        println!("  {field} off by {:.6} s, intervals {:.6} s", at - truly, interval);
    };
    near("on_at_s", ON_S);
    near("off_at_s", if shape == "pulsed" { OFF_S - 0.5 } else { OFF_S });
    assert_eq!(found["readings"].as_u64(), Some(rows));
}
