//! What a relay file says is true, held against what the program found: a result in the words of
//! the contract. Marks are those of EN 50005 (from memory): coil A1-A2; in pole k, common k1 with
//! break k2 and make k4, a break contact k1-k2, a make contact k3-k4.

use super::ledger::Ledger;
use coilmark::bench::{TruePole, Truth};
use coilmark::event::{DriveState, Evidence, Form, IdentifyFinding, Latching, Outcome, Pin};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// The finding that was noted.
#[track_caller]
pub fn finding(ledger: &Ledger) -> IdentifyFinding {
    let results: Vec<&Value> = ledger.noted("result").collect();
    assert_eq!(results.len(), 1, "{:#?}", ledger.notes.last());
    serde_json::from_value(results[0].clone()).expect("a result is a finding")
}

/// Which pin is what, and nothing that a second run may measure a little differently.
pub fn names(f: &IdentifyFinding) -> Value {
    let coils: Vec<_> = f.coils.iter().map(|c| (&c.plus, &c.minus, c.polarised)).collect();
    serde_json::json!({
        "result": f.result, "family": f.family, "coils": coils, "poles": f.poles,
        "joined": f.joined, "spares": f.spares, "latching": f.latching, "marks": f.marks,
        "faults": f.faults,
    })
}

/// Asserts that a finding is the truth.
#[track_caller]
pub fn assert_true(f: &IdentifyFinding, truth: &Truth) {
    assert_eq!(f.result, Outcome::Identified, "{f:#?}");
    assert!(f.posterior >= 0.9999 && f.posterior <= 1.0, "{}", f.posterior);
    assert_eq!(f.family, truth.family);
    assert_eq!(f.latching, truth.latching);
    assert_eq!((&f.spares, &f.joined), (&truth.spares, &truth.joined));
    assert!(f.faults.is_empty() && f.candidates.is_empty(), "{f:#?}");
    coils(f, truth);
    let swapped = is_swapped(f, truth);
    let found: BTreeSet<_> =
        f.poles.iter().map(|p| pole(p.form, [&p.common, &p.nc, &p.no])).collect();
    let real = |p: &TruePole| match swapped {
        false => pole(p.form, [&p.common, &p.nc, &p.no]),
        true => pole(p.form, [&p.common, &p.no, &p.nc]),
    };
    assert_eq!(found, truth.poles.iter().map(real).collect(), "{f:#?}");
    assert!(f.poles.iter().all(|p| p.evidence == Evidence::Measured), "{f:#?}");
    assert_eq!(f.marks, marks(f));
}

fn coils(f: &IdentifyFinding, truth: &Truth) {
    assert_eq!(f.coils.len(), truth.coils.len());
    for (found, real) in f.coils.iter().zip(&truth.coils) {
        let both = |a: &Pin, b: &Pin| BTreeSet::from([a.clone(), b.clone()]);
        assert_eq!(both(&found.plus, &found.minus), both(&real.plus, &real.minus));
        // Where the meter's test current shows no diode across so low a coil, it cannot say.
        assert!(found.polarised.is_none_or(|says| says == real.polarised), "{found:?}");
        if real.polarised {
            assert_eq!((&found.plus, found.polarised), (&real.plus, Some(true)));
        }
        let ohms = found.ohms.expect("a coil was measured");
        let u = found.ohms_u.expect("with its uncertainty");
        assert!((ohms - real.ohms).abs() <= 3.0 * u, "{ohms} u {u}, truly {}", real.ohms);
    }
}

/// A latching part's contacts are named for the state after the reset; which drive that is, the
/// finding says itself.
fn is_swapped(f: &IdentifyFinding, truth: &Truth) -> bool {
    match (&f.reset, truth.latching) {
        (None, Latching::No) => false,
        (Some(DriveState::Energised { plus, .. }), Latching::OneCoil) => {
            *plus == truth.coils[0].plus
        }
        (reset, latching) => panic!("latching {latching:?}, reset {reset:?}"),
    }
}

/// A pole with no order within its sides; the two sides of a make or a break contact are alike.
fn pole(form: Form, [common, nc, no]: [&[Pin]; 3]) -> (Form, BTreeSet<Vec<Pin>>, Vec<Pin>) {
    let sorted = |pins: &[Pin]| {
        let mut pins = pins.to_vec();
        pins.sort();
        pins
    };
    match form {
        Form::C => (form, BTreeSet::from([sorted(nc)]), [sorted(common), sorted(no)].concat()),
        Form::A => (form, BTreeSet::from([sorted(common), sorted(no)]), sorted(nc)),
        Form::B => (form, BTreeSet::from([sorted(common), sorted(nc)]), sorted(no)),
    }
}

fn marks(f: &IdentifyFinding) -> BTreeMap<String, String> {
    let mut marks = BTreeMap::new();
    for (coil, letter) in f.coils.iter().zip(["A", "B"]) {
        marks.insert(coil.plus.to_string(), format!("{letter}1"));
        marks.insert(coil.minus.to_string(), format!("{letter}2"));
    }
    for (k, pole) in (1..).zip(&f.poles) {
        let [common, nc, no] = match pole.form {
            Form::A => [3, 0, 4],
            Form::B => [1, 2, 0],
            Form::C => [1, 2, 4],
        };
        for (pins, role) in [(&pole.common, common), (&pole.nc, nc), (&pole.no, no)] {
            marks.extend(pins.iter().map(|pin| (pin.to_string(), format!("{k}{role}"))));
        }
    }
    marks
}

/// Asserts, from the captures that were noted, that each contact of each pole was seen closed and
/// seen open, and on a part that does not hold its state at rest, energised, and at rest again.
#[track_caller]
pub fn assert_contacts_measured(f: &IdentifyFinding, ledger: &Ledger) {
    for pole in &f.poles {
        for (side, shut_at_rest) in [(&pole.nc, true), (&pole.no, false)] {
            for (a, b) in pole.common.iter().zip(side) {
                let touches = looks(ledger, a, b);
                let proven = match f.latching {
                    Latching::No => touches.values().any(|looks| is_proof(looks, shut_at_rest)),
                    _ => touches.values().any(|l| l.iter().any(|x| x.1) && l.iter().any(|x| !x.1)),
                };
                assert!(proven, "{a}-{b} was not measured: {touches:?}");
            }
        }
    }
}

/// By touch: whether the coil was driven, and whether the pair was closed.
fn looks(ledger: &Ledger, a: &Pin, b: &Pin) -> BTreeMap<u64, Vec<(bool, bool)>> {
    let mut touches: BTreeMap<u64, Vec<(bool, bool)>> = BTreeMap::new();
    for c in ledger.noted("capture").filter(|c| c["function"] == "resistance") {
        let on = |pin: &Pin| [&c["red"], &c["black"]].iter().any(|lead| *lead == pin.label());
        if on(a) && on(b) {
            let driven = c["drive"]["state"] == "energised";
            let shut = c["value"].as_f64().is_some_and(|ohms| ohms < 10.0);
            touches.entry(c["touch"].as_u64().unwrap_or(0)).or_default().push((driven, shut));
        }
    }
    touches
}

fn is_proof(looks: &[(bool, bool)], shut_at_rest: bool) -> bool {
    let rest = (false, shut_at_rest);
    let mut wanted = [rest, (true, !shut_at_rest), rest].into_iter().peekable();
    for look in looks {
        wanted.next_if_eq(look);
    }
    wanted.peek().is_none()
}
