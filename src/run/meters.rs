//! What is done with a meter's link alone: listing what is there, working out how an unknown meter
//! talks, watching one. Listing asks only the system; a port is written to only when the operator
//! named it, since a command meant for a meter can do harm to a stranger. Nothing is recorded.

mod figures;
mod trial;
mod watching;

use super::failure::{Exit, Failure};
use crate::event::visible;
use drivers::ports;
use std::path::PathBuf;
use std::time::Duration;

/// What `meters` is given.
#[derive(Clone, Debug, Default)]
pub struct MetersTerms {
    /// The link on which to find out who answers.
    pub try_link: Option<String>,
    /// The file that receives the profile that was worked out.
    pub save: Option<PathBuf>,
    /// The link to watch.
    pub watch: Option<String>,
    /// The profile by name or file.
    pub profile: Option<String>,
    /// The function to watch, by its name in files.
    pub function: Option<String>,
    /// How long to watch; until it is interrupted, if none.
    pub span: Option<Duration>,
    /// Where every byte on the watched link is written, if anywhere.
    pub trace_link: Option<PathBuf>,
    /// Whether to print JSON instead of lines.
    pub json: bool,
}

/// Lists ports, finds out who answers on one, or watches one.
///
/// # Errors
/// [`Failure`] for a bad link, profile or function, and where nobody answers.
pub fn run_meters(terms: &MetersTerms) -> Result<Exit, Failure> {
    match (&terms.watch, &terms.try_link, &terms.profile) {
        (Some(link), ..) => watching::watch(link, terms),
        (None, Some(link), Some(profile)) => trial::ask(link, profile, terms.json),
        (None, Some(link), None) => trial::work_out(link, terms.save.as_deref(), terms.json),
        (None, None, _) => {
            show_ports(terms.json);
            Ok(Exit::Done)
        }
    }
}

fn show_ports(json: bool) {
    let found = ports::list();
    if json {
        let ports: Vec<_> = found
            .iter()
            .map(|port| {
                serde_json::json!({
                    "link": port.link,
                    "description": port.description,
                    "held_by": port.holder,
                })
            })
            .collect();
        println!("{}", serde_json::json!({ "v": crate::event::VERSION, "ports": ports }));
        return;
    }
    for port in &found {
        let held = port.holder.as_ref().map(|by| format!("  in use by {by}")).unwrap_or_default();
        println!("{}", visible(&format!("{}  {}{held}", port.link, port.description)));
    }
    if found.is_empty() {
        println!("no serial port and no USB test device is there");
        println!("hint: plug the meter's cable in; a network meter is named as tcp:HOST:5025");
    } else {
        println!("hint: `coilmark meters --try LINK` asks who answers on one of them");
    }
}
