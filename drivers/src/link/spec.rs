//! The text that names a link, and back:
//! `serial:PATH[?baud=9600&data=8&parity=none&stop=1&dtr=on]`,
//! `tcp:HOST:PORT`, `usbtmc:PATH`, `usb:VENDOR:PRODUCT[:SERIAL]`, `replay:TRACE`. What it names is opened by [`LinkSpec::open`]. Simulated links
//! (`sim:FILE`) belong to the crate above and are refused here.

use super::{DeviceLink, Dtr, Link, Opener, ReplayingLink, SerialLink, SerialSettings, TcpLink};
use crate::error::{DriverError, escape};
use serialport::{DataBits, Parity, StopBits};
use std::fmt;
use std::path::Path;
use std::str::FromStr;

/// Where an instrument is, as the operator wrote it, understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LinkSpec {
    /// A serial port.
    Serial {
        /// The device node, or a symbolic link to it.
        path: String,
        /// Line settings.
        settings: SerialSettings,
    },
    /// A raw TCP socket.
    Tcp {
        /// Name or address; an IPv6 address without brackets.
        host: String,
        /// Port number, not 0.
        port: u16,
    },
    /// A USB test and measurement device node.
    Usbtmc {
        /// The device node.
        path: String,
    },
    /// A USB test and measurement device without a node.
    Usb(UsbName),
    /// A trace of a link, played back.
    Replay {
        /// The trace file.
        path: String,
    },
}

/// What a USB device is known by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UsbName {
    /// Number of its vendor.
    pub vendor: u16,
    /// Number of the product.
    pub product: u16,
    /// Its serial number; any, if there is none.
    pub serial: Option<String>,
}

impl fmt::Display for UsbName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04x}:{:04x}", self.vendor, self.product)?;
        self.serial.as_ref().map_or(Ok(()), |serial| write!(f, ":{serial}"))
    }
}

impl LinkSpec {
    /// Opens the link.
    ///
    /// # Errors
    /// What [`SerialLink::open`], [`TcpLink::connect`] and [`DeviceLink::open`] report.
    pub fn open(&self) -> Result<Box<dyn Link>, DriverError> {
        Ok(match self {
            Self::Serial { path, settings } => Box::new(SerialLink::open(path, *settings)?),
            Self::Tcp { host, port } => Box::new(TcpLink::connect(host, *port)?),
            Self::Usbtmc { path } => Box::new(DeviceLink::open(path)?),
            #[cfg(feature = "usb")]
            Self::Usb(name) => Box::new(super::usb::open(name)?),
            #[cfg(not(feature = "usb"))]
            Self::Usb(_) => {
                return Err(DriverError::BadLink {
                    text: self.to_string(),
                    problem: "this program was built without its feature `usb`".into(),
                });
            }
            Self::Replay { path } => Box::new(ReplayingLink::open(path, 0)?),
        })
    }

    /// An opener for this link. A serial port that comes back under another number is found by
    /// the steady name that it had when this was called.
    #[must_use]
    pub fn opener(&self) -> Opener {
        self.opener_by(Path::new("/dev/serial/by-id"))
    }

    fn opener_by(&self, names: &Path) -> Opener {
        if let Self::Replay { path } = self {
            let (path, mut openings) = (path.clone(), 0);
            return Box::new(move || {
                openings += 1;
                Ok(Box::new(ReplayingLink::open(&path, openings - 1)?))
            });
        }
        let spec = self.clone();
        let steady = match self {
            Self::Serial { path, .. } => steady_name(names, path),
            _ => None,
        };
        Box::new(move || match (spec.open(), &spec, &steady) {
            (Err(DriverError::Missing { .. }), Self::Serial { settings, .. }, Some(steady)) => {
                Ok(Box::new(SerialLink::open(steady, *settings)?))
            }
            (opened, ..) => opened,
        })
    }
}

/// A link in `folder` that leads to the same node as `path`: it names the adapter by maker and
/// serial number, and follows it to another port.
fn steady_name(folder: &Path, path: &str) -> Option<String> {
    let node = std::fs::canonicalize(path).ok()?;
    std::fs::read_dir(folder).ok()?.flatten().find_map(|entry| {
        let target = std::fs::canonicalize(entry.path()).ok()?;
        (target == node).then(|| entry.path().to_string_lossy().into_owned())
    })
}

impl FromStr for LinkSpec {
    type Err = DriverError;

    /// # Errors
    /// [`DriverError::BadLink`] with the text and what is wrong with it.
    fn from_str(text: &str) -> Result<Self, DriverError> {
        parse(text).map_err(|problem| DriverError::BadLink {
            text: escape(text.as_bytes(), 200),
            problem: escape(problem.as_bytes(), 200),
        })
    }
}

