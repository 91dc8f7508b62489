//! What every guide makes of its meter: whether the one that answers is the one that the job began
//! with, and whether its dial stands where it is wanted. Another meter ends the run, unless the
//! operator's word allows it; either way it is said which was expected and which came.

use super::dialogue::Dialogue;
use crate::event::{Ask, Event, LinkNews, MeterIdentity};
use drivers::Function;

/// How many readings in another function in a row say that the dial stands elsewhere.
pub(super) const OTHER_FUNCTION_MIN: u32 = 3;

/// The meter answered, at first or after a gap (in seconds): the facts of it. A meter that is not
/// the known one ends the talk.
pub(super) fn answered(
    known: Option<&MeterIdentity>,
    meter: MeterIdentity,
    gap_s: Option<f64>,
    accept_other: bool,
    talk: &mut Dialogue,
) -> Vec<Event> {
    let mut facts: Vec<Event> =
        gap_s.map(|gap_s| Event::LinkChanged(LinkNews::Restored { gap_s })).into_iter().collect();
    match known {
        Some(known) if known.identity == meter.identity => {}
        Some(known) if !accept_other => {
            let reason = format!(
                "a different meter answers: this job began with `{}`, now `{}` is there",
                known.identity, meter.identity
            );
            talk.end(3, Some(reason));
        }
        Some(_) => {
            let identity = meter.identity.clone();
            facts.push(Event::LinkChanged(LinkNews::OtherMeterAccepted { identity }));
            facts.push(Event::MeterIdentified(meter));
        }
        None => facts.push(Event::MeterIdentified(meter)),
    }
    facts
}

/// What the readings say about the dial.
#[derive(Debug, Default)]
pub(super) struct Dial {
    /// Readings in another function since the last one in the wanted function.
    others: u32,
}

impl Dial {
    /// A reading in the wanted function, or a new ask.
    pub(super) const fn agrees(&mut self) {
        self.others = 0;
    }

    /// A reading in another function. While an ask is open the hands may be at the dial, and the
    /// meter still measures for what was wanted before: that says nothing.
    pub(super) const fn disagrees(&mut self, open: Option<&Ask>) {
        if open.is_none() {
            self.others += 1;
        }
    }

    /// Whether so many came that the dial must stand elsewhere.
    pub(super) const fn is_doubted(&self) -> bool {
        self.others >= OTHER_FUNCTION_MIN
    }

    /// Whether a meter with a dial, said to be set to `set`, has to be turned to `wanted`.
    pub(super) fn is_elsewhere(
        &self,
        meter: Option<&MeterIdentity>,
        set: Option<Function>,
        wanted: Function,
    ) -> bool {
        let commanded = meter.is_none_or(|meter| meter.commanded);
        !commanded && (self.is_doubted() || set != Some(wanted))
    }
}
