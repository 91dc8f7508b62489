//! The chapter on isolation: coil against each pole and pole against pole, as far as they were
//! measured against each other. It says what that means for the panel, and in the same
//! breath that it is no insulation test. Nothing is rendered where nothing was measured.

use super::{Report, written};
use crate::report::{number, words};
use askama::Template;
use drivers::Unit;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<section aria-labelledby="apart">
<h2 id="apart">Coil and contacts apart</h2>
<table>
<thead><tr><th scope="col">Pins</th><th scope="col">At rest</th></tr></thead>
<tbody>
{% for (pins, read) in rows %}<tr><th scope="row">{{ pins }}</th><td>{{ read }}</td></tr>
{% endfor %}</tbody>
</table>
<p class="quiet">{{ note }}</p>
</section>
"#
)]
struct Apart {
    rows: Vec<(String, String)>,
    note: &'static str,
}

const ALL_OPEN: &str = "Open beyond the meter's range between coil and contacts: no path from the \
    output's supply to the panel's loop was found. This is no insulation test; a multimeter cannot \
    prove insulation.";
const NOT_OPEN: &str = "Something conducts between nets that should be apart: do not connect this \
    part to a panel. A multimeter cannot prove insulation, but it has shown a path.";

pub(super) fn render(report: &Report) -> String {
    let measured = report.finding().map(|f| f.isolation.as_slice()).unwrap_or_default();
    if measured.is_empty() {
        return String::new();
    }
    let rows = measured.iter().map(|apart| {
        let pins = apart.pins.each_ref().map(words::pin);
        let read = match apart.ohms {
            Some(ohms) => number::quantity(ohms, None, Unit::Ohm).plain(),
            None => "open beyond the meter's range".into(),
        };
        (pins.join(" and "), read)
    });
    let note = if measured.iter().all(|apart| apart.open) { ALL_OPEN } else { NOT_OPEN };
    written(&Apart { rows: rows.collect(), note })
}
