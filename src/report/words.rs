//! The words of a report: verdicts, families, roles of pins, drives and values in a technician's
//! plain English, each said in one place. Text from outside goes through [`visible`] here; escaping
//! for HTML is left to the templates.

use super::Report;
use super::chapter::Standing;
use super::facts::{Basis, Throw};
use super::number;
use super::parts::Captured;
use crate::event::visible;
use crate::event::{
    Candidate, CoilFound, DriveState, FaultCode, Form, IdentifyFinding, Latching, Outcome, Pin,
};
use drivers::{Function, Unit};

/// The one plain sentence about what a report is not.
pub(super) const NO_CERTIFICATE: &str = "This is a record of measurements, not a certificate: it \
    shows which pin is what. It does not show that a contact may switch mains, and a multimeter \
    cannot prove insulation.";
/// Said wherever simulated readings appear.
pub(super) const SIMULATED: &str = "SIMULATED: no real part was measured";

pub(super) fn pin(pin: &Pin) -> String {
    visible(pin.label())
}

pub(super) fn pins(pins: &[Pin]) -> String {
    pins.iter().map(pin).collect::<Vec<_>>().join(", ")
}

/// The verdict in a word or two.
pub(super) fn verdict(report: &Report) -> String {
    match (report.standing(), report.finding()) {
        (Standing::Passed, Some(finding)) => {
            let faulty = if finding.faults.is_empty() { "" } else { ", faulty" };
            format!("Identified{faulty}: {}", family(finding))
        }
        (Standing::Undecided, Some(finding)) if !finding.faults.is_empty() => {
            "Undecided, faulty".into()
        }
        (Standing::Undecided, _) => "Undecided".into(),
        _ => "Not finished".into(),
    }
}

/// Why, in a sentence or two.
pub(super) fn because(report: &Report) -> String {
    let Some(finding) = report.finding() else {
        let why = report.runs.last().and_then(|run| run.end.as_ref()?.reason.as_deref());
        return match why {
            Some(why) => sentence(why),
            None => "The job has no result; the record breaks off.".into(),
        };
    };
    let posterior = number::probability(finding.posterior);
    match finding.result {
        Outcome::Identified => {
            let asked = report.start().map(|start| number::probability(start.confidence));
            let asked = asked.map(|a| format!(" (asked for: {a})")).unwrap_or_default();
            format!("Every pin is named; probability {posterior}{asked}.")
        }
        Outcome::Undecided => {
            let why = finding.reason.as_deref().unwrap_or("The evidence does not suffice");
            format!("{} Best candidate: probability {posterior}.", sentence(why))
        }
    }
}

/// Outside text as the rest of a sentence: a full stop last.
pub(super) fn clause(text: &str) -> String {
    let shown = visible(text.trim());
    let stop = if shown.ends_with(['.', '!', '?']) || shown.is_empty() { "" } else { "." };
    format!("{shown}{stop}")
}

/// Outside text as a sentence: a capital first, a full stop last.
pub(super) fn sentence(text: &str) -> String {
    capitalised(&clause(text))
}

/// With a capital at its beginning.
pub(super) fn capitalised(text: &str) -> String {
    let mut rest = text.chars();
    let first = rest.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}", rest.as_str())
}

fn family(finding: &IdentifyFinding) -> String {
    let holds = match finding.latching {
        Latching::No => "",
        Latching::OneCoil => ", latching, one coil",
        Latching::TwoCoils => ", latching, two coils",
    };
    if finding.family.is_empty() {
        return format!("no contacts{holds}");
    }
    let parts = finding.family.split('+').map(|code| {
        let digits = code.chars().take_while(char::is_ascii_digit).count();
        let (count, form) = code.split_at(digits);
        let (one, many) = match form {
            "A" => ("make contact", "make contacts"),
            "B" => ("break contact", "break contacts"),
            "C" => ("changeover contact", "changeover contacts"),
            _ => return visible(code),
        };
        match count {
            "1" => format!("one {one}"),
            "2" => format!("two {many}"),
            "3" => format!("three {many}"),
            "4" => format!("four {many}"),
            n => format!("{n} {many}"),
        }
    });
    let words = parts.collect::<Vec<_>>().join(" and ");
    format!("{words} ({}){holds}", visible(&finding.family))
}

