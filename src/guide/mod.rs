//! The state machines that decide what to ask next. A guide is fed what arrived and gives facts
//! and orders; it reads no clock and touches no port, so a test can lead it through any evening.
//! What every guide has in common is the [`Guide`] trait, which is all that the loop knows.

pub mod board;
mod dialogue;
mod doubt;
pub mod identify;
pub mod job;
mod ladder;
mod meter;
pub mod output;
pub mod pickup;
pub mod settling;
pub mod zone;

use crate::event::{Action, DriveState, Event, Input};
use drivers::{Function, Moment};

/// Below this two pins count as closed, in ohms: far above any contact and any lead, below most
/// coils (common practice, no source).
const CLOSED_OHMS_MAX: f64 = 20.0;

/// Above this nothing is an output or a zone input, in volts: 60 V direct, the limit of IEC
/// 60364-4-41 for extra low voltage without further protection; from memory.
const EXTRA_LOW_VOLTS_MAX: f64 = 60.0;

/// Decides what to ask next. The loop feeds it what arrived ([`Guide::handle`]), writes the facts
/// that come back and gives them to [`Guide::apply`], then performs what [`Guide::next`] orders
/// until that is [`Action::Nothing`]. A guide to which a task's events are replayed stands where
/// the run that wrote them stood.
pub trait Guide {
    /// Turns what arrived into facts, which the caller writes down and then applies.
    #[must_use]
    fn handle(&mut self, input: Input, now: Moment) -> Vec<Event>;

    /// Takes in one fact, new or replayed; facts that do not concern it change nothing.
    fn apply(&mut self, fact: &Event);

    /// What is wanted now. Call again after performing it, until it is [`Action::Nothing`].
    fn next(&mut self, now: Moment) -> Action;

    /// When [`Input::DeadlineReached`] is wanted, if nothing else arrives.
    #[must_use]
    fn wake_at(&self) -> Option<Moment>;

    /// What is applied to the coil, as far as the record knows.
    #[must_use]
    fn drive(&self) -> &DriveState {
        &DriveState::Rest
    }

    /// Whether a drive may be on, although the record may not have it.
    #[must_use]
    fn may_be_driven(&self) -> bool {
        *self.drive() != DriveState::Rest
    }

    /// Whether it goes on after [`Input::DriveLimited`]: it can measure the coil again. For any
    /// other guide the run ends there.
    #[must_use]
    fn doubts_coils(&self) -> bool {
        false
    }

    /// Whether nothing can be done with a meter that has no such function.
    #[must_use]
    fn needs(&self, function: Function) -> bool;
}
