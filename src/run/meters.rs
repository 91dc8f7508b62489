//! What meters are there. Listing asks only the system; a port is written to only when the
//! operator named it, since a command meant for a meter can do harm to a stranger. Prints lines,
//! or one JSON object.

use super::failure::{Exit, Failure};
use crate::event::visible;
use drivers::{Clock, Identity, LinkSpec, Profile, SystemClock, ports};
use std::sync::Arc;
use std::time::Duration;

/// How long the one that was named may take to answer.
const ANSWER_WITHIN: Duration = Duration::from_secs(8);

/// Lists ports, or asks who answers on one.
///
/// # Errors
/// [`Failure`] for a bad link or profile, and where nobody answers.
pub fn run_meters(try_link: Option<&str>, profile: &str, json: bool) -> Result<Exit, Failure> {
    match try_link {
        Some(link) => {
            let profile = Profile::load(profile)?;
            let spec = link.parse::<LinkSpec>()?;
            let clock: Arc<dyn Clock> = Arc::new(SystemClock::begin());
            let identity = ports::probe(&spec, &profile, clock, ANSWER_WITHIN)?;
            show_identity(&identity, json);
        }
        None => show_ports(json),
    }
    Ok(Exit::Done)
}

fn show_identity(identity: &Identity, json: bool) {
    if json {
        println!(
            "{}",
            serde_json::json!({
                "v": crate::event::VERSION,
                "link": identity.link,
                "profile": identity.profile,
                "identity": identity.text,
                "commanded": identity.commanded,
            })
        );
        return;
    }
    let who = if identity.text.is_empty() { "a meter without a name" } else { &identity.text };
    println!("{}", visible(&format!("{}: {who}", identity.link)));
    println!(
        "  use it: coilmark identify --meter {} --profile {} --pins 8",
        identity.link, identity.profile
    );
}

fn show_ports(json: bool) {
    let found = ports::list();
    if json {
        let ports: Vec<_> = found
            .iter()
            .map(|port| serde_json::json!({ "link": port.link, "description": port.description }))
            .collect();
        println!("{}", serde_json::json!({ "v": crate::event::VERSION, "ports": ports }));
        return;
    }
    for port in &found {
        println!("{}", visible(&format!("{}  {}", port.link, port.description)));
    }
    if found.is_empty() {
        println!("no serial port and no USB test device is there");
        println!("hint: plug the meter's cable in; a network meter is named as tcp:HOST:5025");
    } else {
        println!("hint: `coilmark meters --try LINK` asks who answers on one of them");
    }
}
