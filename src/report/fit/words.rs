//! A fit in words: the headline, the lines for the terminal, and the rows that the page lists. A
//! number keeps four digits; a margin always has its sign. Every word here is the program's own, so
//! nothing has to be escaped for the terminal.

use super::super::words::capitalised;
use crate::event::{FitCheck, FitCode, FitFinding, FitInput, HoldUp, Origin, SuppressionChoice};

/// The longest line for the terminal, in characters.
const LINE_MAX: usize = 79;

/// The verdict in one sentence.
pub(super) fn headline(f: &FitFinding) -> String {
    capitalised(&format!("{}: {}", f.result, f.reason))
}

/// What the coil is given in the two cases that are checked. A hot coil resists more and may keep
/// more volts than a cold one on a higher supply: so neither is called the least or the most.
pub(super) fn coil(f: &FitFinding) -> String {
    format!(
        "coil, when hot on the lowest supply: {} V at {} mA; when cold on the highest: {} V at \
         {} mA",
        number(f.coil_volts_min),
        number(1000.0 * f.coil_amps_min),
        number(f.coil_volts_max),
        number(1000.0 * f.coil_amps_max),
    )
}

/// The name of a check.
pub(super) const fn name(code: FitCode) -> &'static str {
    match code {
        FitCode::PickUpHot => "pick-up, hot",
        FitCode::MaximumCold => "maximum, cold",
        FitCode::Release => "release",
        FitCode::OutputAmps => "output current",
        FitCode::HoldThroughGap => "hold through gaps",
        FitCode::WettingCurrent => "wetting current",
    }
}

/// `value` against `limit`, with the unit.
pub(super) fn against(check: &FitCheck) -> String {
    format!("{} against {} {}", number(check.value), number(check.limit), check.unit)
}

/// `+1.07 V (+12 %), from +0.6 to +1.5 V`.
pub(super) fn margin(check: &FitCheck) -> String {
    format!(
        "{} {} ({} %), from {} to {} {}",
        signed(check.margin),
        check.unit,
        signed(check.margin_percent.round()),
        signed(check.margin_low),
        signed(check.margin_high),
        check.unit
    )
}

/// The hold-up capacitor, in sentences.
pub(super) fn hold_up(h: &HoldUp) -> Vec<String> {
    let fitted = if h.fitted { "fitted" } else { "fit" };
    let mut lines = vec![format!(
        "{fitted} {} uF, {} V, across the coil behind a diode from the output: {} uF is the least \
         that bridges {} s over the whole range",
        number(h.microfarads),
        number(h.capacitor_volts),
        number(h.microfarads_min),
        number(h.gap_s),
    )];
    lines.push(if h.series_ohms > 0.0 {
        format!(
            "it draws {} A as it fills; {} ohm in line keep that to 1 A",
            number(h.inrush_amps),
            number(h.series_ohms)
        )
    } else {
        format!("it draws {} A as it fills", number(h.inrush_amps))
    });
    let delay = h.pick_up_delay_s.map_or_else(
        || "it never fills to pick-up when hot".into(),
        |s| format!("it delays pick-up by {} s when hot", number(s)),
    );
    lines.push(format!(
        "{delay}, and holds the relay for up to {} s after the alarm",
        number(h.release_s_max)
    ));
    lines
}

/// What to fit, what the switch sees, when the armature is let go.
pub(super) fn suppression(way: &SuppressionChoice) -> [String; 3] {
    let clamp = way.clamp_volts.map_or("no limit".into(), |v| format!("{} V", number(v)));
    let release = way.release_ms.map_or("-".into(), |ms| format!("{} ms", number(ms)));
    [way.fit.clone(), clamp, release]
}

/// Name, range and origin of an input.
pub(super) fn input(input: &FitInput) -> [String; 3] {
    let unit = &input.unit;
    let range = if input.low < input.high {
        format!(
            "{} {unit} ({} to {})",
            number(input.nominal),
            number(input.low),
            number(input.high)
        )
    } else {
        format!("{} {unit}", number(input.nominal))
    };
    let origin = match input.origin {
        Origin::Stated => "stated",
        Origin::Log => "from the log",
        Origin::Job => "from this job",
        Origin::Assumed => "taken for granted",
    };
    [input.name.clone(), range, origin.into()]
}

