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
use super::seat::Seat;
use super::stamp::stamp;
use super::station::{Equipment, OperatorChoice, Station, say_torn};
use crate::event::{RunStart, RunTerms};
use crate::guide::Guide;
use crate::journal::{Journal, LocalTime, Past, Task, tasks};
use drivers::SystemClock;
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
    go_on(terms, None, &mut Seat::new())
}

/// The same at this seat, with the newest run of one command or of any.
pub(super) fn go_on(
    terms: &ResumeTerms,
    command: Option<&str>,
    seat: &mut Seat,
) -> Result<Exit, Failure> {
    let (journal, past) = Journal::open(&terms.job)?;
    say_torn(&past);
    let Some((task, begun)) = unfinished(&past, command) else {
        return Err(Failure::bad_input(
            format!("{}: the record holds no run to go on with", terms.job.display()),
            "begin one with this --job; fit and zone design are worked out again at once",
        ));
    };
    let meter = MeterTerms {
        link: terms.meter.clone().unwrap_or_else(|| begun.meter.clone()),
        profile: Some(terms.profile.clone().unwrap_or_else(|| begun.profile.clone())),
        reconnect_for: terms.reconnect_for,
        trace_link: None,
        ease: terms.ease.clone(),
    };
    let now = stamp(&SystemClock::begin()).at;
    let mut guide = guide_for(&begun, &task, terms, now)?;
    for entry in &task.entries {
        guide.apply(&entry.event);
    }
    let meter = Instrument::find(&meter)?;
    let (volts_max, watts_max) = match &begun.terms {
        RunTerms::Identify(start) => (start.volts_max, start.coil_watts_max),
        RunTerms::PickUp(start) => (start.volts_max, start.coil_watts_max),
        RunTerms::Board(start) => (start.plan.supply.volts, start.plan.supply.watts_max),
        _ => (0.0, 0.0),
    };
    let mut supply = NamedSupply::find(terms.drive.as_deref(), &meter, volts_max, watts_max)?;
    if let Some(supply) = &mut supply {
        supply.recall(&task.entries);
    }
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
        equipment: Equipment::Meter(Box::new(meter)),
        supply,
        operator: terms.operator,
    };
    let outcome = station.run_at(seat, start);
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
fn unfinished<'a>(past: &'a Past, command: Option<&str>) -> Option<(Task<'a>, RunStart)> {
    let mut begun: Vec<_> = tasks(&past.entries)
        .into_iter()
        .filter_map(|task| task.start.cloned().map(|start| (task, start)))
        .filter(|(_, start)| start.terms.goes_on())
        .filter(|(task, _)| command.is_none_or(|command| task.command() == command))
        .collect();
    let place = begun.iter().rposition(|(task, _)| !task.is_finished());
    let place = place.or(begun.len().checked_sub(1))?;
    Some(begun.swap_remove(place))
}

/// A fresh guide for what was begun, to which the task's events are still to be replayed. A log
/// that is gone on with is read here; `now` says how long ago its last part was.
///
/// # Errors
/// [`Failure`] where the terms are no terms, or a log cannot be read.
pub fn guide_for(
    begun: &RunStart,
    task: &Task<'_>,
    terms: &ResumeTerms,
    now: LocalTime,
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
        RunTerms::ZoneDesign(_) | RunTerms::Fit(_) | RunTerms::Job(_) => Err(Failure::bad_input(
            format!("{}: {} is no run to go on with", terms.job.display(), begun.terms.command()),
            "run it again with this --job",
        )),
        RunTerms::Output(start) => output::guide_going_on(
            begun,
            *start,
            task,
            &terms.job,
            terms.operator,
            terms.accept_meter,
            now,
        ),
    }
}
