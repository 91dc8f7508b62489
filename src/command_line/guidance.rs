//! What helps a person with the program itself: what to do first, help on commands and on words of
//! the trade, completions for shells, manual pages. All of it is made from the words of the
//! command line, so that it is never behind them.

use super::topics::{self, TOPICS};
use clap::{Args, Command};
use clap_complete::Shell;
use coilmark::run::{Exit, Failure};
use std::io;
use std::path::{Path, PathBuf};

/// What `coilmark` alone says.
const FIRST: &str = "\
Which pin of an unmarked relay is what, and the whole job around it.
  coilmark demo        shows all of it: no hardware, no questions, 15 seconds
  coilmark meters      finds your meter; then: coilmark identify --meter LINK
  coilmark job DIR     leads through a whole job, up to the hand-over record
  coilmark --help      lists all commands; coilmark help TOPIC explains a word";

#[derive(Args)]
pub(super) struct Help {
    /// A command, or a word of the trade
    #[arg(value_name = "TOPIC")]
    topic: Option<String>,
}

#[derive(Args)]
pub(super) struct Completions {
    /// For which shell
    #[arg(value_enum)]
    shell: Shell,
}

#[derive(Args)]
pub(super) struct Manual {
    /// The folder for the pages, one a command; it is made if it is not there
    #[arg(value_name = "DIR")]
    folder: PathBuf,
}

/// Says what to do first.
pub(super) fn first() -> Exit {
    eprintln!("{FIRST}");
    Exit::BadInput
}

/// Explains a topic or a command, or lists the topics.
pub(super) fn help(words: &Help, mut command: Command) -> Result<Exit, Failure> {
    let Some(asked) = &words.topic else {
        println!("Words of the trade (`coilmark help TOPIC`):\n");
        for topic in &TOPICS {
            println!("  {:<12} {}", topic.name, topic.about);
        }
        println!("\nCommands: `coilmark --help`, and `coilmark help COMMAND`.");
        return Ok(Exit::Done);
    };
    command.build();
    if let Some(command) = command.find_subcommand_mut(asked) {
        print!("{}", command.render_long_help());
        return Ok(Exit::Done);
    }
    let Some(topic) = topics::find(asked) else {
        let shown: String = asked.escape_debug().take(40).collect();
        let names: Vec<&str> = TOPICS.iter().map(|topic| topic.name).collect();
        return Err(Failure::bad_input(
            format!("`{shown}` is no command and no topic"),
            format!("there are {}", names.join(", ")),
        ));
    };
    println!("{}: {}\n\n{}", topic.name, topic.about, topic.text);
    Ok(Exit::Done)
}

/// Prints the completions for a shell.
pub(super) fn completions(words: &Completions, mut command: Command) -> Exit {
    clap_complete::generate(words.shell, &mut command, "coilmark", &mut io::stdout());
    Exit::Done
}

/// Writes a manual page for the program and each of its commands.
pub(super) fn manual(words: &Manual, command: Command) -> Result<Exit, Failure> {
    let folder = &words.folder;
    let written =
        std::fs::create_dir_all(folder).and_then(|()| clap_mangen::generate_to(command, folder));
    match written {
        Ok(()) => Ok(said(folder)),
        Err(error) => Err(Failure::bad_input(
            format!("{}: {error}", folder.display()),
            "name a folder that can be written",
        )),
    }
}

fn said(folder: &Path) -> Exit {
    println!("Manual pages: {}", folder.display());
    Exit::Done
}