/// What plus on the first pin of a one-coil latching part does.
fn one_coil_act(finding: &IdentifyFinding, coil: &CoilFound) -> &'static str {
    match &finding.reset {
        Some(DriveState::Energised { plus, .. }) if *plus == coil.plus => "resets",
        Some(DriveState::Energised { .. }) => "sets",
        _ => "sets or resets",
    }
}

/// A pin's mark, with its polarity where that matters; a dash for a spare, a question mark where
/// nothing is established.
pub(super) fn mark(finding: Option<&IdentifyFinding>, pin: &Pin) -> String {
    let label = pin.label();
    let Some(finding) = finding else { return "?".into() };
    let polar = finding.coils.iter().filter(|coil| coil.polarised == Some(true)).find_map(|coil| {
        [(&coil.plus, " (+)"), (&coil.minus, " (\u{2212})")]
            .into_iter()
            .find_map(|(of, sign)| (of == pin).then_some(sign))
    });
    match finding.marks.get(label) {
        Some(mark) => format!("{}{}", visible(mark), polar.unwrap_or_default()),
        None if finding.spares.contains(pin) => "\u{2013}".into(),
        None if finding.joined.iter().flatten().any(|other| other == pin) => "joined".into(),
        None => "?".into(),
    }
}

/// What a pin is, in words.
pub(super) fn role(finding: &IdentifyFinding, pin: &Pin) -> String {
    let one_coil = finding.latching == Latching::OneCoil;
    for (i, coil) in finding.coils.iter().enumerate() {
        let name = if finding.coils.len() > 1 { format!("coil {}", i + 1) } else { "coil".into() };
        let side = |plus: bool| match (coil.polarised, plus) {
            (_, plus) if one_coil => {
                let (sign, act) =
                    (if plus { "plus" } else { "minus" }, one_coil_act(finding, coil));
                format!("{name}, {sign} here {act}")
            }
            (Some(false), _) => format!("{name}, either polarity"),
            (Some(true), true) => format!("{name}, plus only"),
            (Some(true), false) => format!("{name}, minus only"),
            (None, _) => format!("{name}, polarity not established"),
        };
        if coil.plus == *pin || coil.minus == *pin {
            return side(coil.plus == *pin);
        }
    }
    for (i, pole) in finding.poles.iter().enumerate() {
        let of =
            if finding.poles.len() > 1 { format!(" of pole {}", i + 1) } else { String::new() };
        match (pole.form, pole.common.contains(pin), pole.nc.contains(pin)) {
            (Form::C, true, _) => return format!("common{of}"),
            (_, false, true) if pole.form == Form::C => return format!("normally closed{of}"),
            (Form::C, ..) if pole.no.contains(pin) => return format!("normally open{of}"),
            (Form::B, common, nc) if common || nc => return format!("break contact{of}"),
            (Form::A, ..) if pole.common.contains(pin) || pole.no.contains(pin) => {
                return format!("make contact{of}");
            }
            _ => {}
        }
    }
    if let Some(group) = finding.joined.iter().find(|group| group.contains(pin)) {
        let others: Vec<Pin> = group.iter().filter(|other| *other != pin).cloned().collect();
        return format!("joined inside with {}", pins(&others));
    }
    if finding.spares.contains(pin) {
        return "spare: no connection found".into();
    }
    "not established".into()
}

/// What a task was about, by its command: a heading goes on with it.
pub(super) fn task(command: &str) -> &str {
    match command {
        "identify" => "an earlier identification",
        "output" => "the output",
        "pickup" => "pick-up and drop-out",
        "board" => "relay boards",
        "zone-check" => "the zone loop at the panel",
        other => other,
    }
}

pub(super) const fn basis(basis: Basis) -> &'static str {
    match basis {
        Basis::Measured => "measured",
        Basis::Inferred => "inferred",
        Basis::Unseen => "claimed, not seen",
    }
}

pub(super) const fn throw(throw: Throw) -> &'static str {
    match throw {
        Throw::Closed => "NC",
        Throw::Open => "NO",
    }
}

/// What a capture showed, without its uncertainty: `open`, `0.12 Ω`.
pub(super) fn value(captured: &Captured) -> String {
    let c = &captured.capture;
    match c.value {
        Some(value) if !c.overload => number::quantity(value, c.u, c.unit).plain(),
        _ if c.unit == Unit::Ohm || c.function == Function::Diode => "open".into(),
        _ => "over range".into(),
    }
}

