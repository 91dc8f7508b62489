//! What follows the drive: whether a touch changed between rest and energised, the lowest
//! voltage that moved anything, and whether the part holds its state when the drive is gone.
//! Turns the record's captures into the belief's touches: each look says whether the part was
//! driven, and how sure it is that the drive moved it.

use super::record::{Record, TouchRecord};
use crate::event::{Capture, DriveState};
use crate::guide::CLOSED_OHMS_MAX;
use crate::relay::{Look, Pair, Seen, Touch, coil};
use std::collections::BTreeSet;

/// So many closed pairs that stay closed under the drive say that it does not move the part.
const STAYED_SHUT_MIN: usize = 2;

/// Probability that a pair that is closed at rest stays so on a part that moves: a joint inside,
/// a weld, a bridged lead.
const STAYS_SHUT_THOUGH_MOVED: f64 = 0.05;

/// Probability that a part from a drawer moves at all when it is driven well (common practice,
/// no source).
const SOUND_PART: f64 = 0.98;

/// No ohms are taken to be better known than this share of themselves (common practice, no source).
const U_SHARE_MIN: f64 = 0.001;

/// What the drive has been seen to do.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DriveEffect {
    /// The first drive that moved a contact.
    pub mover: Option<DriveState>,
    /// How many touches followed the drive.
    pub followed: u32,
    /// The pairs that did: contacts, as far as anybody knows.
    pub movers: BTreeSet<Pair>,
    /// Every drive that moved nothing, with its touch.
    pub still: Vec<Still>,
    /// The pairs that were ever closed at rest.
    pub shut_at_rest: BTreeSet<Pair>,
    /// The drives that set and reset a part that holds its state.
    pub latch: Option<Latch>,
}

/// A drive that moved nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct Still {
    /// The touch during which it was applied.
    pub touch: u32,
    /// The pair that was watched.
    pub pair: Pair,
    /// Whether that pair was closed at rest, so that it should have opened.
    pub was_shut: bool,
    /// The drive.
    pub drive: DriveState,
}

/// A part that holds its state.
#[derive(Clone, Debug, PartialEq)]
pub struct Latch {
    /// After this drive the contacts are in the set state.
    pub set: DriveState,
    /// After this drive they are as they were before; `None` until it is found.
    pub reset: Option<DriveState>,
    /// A pair that showed it.
    pub shown_by: Pair,
    /// Drives that were tried to bring it back.
    pub tried: Vec<DriveState>,
}

impl DriveEffect {
    /// Reads it off the record.
    #[must_use]
    pub fn of(record: &Record) -> Self {
        let mut effect = Self::default();
        let (mut held, mut returned) = (0, 0);
        for touch in &record.touches {
            effect.see(touch, &mut held, &mut returned);
        }
        if held <= returned {
            effect.latch = None;
        }
        effect
    }

    /// The lowest voltage known to move the part, in volts.
    #[must_use]
    pub fn moved_volts(&self) -> Option<f64> {
        self.mover.as_ref().map(DriveState::volts)
    }

    /// The highest voltage that moved nothing, in volts, if nothing lower did. Leads that read open
    /// all the time on a pair that is closed at rest did not touch it, and that says nothing.
    #[must_use]
    pub fn still_volts(&self) -> Option<f64> {
        let below = self.moved_volts().unwrap_or(f64::INFINITY);
        let touched = |s: &&Still| s.was_shut || !self.shut_at_rest.contains(&s.pair);
        let tried = self.still.iter().filter(touched).map(|s| s.drive.volts());
        tried.filter(|volts| *volts < below).max_by(f64::total_cmp)
    }

    /// The highest voltage, in volts, that moved nothing on a pair that does follow: what happens
    /// on one that is no contact says nothing of the coil. Where nothing has followed, any pair.
    #[must_use]
    pub fn unmoved_volts(&self) -> Option<f64> {
        let Some(moved) = self.moved_volts() else { return self.still_volts() };
        let on_contacts = self.still.iter().filter(|s| self.movers.contains(&s.pair));
        let below = on_contacts.map(|s| s.drive.volts()).filter(|volts| *volts < moved);
        below.max_by(f64::total_cmp)
    }

    /// How many pairs that are closed at rest stayed closed at this voltage or above.
    #[must_use]
    pub fn stayed_shut(&self, at_volts: f64) -> usize {
        let stayed = self.still.iter().filter(|s| s.was_shut && s.drive.volts() >= at_volts);
        stayed.map(|s| s.pair).collect::<BTreeSet<Pair>>().len()
    }

    /// Whether enough closed pairs stayed closed at the top of the ladder, in volts, on a part that
    /// nothing has moved, to say that no drive moves it: a touch that was cut short on its way up
    /// says nothing of the steps above.
    #[must_use]
    pub fn is_without_response(&self, top_volts: f64) -> bool {
        self.mover.is_none() && self.stayed_shut(top_volts) >= STAYED_SHUT_MIN
    }

    /// How sure it is that the drive moves the part: one touch that followed may have wobbled.
    fn trust(&self) -> f64 {
        if self.followed > 1 { 0.999 } else { 0.98 }
    }

