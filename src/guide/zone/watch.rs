//! Every reading of a loop through an alarm, folded into when it was violated and when it was
//! ready again. One reading alone never counts: a conversion in which the contact moved shows
//! anything. Seconds from the first reading that was watched.

use crate::event::ZoneState;
use drivers::Moment;

/// The watch over a loop.
#[derive(Clone, Debug, Default)]
pub(super) struct Watch {
    began: Option<Moment>,
    /// The newest state and when it was first seen; counted once it was seen twice.
    newest: Option<(ZoneState, Moment, u32)>,
    sure: Option<ZoneState>,
    pub(super) violated_at_s: Option<f64>,
    pub(super) restored_at_s: Option<f64>,
    pub(super) violations: u32,
    pub(super) readings: u32,
}

impl Watch {
    /// Takes a reading's time and what the panel reads by it; `None`: overload.
    pub(super) fn push(&mut self, at: Moment, reads: Option<ZoneState>) {
        let began = *self.began.get_or_insert(at);
        self.readings = self.readings.saturating_add(1);
        let Some(reads) = reads else { return };
        let (first, seen) = match self.newest {
            Some((state, first, seen)) if state == reads => (first, seen.saturating_add(1)),
            _ => (at, 1),
        };
        self.newest = Some((reads, first, seen));
        if seen < 2 || self.sure == Some(reads) {
            return;
        }
        let first_s = first.since(began).as_secs_f64();
        match (self.sure.replace(reads), reads) {
            (_, ZoneState::Violated) => {
                self.violations = self.violations.saturating_add(1);
                self.violated_at_s.get_or_insert(first_s);
                self.restored_at_s = None;
            }
            (Some(_), ZoneState::Ready) if self.violated_at_s.is_some() => {
                self.restored_at_s = Some(first_s);
            }
            _ => {}
        }
    }

    /// What the loop is read as now, once that is sure.
    pub(super) const fn reads(&self) -> Option<ZoneState> {
        self.sure
    }
}
