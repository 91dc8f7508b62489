//! What can go wrong between a meter and us, classed by who broke a promise. Expected states
//! (overload, no reading yet) are values, never errors. Bytes inside an error are escaped, so
//! that a message can go to a terminal as it is. Each error has one [`hint`](DriverError::hint).

use std::io;

/// A failure of a link, an instrument or a profile.
#[derive(Debug, thiserror::Error)]
pub enum DriverError {
    /// The link text cannot be understood.
    #[error("link `{text}`: {problem}")]
    BadLink {
        /// The text as given, escaped.
        text: String,
        /// What is wrong with it.
        problem: String,
    },
    /// There is nothing at this path or address.
    #[error("{port}: no such port")]
    Missing {
        /// The path or address.
        port: String,
        /// What the system said.
        #[source]
        source: Option<io::Error>,
    },
    /// Someone else holds the port.
    #[error("{port}: in use{}", .holder.as_deref().map(|h| format!(" by {h}")).unwrap_or_default())]
    Busy {
        /// The path or address.
        port: String,
        /// Process that holds it (`name (pid N)`), where the system tells.
        holder: Option<String>,
    },
    /// The system denies access.
    #[error("{port}: permission denied")]
    Denied {
        /// The path.
        port: String,
        /// The group that owns the node, where the system tells.
        group: Option<String>,
    },
    /// It opened, but it is not what the link says (not a terminal, not a character device).
    #[error("{port}: {found}, expected {expected}")]
    WrongKind {
        /// The path.
        port: String,
        /// What a link of this kind needs.
        expected: &'static str,
        /// What is there.
        found: String,
    },
    /// The link was there and is gone: unplugged, hung up, closed by the peer.
    #[error("{port}: link lost while {step}")]
    LinkLost {
        /// The path or address.
        port: String,
        /// What was being done.
        step: String,
        /// What the system said.
        #[source]
        source: Option<io::Error>,
    },
    /// The system does not come back from a call on the link.
    #[error("{port}: link stuck: the system is {late_ms} ms late in {step}")]
    Stuck {
        /// The path or address.
        port: String,
        /// What the call does.
        step: &'static str,
        /// How much later than the longest that it should take, in milliseconds.
        late_ms: u64,
    },
    /// A trace that was played back has come to its end.
    #[error("{port}: the trace is over")]
    TraceOver {
        /// The trace.
        port: String,
    },
    /// Nothing came back within the deadline.
    #[error("{port}: no answer to `{query}` within {waited_ms} ms")]
    NoAnswer {
        /// The path or address.
        port: String,
        /// What was asked, escaped.
        query: String,
        /// How long it was waited for, in milliseconds.
        waited_ms: u64,
    },
    /// Bytes came, but not the ones expected.
    #[error("{port}: expected {expected}, received `{found}`{}", if *.unprintable { ": wrong baud rate or parity?" } else { "" })]
    Garbled {
        /// The path or address.
        port: String,
        /// What should have come.
        expected: String,
        /// What came, escaped and cut to 64 characters.
        found: String,
        /// Whether a tenth or more of the bytes were not printable text.
        unprintable: bool,
    },
    /// The instrument reported an error of its own.
    #[error("{port}: the meter refused `{command}`: {number},\"{text}\"")]
    Refused {
        /// The path or address.
        port: String,
        /// The command that was refused, escaped.
        command: String,
        /// The instrument's error number (SCPI-99 vol. 2, 21.8).
        number: i32,
        /// The instrument's error text, escaped.
        text: String,
    },
    /// The profile has no way to do this.
    #[error("{port}: this meter's profile has no {what}")]
    Unsupported {
        /// The path or address.
        port: String,
        /// The function or feature.
        what: String,
    },
    /// The meter is not in the function it was set to: switched off and on, or its own keys used.
    #[error("{port}: the meter lost its setting: expected {expected}, found {found}")]
    SettingLost {
        /// The path or address.
        port: String,
        /// The function that was set.
        expected: String,
        /// What it says now, escaped.
        found: String,
    },
    /// A supply was asked for more than its limits; nothing was sent to it.
    #[error("{port}: {asked} asked for, at most {limit} allowed: nothing was sent")]
    OverLimit {
        /// The path or address.
        port: String,
        /// What was asked for.
        asked: String,
        /// The limit.
        limit: String,
    },
    /// A supply's current limit holds it below what it was set to; its output is off again.
    #[error(
        "{port}: the supply reaches {reached_volts:.2} V of {volts} V at its limit of {amps:.3} A; \
             its output is off again"
    )]
    CurrentLimited {
        /// The path or address.
        port: String,
        /// Volts that were set.
        volts: f64,
        /// Volts that were measured.
        reached_volts: f64,
        /// The current limit, in amperes.
        amps: f64,
    },
    /// Another instrument than before answers on this port.
    #[error("{port}: a different meter answers: expected `{expected}`, found `{found}`")]
    OtherMeter {
        /// The path or address.
        port: String,
        /// Identity at the beginning of the run, escaped.
        expected: String,
        /// Identity now, escaped.
        found: String,
    },
    /// A profile file is wrong.
    #[error("{file}: {problem}")]
    BadProfile {
        /// The file, or the name of a shipped profile.
        file: String,
        /// What is wrong, with line and column.
        problem: String,
    },
    /// Anything else that the system reports.
    #[error("{port}: {step}")]
    System {
        /// The path or address.
        port: String,
        /// What was being done.
        step: String,
        /// What the system said.
        #[source]
        source: io::Error,
    },
}