    fn see(&mut self, touch: &TouchRecord, held: &mut u32, returned: &mut u32) {
        let looks: Vec<&Capture> = touch.ohms_captures().collect();
        if looks.iter().any(|look| look.drive == DriveState::Rest && shut(look)) {
            self.shut_at_rest.insert(touch.pair());
        }
        for (i, pair) in looks.windows(2).enumerate() {
            let (before, after) = (pair[0], pair[1]);
            if after.drive == DriveState::Rest || self.see_way_back(before, after) {
                continue;
            }
            if !changed(before, after) {
                let was_shut = looks.first().is_some_and(|first| shut(first));
                let (pair, drive) = (touch.pair(), after.drive.clone());
                self.still.push(Still { touch: touch.touch, pair, was_shut, drive });
                continue;
            }
            self.followed += 1;
            self.movers.insert(touch.pair());
            if self.mover.as_ref().is_none_or(|m| after.drive.volts() < m.volts()) {
                self.mover = Some(after.drive.clone());
            }
            match looks[i + 2..].iter().find(|c| c.drive == DriveState::Rest) {
                Some(rest) if changed(after, rest) => *returned += 1,
                Some(_) => {
                    *held += 1;
                    self.latch.get_or_insert_with(|| Latch {
                        set: after.drive.clone(),
                        reset: None,
                        shown_by: touch.pair(),
                        tried: Vec::new(),
                    });
                }
                None => {}
            }
        }
    }

    /// Whether this look was an attempt to bring back a part that holds its state.
    fn see_way_back(&mut self, before: &Capture, after: &Capture) -> bool {
        let Some(latch) = &mut self.latch else { return false };
        if latch.reset.is_some() || same_way(&after.drive, &latch.set) {
            return false;
        }
        latch.tried.push(after.drive.clone());
        if changed(before, after) {
            latch.reset = Some(after.drive.clone());
        }
        true
    }
}

/// Whether two drives have the same pins the same way round.
#[must_use]
pub fn same_way(a: &DriveState, b: &DriveState) -> bool {
    match (a, b) {
        (
            DriveState::Energised { plus: p, minus: m, .. },
            DriveState::Energised { plus, minus, .. },
        ) => (p, m) == (plus, minus),
        _ => a == b,
    }
}

/// Whether two looks of one touch differ as open differs from closed.
#[must_use]
pub fn changed(a: &Capture, b: &Capture) -> bool {
    shut(a) != shut(b)
}

/// Whether a capture in ohms shows a closed contact.
#[must_use]
pub fn shut(capture: &Capture) -> bool {
    capture.value.is_some_and(|ohms| ohms < CLOSED_OHMS_MAX)
}

/// Turns captures into the belief's evidence, in their order: the state of a part that holds
/// depends on the last drive that moved it.
pub struct Looks<'a> {
    effect: &'a DriveEffect,
    /// The coil as measured, in ohms, with its standard uncertainty.
    coil: Option<(f64, f64)>,
    is_set: bool,
}

impl<'a> Looks<'a> {
    /// Begins with a part in its first state.
    #[must_use]
    pub fn new(effect: &'a DriveEffect, coil: Option<(f64, f64)>) -> Self {
        Self { effect, coil, is_set: false }
    }

    /// The next touch as evidence; `None` if nothing in ohms was captured in it.
    pub fn touch(&mut self, record: &TouchRecord) -> Option<Touch> {
        let mut looks: Vec<Look> = Vec::new();
        for capture in record.ohms_captures() {
            if self.is_stale_return(&looks, capture) {
                break;
            }
            let driven = self.driven(&capture.drive);
            looks.push(Look { driven, seen: seen(capture) });
        }
        (!looks.is_empty()).then(|| Touch { pair: record.pair(), looks })
    }

    /// `None` for the rest state; else the probability that the drive has moved the part.
    fn driven(&mut self, drive: &DriveState) -> Option<f64> {
        if let Some(latch) = &self.effect.latch {
            if *drive == latch.set {
                self.is_set = true;
            } else if Some(drive) == latch.reset.as_ref() {
                self.is_set = false;
            }
            return self.is_set.then(|| self.effect.trust());
        }
        let DriveState::Energised { volts, .. } = drive else { return None };
        Some(match self.effect.moved_volts() {
            Some(moved) if *volts >= moved => self.effect.trust(),
            Some(_) => 0.0,
            None => self.untried(*volts),
        })
    }

    /// The probability that a drive moves a part that nothing has moved yet: by its coil, and less
    /// for every pair that was closed at rest and stayed so at this voltage.
    pub fn untried(&self, volts: f64) -> f64 {
        let at_first = self.coil.map_or(0.5, |(ohms, u)| {
            coil::moves_probability(ohms, u, coil::DriveEvidence::default(), volts)
        });
        let at_first = at_first.min(SOUND_PART);
        let stayed = i32::try_from(self.effect.stayed_shut(volts)).unwrap_or(i32::MAX);
        let moves = at_first * STAYS_SHUT_THOUGH_MOVED.powi(stayed);
        moves / (moves + 1.0 - at_first)
    }

    /// A contact that did not come back after the drive, on a part that does not hold its state:
    /// the look says nothing about which pin is what.
    fn is_stale_return(&self, looks: &[Look], capture: &Capture) -> bool {
        let came_back = |first: &Look| is_shut(&first.seen) == shut(capture);
        self.effect.latch.is_none()
            && capture.drive == DriveState::Rest
            && looks.iter().any(|l| l.driven.is_some())
            && looks.first().is_some_and(|first| !came_back(first))
    }
}

/// Whether a value is that of a closed contact.
#[must_use]
pub fn is_shut(seen: &Seen) -> bool {
    matches!(seen, Seen::Ohms { ohms, .. } if *ohms < CLOSED_OHMS_MAX)
}

/// A capture in ohms, by value.
fn seen(capture: &Capture) -> Seen {
    match capture.value {
        Some(ohms) => {
            Seen::Ohms { ohms, u: capture.u.unwrap_or(0.0).max(U_SHARE_MIN * ohms.abs()) }
        }
        None => Seen::Open,
    }
}
