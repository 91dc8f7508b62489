//! The chapter of how it was decided: the course of the belief as a chart with its key, and what
//! the numbers mean. An empty chapter where nothing was believed yet. Which candidates are
//! drawn, and how, is for `svg/chart.rs`.

use super::super::facts::Basis;
use super::super::svg::{Curve, curves, render_course};
use super::super::{Report, number};
use super::written;
use askama::Template;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<section class="chapter runs-on" aria-labelledby="decided">
<h2 id="decided">How it was decided</h2>
<p>Every way to assign the pins is a candidate. Each touch makes the candidates that it fits more
probable, allowing for leads that slip; the search ends when one is probable
enough{% if !asked.is_empty() %} (here: {{ asked }}){% endif %}.{% if !quick %} Then every contact
that is claimed is measured by itself.{% endif %}</p>
{% if !key.is_empty() %}<figure>
{{ chart|safe }}<figcaption>Probability of the leading candidates over the placements. A line
breaks off where its candidate was not among the leading five.</figcaption>
</figure>
<table>
<thead><tr><th scope="col">Line</th>
<th scope="col" class="n">At the end</th>
<th scope="col">Candidate</th></tr></thead>
<tbody>
{% for (letter, last, name) in key %}<tr><th scope="row">{{ letter }}</th>
<td class="n">{{ last }}</td>
<td>{{ name }}</td></tr>
{% endfor %}</tbody>
</table>
{% endif %}<p>{{ uncertainty_left }}</p>
{% if !claims.is_empty() %}<p>{{ claims }}</p>
{% endif %}{% if !decisive.is_empty() %}<p>{{ decisive }}</p>
{% endif %}</section>
"#
)]
struct Course {
    asked: String,
    quick: bool,
    chart: String,
    key: Vec<(&'static str, String, String)>,
    uncertainty_left: String,
    claims: String,
    decisive: String,
}

pub(super) fn render(report: &Report) -> String {
    let Some(last) = report.course.last() else { return String::new() };
    let curves = curves(&report.course);
    let bits = last.belief.entropy_bits;
    written(&Course {
        asked: report.start().map(|s| number::probability(s.confidence)).unwrap_or_default(),
        quick: report.is_quick(),
        chart: render_course(&curves),
        key: curves.into_iter().map(key).collect(),
        uncertainty_left: if bits < 0.005 {
            "Uncertainty left over all candidates: less than 0.01 bit.".into()
        } else {
            format!("Uncertainty left over all candidates: {bits:.2} bits.")
        },
        claims: claims(report),
        decisive: decisive(report),
    })
}

fn key(curve: Curve) -> (&'static str, String, String) {
    let last = curve.last.map_or_else(|| "not listed".into(), number::probability);
    (curve.letter, last, curve.name)
}

/// The touches that decided, by number.
fn decisive(report: &Report) -> String {
    let touches = report.finding().map(|f| f.decisive_touches.as_slice()).unwrap_or_default();
    let numbers: Vec<String> = touches.iter().map(u32::to_string).collect();
    match numbers.as_slice() {
        [] => String::new(),
        [one] => format!("Touch {one} decided: without it the answer would not be sure enough."),
        many => format!(
            "Touches {} decided: without any one of them the answer would not be sure enough.",
            many.join(", ")
        ),
    }
}

fn claims(report: &Report) -> String {
    let contacts = report.contacts();
    let by = |wanted| contacts.iter().filter(|contact| contact.basis == wanted).count();
    match (by(Basis::Measured), by(Basis::Inferred), by(Basis::Unseen)) {
        (0, 0, 0) => String::new(),
        (_, 0, 0) => "Every contact that is named was measured by itself; none is inferred.".into(),
        (measured, inferred, 0) => {
            format!("Contacts measured by themselves: {measured}. Inferred: {inferred}.")
        }
        (measured, inferred, unseen) => format!(
            "Contacts measured by themselves: {measured}. Inferred: {inferred}. Said to be \
             measured, without captures in this journal that show it: {unseen}."
        ),
    }
}
