//! A zone design in words: the lines for the terminal and the cells of the page. Amounts keep four
//! digits; an open loop is said so. Names from a panel file are made visible before; what the
//! figures are is the finding's.

use crate::event::{
    FaultEffect, Verdict, ZoneAmount, ZoneDesignFinding, ZoneFault, ZoneStateFigures, visible,
};
use std::fmt::Write as _;

/// The longest line for the terminal, in characters, where words can be broken.
const LINE_MAX: usize = 79;

/// The lines for the terminal.
#[must_use]
pub fn summary(f: &ZoneDesignFinding) -> String {
    let mut text = format!("{}: {}\n", f.result.to_string().to_uppercase(), f.reason);
    let _ = writeln!(text, "panel: {} ({})", visible(&f.panel), visible(&f.panel_source));
    text.push_str(
        "\nstate      ohms nominal (worst case)       volts           margin    by chance\n",
    );
    for state in &f.states {
        let _ = writeln!(
            text,
            "{:<9} {:>8} ({} to {})  {:>7} ({} to {})  {:>8}  {:>6.2} %  {}",
            state.state.name(),
            ohms(state.ohms.nominal),
            ohms(state.ohms.low),
            ohms(state.ohms.high),
            number(state.volts.nominal),
            number(state.volts.low),
            number(state.volts.high),
            margin_volts(state),
            100.0 * state.probability,
            state.verdict,
        );
    }
    if !f.resistors.is_empty() {
        text.push_str("\nfrom the drawer\n");
    }
    for r in &f.resistors {
        let bands = if r.bands.is_empty() { "no bands for it".into() } else { r.bands.join(" ") };
        let _ = writeln!(
            text,
            "  {:<12} {} ohm {} % ({}): {bands}",
            r.role,
            ohms(Some(r.ohms)),
            r.percent,
            r.code
        );
    }
    text.push_str("\nfault                                             at rest   in alarm\n");
    for fault in &f.faults {
        let _ = writeln!(
            text,
            "  {:<47} {:<9} {:<9} {}",
            shortened(&fault.text, 47),
            fault.at_rest.name(),
            fault.in_alarm.name(),
            effect(fault)
        );
    }
    text.push_str("\nwirings that this panel reads, best first\n");
    for (place, rank) in (1..).zip(&f.ranking) {
        let mark = if rank.wiring == f.wiring { "*" } else { " " };
        let counts = format!("{} silent, {} hidden, {}", rank.silent, rank.hidden, rank.verdict);
        wrapped(&mut text, &format!("{mark}{place:>2}. "), &format!("{} ({counts})", rank.text));
        wrapped(&mut text, "     ", &rank.reason);
    }
    if !f.ranking.iter().any(|rank| rank.wiring == f.wiring) {
        text.push_str("  the wiring worked out is none of them\n");
    }
    text
}

/// Words after `head`, lines after the first set in by five.
fn wrapped(out: &mut String, head: &str, words: &str) {
    let mut line = head.to_owned();
    for word in words.split_whitespace() {
        if line.chars().count() + 1 + word.chars().count() > LINE_MAX {
            let _ = writeln!(out, "{}", line.trim_end());
            line = "     ".into();
        }
        if !line.ends_with(' ') {
            line.push(' ');
        }
        line.push_str(word);
    }
    let _ = writeln!(out, "{line}");
}

fn shortened(text: &str, room: usize) -> String {
    match text.char_indices().nth(room) {
        Some(_) => text.chars().take(room - 1).chain(['.']).collect(),
        None => text.into(),
    }
}

/// What a fault means, in a word or two.
pub(super) const fn effect(fault: &ZoneFault) -> &'static str {
    match fault.effect {
        FaultEffect::Shown => "shown",
        FaultEffect::Hidden => "hidden",
        FaultEffect::Silent => "SILENT",
    }
}

/// Margins in both units.
pub(super) fn margins(state: &ZoneStateFigures) -> String {
    let both = [(state.margin_ohms, "ohm"), (state.margin_volts, "V")];
    let known: Vec<String> = both
        .into_iter()
        .filter_map(|(margin, unit)| Some(format!("{} {unit}", signed(margin?))))
        .collect();
    match (known.is_empty(), state.verdict) {
        (false, _) => format!("worst margin {}", known.join(", ")),
        (true, Verdict::Pass) => "no threshold beyond it".into(),
        (true, _) => "no band reads it".into(),
    }
}

fn margin_volts(state: &ZoneStateFigures) -> String {
    state.margin_volts.map_or("-".into(), |margin| format!("{} V", signed(margin)))
}

/// Volts, or that there were none.
pub(super) fn volts(volts: Option<f64>) -> String {
    volts.map_or("not measured".into(), |volts| format!("{volts:.3} V"))
}

/// An amount with its worst-case range.
pub(super) fn amount(amount: &ZoneAmount, unit: &str) -> String {
    let one = |value: Option<f64>| match unit {
        "V" => number(value),
        _ => ohms(value),
    };
    format!("{} ({} to {}) {unit}", one(amount.nominal), one(amount.low), one(amount.high))
}

/// Ohms; an open loop has none.
pub(super) fn ohms(ohms: Option<f64>) -> String {
    ohms.map_or("open".into(), |ohms| match ohms {
        o if o >= 1000.0 => format!("{o:.0}"),
        o if o >= 100.0 => format!("{o:.1}"),
        o => format!("{o:.2}"),
    })
}

fn number(value: Option<f64>) -> String {
    value.map_or("-".into(), |value| format!("{value:.3}"))
}

/// A margin, always with its sign.
pub(super) fn signed(value: f64) -> String {
    if value.abs() >= 100.0 { format!("{value:+.0}") } else { format!("{value:+.2}") }
}
