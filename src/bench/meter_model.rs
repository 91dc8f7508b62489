//! A meter file (TOML) -> a checked [`MeterModel`]: how it speaks, how fast it converts, how
//! well it measures. Accuracy is in per cent of the reading and counts of the range, as on a data
//! sheet. Examples are `fixtures/meters/*.toml`; what a model then shows is the meter's matter.

use super::part_file::BadPart;
use super::toml_text::{line_of, toml_problem};
use schemars::JsonSchema;
use serde::Deserialize;
use std::path::Path;

/// A model of a meter.
#[derive(Clone, Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
#[schemars(title = "Simulated meter")]
pub struct MeterModel {
    /// How it speaks.
    pub voice: VoiceKind,
    /// What it answers to `*IDN?`: maker, model, serial number, firmware.
    pub identity: String,
    /// One conversion, in milliseconds.
    pub conversion_ms: u32,
    /// Time constant with which a fresh touch settles, in milliseconds.
    pub settle_ms: u32,
    /// Counts of full scale; the leading digits are those of the ranges (6000: 600, 6 k, 60 k).
    pub counts: u32,
    /// Ohms above this are overload.
    pub ohms_max: f64,
    /// Continuity above this is overload, in ohms.
    pub continuity_ohms_max: f64,
    /// Diode test above this is overload, in volts.
    pub diode_volts_max: f64,
    /// Accuracy on ohms and continuity.
    pub resistance: Accuracy,
    /// Accuracy on volts and diode test.
    pub voltage: Accuracy,
}

/// How a meter speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum VoiceKind {
    /// Commanded, in the language of SCPI-99.
    Scpi,
    /// Sends lines by itself, in the function of its dial.
    Lines,
    /// Sends such a line for each `D` that it is asked with.
    PolledLines,
}

/// Accuracy of one kind of function.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Accuracy {
    /// Limit of the gain error, in per cent of the reading.
    pub percent: f64,
    /// Limit of the offset, in counts of the range.
    pub counts: f64,
    /// Standard deviation of the noise, in counts of the range.
    pub noise_counts: f64,
}

impl Default for MeterModel {
    fn default() -> Self {
        Self::commanded()
    }
}

impl MeterModel {
    /// A commanded meter of 200 000 counts.
    #[must_use]
    pub fn commanded() -> Self {
        Self {
            voice: VoiceKind::Scpi,
            identity: "SIMULATED,BENCH METER,0001,1.0".into(),
            conversion_ms: 20,
            settle_ms: 8,
            counts: 200_000,
            ohms_max: 100e6,
            continuity_ohms_max: 2000.0,
            diode_volts_max: 2.5,
            resistance: Accuracy { percent: 0.02, counts: 8.0, noise_counts: 2.0 },
            voltage: Accuracy { percent: 0.01, counts: 6.0, noise_counts: 1.0 },
        }
    }

    /// A hand-held meter of 6000 counts that sends a line four times a second.
    #[must_use]
    pub fn free_running() -> Self {
        Self {
            voice: VoiceKind::Lines,
            identity: String::new(),
            conversion_ms: 250,
            settle_ms: 40,
            counts: 6000,
            ohms_max: 60e6,
            continuity_ohms_max: 600.0,
            diode_volts_max: 2.5,
            resistance: Accuracy { percent: 0.8, counts: 3.0, noise_counts: 0.3 },
            voltage: Accuracy { percent: 0.5, counts: 3.0, noise_counts: 0.3 },
        }
    }

    /// The same hand-held meter, which speaks when it is asked.
    #[must_use]
    pub fn polled() -> Self {
        Self { voice: VoiceKind::PolledLines, ..Self::free_running() }
    }

    /// Reads a meter file.
    ///
    /// # Errors
    /// [`BadPart`] names the file, the line and the key.
    pub fn load(path: &Path) -> Result<Self, BadPart> {
        let file = path.display().to_string();
        match drivers::read_text(path, drivers::WORDS_AT_MOST) {
            Ok(text) => Self::parse(&text, &file),
            Err(source) => Err(BadPart::unreadable(file, &source)),
        }
    }

    /// Reads the text of a meter file; `file` is its name in messages. What it leaves out is as
    /// in [`MeterModel::commanded`].
    ///
    /// # Errors
    /// [`BadPart`] names the file, the line and the key.
    pub fn parse(text: &str, file: &str) -> Result<Self, BadPart> {
        let model: Self = toml::from_str(text).map_err(|error| {
            let found = toml_problem(text, &error);
            BadPart {
                file: file.into(),
                line: found.line,
                problem: found.problem,
                hint: found.hint,
            }
        })?;
        model.checked(text, file)
    }

    fn checked(self, text: &str, file: &str) -> Result<Self, BadPart> {
        let sound = |a: &Accuracy| {
            [a.percent, a.counts, a.noise_counts].iter().all(|x| (0.0..=1000.0).contains(x))
        };
        let fields = [
            ("identity", self.identity.bytes().all(|b| (0x20..0x7f).contains(&b) && b != b';')),
            ("conversion_ms", (1..=60_000).contains(&self.conversion_ms)),
            ("settle_ms", (1..=60_000).contains(&self.settle_ms)),
            ("counts", (1000..=100_000_000).contains(&self.counts)),
            ("ohms_max", (1e3..=1e9).contains(&self.ohms_max)),
            ("continuity_ohms_max", (10.0..=1e5).contains(&self.continuity_ohms_max)),
            ("diode_volts_max", (0.5..=20.0).contains(&self.diode_volts_max)),
            ("resistance", sound(&self.resistance)),
            ("voltage", sound(&self.voltage)),
        ];
        match fields.iter().find(|(_, fits)| !fits) {
            None => Ok(self),
            Some((key, _)) => Err(BadPart {
                file: file.into(),
                line: line_of(text, "", 0, key).or_else(|| line_of(text, key, 0, "")),
                problem: format!("`{key}` is out of range"),
                hint: "fixtures/meters/ has examples with plausible values".into(),
            }),
        }
    }

    /// The JSON Schema of a meter file.
    #[must_use]
    pub fn schema() -> schemars::Schema {
        schemars::schema_for!(Self)
    }

    /// The leading digits of the ranges: 2 for 200 000 counts, 6 for 6000.
    pub(crate) fn leading(&self) -> f64 {
        let counts = f64::from(self.counts);
        counts / 10f64.powf(counts.log10().floor())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_files_are_the_built_in_meters() {
        let commanded = include_str!("../../fixtures/meters/commanded.toml");
        let lines = include_str!("../../fixtures/meters/free_running.toml");
        assert_eq!(MeterModel::parse(commanded, "x").unwrap(), MeterModel::commanded());
        assert_eq!(MeterModel::parse(lines, "x").unwrap(), MeterModel::free_running());
    }

    #[test]
    fn a_misspelt_key_gets_its_line_and_the_nearest_key() {
        let bad = MeterModel::parse("voice = \"scpi\"\nconversion_sm = 3\n", "m.toml").unwrap_err();
        assert_eq!(bad.line, Some(2));
        assert_eq!(bad.hint, "did you mean `conversion_ms`?");
    }

    #[test]
    fn a_number_out_of_range_is_named() {
        let bad = MeterModel::parse("\ncounts = 3\n", "m.toml").unwrap_err();
        assert_eq!(bad.to_string(), "m.toml:2: `counts` is out of range");
    }
}
