//! The ladder of drives in a report: which rated voltages were plausible, which volts were to be
//! tried and why in that order, which of them were applied, and why it ends. One [`Ladder`] and the
//! drives of the same task, worded as a table; the template escapes.

use super::html::written;
use super::number::{probability, volts};
use super::{Report, What, words};
use crate::event::{DriveState, Event, Ladder};
use crate::journal::Entry;
use askama::Template;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<p>{{ order }}
{% if !rated.is_empty() %}Plausible for {{ ohms }} ohm before any drive: {{ rated }}.{% endif %}</p>
<table>
<caption>Ladder of drives</caption>
<thead><tr><th scope="col" class="n">At most</th>
<th scope="col" class="n">In the coil</th>
<th scope="col">Why</th>
<th scope="col">Applied</th></tr></thead>
<tbody>
{% for row in steps %}<tr><th scope="row" class="n">{{ row[0] }}</th>
<td class="n">{{ row[1] }}</td>
<td>{{ row[2] }}</td>
<td>{{ row[3] }}</td></tr>
{% endfor %}</tbody>
</table>
<p>{{ end }}</p>
"#
)]
struct Page {
    order: String,
    ohms: f64,
    rated: String,
    steps: Vec<[String; 4]>,
    end: String,
}

/// The newest ladder of an identification as markup; empty where none was planned.
pub(super) fn of_report(report: &Report) -> String {
    let drives = report.steps.iter().filter_map(|step| match &step.what {
        What::Drive { drive: DriveState::Energised { volts, .. } } => Some(*volts),
        _ => None,
    });
    let top = drives.fold(0.0, f64::max);
    report.ladder.as_ref().map(|ladder| render(ladder, top)).unwrap_or_default()
}

/// The newest ladder of a task as markup; empty where none was planned.
pub(super) fn of_entries(entries: &[&Entry]) -> String {
    let mut ladders = entries.iter().filter_map(|entry| match &entry.event {
        Event::LadderPlanned(ladder) => Some(ladder),
        _ => None,
    });
    let drives = entries.iter().filter_map(|entry| match &entry.event {
        Event::DriveChanged(DriveState::Energised { volts, .. }) => Some(*volts),
        _ => None,
    });
    let top = drives.fold(0.0, f64::max);
    ladders.next_back().map(|ladder| render(ladder, top)).unwrap_or_default()
}

/// The markup; `top` is the highest drive that was applied, in volts.
fn render(ladder: &Ladder, top: f64) -> String {
    let mut below = 0.0;
    let steps = ladder.steps.iter().map(|step| {
        let applied = if top > below { "yes" } else { "no" };
        below = step.volts;
        let milliwatts = (1000.0 * step.watts).round();
        [volts(step.volts), format!("{milliwatts} mW"), words::text(&step.why), applied.into()]
    });
    let rated = ladder.rated_volts.iter().filter(|rating| rating.p < 1.0);
    let rated: Vec<String> =
        rated.map(|rating| format!("{} V ({})", rating.volts, probability(rating.p))).collect();
    let page = Page {
        order: words::text(&ladder.order),
        ohms: (ladder.ohms * 10.0).round() / 10.0,
        rated: rated.join(", "),
        steps: steps.collect(),
        end: words::text(&ladder.end),
    };
    written(&page)
}
