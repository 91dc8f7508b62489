//! Whether the meter that answers is the one that the job began with. Another one ends the run,
//! unless the operator's word allows it; either way it is said which was expected and which came.
//! Every guide asks this here.

use crate::event::{Event, LinkNews, MeterIdentity};

/// The meter answered, at first or after a gap (in seconds): the facts of it, or why the run ends.
pub(super) fn answered(
    known: Option<&MeterIdentity>,
    meter: MeterIdentity,
    gap_s: Option<f64>,
    accept_other: bool,
) -> (Vec<Event>, Option<String>) {
    let mut facts: Vec<Event> =
        gap_s.map(|gap_s| Event::LinkChanged(LinkNews::Restored { gap_s })).into_iter().collect();
    match known {
        Some(known) if known.identity == meter.identity => {}
        Some(known) if !accept_other => {
            let reason = format!(
                "a different meter answers: this job began with `{}`, now `{}` is there",
                known.identity, meter.identity
            );
            return (facts, Some(reason));
        }
        Some(_) => {
            let identity = meter.identity.clone();
            facts.push(Event::LinkChanged(LinkNews::OtherMeterAccepted { identity }));
            facts.push(Event::MeterIdentified(meter));
        }
        None => facts.push(Event::MeterIdentified(meter)),
    }
    (facts, None)
}
