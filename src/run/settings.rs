//! Reads the settings file and says what is in force. A file that is not there is no setting; one
//! that cannot be read or understood stops every command that would have used it, because a run on
//! other terms than the person believes is worse than none.

use super::failure::{Exit, Failure};
use crate::settings::{self, KEYS, Setting};
use std::io::ErrorKind;
use std::path::PathBuf;

/// The settings of this person, and the file they are from.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// Where the file lies, or would.
    pub file: Option<PathBuf>,
    /// What stands in it.
    pub entries: Vec<Setting>,
}

impl Settings {
    /// Those of the file in the folder for settings.
    ///
    /// # Errors
    /// [`Failure`] naming file and line.
    pub fn read() -> Result<Self, Failure> {
        let file = settings::path(std::env::var_os("XDG_CONFIG_HOME"), std::env::var_os("HOME"));
        let Some(path) = &file else { return Ok(Self::default()) };
        let text = match drivers::read_text(path, drivers::WORDS_AT_MOST) {
            Ok(text) => text,
            Err(error) if error.kind() == ErrorKind::NotFound => String::new(),
            Err(error) => {
                let message = format!("{}: {error}", path.display());
                return Err(Failure::bad_input(message, "mend the file, or take it away"));
            }
        };
        let entries = settings::parse(&text).map_err(|bad| {
            Failure::bad_input(
                format!("{}:{}: {}", path.display(), bad.line, bad.problem),
                bad.hint.clone(),
            )
        })?;
        Ok(Self { file, entries })
    }

    /// The value of a key, if the file has one.
    #[must_use]
    pub fn value(&self, key: &str) -> Option<&str> {
        self.entries.iter().find(|entry| entry.key == key).map(|entry| entry.value.as_str())
    }

    /// A setting that cannot be obeyed, as a failure.
    #[must_use]
    pub fn refused(&self, entry: &Setting, why: &str) -> Failure {
        let file = self.file.as_deref().unwrap_or_else(|| std::path::Path::new("settings"));
        let message = format!("{}:{}: {}: {why}", file.display(), entry.line, entry.key);
        Failure::bad_input(message, "`coilmark settings` shows every key and its usual value")
    }
}

/// Prints what is in force and where it is from.
///
/// # Errors
/// None after the file was read.
pub fn show_settings(settings: &Settings) -> Result<Exit, Failure> {
    let file = settings.file.as_ref().map_or("(no folder for settings)".into(), |file| {
        let there = if file.exists() { "" } else { " (not there)" };
        format!("{}{there}", file.display())
    });
    println!("Settings file: {file}");
    println!("A flag of the same name wins over all of these.\n");
    for (key, usual, says) in KEYS {
        let (value, from) = match settings.entries.iter().find(|entry| entry.key == key) {
            Some(entry) => (crate::event::visible(&entry.value), format!("line {}", entry.line)),
            None => (usual.to_owned(), "built in".into()),
        };
        println!("{key:<14} {value:<34} {from:<9} {says}");
    }
    Ok(Exit::Done)
}
