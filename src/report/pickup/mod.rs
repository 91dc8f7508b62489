//! Pick-up and drop-out in a job's report: the two values with their uncertainty and limits, every
//! ramp, and a plot of the contact's state over volts in both directions. One
//! [`PickUpFinding`], worded and drawn; the template escapes.

mod plot;

use super::chapter::{Chapter, Check, Standing};
use super::html::written;
use super::ladder;
use super::number::volts;
use crate::event::{Event, Finding, PickUpFinding, PickUpStart, RunTerms, Threshold};
use crate::journal::{Entry, Task};
use askama::Template;

/// The chapter of a measurement of pick-up and drop-out.
pub(super) fn chapter(task: &Task<'_>) -> Option<Chapter> {
    let start = match task.start.map(|start| &start.terms) {
        Some(RunTerms::PickUp(start)) => start,
        _ => return None,
    };
    let finding = task.entries.iter().rev().find_map(|entry| match &entry.event {
        Event::ResultReached(Finding::PickUp(finding)) => Some(finding.as_ref()),
        _ => None,
    });
    let standing = finding.map_or(Standing::Unfinished, |finding| finding.result.into());
    let values = finding.map(|f| [("pick-up", f.pick_up), ("drop-out", f.drop_out)]);
    let checks = values.into_iter().flatten().filter_map(|(name, value)| {
        value.map(|value| Check {
            name: name.into(),
            standing: value.verdict.into(),
            text: with_uncertainty(&value),
        })
    });
    Some(Chapter {
        command: "pickup",
        title: "Pick-up and drop-out".into(),
        standing,
        headline: finding.map_or_else(|| "Not finished".into(), headline),
        checks: checks.collect(),
        markup: finding.map(|f| render(start, f, &task.entries)).unwrap_or_default(),
        value: finding.and_then(|f| serde_json::to_value(f).ok()).unwrap_or_default(),
    })
}

/// Both values, or why there are none.
pub(in crate::report) fn headline(f: &PickUpFinding) -> String {
    match (&f.pick_up, &f.drop_out) {
        (Some(up), Some(down)) => format!(
            "Picks up at {}, drops out at {}: {}",
            with_uncertainty(up),
            with_uncertainty(down),
            f.reason
        ),
        _ => super::words::capitalised(&f.reason),
    }
}

/// With the expanded uncertainty (k = 2).
fn with_uncertainty(value: &Threshold) -> String {
    super::number::quantity(value.volts, Some(value.volts_u), drivers::Unit::Volt)
        .with_uncertainty()
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"{% if !plot.is_empty() %}<figure>
{{ plot|safe }}<figcaption>The contact's state over the volts at the coil: up to pick-up and down to
drop-out, one line for each ramp; the bands are two standard uncertainties either way.</figcaption>
</figure>
{% endif %}<table>
<thead><tr><th scope="col">Value</th>
<th scope="col" class="n">Measured</th>
<th scope="col" class="n">At 20 °C</th>
<th scope="col" class="n">Hot, {{ hot }} °C</th>
<th scope="col" class="n">Limit at 20 °C</th>
<th scope="col">Verdict</th>
<th scope="col">Standard uncertainty: step, drive, repeat</th></tr></thead>
<tbody>
{% for row in values %}<tr><th scope="row">{{ row[0] }}</th>
<td class="n">{{ row[1] }}</td>
<td class="n">{{ row[2] }}</td>
<td class="n">{{ row[3] }}</td>
<td class="n">{{ row[4] }}</td>
<td>{{ row[5] }}</td>
<td>{{ row[6] }}</td></tr>
{% endfor %}</tbody>
</table>
{% if !ramps.is_empty() %}<table>
<caption>Ramps: the two steps between which the contact changed</caption>
<thead><tr><th scope="col">Ramp</th>
<th scope="col" class="n">Still at</th>
<th scope="col" class="n">Changed at</th>
<th scope="col" class="n">Held at</th>
<th scope="col" class="n">Returned at</th></tr></thead>
<tbody>
{% for row in ramps %}<tr><th scope="row">{{ loop.index }}</th>
{% for cell in row %}<td class="n">{{ cell }}</td>
{% endfor %}</tr>
{% endfor %}</tbody>
</table>
{% endif %}{{ ladder|safe }}<p class="quiet">{{ note }}</p>
"#
)]
struct Page {
    /// Markup.
    ladder: String,
    plot: String,
    hot: f64,
    values: Vec<[String; 7]>,
    ramps: Vec<[String; 4]>,
    note: String,
}

fn render(start: &PickUpStart, f: &PickUpFinding, entries: &[&Entry]) -> String {
    let rows = [("Pick-up", &f.pick_up), ("Drop-out", &f.drop_out)];
    let ramps = f.ramps.iter().map(|ramp| {
        [ramp.still_volts, ramp.moved_volts, ramp.held_volts, ramp.released_volts].map(volts)
    });
    let ohms = f.coil_ohms.map_or_else(|| "not measured".into(), |ohms| format!("{ohms:.1} ohm"));
    let page = Page {
        ladder: ladder::of_entries(entries),
        plot: plot::render(f),
        hot: start.coil_celsius_max,
        values: rows.iter().filter_map(|(name, value)| value.map(|v| row(name, &v))).collect(),
        ramps: ramps.collect(),
        note: format!(
            "Coil {ohms}; drive on {} (+) and {}, witness {} and {}; coil at {} °C. Limits: pick-up \
             at most {} %, drop-out at least {} % of the rated volts (operative range and release, \
             IEC 61810-1, 5.2 and 5.3, from memory).",
            super::words::pin(&start.coil[0]),
            super::words::pin(&start.coil[1]),
            super::words::pin(&start.contact[0]),
            super::words::pin(&start.contact[1]),
            start.ambient_celsius,
            start.operate_percent,
            start.release_percent,
        ),
    };
    written(&page)
}

fn row(name: &str, value: &Threshold) -> [String; 7] {
    let short = |x: f64| volts((x * 1000.0).round() / 1000.0);
    [
        name.to_owned(),
        with_uncertainty(value),
        short(value.volts_20),
        short(value.volts_hot),
        value.limit_volts.map_or_else(|| "none".into(), short),
        value.verdict.to_string(),
        format!("{}, {}, {}", short(value.step_u), short(value.drive_u), short(value.repeat_u)),
    ]
}
