//! The programmable supply's part in a run: a drive that the guide asks for is performed by the
//! supply instead of a person, who only clips its leads, once for each pair of pins and with the
//! output off. The current limit follows from the coil's ohms as captured. The supply goes off when
//! the meter's link goes away, and stays off until its leads are confirmed again; it is off, too,
//! whenever this is dropped. A new board is not clipped yet, and its ohms are not known.

use super::failure::{Exit, Failure, chain};
use super::instrument::Instrument;
use crate::bench::Served;
use crate::event::{DriveLimit, DriveState, Event, Pin};
use crate::journal::Entry;
use drivers::{Clock, DriverError, Function, LinkSpec, Supply, SupplyLimits};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Current limit over the current that the coil takes by its ohms.
const HEADROOM: f64 = 1.25;

/// A supply that the command line names, not yet opened.
pub(super) struct NamedSupply {
    spec: LinkSpec,
    volts_max: f64,
    watts_max: f64,
    /// What an earlier part of the run recorded.
    known: Vec<Event>,
    _served: Option<Served>,
}

impl NamedSupply {
    /// Understands a link; `sim:` is the supply of the simulated bench that the meter is on, and
    /// `manual` is none.
    pub(super) fn find(
        link: Option<&str>,
        meter: &Instrument,
        volts_max: f64,
        watts_max: f64,
    ) -> Result<Option<Self>, Failure> {
        let (spec, served) = match (link, meter.bench()) {
            (None | Some("manual"), _) => return Ok(None),
            (Some("sim:"), Some(bench)) => {
                let served = bench.serve_supply_pty(None)?;
                (parsed(&served.link())?, Some(served))
            }
            (Some("sim:"), None) => {
                return Err(Failure::bad_input(
                    "--drive sim: needs a simulated meter",
                    "give --meter sim:RELAY.toml too, or the supply's own link",
                ));
            }
            (Some(link), _) => (parsed(link)?, None),
        };
        Ok(Some(Self { spec, volts_max, watts_max, known: Vec::new(), _served: served }))
    }

    /// Takes note of what an earlier part of the run captured: a coil that was measured before the
    /// run was gone on with has its current limit from the first drive on.
    pub(super) fn recall(&mut self, entries: &[&Entry]) {
        let matters =
            |event: &&Event| matches!(event, Event::ReadingCaptured(_) | Event::BoardBegun { .. });
        self.known.extend(entries.iter().map(|entry| &entry.event).filter(matters).cloned());
    }

    /// Opens it; its output is off then.
    pub(super) fn open(&self, clock: Arc<dyn Clock>) -> Result<Drive, Failure> {
        let limits = supply_limits(self.volts_max, self.watts_max);
        let supply = Supply::open(&self.spec, limits, clock).map_err(|e| failure(&e))?;
        tracing::info!("supply: {}", supply.identity());
        let mut drive = Drive::new(supply, self.watts_max);
        self.known.iter().for_each(|fact| drive.recorded(fact));
        Ok(drive)
    }
}

/// What a supply is never asked for beyond: the current limit's headroom is in it, and a hair for
/// its rounding.
#[must_use]
pub fn supply_limits(volts_max: f64, watts_max: f64) -> SupplyLimits {
    SupplyLimits { volts_max, watts_max: watts_max * HEADROOM * 1.001 }
}

/// A supply in a run.
pub struct Drive {
    supply: Supply,
    watts_max: f64,
    clipped: Option<(Pin, Pin)>,
    /// Ohms between two pins as last captured at rest, whichever way round.
    ohms: BTreeMap<(Pin, Pin), f64>,
    applied: DriveState,
    /// The meter is away.
    unwatched: bool,
}

/// What performing a drive takes.
pub(super) enum Performed {
    /// It is done.
    Done,
    /// The supply's leads have to be clipped to other pins first: plus, minus.
    Clip(Pin, Pin),
    /// It stopped at its current limit and is off; its leads have to be clipped again. With the
    /// failure that this is to a guide that does not doubt coils.
    Limited(DriveLimit, Failure),
}

impl Drive {
    /// A supply that is open; `watts_max` is the most that a coil gets.
    #[must_use]
    pub fn new(supply: Supply, watts_max: f64) -> Self {
        let (clipped, applied, unwatched) = (None, DriveState::Rest, false);
        Self { supply, watts_max, clipped, ohms: BTreeMap::new(), applied, unwatched }
    }

    /// Takes note of a coil's ohms, and of a board that takes another one's place.
    pub fn recorded(&mut self, fact: &Event) {
        if let Event::BoardBegun { .. } = fact {
            self.clipped = None;
            self.ohms.clear();
        }
        let Event::ReadingCaptured(capture) = fact else { return };
        let at_rest = capture.function == Function::Resistance && capture.drive == DriveState::Rest;
        if let (true, Some(ohms)) = (at_rest, capture.value) {
            self.ohms.insert(in_order(&capture.red, &capture.black), ohms);
        }
    }

    /// Performs a drive, or says what has to be done first.
    pub(super) fn perform(&mut self, drive: &DriveState) -> Result<Performed, Failure> {
        if let DriveState::Energised { plus, minus, .. } = drive
            && self.clipped.as_ref() != Some(&(plus.clone(), minus.clone()))
        {
            self.apply(&DriveState::Rest).map_err(|e| failure(&e))?;
            return Ok(Performed::Clip(plus.clone(), minus.clone()));
        }
        let Err(error) = self.apply(drive) else { return Ok(Performed::Done) };
        let failure = failure(&error);
        let Some(limit) = limit_of(drive, &error) else { return Err(failure) };
        self.clipped = None;
        self.applied = DriveState::Rest;
        Ok(Performed::Limited(limit, failure))
    }

