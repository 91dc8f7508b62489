//! What is wrong with the part, told apart by what was measured: from the believed partition,
//! the captures of its contacts, and what the drive did. A fault is named only on evidence; the
//! text says what was seen, in a technician's words.

use super::decide::claims;
use super::follow::shut;
use super::insight::Insight;
use super::record::Record;
use crate::event::{Capture, Fault, FaultCode, Form, Pin};
use crate::relay::coil::{self, DriveEvidence};
use crate::relay::{Pair, Pole, Status};

/// A closed contact above this is dirty or burnt: a sound one is below 0.1 ohm and a pair of
/// leads adds up to 0.5 (common practice, no source).
const CONTACT_OHMS_MAX: f64 = 2.0;

/// A coil that did not move and reads less than this is judged, in ohms: a 12 V coil at twice the
/// 3 W of the most powerful usual one (common practice, no source).
const STILL_OHMS_MIN: f64 = 24.0;

/// The faults of a part.
#[must_use]
pub fn of(record: &Record, insight: &Insight) -> Vec<Fault> {
    let mut faults = Vec::new();
    faults.extend(coil_faults(record, insight));
    faults.extend(contact_faults(record, insight));
    faults.extend(odd_poles(record, insight));
    faults.sort_by(|a, b| (a.code, &a.pins).cmp(&(b.code, &b.pins)));
    faults
}

fn coil_faults(record: &Record, insight: &Insight) -> Vec<Fault> {
    let pins = record.pins();
    let Some(coil) = insight.coils.first().or(insight.suspected.as_ref()) else {
        return vec![without_coil(record, insight)];
    };
    let ends = vec![pins.at(coil.pair.lo()).clone(), pins.at(coil.pair.hi()).clone()];
    let drive = DriveEvidence {
        moved_at: insight.effect.moved_volts(),
        still_at: insight.effect.unmoved_volts(),
    };
    if let Some(short) = coil::shorted_turns(coil.ohms, coil.ohms_u, drive) {
        let text = format!(
            "the coil reads {:.1} ohm; one that answers to this drive should have {:.1} ohm or more",
            coil.ohms, short.healthy_ohms_min
        );
        return vec![Fault { code: FaultCode::ShortedTurns, pins: ends, text }];
    }
    match (&insight.effect.mover, insight.effect.still_volts()) {
        // A run that was given up half-way up the ladder says nothing of the steps above.
        (None, Some(still)) if still >= insight.drives.top_volts() => {
            without_response(coil.ohms, still, ends)
        }
        _ => Vec::new(),
    }
}

/// Nothing moved. A coil that also reads too low for anything but the voltages that were tried
/// has shorted turns, or is none.
fn without_response(ohms: f64, still_volts: f64, ends: Vec<Pin>) -> Vec<Fault> {
    let text = format!(
        "nothing followed the coil between {} and {} up to {still_volts} V",
        ends[0], ends[1]
    );
    let mut faults = vec![Fault { code: FaultCode::NoResponse, pins: ends.clone(), text }];
    if ohms < STILL_OHMS_MIN {
        let text = format!(
            "the coil reads {ohms:.1} ohm, which only a coil of {still_volts} V or less should, \
             and that moves nothing: shorted turns, or no coil at all"
        );
        faults.push(Fault { code: FaultCode::ShortedTurns, pins: ends, text });
    }
    faults
}

/// No pair reads like a coil: with closed contacts beside it a relay with an open coil, without
/// any of them nothing like a relay.
fn without_coil(record: &Record, insight: &Insight) -> Fault {
    let pins = record.pins();
    let is_closed = |p: &Pair| {
        insight.posterior.of(*p, Status::Break) + insight.posterior.of(*p, Status::Joined) > 0.5
    };
    if Pair::all(pins.count()).any(|p| is_closed(&p)) {
        let loose = lonely_pins(record, insight);
        let text = "contacts are there, but no pair reads like a coil: its winding is open".into();
        return Fault { code: FaultCode::OpenCoil, pins: loose, text };
    }
    let text = "no pair reads like a coil and none like a closed contact".into();
    Fault { code: FaultCode::NotARelay, pins: Vec::new(), text }
}

/// Pins that conduct to no other: among them are the ends of an open coil.
fn lonely_pins(record: &Record, insight: &Insight) -> Vec<Pin> {
    let n = record.pins().count();
    let conducts = |pin: usize| {
        Pair::all(n).any(|p| p.has(pin) && insight.posterior.of(p, Status::Open) < 0.5)
    };
    (0..n).filter(|pin| !conducts(*pin)).map(|pin| record.pins().at(pin).clone()).collect()
}

fn contact_faults(record: &Record, insight: &Insight) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (pair, _) in claims(&insight.posterior.best.0) {
        let captures: Vec<&Capture> = record
            .touches
            .iter()
            .filter(|t| t.pair() == pair)
            .flat_map(|t| t.ohms_captures())
            .filter(|c| shut(c))
            .collect();
        let worst = captures.iter().filter_map(|c| c.value).fold(0.0, f64::max);
        if worst > CONTACT_OHMS_MAX {
            let pins = named(record, pair);
            let text = format!("the closed contact {}-{} reads {worst:.1} ohm", pins[0], pins[1]);
            faults.push(Fault { code: FaultCode::HighContactOhms, pins, text });
        }
    }
    faults
}

/// A part whose other poles are changeovers, with one pole that looks like less: two pins that stay
/// closed and one that never conducts (a weld), or a single contact and one pin that never conducts
/// (a contact that does not close). A part built so would look the same; the text says it.
fn odd_poles(record: &Record, insight: &Insight) -> Vec<Fault> {
    let partition = &insight.posterior.best.0;
    let pins = |positions: &[usize]| -> Vec<Pin> {
        positions.iter().map(|p| record.pins().at(*p).clone()).collect()
    };
    let list = |pins: &[Pin]| pins.iter().map(Pin::label).collect::<Vec<_>>().join(" and ");
    let single: Vec<&Pole> = partition.poles.iter().filter(|p| p.form != Form::C).collect();
    let has_changeover = partition.poles.iter().any(|p| p.form == Form::C);
    let odd = single.len() + partition.joined.len();
    if !has_changeover || odd == 0 || partition.spares.len() != odd {
        return Vec::new();
    }
    let spares = pins(&partition.spares);
    let welded = partition.joined.iter().map(|side| {
        let pins = pins(side);
        let text = format!(
            "{} stay closed while other contacts change over, and {} never conducts: a welded \
             contact, unless the part is built so",
            list(&pins),
            list(&spares)
        );
        Fault { code: FaultCode::WeldedContact, pins, text }
    });
    let stuck = single.iter().map(|pole| {
        let contact = list(&pins(&pole.pins()));
        let text = format!(
            "beside a changeover, {contact} are a single contact and {} never conducts: a contact \
             that does not close, unless the part is built so",
            list(&spares)
        );
        Fault { code: FaultCode::StuckOpenContact, pins: spares.clone(), text }
    });
    welded.chain(stuck).collect()
}

fn named(record: &Record, pair: Pair) -> Vec<Pin> {
    [pair.lo(), pair.hi()].map(|position| record.pins().at(position).clone()).to_vec()
}
