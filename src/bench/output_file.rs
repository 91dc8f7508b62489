//! The text of an output file (TOML) -> a [`Part`] with two terminals, `plus` and `minus`, and the
//! [`Output`] behind them. It is told from a relay file by its `[output]` table. Examples are
//! `fixtures/outputs/*.toml`; every number carries its unit in its key and is checked here.

use super::output::Output;
use super::part::Part;
use super::part_file::BadPart;
use super::toml_text::{line_of, toml_problem};
use schemars::JsonSchema;
use serde::Deserialize;

/// A file.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "Simulated output")]
struct RawOutput {
    /// Its name.
    name: String,
    /// What it does.
    output: Output,
}

/// Whether this text is an output file, and not a relay file.
pub(crate) fn is_one(text: &str) -> bool {
    text.lines().any(|line| line.trim() == "[output]")
}

/// See [`Part::parse`].
pub(crate) fn parse(text: &str, file: &str) -> Result<Part, BadPart> {
    let raw: RawOutput = toml::from_str(text).map_err(|error| {
        let found = toml_problem(text, &error);
        let hint = match found.hint.starts_with("did you mean") {
            true => found.hint,
            false => "fixtures/outputs/ has examples with every key".into(),
        };
        BadPart { file: file.into(), line: found.line, problem: found.problem, hint }
    })?;
    checked(&raw.output, text, file)?;
    let part = Part::of_terminals(raw.name, ["plus", "minus"]).ok_or_else(|| BadPart {
        file: file.into(),
        line: None,
        problem: "its terminals have no names".into(),
        hint: "this is a defect: please report it".into(),
    })?;
    Ok(Part { output: Some(raw.output), ..part })
}

fn checked(o: &Output, text: &str, file: &str) -> Result<(), BadPart> {
    let day = 0.0..=86_400.0;
    let fields = [
        ("rest_volts", (-1000.0..=1000.0).contains(&o.rest_volts)),
        ("alarm_volts", (-1000.0..=1000.0).contains(&o.alarm_volts)),
        ("on_delay_s", day.contains(&o.on_delay_s)),
        ("window_s", day.contains(&o.window_s)),
        ("pulse_period_s", day.contains(&o.pulse_period_s)),
        ("pulse_duty", (0.001..=0.999).contains(&o.pulse_duty)),
        ("sag_volts_per_min", (-1000.0..=1000.0).contains(&o.sag_volts_per_min)),
        ("noise_volts", (0.0..=100.0).contains(&o.noise_volts)),
        ("hold_up_s", day.contains(&o.hold_up_s)),
    ];
    match fields.iter().find(|(_, fits)| !fits) {
        None => Ok(()),
        Some((key, _)) => Err(BadPart {
            file: file.into(),
            line: line_of(text, "output", 0, key),
            problem: format!("`output.{key}` is out of range"),
            hint: "fixtures/outputs/ has examples with plausible values".into(),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_becomes_two_terminals_and_what_is_behind_them() {
        let text = "name = \"x\"\n\n[output]\nalarm_volts = 12.5\nwindow_s = 4\n";
        assert!(is_one(text));
        let part = Part::parse(text, "o.toml").unwrap();
        assert_eq!(part.pins.count(), 2);
        let output = part.output.unwrap();
        assert_eq!((output.alarm_volts, output.window_s), (12.5, 4.0));
    }

    #[test]
    fn a_misspelt_key_and_a_wild_number_are_named_with_their_line() {
        let misspelt = "name = \"x\"\n[output]\nalarm_vlts = 12.5\n";
        let bad = Part::parse(misspelt, "o.toml").unwrap_err();
        assert_eq!(bad.line, Some(3));
        assert_eq!(bad.hint, "did you mean `alarm_volts`?");
        let wild = "name = \"x\"\n[output]\nwindow_s = 2\npulse_duty = 1.5\n";
        let bad = Part::parse(wild, "o.toml").unwrap_err();
        assert_eq!(bad.to_string(), "o.toml:4: `output.pulse_duty` is out of range");
    }
}