    /// The leads are clipped to these pins.
    pub(super) fn clipped(&mut self, plus: &Pin, minus: &Pin) {
        self.clipped = Some((plus.clone(), minus.clone()));
    }

    /// Off, and it stays off until its leads have been confirmed again: nobody watches the coil.
    /// Says whether a drive was on.
    pub(super) fn release(&mut self) -> Result<bool, Failure> {
        self.unwatched = true;
        self.clipped = None;
        self.supply.off().map_err(|e| failure(&e))?;
        Ok(std::mem::replace(&mut self.applied, DriveState::Rest) != DriveState::Rest)
    }

    /// The meter is there.
    pub(super) fn watched(&mut self) {
        self.unwatched = false;
    }

    /// Whether the meter is away.
    pub(super) fn is_unwatched(&self) -> bool {
        self.unwatched
    }

    fn apply(&mut self, drive: &DriveState) -> Result<(), DriverError> {
        match drive {
            DriveState::Rest => self.supply.off()?,
            DriveState::Energised { plus, minus, volts } => {
                let most = self.watts_max / volts;
                let ohms = self.ohms.get(&in_order(plus, minus)).copied();
                let by_ohms = ohms.filter(|ohms| *ohms > 0.0).map(|ohms| HEADROOM * volts / ohms);
                let amps = by_ohms.map_or(most, |amps| amps.min(HEADROOM * most));
                self.supply.apply(*volts, amps)?;
            }
        }
        self.applied = drive.clone();
        Ok(())
    }
}

/// How far the supply came, where its current limit held it.
fn limit_of(drive: &DriveState, error: &DriverError) -> Option<DriveLimit> {
    let DriveState::Energised { plus, minus, .. } = drive else { return None };
    let DriverError::CurrentLimited { volts, reached_volts, amps, .. } = *error else {
        return None;
    };
    let (plus, minus) = (plus.clone(), minus.clone());
    Some(DriveLimit { plus, minus, volts, reached_volts, limit_amps: amps })
}

fn parsed(link: &str) -> Result<LinkSpec, Failure> {
    link.parse::<LinkSpec>().map_err(|e| failure(&e))
}

fn in_order(a: &Pin, b: &Pin) -> (Pin, Pin) {
    if a <= b { (a.clone(), b.clone()) } else { (b.clone(), a.clone()) }
}

/// A supply's failure ends the run; what a person must do first is said first. What the driver says
/// of a meter is said of the supply.
fn failure(error: &DriverError) -> Failure {
    let message = match error {
        DriverError::Refused { port, command, number, text } => {
            format!("{port}: it refused `{command}`: {number},\"{text}\"")
        }
        DriverError::SettingLost { port, expected, found } => {
            format!("{port}: expected {expected}, found {found}")
        }
        other => chain(other),
    };
    let hint = match error {
        DriverError::BadLink { .. }
        | DriverError::Busy { .. }
        | DriverError::CurrentLimited { .. }
        | DriverError::OverLimit { .. } => error.hint(),
        DriverError::Missing { .. } | DriverError::WrongKind { .. } => {
            "is it plugged in and on? `coilmark meters` lists the ports that are there".into()
        }
        DriverError::Denied { port, .. } if !port.starts_with("usb:") => error.hint(),
        DriverError::LinkLost { .. } | DriverError::Stuck { .. } => {
            "switch its output off by hand, then plug it in again; `coilmark resume` goes on".into()
        }
        DriverError::SettingLost { .. } => {
            "see that its output is off and its keys are left alone; does its range reach that far?"
                .into()
        }
        _ => "see that its output is off, then check its link and that it speaks SCPI".into(),
    };
    Failure::new(Exit::from(error), format!("supply: {message}"), hint)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every_failure_of_a_supply() -> Vec<DriverError> {
        let port = || "tcp:192.0.2.1:5025".to_owned();
        let text = || "x".to_owned();
        let gone = || Some(std::io::Error::from(std::io::ErrorKind::BrokenPipe));
        vec![
            DriverError::BadLink { text: text(), problem: text() },
            DriverError::Missing { port: port(), source: gone() },
            DriverError::Busy { port: port(), holder: None },
            DriverError::Denied { port: port(), group: None },
            DriverError::Denied { port: "usb:1:2".into(), group: None },
            DriverError::WrongKind { port: port(), expected: "a terminal", found: text() },
            DriverError::LinkLost { port: port(), step: "reading".into(), source: gone() },
            DriverError::Stuck { port: port(), step: "reading", late_ms: 9 },
            DriverError::NoAnswer { port: port(), query: "OUTP?".into(), waited_ms: 1000 },
            DriverError::Garbled {
                port: port(),
                expected: text(),
                found: text(),
                unprintable: true,
            },
            DriverError::Refused {
                port: port(),
                command: "OUTP ON".into(),
                number: -222,
                text: "Data out of range".into(),
            },
            DriverError::SettingLost { port: port(), expected: text(), found: text() },
            DriverError::OverLimit { port: port(), asked: text(), limit: text() },
            DriverError::CurrentLimited {
                port: port(),
                volts: 12.0,
                reached_volts: 1.0,
                amps: 0.1,
            },
            DriverError::System { port: port(), step: text(), source: gone().unwrap() },
        ]
    }

    #[test]
    fn no_failure_of_a_supply_speaks_of_a_meter() {
        for error in every_failure_of_a_supply() {
            let told = failure(&error);
            let (message, hint) = (told.to_string(), told.hint());
            assert!(message.starts_with("supply: "), "{message}");
            let of_a_meter = |text: &str| text.replace("coilmark meters", "").contains("meter");
            assert!(!of_a_meter(&message) && !of_a_meter(hint), "{message}; hint: {hint}");
        }
    }
}
