//! A profile describes how one kind of meter talks and how well it measures: a TOML file, read
//! strictly, so that a misspelt key is an error with its line and a suggestion. Three are
//! shipped inside the program (`scpi`, `ascii-lines`, `polled-lines`); any other is a path.
//! From a checked [`Profile`] come the [`Session`] that speaks it, and the uncertainties.

mod accuracy;
mod check;
mod dialect;
mod raw;
mod suggest;

pub use accuracy::Accuracy;
pub use dialect::{
    Checksum, Dialect, FunctionCommands, LinesDialect, RemoteWhen, ScpiDialect, Terminator,
    UnitWord,
};
pub use raw::{RawFunction, RawOhmsAccuracy, RawProfile, RawUnit, RawVoltsAccuracy};

use crate::error::DriverError;
use crate::link::Dtr;
use crate::reading::{Function, Value};
use crate::scpi::ScpiSession;
use crate::session::Session;
use crate::stream::LineSession;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

/// The name of the profile that is used when none is named.
pub const DEFAULT_PROFILE: &str = "scpi";

const SHIPPED: [(&str, &str); 3] = [
    ("scpi", include_str!("../../profiles/scpi.toml")),
    ("ascii-lines", include_str!("../../profiles/ascii-lines.toml")),
    ("polled-lines", include_str!("../../profiles/polled-lines.toml")),
];

/// A largest file, in bytes: a profile is a page of text.
const FILE_AT_MOST: u64 = 256 * 1024;

/// A meter's dialect and accuracy, checked.
#[derive(Clone, Debug)]
pub struct Profile {
    /// Its name, as the file says it.
    pub name: String,
    /// How the meter talks.
    pub dialect: Dialect,
    /// The DTR line, where the link's own text leaves it.
    pub dtr: Dtr,
    /// Resistance of the leads that two-wire readings may contain, in ohms.
    pub lead_ohms: f64,
    accuracy: BTreeMap<Function, Vec<Accuracy>>,
}

impl Profile {
    /// Loads a shipped profile by its name, or a file by its path (anything with a dot or a
    /// slash in it).
    ///
    /// # Errors
    /// [`DriverError::BadProfile`] with line, column and, for a misspelt key, a suggestion.
    pub fn load(name_or_path: &str) -> Result<Self, DriverError> {
        if let Some(text) = Self::shipped_text(name_or_path) {
            return Self::parse(name_or_path, text);
        }
        let bad = |problem: String| DriverError::BadProfile {
            file: crate::error::escape(name_or_path.as_bytes(), 200),
            problem,
        };
        if !name_or_path.contains(['/', '.']) {
            let names = SHIPPED.map(|(name, _)| name);
            let hint = suggest::nearest(name_or_path, &names)
                .map_or_else(String::new, |name| format!(", did you mean `{name}`?"));
            return Err(bad(format!(
                "no shipped profile of this name{hint} (there are {}; a file is named by its path)",
                names.join(", ")
            )));
        }
        let path = std::path::Path::new(name_or_path);
        let text = crate::text::read_text(path, FILE_AT_MOST).map_err(|e| bad(e.to_string()))?;
        Self::parse(name_or_path, &text)
    }

    /// Reads the text of a profile; `file` is its name in messages.
    ///
    /// # Errors
    /// [`DriverError::BadProfile`] with line, column and, for a misspelt key, a suggestion.
    pub fn parse(file: &str, text: &str) -> Result<Self, DriverError> {
        let bad = |problem| DriverError::BadProfile {
            file: crate::error::escape(file.as_bytes(), 200),
            problem,
        };
        let raw: RawProfile =
            toml::from_str(text).map_err(|error| bad(suggest::explain(&error, text)))?;
        check::check(raw).map_err(|fault| bad(fault.place(text)))
    }

    /// Names of the shipped profiles.
    #[must_use]
    pub fn shipped() -> Vec<&'static str> {
        SHIPPED.iter().map(|(name, _)| *name).collect()
    }

    /// The text of a shipped profile, as a start for one of your own.
    #[must_use]
    pub fn shipped_text(name: &str) -> Option<&'static str> {
        SHIPPED.iter().find(|(shipped, _)| *shipped == name).map(|(_, text)| *text)
    }

    /// JSON Schema of the file, for `coilmark schema profile`.
    #[must_use]
    pub fn schema() -> schemars::Schema {
        schemars::schema_for!(RawProfile)
    }

    /// Whether the program can set the meter's function; if not, the operator turns the dial.
    #[must_use]
    pub fn commanded(&self) -> bool {
        match &self.dialect {
            Dialect::Scpi(_) => true,
            Dialect::Lines(lines) => !lines.functions.is_empty(),
        }
    }

    /// What a meter of lines is asked with for each reading; `None` if it sends by itself, or is
    /// commanded.
    #[must_use]
    pub fn poll(&self) -> Option<&str> {
        match &self.dialect {
            Dialect::Scpi(_) => None,
            Dialect::Lines(lines) => lines.poll.as_deref(),
        }
    }

    /// Whether the profile knows how to measure in this function.
    #[must_use]
    pub fn supports(&self, function: Function) -> bool {
        match &self.dialect {
            Dialect::Scpi(scpi) => scpi.functions.contains_key(&function),
            Dialect::Lines(lines) => lines.supports(function),
        }
    }

    /// The longest that one reading may take, link and all.
    #[must_use]
    pub fn reading_within(&self) -> Duration {
        match &self.dialect {
            Dialect::Scpi(scpi) => scpi.timeout + scpi.integration,
            Dialect::Lines(lines) => lines.timeout,
        }
    }

    /// Standard uncertainty of a value in this function, in the function's unit, from the
    /// stated accuracy taken as the half-width of a rectangular distribution (GUM 4.3.7:
    /// `u = a / sqrt(3)`). `None` without a number or without a stated accuracy.
    #[must_use]
    pub fn standard_uncertainty(&self, function: Function, value: Value) -> Option<f64> {
        let x = value.number()?;
        let ranges = self.accuracy.get(&function)?;
        let within = ranges.iter().find(|range| range.covers(x)).or_else(|| ranges.last())?;
        let leads = match function {
            Function::Resistance | Function::Continuity => self.lead_ohms,
            _ => 0.0,
        };
        Some((within.half_width(x) + leads) / 3.0_f64.sqrt())
    }

    /// A session that speaks this profile; `link` is the link's name in messages.
    #[must_use]
    pub fn session(&self, link: &str) -> Box<dyn Session> {
        let profile = Arc::new(self.clone());
        match &self.dialect {
            Dialect::Scpi(dialect) => {
                Box::new(ScpiSession::new(profile.clone(), dialect.clone(), link))
            }
            Dialect::Lines(dialect) => {
                Box::new(LineSession::new(profile.clone(), dialect.clone(), link))
            }
        }
    }
}

#[cfg(test)]
mod tests;
