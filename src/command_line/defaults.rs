//! What a word is where it is not written: that of the settings file; else, for the operator, the
//! full screen on a terminal that can show one and plain lines elsewhere. It is put into the
//! commands before they are parsed, so that `--help` shows it, and a new command has it as soon as
//! it has a flag of that name. A setting that its flag would refuse is refused with file and line.

use super::Words;
use clap::{Command, CommandFactory};
use coilmark::run::{Failure, Settings};
use std::io::IsTerminal;

/// Commands in which a flag of this name says that something is another than before.
const NOT_IN: [&str; 2] = ["resume", "meters"];

/// The commands with the defaults of this person on this machine.
pub(super) fn applied(settings: &Settings) -> Result<Command, Failure> {
    for entry in &settings.entries {
        let flag = format!("--{}={}", entry.key.replace('_', "-"), entry.value);
        let bare = ["coilmark", "identify", "--pins=2", "--meter=none", &flag];
        let bare = bare.into_iter().filter(|word| entry.key != "meter" || *word != "--meter=none");
        if let Err(error) = Words::command().try_get_matches_from(bare) {
            let why = error.to_string();
            let why = why.lines().next().unwrap_or_default();
            return Err(settings.refused(entry, why.strip_prefix("error: ").unwrap_or(why)));
        }
    }
    Ok(Words::command().mut_subcommands(|command| with(command, settings)))
}

fn with(command: Command, settings: &Settings) -> Command {
    let keeps = NOT_IN.contains(&command.get_name());
    let command = command.mut_args(|arg| {
        let key = arg.get_id().as_str().to_owned();
        match (key.as_str(), settings.value(&key)) {
            ("meter" | "profile", _) if keeps => arg,
            ("operator", None) => arg.default_value(operator()),
            (_, Some(value)) => arg.default_value(value.to_owned()).required(false),
            _ => arg,
        }
    });
    command.mut_subcommands(|command| with(command, settings))
}

/// Whether a full screen can be shown: built in, and a terminal that moves its cursor.
fn operator() -> &'static str {
    let terminal = std::io::stdin().is_terminal() && std::io::stdout().is_terminal();
    let term = std::env::var("TERM").unwrap_or_default();
    let has_screen = cfg!(feature = "screen") && terminal && !term.is_empty() && term != "dumb";
    if has_screen { "screen" } else { "lines" }
}
