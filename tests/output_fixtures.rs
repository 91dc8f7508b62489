//! The logs of `fixtures/logs` through reader and analysis, against the truth beside them: made-up
//! ones, as meters and programs write them (`tests/reference/make_logs.py` makes them), and two
//! from circuits that ngspice simulated, against what ngspice itself says of those. Where ngspice
//! is installed the circuits run again, and their whole logs are analysed.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod checked;

use coilmark::event::OutputFinding;
use coilmark::logbook::{Columns, Listener, Pace, Rows, read};
use coilmark::output::Analysis;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The output of `output_held_up.cir` goes off at this time, by its netlist.
const HELD_UP_OFF_S: f64 = 12.0;

#[derive(Default)]
struct Analysed(Analysis);

impl Listener for Analysed {
    fn readings(&mut self, t_s: &[f64], volts: &[f64]) {
        self.0.extend(t_s, volts);
    }

    fn overload(&mut self, t_s: f64) {
        self.0.overload(t_s);
    }
}

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")
}

fn analysed(log: &[u8]) -> (OutputFinding, Rows) {
    let mut analysed = Analysed::default();
    let rows = read(log, &Columns::default(), Pace::Fast, &mut analysed).unwrap();
    (analysed.0.finish().finding, rows)
}

fn records(text: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    reader.records().map(|r| r.unwrap().iter().map(Into::into).collect()).collect()
}

/// Found and true, or both nothing.
fn near(found: Option<f64>, truly: &str, within: f64, what: &str) {
    let truly: Option<f64> = (!truly.is_empty()).then(|| truly.parse().unwrap());
    let right = match (found, truly) {
        (Some(found), Some(truly)) => (found - truly).abs() <= within,
        (found, truly) => found.is_none() && truly.is_none(),
    };
    assert!(right, "{what}: {found:?}, truly {truly:?} within {within}");
}

#[test]
fn every_log_is_what_its_truth_says() {
    let rows = records(include_str!("../fixtures/logs/truth.csv"));
    assert_eq!(rows.len(), 7);
    for row in rows {
        let [name, shape, level, on, off, within, readings, overloads, gaps, broken, period] =
            &row[..]
        else {
            panic!("{row:?}");
        };
        let log = std::fs::read(fixtures().join("logs").join(name)).unwrap();
        let (found, rows) = analysed(&log);
        let within: f64 = within.parse().unwrap();
        assert_eq!(format!("{:?}", found.shape).to_lowercase(), *shape, "{name}");
        let level_within = 0.002 * level.parse::<f64>().unwrap_or(0.0).abs();
        near(found.alarm_volts, level, level_within, &format!("{name}: level"));
        near(found.on_at_s, on, within, &format!("{name}: on"));
        near(found.off_at_s, off, within, &format!("{name}: off"));
        near(found.period_s, period, 0.01, &format!("{name}: period"));
        let counts = [found.readings, found.counts.overloads, found.counts.gaps, rows.broken];
        let wanted: [u64; 4] = [readings, overloads, gaps, broken].map(|n| n.parse().unwrap());
        assert_eq!(counts, wanted, "{name}: readings, overloads, gaps, broken rows");
    }
}

/// What ngspice printed: by netlist and name.
fn printed() -> BTreeMap<(String, String), f64> {
    let rows = records(include_str!("../fixtures/reference/ngspice/output-expected.csv"));
    let rows = rows.into_iter().map(|r| ((r[0].clone(), r[1].clone()), r[2].parse().unwrap()));
    rows.collect()
}

fn judge_sagging(found: &OutputFinding, interval: f64) {
    let printed = printed();
    let says = |name: &str| printed[&("output_sagging".to_string(), name.to_string())];
    let at = |name: &str| says(name).to_string();
    near(found.on_at_s, &at("t_on"), interval, "sagging: on");
    near(found.off_at_s, &at("t_off"), interval, "sagging: off");
    near(found.alarm_volts, &at("v_mid"), 0.002, "sagging: the level is that of its middle");
    near(found.alarm_volts_min, &at("v_end"), 0.002, "sagging: lowest");
    let per_min = (says("v_end") - says("v_begin")) / (34.99 - 5.5) * 60.0;
    near(found.sag_volts_per_min, &per_min.to_string(), 0.005, "sagging: sag");
    near(found.rest_volts, "0", 1e-6, "sagging: rest");
    assert_eq!(found.changes.len(), 2, "{:?}", found.changes);
}

fn judge_held_up(found: &OutputFinding, interval: f64) {
    let printed = printed();
    let says = |name: &str| printed[&("output_held_up".to_string(), name.to_string())];
    near(found.on_at_s, &says("t_rise").to_string(), interval, "held up: on");
    near(found.off_at_s, &HELD_UP_OFF_S.to_string(), interval, "held up: off");
    near(found.alarm_volts, &says("v_level").to_string(), 0.001, "held up: level");
    assert_eq!(found.changes.len(), 2, "{:?}", found.changes);
    // The circuit's own time constant: 300 ms, so that half the level is seen 190 ms late.
    assert!((says("v_level") / says("v_300") - 1.0_f64.exp()).abs() < 0.001);
    assert!((says("t_6v") - HELD_UP_OFF_S - 0.19).abs() < 0.001);
}

#[test]
fn a_sagging_battery_and_a_hold_up_capacitor_are_what_the_simulator_says() {
    let log = |name: &str| std::fs::read(fixtures().join("logs").join(name)).unwrap();
    judge_sagging(&analysed(&log("ngspice_sagging.csv")).0, 0.05);
    judge_held_up(&analysed(&log("ngspice_held_up.csv")).0, 0.01);
}

#[test]
fn the_circuits_run_again_give_the_same() {
    if Command::new("ngspice").arg("--version").output().is_err() {
        return checked::skipped("ngspice as installed", "ngspice");
    }
    let folder = tempfile::tempdir().unwrap();
    for (netlist, interval) in [("output_sagging", 0.01), ("output_held_up", 0.005)] {
        let name = format!("{netlist}.cir");
        let from = fixtures().join("reference/ngspice").join(&name);
        std::fs::copy(from, folder.path().join(&name)).unwrap();
        let run = Command::new("ngspice").arg("-b").arg(&name).current_dir(&folder).output();
        let said = String::from_utf8_lossy(&run.unwrap().stdout).into_owned();
        for ((_, name), value) in printed().iter().filter(|((of, _), _)| of == netlist) {
            let line = said.lines().find(|line| line.starts_with(name.as_str())).unwrap();
            let now: f64 = line.split_whitespace().nth(2).unwrap().parse().unwrap();
            let source = format!("ngspice as installed, {netlist}: {name}");
            checked::relative(&source, *value, now, 1e-3);
        }
        let log = std::fs::read_to_string(folder.path().join(format!("{netlist}.out"))).unwrap();
        let row = |line: &str| {
            let mut fields = line.split_whitespace().map(|f| f.parse::<f64>().unwrap());
            format!("{:.4},{:.4},V\n", fields.next().unwrap(), fields.next().unwrap())
        };
        let log = "t_s,value,unit\n".to_string() + &log.lines().map(row).collect::<String>();
        let (found, rows) = analysed(log.as_bytes());
        assert_eq!((rows.broken, found.counts.gaps), (0, 0));
        let judge = if netlist == "output_sagging" { judge_sagging } else { judge_held_up };
        judge(&found, interval);
    }
}