fn parse(text: &str) -> Result<LinkSpec, String> {
    let (kind, rest) = text.split_once(':').ok_or("no kind before a colon")?;
    if rest.is_empty() || rest.contains(char::is_control) {
        return Err(format!("nothing usable after `{kind}:`"));
    }
    match kind {
        "serial" => parse_serial(rest),
        "tcp" => parse_tcp(rest),
        "usbtmc" => Ok(LinkSpec::Usbtmc { path: rest.to_owned() }),
        "usb" => parse_usb(rest),
        "replay" => Ok(LinkSpec::Replay { path: rest.to_owned() }),
        _ => Err(format!("`{kind}` is not serial, tcp, usbtmc, usb or replay")),
    }
}

fn parse_usb(rest: &str) -> Result<LinkSpec, String> {
    let mut parts = rest.splitn(3, ':');
    let mut number = |what: &str| {
        let text = parts.next().unwrap_or_default();
        let digits = text.len() == 4 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
        let number = u16::from_str_radix(text, 16).ok().filter(|_| digits);
        number.ok_or_else(|| format!("the {what} is four hexadecimal digits, not `{text}`"))
    };
    let (vendor, product) = (number("vendor")?, number("product")?);
    let serial = parts.next().map(str::to_owned);
    if serial.as_ref().is_some_and(String::is_empty) {
        return Err("no serial number after the colon".into());
    }
    Ok(LinkSpec::Usb(UsbName { vendor, product, serial }))
}

fn parse_tcp(rest: &str) -> Result<LinkSpec, String> {
    let (host, port) = rest.rsplit_once(':').ok_or("no port number after the host")?;
    let host = match host.strip_prefix('[') {
        Some(inner) => inner.strip_suffix(']').ok_or("a bracket is not closed")?,
        None if host.contains(':') => return Err("an IPv6 address needs brackets: [::1]".into()),
        None => host,
    };
    if host.is_empty() {
        return Err("no host".into());
    }
    match port.parse::<u16>() {
        Ok(port) if port != 0 => Ok(LinkSpec::Tcp { host: host.to_owned(), port }),
        _ => Err(format!("`{port}` is no port number (1 to 65535)")),
    }
}

fn parse_serial(rest: &str) -> Result<LinkSpec, String> {
    let (path, query) = match rest.split_once('?') {
        Some((path, query)) => (path, query),
        None => (rest, ""),
    };
    if path.is_empty() {
        return Err("no path".into());
    }
    let mut settings = SerialSettings::default();
    for pair in query.split('&').filter(|pair| !pair.is_empty()) {
        let (key, value) = pair.split_once('=').ok_or_else(|| format!("`{pair}` has no `=`"))?;
        set(&mut settings, key, value)?;
    }
    Ok(LinkSpec::Serial { path: path.to_owned(), settings })
}

fn set(settings: &mut SerialSettings, key: &str, value: &str) -> Result<(), String> {
    let wants = |wanted: &str| format!("{key} is {wanted}, not `{value}`");
    match key {
        "baud" => {
            let baud = value.parse().ok().filter(|baud| (50..=4_000_000).contains(baud));
            settings.baud = baud.ok_or_else(|| wants("a number from 50 to 4000000"))?;
        }
        "data" => {
            settings.data = match value {
                "7" => DataBits::Seven,
                "8" => DataBits::Eight,
                _ => return Err(wants("7 or 8")),
            };
        }
        "parity" => {
            settings.parity = match value {
                "none" => Parity::None,
                "even" => Parity::Even,
                "odd" => Parity::Odd,
                _ => return Err(wants("none, even or odd")),
            };
        }
        "stop" => {
            settings.stop = match value {
                "1" => StopBits::One,
                "2" => StopBits::Two,
                _ => return Err(wants("1 or 2")),
            };
        }
        "dtr" => {
            settings.dtr = match value {
                "on" => Dtr::On,
                "off" => Dtr::Off,
                "leave" => Dtr::Leave,
                _ => return Err(wants("on, off or leave")),
            };
        }
        _ => return Err(format!("`{key}` is not baud, data, parity, stop or dtr")),
    }
    Ok(())
}

impl fmt::Display for LinkSpec {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Serial { path, settings } => write!(f, "serial:{path}{}", query(settings)),
            Self::Tcp { host, port } => write!(f, "tcp:{}", host_and_port(host, *port)),
            Self::Usbtmc { path } => write!(f, "usbtmc:{path}"),
            Self::Usb(name) => write!(f, "usb:{name}"),
            Self::Replay { path } => write!(f, "replay:{path}"),
        }
    }
}

