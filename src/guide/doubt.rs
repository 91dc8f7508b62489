//! Whether a drive may be on although the record does not say so. A person may have applied what
//! was asked for when the process was killed, before the answer could be written down: the next
//! part of the run then has the drive taken off before the leads touch anything. A part that came
//! to its end has told its person; a drive that was never near is not doubted.

use crate::event::{Caution, DriveState, Event};

/// What a record leaves in doubt about its drive.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct DriveDoubt {
    /// Whether the newest part has not come to its end.
    under_way: bool,
    /// Whether a drive was ever about to be asked for.
    near: bool,
    doubted: bool,
}

impl DriveDoubt {
    /// Takes in one event.
    pub(super) const fn apply(&mut self, fact: &Event) {
        match fact {
            Event::RunStarted(_) => {
                self.doubted = self.doubted || self.under_way && self.near;
                self.under_way = true;
            }
            Event::RunFinished { .. } => self.under_way = false,
            Event::CautionAcknowledged { caution: Caution::CoilDrive, .. } => self.near = true,
            Event::DriveChanged(_) => self.doubted = false,
            _ => {}
        }
    }

    /// Whether a drive may be on, where the record has this one.
    pub(super) fn may_be_on(self, recorded: &DriveState) -> bool {
        self.doubted || *recorded != DriveState::Rest
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{JobStart, JobStep, RunStart, RunTerms};
    use std::collections::BTreeMap;

    fn begun() -> Event {
        let start = JobStart { step: JobStep::Site, words: BTreeMap::new() };
        Event::RunStarted(RunStart::without_meter(RunTerms::Job(start), false, 0))
    }

    fn after(facts: &[Event]) -> bool {
        let mut doubt = DriveDoubt::default();
        facts.iter().for_each(|fact| doubt.apply(fact));
        doubt.may_be_on(&DriveState::Rest)
    }

    #[test]
    fn only_a_part_that_broke_off_near_a_drive_leaves_a_doubt() {
        let near = Event::CautionAcknowledged { caution: Caution::CoilDrive, text: String::new() };
        let over = Event::RunFinished { exit: 4, reason: None, job: String::new() };
        let off = Event::DriveChanged(DriveState::Rest);
        assert!(after(&[begun(), near.clone(), begun()]));
        assert!(!after(&[begun(), begun()]), "no drive was near");
        assert!(!after(&[begun(), near.clone(), over, begun()]), "it came to its end");
        assert!(!after(&[begun(), near, begun(), off]), "it was taken off");
    }
}
