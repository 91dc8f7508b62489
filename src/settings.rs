//! Defaults of one's own, from a TOML file: keys that are flags of the same name, values as they
//! would be written there. Unknown keys and wrong kinds are refused with their line and the nearest
//! right one. Whether a value can be obeyed is for the command line, which knows its flags; where
//! the file lies is said here, reading it is left to the caller.

use std::ffi::OsString;
use std::path::PathBuf;

/// Every key, with what it is without a file and what it says.
pub const KEYS: [(&str, &str, &str); 8] = [
    ("meter", "(none)", "the meter's link"),
    ("profile", "scpi", "the meter's dialect"),
    ("operator", "screen on a terminal, else lines", "who is asked"),
    ("sounds", "bell", "what is heard: bell or off"),
    ("say", "(none)", "a program that speaks each ask and result"),
    ("dwell", "(none)", "how long an open pair is held until it is taken"),
    ("hand_seconds", "4,5,0.5", "what one lead, both leads and the drive cost, in seconds"),
    ("reconnect_for", "30s", "how long a lost link is tried again"),
];

/// One key of the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setting {
    /// One of [`KEYS`].
    pub key: &'static str,
    /// As it would be written behind the flag.
    pub value: String,
    /// Its line in the file, from 1.
    pub line: usize,
}

/// Why a settings file is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {problem}")]
pub struct BadSetting {
    /// From 1.
    pub line: usize,
    /// What is wrong there.
    pub problem: String,
    /// What to do about it.
    pub hint: String,
}

/// Where the file lies: `coilmark/settings.toml` in the folder for settings (XDG Base Directory
/// Specification: `$XDG_CONFIG_HOME`, else `$HOME/.config`); `None` where neither is known.
#[must_use]
pub fn path(xdg_config_home: Option<OsString>, home: Option<OsString>) -> Option<PathBuf> {
    let absolute = |text: OsString| Some(PathBuf::from(text)).filter(|path| path.is_absolute());
    let folder = xdg_config_home.and_then(absolute);
    let folder = folder.or_else(|| home.and_then(absolute).map(|home| home.join(".config")))?;
    Some(folder.join("coilmark").join("settings.toml"))
}

/// The settings of a file's text, in the order of its lines.
///
/// # Errors
/// [`BadSetting`] for the first line that is wrong.
pub fn parse(text: &str) -> Result<Vec<Setting>, BadSetting> {
    let line_at = |at: usize| text.get(..at).unwrap_or(text).matches('\n').count() + 1;
    let table = toml::de::DeTable::parse(text).map_err(|error| BadSetting {
        line: error.span().map_or(1, |span| line_at(span.start)),
        problem: error.message().lines().collect::<Vec<_>>().join(" "),
        hint: "a setting is written as: dwell = \"1.5s\"".into(),
    })?;
    let mut settings = Vec::new();
    for (key, value) in table.get_ref() {
        let line = line_at(key.span().start);
        let Some((known, ..)) = KEYS.iter().find(|(known, ..)| known == key.get_ref()) else {
            return Err(unknown(key.get_ref(), line));
        };
        let Some(value) = value.get_ref().as_str() else {
            return Err(BadSetting {
                line,
                problem: format!("`{known}` wants a text in quotes"),
                hint: format!("write it as: {known} = \"...\""),
            });
        };
        settings.push(Setting { key: known, value: value.to_owned(), line });
    }
    settings.sort_by_key(|setting| setting.line);
    Ok(settings)
}

fn unknown(key: &str, line: usize) -> BadSetting {
    let word: String = key.chars().take(64).collect();
    let distances = KEYS.iter().map(|(known, ..)| (strsim::levenshtein(&word, known), *known));
    let nearest = distances.min_by_key(|(distance, _)| *distance);
    let nearest = nearest.filter(|(distance, known)| distance * 2 <= known.len());
    let all: Vec<&str> = KEYS.iter().map(|(known, ..)| *known).collect();
    let shown: String = key.escape_debug().take(40).collect();
    BadSetting {
        line,
        problem: format!("`{shown}` is no setting"),
        hint: match nearest {
            Some((_, known)) => format!("did you mean `{known}`?"),
            None => format!("there are {}", all.join(", ")),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_flags_and_keep_their_lines() {
        let text = "# mine\nmeter = \"serial:/dev/ttyUSB0\"\n\ndwell = \"1.5s\"\n";
        let settings = parse(text).unwrap();
        let seen: Vec<_> = settings.iter().map(|s| (s.key, s.value.as_str(), s.line)).collect();
        assert_eq!(seen, [("meter", "serial:/dev/ttyUSB0", 2), ("dwell", "1.5s", 4)]);
        assert_eq!(parse(""), Ok(vec![]));
    }

    #[test]
    fn an_unknown_key_is_refused_with_the_nearest() {
        let bad = parse("sounds = \"off\"\ndwel = \"1s\"\n").unwrap_err();
        assert_eq!((bad.line, bad.hint.as_str()), (2, "did you mean `dwell`?"));
        let bad = parse("[colours]\nred = 1\n").unwrap_err();
        assert!(bad.problem.contains("`colours`") && bad.hint.contains("reconnect_for"), "{bad:?}");
        assert!(!parse("\"\\u001b[2J\" = 1").unwrap_err().problem.contains('\u{1b}'));
    }

    #[test]
    fn what_is_no_text_or_no_toml_is_refused_with_its_line() {
        assert_eq!(parse("\n\ndwell = 1.5\n").unwrap_err().line, 3);
        assert_eq!(parse("meter = \"a\"\nmeter = \"b\"\n").unwrap_err().line, 2);
        assert_eq!(parse("meter = \"a\"\nsounds = \n").unwrap_err().line, 2);
    }

    #[test]
    fn the_folder_is_the_stated_one_else_the_usual_one() {
        let text = |text: &str| Some(OsString::from(text));
        let file = |xdg, home| path(xdg, home).map(|path| path.display().to_string());
        assert_eq!(file(text("/x"), text("/h")).as_deref(), Some("/x/coilmark/settings.toml"));
        assert_eq!(
            file(text("not/absolute"), text("/h")).as_deref(),
            Some("/h/.config/coilmark/settings.toml")
        );
        assert_eq!(file(text(""), None), None);
    }
}
