//! A job sheet: a TOML file written at the desk, made into the labels of a job and, for each step,
//! the words that its command gets. The keys of a step's table are the flags of its command, so
//! that a new flag needs nothing here; whether a flag is known is for the command line to say. The
//! loop's words hold for its proof too, where that table does not say otherwise.

use super::failure::Failure;
use crate::event::{JobLabel, JobStep, visible};
use crate::zone::complaint;
use schemars::JsonSchema;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::Path;

/// The largest sheet that is read, in bytes.
const SHEET_MAX: u64 = 1 << 16;
/// The longest label, in characters.
const LABEL_MAX: usize = 200;
/// Flags of a design that a proof has not.
const DESIGN_ONLY: [&str; 1] = ["json"];

/// What a sheet says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sheet {
    /// What everything is called.
    pub labels: BTreeMap<JobLabel, String>,
    /// For each step the words of its command.
    pub words: BTreeMap<JobStep, Vec<String>>,
}

/// A sheet as it is written.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawSheet {
    /// What everything is called: site, equipment, by, `zone_number`, `zone_terminal`,
    /// `wire_colours`, notes, `received_by`.
    #[serde(default)]
    labels: BTreeMap<JobLabel, String>,
    /// Flags of `coilmark output`.
    #[serde(default)]
    output: Flags,
    /// Flags of `coilmark identify`.
    #[serde(default)]
    relay: Flags,
    /// Flags of `coilmark fit`.
    #[serde(default)]
    fit: Flags,
    /// Flags of `coilmark zone design`; `zone check` gets them too.
    #[serde(default, rename = "loop")]
    of_loop: Flags,
    /// Flags of `coilmark board`; without any, the wiring is looked over instead.
    #[serde(default)]
    board: Flags,
    /// Flags of `coilmark zone check`.
    #[serde(default)]
    zone: Flags,
}

/// Flags by their name, with `-` or `_`.
type Flags = BTreeMap<String, Flag>;

/// The value of a flag.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(untagged)]
enum Flag {
    /// There, or not.
    Given(bool),
    /// A whole number.
    Whole(i64),
    /// A number.
    Number(f64),
    /// A text.
    Text(String),
}

impl Sheet {
    /// Reads a sheet's file.
    ///
    /// # Errors
    /// [`Failure`] with exit 2, the file and its line.
    pub fn load(file: &Path) -> Result<Self, Failure> {
        let shown = visible(&file.display().to_string());
        let hint = "name a file that is there; `coilmark schema job` describes it";
        let bad = |problem: String| Failure::bad_input(format!("{shown}: {problem}"), hint);
        let text = drivers::read_text(file, SHEET_MAX).map_err(|e| bad(e.to_string()))?;
        Self::parse(&text, &shown)
    }

    /// Reads a sheet's text; `name` is said in errors.
    ///
    /// # Errors
    /// As [`Sheet::load`].
    pub fn parse(text: &str, name: &str) -> Result<Self, Failure> {
        let raw: RawSheet = toml::from_str(text).map_err(|error| {
            let known = "`coilmark schema job` describes it; a step's keys are its command's flags";
            let told = complaint(text, &error, known);
            let at = told.line.map_or(String::new(), |line| format!(":{line}"));
            Failure::bad_input(format!("{name}{at}: {}", visible(&told.problem)), told.hint)
        })?;
        for (label, text) in &raw.labels {
            let fits = text.chars().count() <= LABEL_MAX && visible(text) == *text;
            if !fits || text.trim().is_empty() {
                let problem = format!("{name}: [labels] {}: cannot be used", label.name());
                let hint = format!("1 to {LABEL_MAX} characters that can be seen");
                return Err(Failure::bad_input(problem, hint));
            }
        }
        let mut zone: Flags = raw.of_loop.clone();
        zone.retain(|key, _| !DESIGN_ONLY.contains(&key.as_str()));
        zone.extend(raw.zone);
        let steps = [
            (JobStep::Output, raw.output),
            (JobStep::Relay, raw.relay),
            (JobStep::Fit, raw.fit),
            (JobStep::Loop, raw.of_loop),
            (JobStep::Board, raw.board),
            (JobStep::Zone, zone),
        ];
        let words = steps.into_iter().filter(|(_, flags)| !flags.is_empty());
        Ok(Self {
            labels: raw.labels,
            words: words.map(|(step, flags)| (step, words_of(&flags))).collect(),
        })
    }
}

fn words_of(flags: &Flags) -> Vec<String> {
    let word = |(key, flag): (&String, &Flag)| {
        let key = key.replace('_', "-");
        match flag {
            Flag::Given(false) => None,
            Flag::Given(true) => Some(format!("--{key}")),
            Flag::Whole(number) => Some(format!("--{key}={number}")),
            Flag::Number(number) => Some(format!("--{key}={number}")),
            Flag::Text(text) => Some(format!("--{key}={text}")),
        }
    };
    flags.iter().filter_map(word).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_of_a_step_are_the_flags_of_its_command() {
        let text = "[labels]\nsite = \"Pond house\"\n[relay]\npins = 8\nfootprint = \"4+4\"\n\
                    quick = true\n[output]\nnominal = 12.5\nguard = \"2s\"\nx = false\n";
        let sheet = Sheet::parse(text, "s").unwrap();
        assert_eq!(sheet.labels[&JobLabel::Site], "Pond house");
        let relay = ["--footprint=4+4", "--pins=8", "--quick"].map(String::from);
        assert_eq!(sheet.words[&JobStep::Relay], relay);
        let output = ["--guard=2s", "--nominal=12.5"].map(String::from);
        assert_eq!(sheet.words[&JobStep::Output], output);
        assert_eq!(sheet.words.get(&JobStep::Board), None);
    }

    #[test]
    fn the_loops_words_hold_for_its_proof_unless_that_says_otherwise() {
        let text = "[loop]\npanel = \"p.toml\"\ncable_length_m = 40\njson = true\n[zone]\n\
                    cable_length_m = 55\n";
        let sheet = Sheet::parse(text, "s").unwrap();
        let zone = ["--cable-length-m=55", "--panel=p.toml"].map(String::from);
        assert_eq!(sheet.words[&JobStep::Zone], zone);
    }

    #[test]
    fn what_is_wrong_is_said_with_its_line() {
        let bad = Sheet::parse("[labels]\nsit = \"x\"\n", "s.toml").unwrap_err();
        assert!(bad.to_string().starts_with("s.toml:2:"), "{bad}");
        assert!(bad.hint().contains("site"), "{}", bad.hint());
        let bad = Sheet::parse("[rely]\npins = 8\n", "s.toml").unwrap_err();
        assert!(bad.hint().contains("relay"), "{} {}", bad, bad.hint());
        for text in
            ["[labels]\nsite = \"\\u001b[2J\"\n", "[labels]\nsite = \" \"\n", "=", "[fit]\na = []"]
        {
            assert!(Sheet::parse(text, "s").is_err(), "{text}");
        }
    }
}
