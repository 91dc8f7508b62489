//! `coilmark analyse` as a user meets it: the contract's object, the exit codes, one message with
//! one hint, and a page that is small, closed to the network, and draws every extreme of its log.
//! The logs are made up from a seed, with the truth beside them.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod output_logs;

use assert_cmd::Command;
use output_logs::Truth;
use serde_json::Value;
use std::path::Path;

fn analyse(args: &[&str], folder: &Path) -> (i32, String, String) {
    let out = Command::cargo_bin("coilmark")
        .unwrap()
        .arg("analyse")
        .args(args)
        .current_dir(folder)
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (out.status.code().unwrap(), text(&out.stdout), text(&out.stderr))
}

fn with_log(text: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("log.csv"), text).unwrap();
    folder
}

fn result(text: &str) -> Value {
    let folder = with_log(text);
    let (exit, stdout, stderr) = analyse(&["log.csv", "--json"], folder.path());
    assert_eq!((exit, stderr.as_str()), (0, ""));
    assert_eq!(stdout.lines().count(), 1);
    serde_json::from_str(&stdout).unwrap()
}

#[test]
fn the_object_has_the_contracts_fields_in_the_contracts_order() {
    let mut truth = Truth::steady("contract", 5);
    (truth.alarms, truth.level, truth.sag) = (vec![(4.2, 125.3)], 13.78, -0.09 / 60.0);
    let folder = with_log(&truth.csv());
    let (_, stdout, _) = analyse(&["log.csv", "--json"], folder.path());
    let wanted = [
        "v",
        "note",
        "kind",
        "result",
        "rest_volts",
        "alarm_volts",
        "alarm_volts_min",
        "alarm_volts_max",
        "polarity",
        "shape",
        "period_s",
        "duty",
        "on_at_s",
        "off_at_s",
        "window_s",
        "window_s_u",
        "sag_volts_per_min",
        "readings",
        "simulated",
    ];
    let mut at = 0;
    for field in wanted {
        let found = stdout[at..].find(&format!("\"{field}\":"));
        at += found.unwrap_or_else(|| panic!("{field} is not where it belongs: {stdout}"));
    }
    let found: Value = serde_json::from_str(&stdout).unwrap();
    assert_eq!(found["v"], 1);
    for (field, word) in [
        ("note", "result"),
        ("kind", "output"),
        ("result", "described"),
        ("polarity", "as connected"),
        ("shape", "steady"),
    ] {
        assert_eq!(found[field], word);
    }
    assert!((found["sag_volts_per_min"].as_f64().unwrap() + 0.09).abs() < 0.01);
    assert!((found["window_s"].as_f64().unwrap() - 121.1).abs() <= 0.1 + 1e-6);
    assert!(found["period_s"].is_null() && found["duty"].is_null());
}

#[test]
fn none_and_held_are_no_failures() {
    let mut never = Truth::steady("never", 6);
    never.alarms.clear();
    let found = result(&never.csv());
    assert_eq!(found["shape"], "none");
    assert!(found["alarm_volts"].is_null() && found["on_at_s"].is_null());
    let mut held = Truth::steady("held", 7);
    held.alarms = vec![(12.0, f64::INFINITY)];
    let found = result(&held.csv());
    assert_eq!(found["shape"], "held");
    assert!(found["off_at_s"].is_null() && found["window_s"].is_null());
    assert!((found["held_s_min"].as_f64().unwrap() - 138.0).abs() < 0.2);
}

#[test]
fn what_is_left_out_is_counted() {
    let mut lines: Vec<String> =
        Truth::steady("counted", 8).csv().lines().map(Into::into).collect();
    lines[301] = "garbage".into();
    lines[401] = "40.0,,V,1".into();
    lines[501] = "49.9,0.0,V,0".into();
    lines.swap(601, 603);
    lines.drain(801..851);
    let found = result(&(lines.join("\n") + "\n"));
    let counts = &found["counts"];
    assert_eq!(counts["broken_rows"], 1);
    assert_eq!(counts["overloads"], 1);
    assert!(counts["out_of_order"].as_u64().unwrap() >= 2);
    assert_eq!(counts["gaps"], 1);
    assert!((counts["gaps_s"].as_f64().unwrap() - 5.1).abs() < 0.01);
    assert_eq!(found["shape"], "steady");
    let u = found["window_s_u"].as_f64().unwrap();
    assert!((5.1..5.5).contains(&u), "the gap is part of the uncertainty: {u}");
    assert_eq!(found["windows"].as_array().unwrap().len(), 1);
}

