//! `zone check`: sets up the proof of a loop at the panel's terminals. The panel file's text goes
//! into the record, so that a run that goes on, or a reader a year later, needs nothing else. What
//! is asked at the terminals is the guide's.

use super::failure::{Exit, Failure};
use super::instrument::{Instrument, MeterTerms};
use super::stamp::folder_time;
use super::station::{Equipment, OperatorChoice, Station, kept_record};
use super::zone::LoopTerms;
use crate::event::{RunStart, RunTerms, ZoneCheckStart};
use crate::fit::spread::Spread;
use crate::guide::Guide;
use crate::guide::settling::Settling;
use crate::guide::zone::{Terms, Zone};
use crate::zone::{Design, Panel, Parts};
use std::path::PathBuf;
use std::time::Duration;

/// Draws are of no use in a check.
const DRAWS: u32 = 100;

/// What `zone check` is given.
#[derive(Clone, Debug)]
pub struct ZoneCheckTerms {
    /// The loop that is to be there.
    pub wired: LoopTerms,
    /// The meter.
    pub meter: MeterTerms,
    /// How long the loop may take to follow the equipment.
    pub follow_within: Duration,
    /// The job folder.
    pub job: Option<PathBuf>,
    /// The operator.
    pub operator: OperatorChoice,
}

/// Proves a zone loop at the panel.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn run_zone_check(terms: &ZoneCheckTerms) -> Result<Exit, Failure> {
    let (station, start) = begin(terms)?;
    station.run(start)
}

/// Makes it ready to run.
pub(super) fn begin(terms: &ZoneCheckTerms) -> Result<(Station, RunStart), Failure> {
    let (design, panel) = terms.wired.design()?;
    let meter = Instrument::find(&terms.meter)?;
    let begun = ZoneCheckStart {
        panel,
        wiring: design.wiring,
        cable_ohms: design.parts.cable_ohms.nominal,
        contact_ohms_max: design.parts.contact_ohms.high,
        follow_within_s: terms.follow_within.as_secs_f64(),
    };
    let guide = guide(&begun, meter.is_simulated(), terms.operator, false)?;
    let job = terms.job.clone().unwrap_or_else(|| format!("zone-{}", folder_time()).into());
    let (journal, past) = kept_record(&job)?;
    let start = meter.start(RunTerms::ZoneCheck(Box::new(begun)), &past);
    let (equipment, operator) = (Equipment::Meter(Box::new(meter)), terms.operator);
    Ok((Station { job, journal, guide, equipment, supply: None, operator }, start))
}

/// The guide for these terms.
pub(super) fn guide(
    begun: &ZoneCheckStart,
    simulated: bool,
    operator: OperatorChoice,
    accept_meter: bool,
) -> Result<Box<dyn Guide>, Failure> {
    let panel = Panel::parse(&begun.panel, "the record's panel")?;
    let most = begun.contact_ohms_max;
    let parts = Parts {
        // Copper between frost and summer.
        cable_ohms: Spread::percent(begun.cable_ohms, 15.0),
        contact_ohms: Spread::between(0.0, most.min(0.1), most),
    };
    Ok(Box::new(Zone::new(Terms {
        design: Design::new(panel, begun.wiring, parts, DRAWS, 1),
        simulated,
        settling: Settling::default(),
        follow_within: Duration::try_from_secs_f64(begun.follow_within_s).unwrap_or(Duration::ZERO),
        hands_free: operator.is_a_person(),
        accept_meter,
    })))
}