/// The settings that differ from the default, as a query.
fn query(settings: &SerialSettings) -> String {
    let usual = SerialSettings::default();
    let mut pairs = Vec::new();
    if settings.baud != usual.baud {
        pairs.push(format!("baud={}", settings.baud));
    }
    if settings.data != usual.data {
        pairs.push("data=7".to_owned());
    }
    match settings.parity {
        Parity::None => {}
        Parity::Even => pairs.push("parity=even".to_owned()),
        Parity::Odd => pairs.push("parity=odd".to_owned()),
    }
    if settings.stop != usual.stop {
        pairs.push("stop=2".to_owned());
    }
    match settings.dtr {
        Dtr::Leave => {}
        Dtr::On => pairs.push("dtr=on".to_owned()),
        Dtr::Off => pairs.push("dtr=off".to_owned()),
    }
    if pairs.is_empty() { String::new() } else { format!("?{}", pairs.join("&")) }
}

/// `host:port`, with brackets round an IPv6 address.
pub(super) fn host_and_port(host: &str, port: u16) -> String {
    if host.contains(':') { format!("[{host}]:{port}") } else { format!("{host}:{port}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_reads_back_as_it_was_written() {
        for text in [
            "serial:/dev/ttyUSB0",
            "serial:/dev/ttyUSB0?baud=115200",
            "serial:/dev/ttyS0?baud=2400&data=7&parity=even&stop=2&dtr=on",
            "serial:/dev/ttyS0?parity=odd&dtr=off",
            "tcp:meter.local:5025",
            "tcp:192.0.2.7:5025",
            "tcp:[::1]:5025",
            "usbtmc:/dev/usbtmc0",
            "usb:0a1b:00ff",
            "usb:0a1b:00ff:MY:0042",
            "replay:meter.trace",
        ] {
            let spec: LinkSpec = text.parse().unwrap();
            assert_eq!(spec.to_string(), text);
        }
    }

    #[test]
    fn settings_come_from_the_query() {
        let spec: LinkSpec = "serial:/dev/ttyS0?baud=19200&parity=none&data=8".parse().unwrap();
        let settings = SerialSettings { baud: 19_200, ..SerialSettings::default() };
        assert_eq!(spec, LinkSpec::Serial { path: "/dev/ttyS0".into(), settings });
    }

    #[test]
    fn a_bad_link_names_its_fault() {
        for (text, fault) in [
            ("/dev/ttyUSB0", "no kind"),
            ("serial:", "nothing usable"),
            ("serial:?baud=9600", "no path"),
            ("serial:/dev/x?baud=fast", "not `fast`"),
            ("serial:/dev/x?baud=0", "from 50"),
            ("serial:/dev/x?speed=1", "`speed` is not"),
            ("serial:/dev/x?baud", "no `=`"),
            ("serial:/dev/x?dtr=maybe", "on, off or leave"),
            ("tcp:host", "no port"),
            ("tcp:host:70000", "no port number"),
            ("tcp:host:0", "no port number"),
            ("tcp::5025", "no host"),
            ("tcp:::1:5025", "brackets"),
            ("tcp:[::1:5025", "not closed"),
            ("sim:bench.toml", "`sim` is not"),
            ("usbtmc:\u{1b}[2J", "nothing usable"),
            ("usb:a1b:00ff", "four hexadecimal digits"),
            ("usb:0a1b", "product"),
            ("usb:0a1b:+0ff", "four hexadecimal digits"),
            ("usb:0a1b:00ff:", "no serial number"),
        ] {
            let error = text.parse::<LinkSpec>().unwrap_err();
            assert!(matches!(error, DriverError::BadLink { .. }), "{text}");
            let message = error.to_string();
            assert!(message.contains(fault), "{text}: {message}");
            assert!(!message.contains(char::is_control), "{text}");
        }
    }

    // F04: the adapter comes back under another number, and its steady name follows it.
    #[test]
    fn the_steady_name_of_a_port_is_found() {
        let folder = tempfile::tempdir().unwrap();
        let node = folder.path().join("ttyUSB3");
        std::fs::write(&node, "").unwrap();
        let names = folder.path().join("by-id");
        std::fs::create_dir(&names).unwrap();
        std::os::unix::fs::symlink(&node, names.join("usb-adapter-0042")).unwrap();
        let found = steady_name(&names, node.to_str().unwrap()).unwrap();
        assert!(found.ends_with("usb-adapter-0042"), "{found}");
        assert_eq!(steady_name(&names, "/dev/null"), None);
    }

    // F04
    #[test]
    fn a_port_that_comes_back_under_another_number_is_opened_by_its_steady_name() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("usb-adapter-0042");
        let first = crate::testing::FarEnd::open();
        std::os::unix::fs::symlink(&first.path, &name).unwrap();
        let spec: LinkSpec = format!("serial:{}", first.path).parse().unwrap();
        let mut opener = spec.opener_by(folder.path());
        assert_eq!(opener().unwrap().name(), first.path);
        let second = crate::testing::FarEnd::open();
        std::fs::remove_file(&name).unwrap();
        std::os::unix::fs::symlink(&second.path, &name).unwrap();
        drop(first);
        assert_eq!(opener().unwrap().name(), name.to_str().unwrap());
    }
}
