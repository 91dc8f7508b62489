//! Who answers on one port, the one that the operator named: worked out from nothing, or asked in a
//! dialect that is known. Steps go to standard error; standard output gets who answered and the
//! profile that was found, as TOML that can be saved as it is.

use super::super::failure::{Exit, Failure};
use crate::event::{VERSION, visible};
use drivers::trial::{self, Found};
use drivers::{Clock, Identity, LinkSpec, Profile, SystemClock, ports};
use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

/// How long the one that was named may take to answer in a known dialect.
const ANSWER_WITHIN: Duration = Duration::from_secs(8);

/// Asks who answers, in the dialect of a profile.
pub(super) fn ask(link: &str, profile: &str, json: bool) -> Result<Exit, Failure> {
    let profile = Profile::load(profile)?;
    let spec = link.parse::<LinkSpec>()?;
    let clock: Arc<dyn Clock> = Arc::new(SystemClock::begin());
    let identity = ports::probe(&spec, &profile, clock, ANSWER_WITHIN)?;
    show_identity(&identity, json);
    Ok(Exit::Done)
}

fn show_identity(identity: &Identity, json: bool) {
    if json {
        let shown = serde_json::json!({
            "v": VERSION,
            "link": identity.link,
            "profile": identity.profile,
            "identity": identity.text,
            "commanded": identity.commanded,
        });
        println!("{shown}");
        return;
    }
    let who = if identity.text.is_empty() { "a meter without a name" } else { &identity.text };
    println!("{}", visible(&format!("{}: {who}", identity.link)));
    println!("  use it: {}", visible(&usage(&identity.link, &identity.profile)));
}

/// Works out how the meter talks, and prints the profile or writes it to a new file.
pub(super) fn work_out(link: &str, save: Option<&Path>, json: bool) -> Result<Exit, Failure> {
    let spec = link.parse::<LinkSpec>()?;
    if let Some(file) = save.filter(|file| file.exists()) {
        return Err(not_saved(file, "it is there already", "name a file that is not there yet"));
    }
    let clock = SystemClock::begin();
    let mut tell = |step: &str| eprintln!("{}", visible(step));
    let found = trial::work_out(&spec, &clock, &mut tell)?;
    if let Some(file) = save {
        let written =
            File::create_new(file).and_then(|mut new| new.write_all(text(&found).as_bytes()));
        written.map_err(|error| {
            not_saved(file, &error.to_string(), "name a file in a folder that you may write to")
        })?;
    }
    show_found(&found, save, json);
    Ok(Exit::Done)
}

fn not_saved(file: &Path, problem: &str, hint: &str) -> Failure {
    Failure::bad_input(format!("--save {}: {problem}", file.display()), hint)
}

fn show_found(found: &Found, save: Option<&Path>, json: bool) {
    let link = found.link.to_string();
    if json {
        let shown = serde_json::json!({
            "v": VERSION,
            "link": link,
            "profile": found.profile,
            "said": found.said,
            "commanded": found.commanded,
            "profile_text": found.profile_text,
            "saved": save.map(|file| file.display().to_string()),
        });
        println!("{shown}");
        return;
    }
    match save {
        None => print!("{}", text(found)),
        Some(file) => {
            let file = file.display().to_string();
            println!("{}", visible(&format!("{link}: {}", found.said)));
            println!("{}", visible(&format!("  its profile is in {file}")));
            println!("  use it: {}", visible(&usage(&link, &file)));
        }
    }
}

/// The profile with a head that says where it comes from: TOML as a whole.
fn text(found: &Found) -> String {
    let link = found.link.to_string();
    let head = [
        format!("who answers: {}", found.said),
        format!("on the link: {link}"),
        format!("dialect: {}", found.profile),
        format!("saved as meter.toml: {}", usage(&link, "meter.toml")),
    ];
    let head: String = head.iter().map(|line| format!("# {}\n", visible(line))).collect();
    format!("{head}\n{}", found.profile_text)
}

/// A command for a shell, to which `?` and `&` of a link mean something.
fn usage(link: &str, profile: &str) -> String {
    format!("coilmark identify --meter '{link}' --profile '{profile}' --pins 8")
}
