//! What to look at during one touch, and under which drive. A plan names the pins and the
//! purpose; the next step follows from what the touch has shown so far, so that a resumed or
//! interrupted touch needs nothing but its captures. Drives are tried from the lowest plausible
//! voltage up until something follows; the last look of a driven touch is at rest again.

use super::follow::{DriveEffect, Latch, changed, same_way, shut};
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
    /// To find the drive that brings back a part that holds its state.
    BringBack,
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

    /// The highest of the ladder, in volts; 0 where nothing may be driven.
    #[must_use]
    pub fn top_volts(&self) -> f64 {
        self.ladder.last().map_or(0.0, DriveState::volts)
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

    /// Every other way to drive the part than this one, at this one's voltage.
    fn ways_back<'a>(&'a self, set: &'a DriveState) -> impl Iterator<Item = DriveState> + 'a {
        let others = self.others.iter().chain(self.ladder.last());
        others.filter(|d| !same_way(d, set)).map(|d| at_volts(d, set.volts()))
    }

    /// A way to bring back a part that holds its state which has not been tried.
    #[must_use]
    pub fn untried_way_back(&self, latch: &Latch) -> Option<DriveState> {
        if latch.reset.is_some() {
            return None;
        }
        let tried = |d: &DriveState| latch.tried.iter().any(|t| same_way(t, d));
        self.ways_back(&latch.set).find(|d| !tried(d))
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
            .map(DriveState::volts)
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
    let reset = effect.latch.as_ref().and_then(|l| Some((l, l.reset.as_ref()?)));
    let drive = match reset {
        Some((latch, reset)) if looks.first().is_none_or(|l| l.drive == *reset) => {
            next_of_latching(&looks, &latch.set, reset)
        }
        _ => next_of_monostable(touch.touch, &looks, effect, drives),
    }?;
    Some(Step { function: Function::Resistance, drive })
}

/// Reset, set, does it hold, reset, does it hold.
fn next_of_latching(
    looks: &[&Capture],
    set: &DriveState,
    reset: &DriveState,
) -> Option<DriveState> {
    let rest = &DriveState::Rest;
    [reset, set, rest, reset, rest].get(looks.len()).copied().cloned()
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
        return next.or_else(|| rest_unless(looks));
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
    let came_back = after.iter().any(|c| changed(set, c));
    let tried = |d: &DriveState| after.iter().any(|c| same_way(&c.drive, d));
    let next = drives.ways_back(&set.drive).find(|d| !came_back && !tried(d));
    next.or_else(|| rest_unless(after))
}

/// The next look at a part that holds its state, to bring it back.
#[must_use]
pub fn next_to_bring_back(touch: &TouchRecord, latch: &Latch, drives: &Drives) -> Option<Step> {
    let looks: Vec<&Capture> = touch.ohms_captures().collect();
    let Some(first) = looks.first() else { return Some(at_rest(Function::Resistance)) };
    let came_back = looks.iter().any(|c| changed(first, c));
    let next = drives.untried_way_back(latch).filter(|_| !came_back);
    let drive = next.or_else(|| rest_unless(&looks))?;
    Some(Step { function: Function::Resistance, drive })
}

/// Rest, unless the last look was at rest.
fn rest_unless(looks: &[&Capture]) -> Option<DriveState> {
    let at_rest = looks.last().is_some_and(|c| c.drive == DriveState::Rest);
    (!at_rest).then_some(DriveState::Rest)
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
