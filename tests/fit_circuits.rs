//! Claims about coils and cables in circuit, against ngspice, a circuit simulator that knows
//! nothing of this program. The netlists and what ngspice 39.3 printed for them are in
//! `fixtures/reference/ngspice`; where ngspice is installed, they are run again. The armature is
//! left out of the netlists, so operate times are not read from them.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod checked;

use coilmark::fit::circuit::{
    Circuit, fall_seconds, falling_amps, hold_seconds, rising_amps, volts_after,
};
use std::path::PathBuf;
use std::process::Command;

const EXPECTED: &str = include_str!("../fixtures/reference/ngspice/coil-expected.csv");

struct Row {
    netlist: String,
    quantity: String,
    printed: f64,
    name: String,
    nth: usize,
}

fn rows() -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(EXPECTED.as_bytes());
    let rows: Vec<Row> = reader
        .records()
        .map(|record| {
            let r = record.unwrap();
            Row {
                netlist: r[0].into(),
                quantity: r[1].into(),
                printed: r[2].parse().unwrap(),
                name: r[3].into(),
                nth: r[4].parse().unwrap(),
            }
        })
        .collect();
    assert_eq!(rows.len(), 25);
    rows
}

fn printed(netlist: &str, quantity: &str) -> f64 {
    let rows = rows();
    let row = rows.iter().find(|r| r.netlist == netlist && r.quantity == quantity);
    row.unwrap_or_else(|| panic!("{netlist}: {quantity} is not in the table")).printed
}

#[track_caller]
fn close(found: f64, expected: f64, relative: f64) {
    checked::relative("ngspice 39.3, stored", found, expected, relative);
}

fn circuit(emf_volts: f64, siren_siemens: f64, coil_ohms: f64) -> Circuit {
    let (source_ohms, cable_ohms) = (1.5, 8.42);
    Circuit { emf_volts, source_ohms, siren_siemens, diode_volts: 0.0, cable_ohms, coil_ohms }
}

#[test]
fn a_coil_behind_cable_and_siren_gets_what_ngspice_says() {
    let siren = 1.0 / 24.0;
    let volts = |quantity: &str, circuit: Circuit| {
        close(circuit.coil_volts(), printed("coil_cable_sag", quantity), 1e-9);
    };
    let out = |quantity: &str, circuit: Circuit| {
        close(circuit.output_volts(), printed("coil_cable_sag", quantity), 1e-9);
    };
    out("12 V, no siren: v(out)", circuit(12.0, 0.0, 400.0));
    volts("12 V, no siren: coil volts", circuit(12.0, 0.0, 400.0));
    out("12 V, siren: v(out)", circuit(12.0, siren, 400.0));
    volts("12 V, siren: coil volts", circuit(12.0, siren, 400.0));
    volts("10.5 V, siren: coil volts", circuit(10.5, siren, 400.0));
    volts("8 V, siren: coil volts", circuit(8.0, siren, 400.0));
    volts("14 V, siren: coil volts", circuit(14.0, siren, 400.0));
    let hot = circuit(10.5, siren, 478.6);
    volts("10.5 V, siren, hot coil: coil volts", hot);
    let amps = printed("coil_cable_sag", "10.5 V, siren, hot coil: coil amps");
    close(hot.coil_amps(), amps, 1e-9);
}

#[test]
fn a_coil_lets_go_through_a_diode_as_ngspice_says() {
    // A constant drop of 0.72 V stands for the diode of the netlist, and its switch opens within
    // 0.1 us at 10 ms: one per cent.
    let (amps, drop, ohms, henries) = (0.03, 0.72, 400.0, 0.6);
    let of = |quantity: &str| printed("flyback_diode", quantity);
    close(12.0 + 0.743, of("peak v(d)"), 1e-4);
    let after = |ms: f64| falling_amps(amps, drop, ohms, henries, ms / 1000.0);
    close(after(1.0), of("coil amps 1 ms after opening"), 1e-2);
    close(after(1.5), of("coil amps 1.5 ms after opening"), 1e-2);
    let to = |share: f64| fall_seconds(amps, amps * share, drop, ohms, henries);
    close(to(0.5), of("time of 50 % of current [s]") - 0.01, 1e-2);
    close(to(0.1), of("time of 10 % of current [s]") - 0.01, 1e-2);
    // With a resistor in line as large as the coil.
    close(12.0 + 0.743 + amps * 400.0, of("with 400 ohm: peak v(d)"), 1e-4);
    let after = falling_amps(amps, drop, 800.0, henries, 0.001);
    close(after, of("with 400 ohm: coil amps after 1 ms"), 1e-2);
    let to = fall_seconds(amps, 0.1 * amps, drop, 800.0, henries);
    close(to, of("with 400 ohm: time of 10 % [s]") - 0.01, 1e-2);
}

#[test]
fn a_coil_takes_its_current_as_ngspice_says() {
    let of = |quantity: &str| printed("coil_energise", quantity);
    let at = |seconds: f64| rising_amps(12.0, 409.92, 0.6, seconds);
    // The netlist's edge lasts 1 us; half of it is not in the closed form.
    let edge = 0.5e-6;
    close(at(0.0189), of("final coil amps"), 2e-3);
    let tau = of("coil amps at one time constant (1.46370 ms)");
    close(at(1.463_658e-3 - edge), tau, 2e-3);
    close(at(of("time of 22.5 mA [s]") - 1e-3 - edge), 0.0225, 2e-4);
    close(at(of("time of 15 mA [s]") - 1e-3 - edge), 0.015, 2e-4);
}

#[test]
fn a_capacitor_holds_a_coil_as_ngspice_says() {
    let of = |quantity: &str| printed("holdup_cap", quantity);
    let begin = of("v(c) just before off (steady)");
    let after = |seconds: f64| volts_after(begin, seconds, 1e-3, 400.0);
    close(after(0.1), of("v(c) 0.1 s after off"), 1e-4);
    close(after(0.4999), of("v(c) 0.4999 s after off"), 1e-4);
    let held = hold_seconds(begin, 6.0, 1e-3, 400.0);
    close(held, of("time from 0 to 6 V [s]") - 3.5, 1e-4);
}

#[test]
fn ngspice_still_says_what_the_table_says() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/reference/ngspice");
    for netlist in ["coil_cable_sag", "coil_energise", "flyback_diode", "holdup_cap"] {
        let file = folder.join(format!("{netlist}.cir"));
        let Ok(run) = Command::new("ngspice").arg("-b").arg(&file).output() else {
            return checked::skipped("ngspice as installed", "ngspice");
        };
        let text = String::from_utf8_lossy(&run.stdout);
        for row in rows().iter().filter(|row| row.netlist == netlist) {
            let found = nth(&text, &row.name, row.nth).unwrap_or_else(|| {
                panic!("{netlist}: no {} number {}:\n{text}", row.name, row.nth)
            });
            let source = format!("ngspice as installed, {netlist}: {}", row.quantity);
            checked::relative(&source, row.printed, found, 1e-5);
        }
    }
}

/// The n-th `name = value` of an output, or the last column of the n-th line of a sweep.
fn nth(text: &str, name: &str, nth: usize) -> Option<f64> {
    if name == "sweep" {
        let line = text.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
        return line.skip(nth - 1).find_map(|line| line.split_whitespace().nth(3)?.parse().ok());
    }
    let mut values = text.lines().filter_map(|line| {
        let (left, right) = line.split_once('=')?;
        if left.trim() != name {
            return None;
        }
        right.split_whitespace().next()?.parse().ok()
    });
    values.nth(nth - 1)
}
