//! What instruments could be plugged in: serial ports and USB test devices, from the system's
//! lists alone. Nothing is opened and nothing is written here, except by [`probe`], to the one
//! port that the operator named: writing to a stranger's device can do harm.

use crate::clock::Clock;
use crate::error::DriverError;
use crate::link::LinkSpec;
use crate::meter::{Identity, MeterEvent};
use crate::port::Port;
use crate::profile::Profile;
use serialport::SerialPortType;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc;
use std::time::Duration;

/// A port that is there.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct FoundPort {
    /// The link to write: `serial:/dev/ttyUSB0`.
    pub link: String,
    /// What the system knows of it: adapter, serial number; may be empty. Escaped.
    pub description: String,
    /// Who holds it (`name (pid N)`), as far as the system tells this user. Escaped.
    pub holder: Option<String>,
}

/// Lists the ports that are there, sorted. Pseudo-terminals and network instruments are in no
/// list; a link to them must be named.
#[must_use]
pub fn list() -> Vec<FoundPort> {
    let mut found: Vec<FoundPort> =
        serialport::available_ports().unwrap_or_default().into_iter().map(describe).collect();
    found.extend(usbtmc_nodes(Path::new("/dev")));
    for port in &mut found {
        let path = port.link.split_once(':').map_or("", |(_, path)| path);
        port.holder = crate::link::holder_of(path);
    }
    found.sort();
    found
}

fn describe(port: serialport::SerialPortInfo) -> FoundPort {
    let description = match port.port_type {
        SerialPortType::UsbPort(usb) => {
            let text = |part: Option<String>| part.unwrap_or_default();
            format!("{} {} {}", text(usb.manufacturer), text(usb.product), text(usb.serial_number))
        }
        SerialPortType::BluetoothPort => "bluetooth".to_owned(),
        SerialPortType::PciPort => "built in".to_owned(),
        SerialPortType::Unknown => String::new(),
    };
    let description = description.split_whitespace().collect::<Vec<_>>().join(" ");
    FoundPort {
        link: format!("serial:{}", port.port_name),
        description: crate::error::escape(description.as_bytes(), 80),
        holder: None,
    }
}

/// Device nodes `usbtmcN` in `folder`.
fn usbtmc_nodes(folder: &Path) -> Vec<FoundPort> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    entries
        .flatten()
        .filter_map(|entry| {
            let name = entry.file_name().into_string().ok()?;
            let number = name.strip_prefix("usbtmc")?;
            let numbered = !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit());
            numbered.then(|| FoundPort {
                link: format!("usbtmc:{}", entry.path().display()),
                description: "USB test and measurement device".to_owned(),
                holder: None,
            })
        })
        .collect()
}

/// Asks who answers on a port that the operator named, within `within`.
///
/// # Errors
/// What opening reports, or why nobody was identified.
pub fn probe(
    spec: &LinkSpec,
    profile: &Profile,
    clock: Arc<dyn Clock>,
    within: Duration,
) -> Result<Identity, DriverError> {
    let (sender, receiver) = mpsc::channel();
    let sink = move |event| sender.send(event).is_ok();
    let port = Port::open(spec, profile, clock.clone(), Duration::ZERO, sink)?;
    let until = clock.now() + within;
    let mut last = None;
    loop {
        let left = until.since(clock.now());
        match receiver.recv_timeout(left) {
            Ok(MeterEvent::Answered { identity, .. }) => {
                port.close();
                return Ok(identity);
            }
            Ok(MeterEvent::Complained(error)) => last = Some(error),
            Ok(MeterEvent::Ended(Some(error))) => return Err(telling(last, error)),
            Ok(_) => {}
            Err(_) => break,
        }
    }
    Err(last.unwrap_or_else(|| DriverError::NoAnswer {
        port: spec.to_string(),
        query: "who is there".to_owned(),
        waited_ms: u64::try_from(within.as_millis()).unwrap_or(u64::MAX),
    }))
}

/// Of two errors, the one that says more: noise tells of a wrong baud rate, silence of nothing.
fn telling(last: Option<DriverError>, end: DriverError) -> DriverError {
    match (last, &end) {
        (Some(noise @ DriverError::Garbled { .. }), DriverError::NoAnswer { .. }) => noise,
        _ => end,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // F34: test devices are no serial ports, and are listed all the same.
    #[test]
    fn usb_test_devices_are_found_by_their_nodes() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["usbtmc0", "usbtmc12", "usbtmc", "usbtmcx", "ttyUSB0"] {
            std::fs::write(folder.path().join(name), "").unwrap();
        }
        let mut links: Vec<String> = usbtmc_nodes(folder.path())
            .into_iter()
            .map(|found| found.link.rsplit('/').next().unwrap().to_owned())
            .collect();
        links.sort();
        assert_eq!(links, ["usbtmc0", "usbtmc12"]);
        assert_eq!(usbtmc_nodes(Path::new("/no/such/folder")), []);
    }

    #[test]
    fn every_listed_link_can_be_read_back() {
        for found in list() {
            assert!(found.link.parse::<LinkSpec>().is_ok(), "{}", found.link);
        }
    }
}
