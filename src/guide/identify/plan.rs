//! What to look at during one touch, and under which drive. A plan names the pins and the
//! purpose; the next step follows from what the touch has shown so far, so that a resumed or
//! interrupted touch needs nothing but its captures. Drives are tried from the lowest plausible
//! voltage up until something follows; the last look of a driven touch is at rest again.

use super::follow::{DriveEffect, Latch, changed, shut, volts};
use super::record::TouchRecord;
use super::way::Way;
use crate::event::{Capture, DriveState};
use drivers::Function;

/// On so many closed pairs the other ways of driving are tried.
const TURNED_MAX: usize = 2;

/// Why the leads go there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// To learn more about which pin is what, at rest.
    Look,
    /// The same, with the drive on and off while the leads stay put.
    LookDriven,
    /// To measure a coil in one lead direction.
    Coil,
}

/// One touch that is wanted.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Which lead goes on which pin.
    pub way: Way,
    /// What for.
    pub purpose: Purpose,
    /// Whether a new touch is needed even if the leads rest there already.
    pub fresh: bool,
    /// Why, in a technician's words.
    pub why: String,
}

/// One look: a function and a drive.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// The meter's function.
    pub function: Function,
    /// What is applied.
    pub drive: DriveState,
}

/// The drives that may be tried, in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drives {
    /// The ladder: from the lowest plausible voltage up, on the first coil.
    pub ladder: Vec<DriveState>,
    /// Other ways at the top of the ladder: reversed, or the other coil.
    pub others: Vec<DriveState>,
}

impl Drives {
    /// Whether there is any.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.ladder.is_empty()
    }

    /// What to try on a touch that has not moved yet: the drive known to move the part; or, as
    /// long as nothing has moved, the ladder once and its top on later touches, and then, on a
    /// pair that is closed, the other ways: a part that holds its state may be set already.
    fn to_try(&self, effect: &DriveEffect, touch: u32, is_shut: bool) -> Vec<DriveState> {
        if let Some(mover) = &effect.mover {
            return vec![self.with_margin(mover)];
        }
        let before = || effect.still.iter().filter(|s| s.touch != touch);
        let climbed = self.ladder.iter().all(|d| before().any(|s| s.drive == *d));
        let from = if climbed { self.ladder.len().saturating_sub(1) } else { 0 };
        let turned = |d: &DriveState| before().filter(|s| s.was_shut && s.drive == *d).count();
        let others = self.others.iter().filter(|d| is_shut && turned(d) < TURNED_MAX);
        self.ladder.iter().skip(from).chain(others).cloned().collect()
    }

    /// The drive that moved the part, one step of the ladder up where there is one within a
    /// third: a warm coil needs more than it did at first.
    fn with_margin(&self, mover: &DriveState) -> DriveState {
        let DriveState::Energised { plus, minus, volts: moved } = mover else {
            return mover.clone();
        };
        let volts = self
            .ladder
            .iter()
            .map(volts)
            .find(|v| *v > *moved && *v <= *moved * 4.0 / 3.0)
            .unwrap_or(*moved);
        DriveState::Energised { plus: plus.clone(), minus: minus.clone(), volts }
    }
}

/// The next look of a touch at rest only.
#[must_use]
pub fn next_at_rest(touch: &TouchRecord) -> Option<Step> {
    touch.ohms_captures().next().is_none().then(|| at_rest(Function::Resistance))
}

/// The next look at a coil: ohms, then the diode test, at rest.
#[must_use]
pub fn next_on_coil(touch: &TouchRecord, has_diode: bool) -> Option<Step> {
    let seen = |f: Function| touch.captures.iter().any(|c| c.function == f);
    [Function::Resistance, Function::Diode]
        .into_iter()
        .find(|f| !seen(*f) && (has_diode || *f != Function::Diode))
        .map(at_rest)
}

/// The next look of a driven touch.
#[must_use]
pub fn next_driven(touch: &TouchRecord, effect: &DriveEffect, drives: &Drives) -> Option<Step> {
    let looks: Vec<&Capture> = touch.ohms_captures().collect();
    let drive = match &effect.latch {
        Some(latch) if looks.first().is_none_or(|l| l.drive == latch.reset) => {
            next_of_latching(&looks, latch)
        }
        _ => next_of_monostable(touch.touch, &looks, effect, drives),
    }?;
    Some(Step { function: Function::Resistance, drive })
}

/// Reset, set, does it hold, reset, does it hold.
fn next_of_latching(looks: &[&Capture], latch: &Latch) -> Option<DriveState> {
    let rest = DriveState::Rest;
    [&latch.reset, &latch.set, &rest, &latch.reset, &rest].get(looks.len()).copied().cloned()
}

fn next_of_monostable(
    touch: u32,
    looks: &[&Capture],
    effect: &DriveEffect,
    drives: &Drives,
) -> Option<DriveState> {
    let Some(first) = looks.first() else { return Some(DriveState::Rest) };
    let moved = looks.iter().position(|c| c.drive != DriveState::Rest && changed(first, c));
    let Some(moved) = moved else {
        let tried = |d: &DriveState| looks.iter().any(|c| c.drive == *d);
        let next = drives.to_try(effect, touch, shut(first)).into_iter().find(|d| !tried(d));
        let at_rest = looks.last().is_some_and(|c| c.drive == DriveState::Rest);
        return next.or((!at_rest).then_some(DriveState::Rest));
    };
    let after = &looks[moved + 1..];
    let Some(rest) = after.iter().find(|c| c.drive == DriveState::Rest) else {
        return Some(DriveState::Rest);
    };
    if changed(looks[moved], rest) {
        return None;
    }
    next_way_back(looks[moved], after, drives)
}

/// The contact stayed where the drive put it: try the other ways until one brings it back, and
/// look once more at rest.
fn next_way_back(set: &Capture, after: &[&Capture], drives: &Drives) -> Option<DriveState> {
    let at_rest = after.last().is_some_and(|c| c.drive == DriveState::Rest);
    let came_back = after.iter().any(|c| changed(set, c));
    let tried = |d: &DriveState| after.iter().any(|c| same_way(&c.drive, d));
    let next = drives
        .others
        .iter()
        .chain(drives.ladder.last())
        .find(|d| !came_back && !same_way(d, &set.drive) && !tried(d));
    match next {
        Some(drive) => Some(at_volts(drive, volts(&set.drive))),
        None => (!at_rest).then_some(DriveState::Rest),
    }
}

/// Whether two drives have the same pins the same way round.
fn same_way(a: &DriveState, b: &DriveState) -> bool {
    match (a, b) {
        (
            DriveState::Energised { plus: p, minus: m, .. },
            DriveState::Energised { plus, minus, .. },
        ) => (p, m) == (plus, minus),
        _ => a == b,
    }
}

fn at_volts(drive: &DriveState, volts: f64) -> DriveState {
    match drive {
        DriveState::Rest => DriveState::Rest,
        DriveState::Energised { plus, minus, .. } => {
            DriveState::Energised { plus: plus.clone(), minus: minus.clone(), volts }
        }
    }
}

fn at_rest(function: Function) -> Step {
    Step { function, drive: DriveState::Rest }
}
