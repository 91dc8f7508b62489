//! The programmable supply's part in a run: a drive that the guide asks for is performed by the
//! supply instead of a person, who only clips its leads, once for each pair of pins and with the
//! output off. The current limit follows from the coil's ohms as captured. The supply is off
//! whenever the meter's link is away, and whenever this is dropped. A new board on the bench is not
//! clipped yet, and its ohms are not known.

use super::failure::{Exit, Failure, chain};
use super::instrument::Instrument;
use crate::bench::Served;
use crate::event::{DriveState, Event, Pin};
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
                let served = bench
                    .serve_supply_pty(None)
                    .map_err(|e| Failure::new(Exit::Instrument, chain(&e), e.hint()))?;
                (served.link().parse::<LinkSpec>()?, Some(served))
            }
            (Some("sim:"), None) => {
                return Err(Failure::bad_input(
                    "--drive sim: needs a simulated meter",
                    "give --meter sim:RELAY.toml too, or the supply's own link",
                ));
            }
            (Some(link), _) => (link.parse::<LinkSpec>()?, None),
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
        // The current limit's headroom is in the limit, and a hair for its rounding.
        let watts_max = self.watts_max * HEADROOM * 1.001;
        let limits = SupplyLimits { volts_max: self.volts_max, watts_max };
        let supply = Supply::open(&self.spec, limits, clock).map_err(|e| failure(&e))?;
        tracing::info!("supply: {}", supply.identity());
        let mut drive = Drive::new(supply, self.watts_max);
        self.known.iter().for_each(|fact| drive.recorded(fact));
        Ok(drive)
    }
}

/// A supply in a run.
pub struct Drive {
    supply: Supply,
    watts_max: f64,
    clipped: Option<(Pin, Pin)>,
    /// Ohms between two pins as last captured at rest, whichever way round.
    ohms: BTreeMap<(Pin, Pin), f64>,
    wanted: DriveState,
}

/// What performing a drive takes.
pub(super) enum Performed {
    /// It is done.
    Done,
    /// The supply's leads have to be clipped to other pins first: plus, minus.
    Clip(Pin, Pin),
}

impl Drive {
    /// A supply that is open; `watts_max` is the most that a coil gets.
    #[must_use]
    fn new(supply: Supply, watts_max: f64) -> Self {
        let (clipped, wanted) = (None, DriveState::Rest);
        Self { supply, watts_max, clipped, ohms: BTreeMap::new(), wanted }
    }

    /// Takes note of a coil's ohms, and of a board that takes another one's place.
    pub(super) fn recorded(&mut self, fact: &Event) {
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
            self.supply.off().map_err(|e| failure(&e))?;
            return Ok(Performed::Clip(plus.clone(), minus.clone()));
        }
        self.wanted = drive.clone();
        self.resume()?;
        Ok(Performed::Done)
    }

    /// The leads are clipped to these pins.
    pub(super) fn clipped(&mut self, plus: &Pin, minus: &Pin) {
        self.clipped = Some((plus.clone(), minus.clone()));
    }

    /// Off, for as long as nobody watches.
    pub(super) fn pause(&mut self) -> Result<(), Failure> {
        self.supply.off().map_err(|e| failure(&e))
    }

    /// Does again what was wanted.
    pub(super) fn resume(&mut self) -> Result<(), Failure> {
        match &self.wanted {
            DriveState::Rest => self.supply.off().map_err(|e| failure(&e)),
            DriveState::Energised { plus, minus, volts } => {
                let most = self.watts_max / volts;
                let ohms = self.ohms.get(&in_order(plus, minus)).copied();
                let by_ohms = ohms.filter(|ohms| *ohms > 0.0).map(|ohms| HEADROOM * volts / ohms);
                let amps = by_ohms.map_or(most, |amps| amps.min(HEADROOM * most));
                self.supply.apply(*volts, amps).map(|_| ()).map_err(|e| failure(&e))
            }
        }
    }
}

fn in_order(a: &Pin, b: &Pin) -> (Pin, Pin) {
    if a <= b { (a.clone(), b.clone()) } else { (b.clone(), a.clone()) }
}

/// A supply's failure ends the run; what a person must do first is said first.
fn failure(error: &DriverError) -> Failure {
    let exit = match error {
        DriverError::BadLink { .. } => Exit::BadInput,
        _ => Exit::Instrument,
    };
    let hint = match error {
        DriverError::BadLink { .. }
        | DriverError::CurrentLimited { .. }
        | DriverError::OverLimit { .. } => error.hint(),
        _ => "see that the supply's output is off, then check its link and that it speaks SCPI"
            .into(),
    };
    Failure::new(exit, format!("supply: {}", chain(error)), hint)
}
