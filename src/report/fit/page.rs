//! The chapter's body: the bars, the table of checks with formulas and numbers, the capacitor, the
//! ways to tame the coil's kick, and what it was all worked out from. The template escapes; the
//! drawing comes escaped.

use super::{bars, words};
use crate::event::FitFinding;
use crate::report::html::written;
use crate::report::words::{capitalised, sentence};
use askama::Template;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"{% if !bars.is_empty() %}<figure>
{{ bars|safe }}<figcaption>Each bar is the margin at the values that are worked with; the line over
it is what the margin may be over the whole range of what is not exactly known. A bar left of the
limit is a limit that is not kept. {{ chance }}</figcaption>
</figure>
{% endif %}<p>{{ coil }}.</p>
<table>
<thead><tr><th scope="col">Check</th>
<th scope="col">Verdict</th>
<th scope="col">Value and limit</th>
<th scope="col">Margin</th></tr></thead>
<tbody>
{% for row in checks %}<tr><th scope="row">{{ row.name }}</th>
<td>{{ row.verdict }}</td>
<td>{{ row.against }}</td>
<td>{{ row.margin }}</td></tr>
<tr class="note"><td colspan="4">{{ row.text }}: {{ row.formula }}<br>{{ row.numbers }}</td></tr>
{% endfor %}</tbody>
</table>
{% if !hold_up.is_empty() %}<h3>Hold-up through the gaps</h3>
<ul>
{% for line in hold_up %}<li>{{ line }}</li>
{% endfor %}</ul>
{% endif %}<h3>Across the coil, against its kick</h3>
<table>
<thead><tr><th scope="col">Fit</th>
<th scope="col" class="n">Switch sees</th>
<th scope="col" class="n">Release</th></tr></thead>
<tbody>
{% for row in ways %}<tr><td>{{ row.0 }}<br><span class="quiet">{{ row.3 }}</span></td>
<td class="n">{{ row.1 }}</td>
<td class="n">{{ row.2 }}</td></tr>
{% endfor %}</tbody>
</table>
<h3>What it was worked out from</h3>
<table>
<thead><tr><th scope="col">Quantity</th>
<th scope="col">Value and range</th>
<th scope="col">Origin</th></tr></thead>
<tbody>
{% for row in inputs %}<tr><th scope="row">{{ row[0] }}</th>
<td>{{ row[1] }}</td>
<td>{{ row[2] }}</td></tr>
{% endfor %}</tbody>
</table>
{% if !assumptions.is_empty() %}<h3>Taken for granted</h3>
<ul>
{% for line in assumptions %}<li>{{ line }}</li>
{% endfor %}</ul>
{% endif %}<p class="quiet">Worked out, not measured. Local wiring codes, the equipment's own
manual and a licensed person come first.</p>
"#
)]
struct Page<'a> {
    bars: String,
    chance: String,
    coil: String,
    checks: Vec<CheckRow<'a>>,
    hold_up: Vec<String>,
    ways: Vec<(String, String, String, &'a str)>,
    inputs: Vec<[String; 3]>,
    assumptions: &'a [String],
}

struct CheckRow<'a> {
    name: &'static str,
    verdict: String,
    against: String,
    margin: String,
    text: &'a str,
    formula: &'a str,
    numbers: &'a str,
}

/// The body.
pub(super) fn render(finding: &FitFinding) -> String {
    let checks = finding.checks.iter().map(|check| CheckRow {
        name: words::name(check.code),
        verdict: check.verdict.to_string(),
        against: words::against(check),
        margin: words::margin(check),
        text: &check.text,
        formula: &check.formula,
        numbers: &check.numbers,
    });
    let ways = finding.suppression.iter().map(|way| {
        let [fit, clamp, release] = words::suppression(way);
        (fit, clamp, release, way.numbers.as_str())
    });
    let hold_up = finding.hold_up.as_ref().map(words::hold_up).unwrap_or_default();
    let page = Page {
        bars: bars::render(finding),
        chance: format!(
            "Every limit was kept in {} % of {} random draws (seed {}).",
            words::number(100.0 * finding.probability),
            finding.draws,
            finding.seed
        ),
        coil: capitalised(&words::coil(finding)),
        checks: checks.collect(),
        hold_up: hold_up.iter().map(|line| sentence(line)).collect(),
        ways: ways.collect(),
        inputs: finding.inputs.iter().map(words::input).collect(),
        assumptions: &finding.assumptions,
    };
    written(&page)
}
