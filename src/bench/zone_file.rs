//! The text of a zone file (TOML) -> a [`Part`] with two terminals, `zone` and `common`: a panel's
//! input with the loop on it, at rest and in alarm. It is told from a relay file by its `[zone]`
//! table. Examples are `fixtures/zones/*.toml`; every number carries its unit in its key.

use super::part::{Part, Zone};
use super::part_file::BadPart;
use super::toml_text::{line_of, toml_problem};
use serde::Deserialize;

/// A file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFile {
    /// Its name.
    name: String,
    /// What is there.
    zone: Zone,
}

/// Whether this text is a zone file, and not a relay file.
pub(crate) fn is_one(text: &str) -> bool {
    text.lines().any(|line| line.trim() == "[zone]")
}

/// See [`Part::parse`].
pub(crate) fn parse(text: &str, file: &str) -> Result<Part, BadPart> {
    let bad =
        |line, problem, hint: &str| BadPart { file: file.into(), line, problem, hint: hint.into() };
    let hint = "fixtures/zones/ has examples with every key";
    let raw: RawFile = toml::from_str(text).map_err(|error| {
        let found = toml_problem(text, &error);
        let known = found.hint.starts_with("did you mean");
        bad(found.line, found.problem, if known { &found.hint } else { hint })
    })?;
    let z = &raw.zone;
    let ohms = |ohms: Option<f64>| ohms.is_none_or(|ohms| (1e-3..=1e9).contains(&ohms));
    let fields = [
        ("volts", (-1000.0..=1000.0).contains(&z.volts)),
        ("source_ohms", (1.0..=1e9).contains(&z.source_ohms)),
        ("rest_ohms", ohms(z.rest_ohms)),
        ("alarm_ohms", ohms(z.alarm_ohms)),
    ];
    if let Some((key, _)) = fields.iter().find(|(_, fits)| !fits) {
        let line = line_of(text, "zone", 0, key);
        return Err(bad(line, format!("`zone.{key}` is out of range"), hint));
    }
    let part = Part::of_terminals(raw.name, ["zone", "common"]);
    let part = part.ok_or_else(|| bad(None, "its terminals have no names".into(), hint))?;
    Ok(Part { zone: Some(raw.zone), ..part })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wild_number_is_named_with_its_line() {
        let text = "name = \"x\"\n[zone]\nvolts = 12\nsource_ohms = 0\n";
        let bad = Part::parse(text, "z.toml").unwrap_err();
        assert_eq!(bad.to_string(), "z.toml:4: `zone.source_ohms` is out of range");
    }
}
