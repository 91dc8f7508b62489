//! Goes on with a job: the newest task that did not reach its end gets a fresh guide, its events
//! are replayed into it, and it runs on the same way, with the terms it was begun with. The same
//! meter is wanted, or a clear word that another is accepted.

use super::board;
use super::drive::NamedSupply;
use super::ease::Ease;
use super::failure::{Exit, Failure};
use super::identify;
use super::instrument::{Instrument, MeterTerms};
use super::output;
use super::station::{Equipment, OperatorChoice, Station, say_torn};
use crate::event::{RunStart, RunTerms};
use crate::guide::Guide;
use crate::journal::{Journal, Past, Task, tasks};
use std::path::PathBuf;
use std::time::Duration;

/// What `resume` is given.
#[derive(Clone, Debug)]
pub struct ResumeTerms {
    /// The job folder.
    pub job: PathBuf,
    /// Another link than before.
    pub meter: Option<String>,
    /// The supply that drives; a person otherwise.
    pub drive: Option<String>,
    /// Another profile than before.
    pub profile: Option<String>,
    /// How long a lost link is tried again.
    pub reconnect_for: Duration,
    /// Whether another meter is accepted.
    pub accept_meter: bool,
    /// What eases the work of the hands.
    pub ease: Ease,
    /// The operator.
    pub operator: OperatorChoice,
}

/// Goes on with a job.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn resume(terms: &ResumeTerms) -> Result<Exit, Failure> {
    let (journal, past) = Journal::open(&terms.job)?;
    say_torn(&past);
    let Some((task, begun)) = unfinished(&past) else {
        return Err(Failure::bad_input(
            format!("{}: the record holds no run to go on with", terms.job.display()),
            "begin one: coilmark identify --job with a new folder",
        ));
    };
    let meter = MeterTerms {
        link: terms.meter.clone().unwrap_or_else(|| begun.meter.clone()),
        profile: Some(terms.profile.clone().unwrap_or_else(|| begun.profile.clone())),
        reconnect_for: terms.reconnect_for,
        trace_link: None,
        ease: terms.ease.clone(),
    };
    let mut guide = guide(&begun, &task, terms)?;
    for entry in &task.entries {
        guide.apply(&entry.event);
    }
    let meter = Instrument::find(&meter)?;
    let (volts_max, watts_max) = match &begun.terms {
        RunTerms::Identify(start) => (start.volts_max, start.coil_watts_max),
        RunTerms::PickUp(start) => (start.volts_max, start.coil_watts_max),
        _ => (0.0, 0.0),
    };
    let supply = NamedSupply::find(terms.drive.as_deref(), &meter, volts_max, watts_max)?;
    let begun = named_by_the_record(begun);
    let start = RunStart {
        resumed: true,
        torn_bytes: past.torn_bytes(),
        simulated: begun.simulated || meter.is_simulated(),
        meter: meter.link.clone(),
        version: env!("CARGO_PKG_VERSION").into(),
        profile: meter.profile.name.clone(),
        ..begun
    };
    let job = terms.job.clone();
    let boards = matches!(start.terms, RunTerms::Board(_));
    let station = Station {
        job,
        journal: Some(journal),
        guide,
        equipment: Equipment::Meter(meter),
        supply,
        operator: terms.operator,
    };
    let outcome = station.run(start);
    if boards {
        super::history::take_in(&terms.job);
    }
    outcome
}

/// The board that goes on is the record's to name, not the first part's.
fn named_by_the_record(mut begun: RunStart) -> RunStart {
    if let RunTerms::Board(start) = &mut begun.terms {
        start.serial = None;
    }
    begun
}

/// The newest task that did not reach its end, else the newest; and how it was begun.
fn unfinished(past: &Past) -> Option<(Task<'_>, RunStart)> {
    let mut begun: Vec<_> = tasks(&past.entries)
        .into_iter()
        .filter_map(|task| task.start.cloned().map(|start| (task, start)))
        .collect();
    let place = begun.iter().rposition(|(task, _)| !task.is_finished());
    let place = place.or(begun.len().checked_sub(1))?;
    Some(begun.swap_remove(place))
}

/// A fresh guide for what was begun.
fn guide(
    begun: &RunStart,
    task: &Task<'_>,
    terms: &ResumeTerms,
) -> Result<Box<dyn Guide>, Failure> {
    match &begun.terms {
        RunTerms::Identify(start) => {
            identify::guide(start, begun.simulated, terms.operator, terms.accept_meter)
        }
        RunTerms::Board(start) => {
            board::guide(start, begun.simulated, terms.operator, terms.accept_meter)
        }
        RunTerms::PickUp(start) => {
            Ok(super::pickup::guide(start, begun.simulated, terms.accept_meter))
        }
        RunTerms::ZoneCheck(start) => {
            super::zone_check::guide(start, begun.simulated, terms.operator, terms.accept_meter)
        }
        RunTerms::ZoneDesign(_) => Err(Failure::bad_input(
            format!("{}: a zone design is worked out at once", terms.job.display()),
            "run coilmark zone design again with this --job",
        )),
        RunTerms::Fit(_) => Err(Failure::bad_input(
            format!("{}: a fit is worked out at once", terms.job.display()),
            "run coilmark fit again with this --job",
        )),
        RunTerms::Output(start) => output::guide_going_on(
            begun,
            *start,
            task,
            &terms.job,
            terms.operator,
            terms.accept_meter,
        ),
    }
}
