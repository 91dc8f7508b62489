//! Zone loops against what others published or computed: IEC 60063 and 60062 tables, circuits that
//! a simulator solved, and a loop worked by hand. Each CSV and netlist stands in
//! `fixtures/reference/`; every shipped panel file is read here too.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test fails by panicking"
)]

mod checked;

use coilmark::event::{
    CoilDriven, LoopKind, ResistorPlace, Verdict, ZoneContact, ZoneState, ZoneWiring,
};
use coilmark::fit::spread::Spread;
use coilmark::zone::circuit::{Situation, Values, ohms};
use coilmark::zone::colour::Colour;
use coilmark::zone::{Design, Panel, Parts, Series, rkm};
use std::path::{Path, PathBuf};

fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

fn rows(name: &str) -> Vec<Vec<String>> {
    let mut reader = csv::Reader::from_path(file("reference").join(name)).unwrap();
    reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn panel(name: &str) -> Panel {
    let path = file("panels").join(name);
    Panel::parse(&std::fs::read_to_string(&path).unwrap(), name).unwrap()
}

#[track_caller]
fn close(found: f64, expected: f64, relative: f64) {
    let thread = std::thread::current();
    let simulated = thread.name().is_some_and(|test| test.contains("simulator"));
    let source = if simulated { "ngspice 39.3, stored" } else { "worked by hand" };
    checked::relative(source, found, expected, relative);
}

#[test]
fn every_preferred_value_is_that_of_iec_60063() {
    // IEC 60063, as PyPI eseries 1.2.1 lists it.
    let rows = rows("e-series.csv");
    assert_eq!(rows.len(), 381);
    for series in Series::ALL {
        let named = series.to_string();
        let of = rows.iter().filter(|row| row[0] == named);
        let published: Vec<&str> = of.map(|row| row[2].as_str()).collect();
        let ours: Vec<String> = series.figures().map(|figure| figure.to_string()).collect();
        let source = format!("IEC 60063 {named}, by PyPI eseries 1.2.1");
        checked::same(&source, &ours.join(" "), &published.join(" "));
    }
}

#[test]
fn every_colour_means_what_iec_60062_says() {
    let rows = rows("colour-code.csv");
    assert_eq!(rows.len(), 12);
    for (colour, row) in Colour::ALL.into_iter().zip(&rows) {
        let ours = [
            colour.to_string(),
            colour.figure().map(|f| f.to_string()).unwrap_or_default(),
            colour.power_of_ten().to_string(),
            colour.percent().map(|p| p.to_string()).unwrap_or_default(),
        ];
        checked::same("IEC 60062, colour code", &ours.join(" "), &row[..4].join(" "));
    }
}

#[test]
fn every_letter_code_is_read_and_the_published_ones_written() {
    // IEC 60062 clause 4; the rows marked MEMORY are recalled and only read.
    for row in rows("rkm-examples.csv") {
        let ohms: f64 = row[1].parse().unwrap();
        let (found, code) = rkm::parse(&row[0]).unwrap();
        assert_eq!(code, None, "{}", row[0]);
        checked::relative("IEC 60062, clause 4, letter code read", found, ohms, 0.0);
        if row[2] == "FOUND" {
            let source = "IEC 60062, clause 4, letter code written";
            checked::same(source, &rkm::render(ohms, None), &row[0]);
        }
    }
}

const NC: ZoneWiring = ZoneWiring {
    kind: LoopKind::Series,
    contact: ZoneContact::NormallyClosed,
    place: ResistorPlace::FarEnd,
    drive: CoilDriven::InAlarm,
    tamper: false,
};

const SINGLE: Values = Values {
    eol_ohms: 3300.0,
    alarm_ohms: 0.0,
    fault_ohms: 0.0,
    cable_ohms: 9.21,
    contact_ohms: 0.1,
    source_volts: 12.0,
    source_ohms: 4700.0,
    threshold_factor: 1.0,
};

/// Volts and ohms of a state.
fn of(wiring: ZoneWiring, situation: Situation, values: Values) -> (f64, f64) {
    let ohms = ohms(&wiring, situation, None, &values);
    (values.at_terminals(ohms).volts(), ohms)
}

#[test]
fn loops_are_as_a_circuit_simulator_solves_them() {
    // ngspice 39.3 (Debian), `eol_single.cir` and `eol_double.cir` beside the CSV; its open contact
    // is 1 gigohm, hence 1e-5.
    let rows = rows("ngspice/eol-expected.csv");
    let single = |s, values| of(NC, s, values);
    let double = ZoneWiring { kind: LoopKind::Double, tamper: true, ..NC };
    let two = Values {
        eol_ohms: 4700.0,
        alarm_ohms: 4700.0,
        source_volts: 5.0,
        source_ohms: 2200.0,
        ..SINGLE
    };
    let unequal = Values { eol_ohms: 5600.0, alarm_ohms: 1000.0, ..two };
    let shorted = Values { eol_ohms: 0.001, ..SINGLE };
    let worn = Values { contact_ohms: 100.0, ..SINGLE };
    // The tamper contact of the circuit has its own 0.1 ohm, as here.
    let found = [
        ("normal v(in)", single(Situation::Rest, SINGLE).0),
        ("normal loop ohms", single(Situation::Rest, SINGLE).1),
        ("contact open v(in)", single(Situation::Alarm, SINGLE).0),
        ("far-end short v(in)", single(Situation::Rest, shorted).0),
        ("contact 100 ohm v(in)", single(Situation::Rest, worn).0),
        ("secure v(in)", of(double, Situation::Rest, two).0),
        ("secure loop ohms", of(double, Situation::Rest, two).1),
        ("alarm v(in)", of(double, Situation::Alarm, two).0),
        ("alarm loop ohms", of(double, Situation::Alarm, two).1),
        ("loop open v(in)", of(double, Situation::TamperOpen, two).0),
        ("alarm 5k6+1k0 v(in)", of(double, Situation::Alarm, unequal).0),
        ("secure 5k6+1k0 v(in)", of(double, Situation::Rest, unequal).0),
    ];
    for (quantity, value) in found {
        let row = rows.iter().find(|row| row[1] == quantity).expect(quantity);
        let relative = if quantity.starts_with("far-end") { 5e-5 } else { 3e-5 };
        close(value, row[2].parse().unwrap(), relative);
    }
    let damp = ohms(&NC, Situation::Rest, Some(coilmark::event::ZoneFaultCode::Damp), &SINGLE);
    let row = rows.iter().find(|row| row[1] == "22k leakage loop ohms").unwrap();
    close(damp, row[2].parse().unwrap(), 1e-6);
}

fn design(panel: Panel, wiring: ZoneWiring) -> Design {
    let parts =
        Parts { cable_ohms: Spread::exact(9.21), contact_ohms: Spread::between(0.0, 0.1, 0.1) };
    Design::new(panel, wiring, parts, 2000, 1)
}

#[test]
fn the_classic_loop_of_3_3_kilohm_comes_out_as_worked_by_hand() {
    // Common practice, no source. At rest 3300 x 0.95 + 9.21 = 3144.21 at the least and
    // 3300 x 1.05 + 9.31 = 3474.31 at the most. Thresholds, kept within 5 %: 1575 at the most,
    // 5225 at the least. So the worst margin is 3144.21 - 1575 = 1569.21 ohm.
    let finding = design(panel("series_3k3_12_volt.toml"), NC).finding();
    assert_eq!(finding.result, Verdict::Pass, "{}", finding.reason);
    let rest = &finding.states[0];
    close(rest.ohms.low.unwrap(), 3144.21, 1e-9);
    close(rest.ohms.high.unwrap(), 3474.31, 1e-9);
    close(rest.margin_ohms.unwrap(), 1569.21, 1e-9);
    close(rest.volts.nominal.unwrap(), 12.0 * 3309.31 / 8009.31, 1e-9);
    assert_eq!(rest.probability, 1.0);
    let alarm = &finding.states[1];
    assert_eq!((alarm.ohms.nominal, alarm.reads), (None, ZoneState::Violated));
    let picked = &finding.resistors[0];
    assert_eq!(
        (picked.code.as_str(), picked.bands.join(" ")),
        ("3K3J", "orange orange red gold".into())
    );
}

#[test]
fn every_shipped_panel_passes_with_the_loop_it_is_made_for() {
    let mut read = 0;
    for entry in std::fs::read_dir(file("panels")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let panel = panel(&name);
        let contact = match panel.kind {
            LoopKind::Parallel => ZoneContact::NormallyOpen,
            _ => ZoneContact::NormallyClosed,
        };
        let tamper = matches!(panel.kind, LoopKind::Double | LoopKind::Triple);
        let wiring = ZoneWiring { kind: panel.kind, contact, tamper, ..NC };
        let finding = design(panel, wiring).finding();
        assert_eq!(finding.result, Verdict::Pass, "{name}: {}", finding.reason);
        let own = finding.ranking.iter().find(|rank| rank.wiring == wiring);
        assert!(own.is_some(), "{name}: not among {:?}", finding.ranking);
        read += 1;
    }
    assert!(read >= 5, "only {read} panel files");
}