/// The finding in lines for the terminal.
#[must_use]
pub fn summary(f: &FitFinding) -> String {
    let mut text = Text::default();
    if f.simulated {
        text.wrapped("", "SIMULATED: no real part was measured.");
    }
    let verdict = f.result.to_string().to_uppercase();
    text.wrapped("", &format!("{verdict}: {}", f.reason));
    text.wrapped(
        "  ",
        &format!(
            "{}; every limit kept in {} % of {} draws, seed {}",
            coil(f),
            number(100.0 * f.probability),
            f.draws,
            f.seed
        ),
    );
    for check in &f.checks {
        let verdict = check.verdict.to_string();
        text.line(&format!("{verdict:<10} {:<18} {}", name(check.code), against(check)));
        text.wrapped("           ", &format!("margin {}", margin(check)));
        text.wrapped("           ", &check.formula);
        text.wrapped("           ", &check.numbers);
    }
    if let Some(h) = &f.hold_up {
        text.line("hold-up for the gaps:");
        hold_up(h).iter().for_each(|line| text.wrapped("  ", line));
    }
    text.line("across the coil, against its kick:");
    for way in &f.suppression {
        let [fit, clamp, release] = suppression(way);
        text.wrapped("  ", &format!("{fit}: switch sees {clamp}, release {release}"));
    }
    text.line("worked out from:");
    for given in &f.inputs {
        let [name, range, origin] = input(given);
        text.line(&format!("  {name:<28} {range}, {origin}"));
    }
    if !f.assumptions.is_empty() {
        text.line("taken for granted:");
        f.assumptions.iter().for_each(|sentence| text.wrapped("  - ", sentence));
    }
    text.wrapped(
        "",
        "Worked out, not measured; no certificate. Local wiring codes and the manuals come first.",
    );
    text.0
}

/// Lines of a limited length.
#[derive(Default)]
struct Text(String);

impl Text {
    fn line(&mut self, line: &str) {
        self.0.push_str(line.trim_end());
        self.0.push('\n');
    }

    fn wrapped(&mut self, indent: &str, text: &str) {
        let hang = " ".repeat(indent.chars().count());
        let mut line = indent.to_owned();
        let mut empty = true;
        for word in text.split_whitespace() {
            let longer = line.chars().count() + 1 + word.chars().count();
            if !empty && longer > LINE_MAX {
                self.line(&line);
                line.clone_from(&hang);
                empty = true;
            }
            if !empty {
                line.push(' ');
            }
            line.push_str(word);
            empty = false;
        }
        self.line(&line);
    }
}

/// Four digits that say something.
pub(super) fn number(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return "0".into();
    }
    let places = (3.0 - x.abs().log10().floor()).clamp(0.0, 6.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 6")]
    let text = format!("{x:.*}", places as usize);
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    };
    if text == "-0" { "0".into() } else { text }
}

/// With its sign, so that a margin is never mistaken.
pub(super) fn signed(x: f64) -> String {
    let text = number(x);
    if x > 0.0 { format!("+{text}") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn margins_keep_their_sign_and_four_digits() {
        assert_eq!([signed(1.0664), signed(-0.5), signed(0.0)], ["+1.066", "-0.5", "0"]);
        assert_eq!([number(1500.0), number(-1e-9), number(f64::NAN)], ["1500", "0", "0"]);
    }

    #[test]
    fn lines_keep_their_length_and_hang() {
        let mut text = Text::default();
        text.wrapped("  - ", &"word ".repeat(60));
        assert!(text.0.lines().all(|line| line.chars().count() <= LINE_MAX));
        assert!(text.0.lines().skip(1).all(|line| line.starts_with("    word")), "{}", text.0);
    }
}