impl DriverError {
    /// What the person at the bench can do about it: one line, without the word `hint`.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::BadLink { problem, .. } if problem.contains("feature `usb`") => {
                "build it with `cargo build --release --features usb`, or use usbtmc:/dev/usbtmc0".into()
            }
            Self::BadLink { .. } => "write serial:PATH[?baud=9600], tcp:HOST:PORT, \
                                     usbtmc:PATH or sim:FILE"
                .into(),
            Self::Missing { .. } => {
                "check the cable and the name; `coilmark meters` lists what is there".into()
            }
            Self::Busy { .. } => "close the other program, or wait until it has let go".into(),
            Self::Denied { port, .. } if port.starts_with("usb:") => {
                "a udev rule lets you: SUBSYSTEM==\"usb\", ATTR{idVendor}==\"VENDOR\", \
                 GROUP=\"plugdev\", MODE=\"0660\"; then plug the meter in again"
                    .into()
            }
            Self::Denied { group: Some(group), .. } => {
                format!("add yourself to group `{group}` (sudo usermod -aG {group} $USER), then log in again")
            }
            Self::Denied { group: None, .. } => {
                "serial ports usually belong to group `dialout`: sudo usermod -aG dialout $USER, \
                 then log in again"
                    .into()
            }
            Self::WrongKind { .. } => "name the meter's own device node; `coilmark meters` lists them".into(),
            Self::LinkLost { .. } => "plug the meter in again; `coilmark resume` goes on where this stopped".into(),
            Self::TraceOver { .. } => "nothing more was recorded; give the same commands as then".into(),
            Self::Stuck { .. } => {
                "unplug the meter and plug it in again; `coilmark resume` goes on where this stopped".into()
            }
            Self::NoAnswer { port, .. } if port.starts_with("tcp:") => {
                "is the meter on, and is no other program connected to it? Many allow only one".into()
            }
            Self::NoAnswer { .. } => "is the meter on, in remote mode, on this port, at this baud rate? Try \
                                      ?baud= or --profile ascii-lines for a meter that sends by itself"
                .into(),
            Self::Garbled { unprintable: true, .. } => {
                "try another baud rate: serial:PATH?baud=9600 (or 2400, 19200, 115200)".into()
            }
            Self::Garbled { .. } => "try another --profile, or mend your own by `coilmark schema profile`; \
                                     `coilmark meters --try` shows what answers"
                .into(),
            Self::Refused { .. } => "this meter spells the command differently: give its --profile".into(),
            Self::Unsupported { .. } => "use a meter or a --profile that has it".into(),
            Self::SettingLost { .. } => "leave the meter's keys alone while this runs; it has been set again".into(),
            Self::OverLimit { .. } => "raise --volts-max or --coil-watts-max if the part stands it".into(),
            Self::CurrentLimited { .. } => "is the supply clipped to the coil's two pins and to nothing else? \
                                            A short takes all of its current"
                .into(),
            Self::OtherMeter { .. } => "connect the meter that began this run, or say --accept-meter".into(),
            Self::BadProfile { .. } => "`coilmark schema profile` describes the file".into(),
            Self::System { .. } => "unplug the meter, plug it in again, and retry".into(),
        }
    }
}

/// Text for people from outside bytes: printable ASCII as it is, the rest escaped, cut at `most`
/// characters. The backslash is escaped too, so that the escape cannot be forged.
#[must_use]
pub fn escape(bytes: &[u8], most: usize) -> String {
    let plain = |b: &u8| matches!(b, b' '..=b'~') && !matches!(b, b'\'' | b'"' | b'\\');
    // Nearly all that arrives needs no escape.
    match std::str::from_utf8(bytes) {
        Ok(text) if bytes.len() <= most && bytes.iter().all(plain) => return text.to_owned(),
        _ => {}
    }
    let full: String =
        bytes.iter().flat_map(|b| std::ascii::escape_default(*b)).map(char::from).collect();
    match full.char_indices().nth(most) {
        Some((cut, _)) => format!("{}...", &full[..cut]),
        None => full,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // F66: it connects, and then there is silence.
    #[test]
    fn silence_on_the_network_suggests_another_client() {
        let silence = |port: &str| DriverError::NoAnswer {
            port: port.into(),
            query: "*IDN?".into(),
            waited_ms: 1000,
        };
        assert!(silence("tcp:192.0.2.7:5025").hint().contains("no other program"));
        assert!(silence("serial:/dev/ttyS0").hint().contains("baud"));
    }

    #[test]
    fn outside_bytes_are_escaped_and_cut() {
        assert_eq!(escape(b"a\x1b[2J\\\xff", 64), "a\\x1b[2J\\\\\\xff");
        assert_eq!(escape(b"abcdef", 3), "abc...");
        assert_eq!(escape(b"abc", 3), "abc");
    }
}