#[test]
fn a_meter_too_slow_for_the_cadence_says_so() {
    let mut truth = Truth::steady("slow", 9);
    (truth.rate, truth.jitter, truth.pulse) = (2.0, 0.2, Some((0.5, 0.5)));
    let found = result(&truth.csv());
    assert_eq!(found["shape"], "pulsed");
    assert!(found["period_s"].is_null() && found["duty"].is_null());
    assert_eq!(found["cadence"]["resolved"], false);
    let warnings = found["warnings"].as_array().unwrap();
    let said = |w: &Value| w.as_str().unwrap().contains("faster than this meter can tell");
    assert!(warnings.iter().any(said), "{warnings:?}");
}

#[test]
fn a_file_that_is_no_log_is_one_message_and_one_hint() {
    let folder = with_log("a,b\n1,2\n");
    for args in [&["log.csv"][..], &["gone.csv"], &["log.csv", "--time-column", "x\u{1b}[31m"]] {
        let (exit, stdout, stderr) = analyse(args, folder.path());
        assert_eq!((exit, stdout.as_str()), (2, ""), "{stderr}");
        assert!(stderr.lines().count() <= 12 && stderr.contains("\nhint: "), "{stderr}");
        assert!(stderr.contains(args[0]) && !stderr.contains('\u{1b}'), "{stderr}");
    }
    let log = Truth::steady("page", 10).csv();
    let folder = with_log(&log);
    let args = ["log.csv", "--html", "no/such/folder/page.html"];
    assert_eq!(analyse(&args, folder.path()).0, 5);
}

#[test]
fn the_page_is_small_closed_and_draws_every_peak() {
    let mut truth = Truth::steady("peaks", 11);
    truth.rate = 500.0;
    truth.spikes = vec![(3.0, 29.5), (61.0, -11.5), (100.0, 33.25)];
    let folder = with_log(&truth.csv());
    let (exit, stdout, _) = analyse(&["log.csv", "--html", "page.html"], folder.path());
    assert_eq!(exit, 0);
    assert!(stdout.contains("Steady 13.7"), "{stdout}");
    let page = std::fs::read_to_string(folder.path().join("page.html")).unwrap();
    assert!(page.len() <= 100_000, "{}", page.len());
    for banned in ["<script", "href=", "src=", "url(", "@import"] {
        assert!(!page.contains(banned), "{banned}");
    }
    for wanted in ["volts", "time in seconds", "12 V class: 9.5 to 15 V", "window: ", "spikes"] {
        let wanted = if wanted == "window: " { "the window" } else { wanted };
        assert!(page.contains(wanted), "{wanted}");
    }
    let heights: Vec<f64> = drawn(&page).into_iter().map(|(_, y)| y).collect();
    for peak in [29.5, -11.5, 33.25] {
        let wanted = height(peak, -11.5, 33.25);
        let near = heights.iter().any(|h| (h - wanted).abs() < 0.06);
        assert!(near, "{peak} V is not drawn at {wanted}");
    }
}

/// The points of the trace, which is the longest path of the page.
fn drawn(page: &str) -> Vec<(f64, f64)> {
    let path = page.split("<path").filter(|p| p.contains("d=\"M")).max_by_key(|p| p.len()).unwrap();
    let numbers = path.split("d=\"").nth(1).unwrap().split('"').next().unwrap();
    let point = |point: &str| {
        let (x, y) = point.split_once(' ')?;
        Some((x.parse().ok()?, y.parse().ok()?))
    };
    numbers.split(['M', 'L']).filter_map(point).collect()
}

