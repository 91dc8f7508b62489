//! What was measured and found of a relay, in words for a terminal: a captured value, a candidate,
//! a probability that is never rounded up to certainty, a line for a coil and one for a pole.
//! Plain lines and the screen say it alike.

use crate::event::{Candidate, Capture, CoilFound, Evidence, Ladder, Pin, PoleFound};
use drivers::Function;
use std::collections::BTreeMap;

/// A captured value in words.
pub(super) fn measured(c: &Capture) -> String {
    let Some(value) = c.value else {
        return match c.function {
            Function::Diode => "does not conduct".into(),
            _ => "open".into(),
        };
    };
    let u = c.u.map(|u| format!(" (u {})", quantity(u))).unwrap_or_default();
    format!("{} {}{u}", quantity(value), c.unit.symbol())
}

/// A number with four significant digits.
pub(super) fn quantity(value: f64) -> String {
    let size = value.abs();
    let decimals = match size {
        s if s >= 1000.0 => 0,
        s if s >= 100.0 => 1,
        s if s >= 10.0 => 2,
        _ => 3,
    };
    format!("{value:.decimals$}")
}

/// A probability, never rounded up to certainty.
pub(super) fn percent(p: f64) -> String {
    let shown = format!("{:.2}", 100.0 * p);
    if shown == "100.00" && p < 1.0 { "over 99.99 %".into() } else { format!("{shown} %") }
}

pub(super) fn in_words(candidate: &Candidate) -> String {
    let coils: Vec<String> = candidate.coils.iter().map(|[a, b]| format!("coil {a}-{b}")).collect();
    let poles: Vec<String> = candidate
        .poles
        .iter()
        .map(|pole| {
            let sides = [&pole.common, &pole.nc, &pole.no];
            let sides: Vec<String> = sides
                .into_iter()
                .filter(|side| !side.is_empty())
                .map(|side| side.iter().map(Pin::label).collect::<Vec<_>>().join("="))
                .collect();
            format!("{:?} {}", pole.form, sides.join("-"))
        })
        .collect();
    let all: Vec<String> = coils.into_iter().chain(poles).collect();
    if all.is_empty() { "nothing connected".into() } else { all.join(", ") }
}

pub(super) fn coil_line(coil: &CoilFound) -> String {
    let ohms = coil.ohms.map_or("? ohm".into(), |o| format!("{} ohm", quantity(o)));
    let volts: Vec<String> = coil
        .rated_volts
        .iter()
        .filter(|r| r.p >= 0.05)
        .take(3)
        .map(|r| format!("{} V {:.0} %", r.volts, 100.0 * r.p))
        .collect();
    let polarity = match coil.polarised {
        Some(true) => "polarised, plus on the first",
        Some(false) => "either way round",
        None => "a diode across it cannot be excluded with this meter",
    };
    format!(
        "  coil    {} - {}   {ohms}; rated {}; {polarity}",
        coil.plus,
        coil.minus,
        volts.join(", ")
    )
}

/// A ladder of drives in lines, each with what stands before it.
pub(super) fn ladder_lines(ladder: &Ladder) -> Vec<(&'static str, String)> {
    let [plus, minus] = &ladder.coil;
    let ohms = quantity(ladder.ohms);
    let mut lines =
        vec![("", format!("DRIVES for the coil {plus} - {minus}, {ohms} ohm: {}", ladder.order))];
    lines.extend(ladder.steps.iter().map(|step| {
        let milliwatts = 1000.0 * step.watts;
        ("  ", format!("up to {} V ({milliwatts:.0} mW): {}", step.volts, step.why))
    }));
    lines.push(("  ", ladder.end.clone()));
    lines
}

pub(super) fn pole_line(pole: &PoleFound, marks: &BTreeMap<String, String>) -> String {
    let side = |pins: &[Pin], role: &str| {
        let named: Vec<String> = pins
            .iter()
            .map(|p| {
                let mark = marks.get(p.label()).map(|m| format!(" [{m}]")).unwrap_or_default();
                format!("{p}{mark}")
            })
            .collect();
        (!named.is_empty()).then(|| format!("{role} {}", named.join("=")))
    };
    let sides = [
        side(&pole.common, "common"),
        side(&pole.nc, "closed at rest"),
        side(&pole.no, "closed when energised"),
    ];
    let sides: Vec<String> = sides.into_iter().flatten().collect();
    let how = match pole.evidence {
        Evidence::Measured => "measured",
        Evidence::Inferred => "inferred",
    };
    format!("  pole {:?}  {}   ({how})", pole.form, sides.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::LadderStep;

    #[test]
    fn a_ladder_is_said_from_its_order_by_its_steps_to_its_end() {
        let step = |volts: f64, why: &str| LadderStep { volts, watts: 0.4, why: why.into() };
        let lines = ladder_lines(&Ladder {
            coil: [Pin::new("2"), Pin::new("5")],
            ohms: 360.0,
            rated_volts: Vec::new(),
            steps: vec![step(9.9, "the lowest"), step(13.2, "the next")],
            order: "Lowest first.".into(),
            end: "At the latest at 13.2 V.".into(),
        });
        let said: Vec<&str> = lines.iter().map(|(_, line)| line.as_str()).collect();
        let wanted = [
            "DRIVES for the coil 2 - 5, 360.0 ohm: Lowest first.",
            "up to 9.9 V (400 mW): the lowest",
            "up to 13.2 V (400 mW): the next",
            "At the latest at 13.2 V.",
        ];
        assert_eq!(said, wanted);
    }
}