pub(super) fn drive(drive: &DriveState) -> String {
    match drive {
        DriveState::Rest => "at rest".into(),
        DriveState::Energised { plus, minus, volts } => {
            format!("{}, plus {}, minus {}", number::volts(*volts), pin(plus), pin(minus))
        }
    }
}

pub(super) fn polarity(finding: &IdentifyFinding, coil: &CoilFound) -> String {
    match coil.polarised {
        Some(false) if finding.latching == Latching::OneCoil => {
            "no diode across it; the polarity sets or resets".into()
        }
        Some(true) => format!(
            "polarised: plus on {}, minus on {}, never the other way round",
            pin(&coil.plus),
            pin(&coil.minus)
        ),
        Some(false) => "not polarised".into(),
        None => "not established: the meter's test current cannot show a diode across this coil; \
                 keep to the polarity given here"
            .into(),
    }
}

pub(super) fn rated(coil: &CoilFound) -> String {
    if coil.rated_volts.is_empty() {
        return "not established".into();
    }
    let one = |r: &crate::event::RatedVolts| {
        format!("{} (probability {})", number::volts(r.volts), number::probability(r.p))
    };
    coil.rated_volts.iter().take(4).map(one).collect::<Vec<_>>().join("; ")
}

pub(super) const fn fault(code: FaultCode) -> &'static str {
    match code {
        FaultCode::WeldedContact => "Welded contact",
        FaultCode::StuckOpenContact => "Contact stuck open",
        FaultCode::OpenCoil => "Open coil",
        FaultCode::ShortedTurns => "Shorted turns",
        FaultCode::HighContactOhms => "High contact resistance",
        FaultCode::NoResponse => "No response",
        FaultCode::NotARelay => "Not a relay",
    }
}

/// A candidate in one line: `2C: coil 1-8; pole 3-4-5; pole 6-2-7`.
pub(super) fn candidate(candidate: &Candidate) -> String {
    let coils = candidate.coils.iter().map(|[a, b]| format!("coil {}-{}", pin(a), pin(b)));
    let poles = candidate.poles.iter().map(|pole| {
        let side = |pins: &[Pin]| pins.iter().map(pin).collect::<Vec<_>>().join("=");
        let ends = [(&pole.nc, "NC"), (&pole.no, "NO")];
        let ends = ends.iter().filter(|(pins, _)| !pins.is_empty());
        let ends = ends.map(|(pins, name)| format!("{name} {}", side(pins)));
        let first = if pole.form == Form::C { "common" } else { "from" };
        format!("{first} {}, {}", side(&pole.common), ends.collect::<Vec<_>>().join(", "))
    });
    let parts = coils.chain(poles).collect::<Vec<_>>().join("; ");
    let family =
        if candidate.family.is_empty() { "none".into() } else { visible(&candidate.family) };
    format!("{family}: {parts}")
}

/// Text from outside, made visible.
pub(super) fn text(text: &str) -> String {
    visible(text)
}

pub(super) fn short_drive(drive: &DriveState) -> String {
    match drive {
        DriveState::Rest => "rest".into(),
        DriveState::Energised { plus, minus, volts } => {
            format!("{} {}\u{2192}{}", number::volts(*volts), pin(plus), pin(minus))
        }
    }
}

pub(super) fn identity(meter: &crate::event::MeterIdentity) -> String {
    if meter.identity.is_empty() { "no identification".into() } else { visible(&meter.identity) }
}

pub(super) const fn caution(caution: crate::event::Caution) -> &'static str {
    use crate::event::Caution;
    match caution {
        Caution::DeadCircuit => "dead circuit",
        Caution::CoilDrive => "driving the coil",
        Caution::NotACertificate => "not a certificate",
        Caution::PanelTerminals => "panel terminals",
        Caution::NoProofOfSite => "no proof of the site",
        Caution::EnergizerHighVoltage => "energizer: high voltage",
        Caution::LiveOutput => "live output",
        Caution::DeadBoard => "board out of its circuit",
        Caution::NoInsulationTest => "no insulation test",
        Caution::SiteWork => "work at the site",
        Caution::HandOver => "what the record shows",
    }
}