/// Where volts stand on a chart of these extremes: 260 high, from the top at 44, with some air.
fn height(volts: f64, low: f64, high: f64) -> f64 {
    let air = 0.05 * (high - low);
    44.0 + 260.0 * (1.0 - (volts - (low - air)) / (high - low + 2.0 * air))
}

/// No column of the chart is wider than this.
const COLUMN: f64 = 1.3;

#[test]
fn every_slice_of_the_log_is_drawn_from_its_lowest_to_its_highest_reading() {
    // Wild enough that neighbouring slices have other extremes; lengths that thin it differently.
    for (seed, rate) in [(21, 3.0), (22, 40.0), (23, 700.0)] {
        let mut truth = Truth::steady("wild", seed);
        truth.rate = rate;
        truth.noise = (1.5, 0.8);
        truth.spikes =
            (0..60).map(|k| (2.4 * f64::from(k), f64::from(k * 7 % 60) - 29.0)).collect();
        let log = truth.csv();
        let readings: Vec<(f64, f64)> = log
            .lines()
            .skip(1)
            .map(|row| row.split(',').take(2).map(|f| f.parse().unwrap()).collect())
            .map(|row: Vec<f64>| (row[0], row[1]))
            .collect();
        let folder = with_log(&log);
        assert_eq!(analyse(&["log.csv", "--html", "page.html"], folder.path()).0, 0);
        let page = std::fs::read_to_string(folder.path().join("page.html")).unwrap();
        let points = drawn(&page);
        let volts = || readings.iter().map(|(_, x)| *x);
        let (low, high) = (volts().fold(0.0, f64::min), volts().fold(15.0, f64::max));
        let (from, to) = (readings[0].0, readings[readings.len() - 1].0);
        let across = |t: f64| 62.0 + 640.0 * (t - from) / (to - from);
        for slice in readings.chunks(readings.len().div_ceil(160)) {
            let (left, right) = (across(slice[0].0), across(slice[slice.len() - 1].0));
            let around = |air: f64, x: f64| (left - air..=right + air).contains(&x);
            for extreme in [f64::min, f64::max] {
                let inside = slice.iter().map(|(_, x)| *x).reduce(extreme).unwrap();
                let near = readings.iter().filter(|(t, _)| around(2.0 * COLUMN, across(*t)));
                let beyond = near.map(|(_, x)| *x).reduce(extreme).unwrap();
                // Upwards is less on the page.
                let heights = points.iter().filter(|(x, _)| around(COLUMN, *x)).map(|(_, y)| -*y);
                let drawn = heights.reduce(extreme).unwrap();
                let (a, b) = (-height(inside, low, high), -height(beyond, low, high));
                let fits = (a.min(b) - 0.06..=a.max(b) + 0.06).contains(&drawn);
                assert!(fits, "{inside} V near {left}, {rate} readings/s: {drawn}, not {a} to {b}");
            }
        }
    }
}

#[test]
fn the_class_of_a_reversed_output_lies_below_zero() {
    for (seed, level) in [(31, 13.7), (32, -13.7)] {
        let mut truth = Truth::steady("class", seed);
        truth.level = level;
        let folder = with_log(&truth.csv());
        assert_eq!(analyse(&["log.csv", "--html", "page.html"], folder.path()).0, 0);
        let page = std::fs::read_to_string(folder.path().join("page.html")).unwrap();
        let band = page.lines().find(|line| line.contains("fill-opacity=\"0.06\"")).unwrap();
        let number = |name: &str| -> f64 {
            let from = band.split(&format!(" {name}=\"")).nth(1).unwrap();
            from.split('"').next().unwrap().parse().unwrap()
        };
        let (low, high) = if level > 0.0 { (0.0, 15.0) } else { (-15.0, 0.0) };
        let (nearer, further) = (level.signum() * 9.5, level.signum() * 15.0);
        let (top, bottom) = (number("y"), number("y") + number("height"));
        let wanted = [nearer, further].map(|volts| height(volts, low, high));
        assert!((top - wanted[0].min(wanted[1])).abs() < 1.0, "{level} V: {band}, {wanted:?}");
        assert!((bottom - wanted[0].max(wanted[1])).abs() < 1.0, "{level} V: {band}, {wanted:?}");
    }
}
