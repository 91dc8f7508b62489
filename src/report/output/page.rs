//! The page of an analysed log: the headline, the chart, the facts, the alarms, and what must be
//! known beside them. Self-contained: no script, no font, nothing fetched. The template escapes;
//! the chart comes escaped. Tables are cut at a stated length, so that the page stays small.

use super::{chart, words};
use crate::event::visible;
use crate::event::{ChangeKind, OutputFinding, Trace};
use askama::Template;

const STYLE: &str = include_str!("../html/style.css");
const WINDOWS_MAX: usize = 50;
const CHANGES_MAX: usize = 150;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{{ headline }}</title>
<style>
{{ style|safe }}</style>
</head>
<body>
<header>
{% if simulated %}<p class="simulated" role="note">SIMULATED: no real output was measured</p>
{% endif %}<p class="kind">What a switched output does: {{ name }}</p>
<div class="verdict">
<h1>{{ headline }}</h1>
</div>
</header>
<main>
<section aria-labelledby="log">
<h2 id="log">The log</h2>
<figure>
{{ chart|safe }}<figcaption>Solid: lowest to highest reading of each column, no peak left out.
Grey bar with a dotted line: lowest, median and highest while on. Dashed: edges; the bar above
them: the window. Light band between dotted lines: the nominal class (common practice, no source).
</figcaption>
</figure>
</section>
<section aria-labelledby="facts">
<h2 id="facts">Figures</h2>
<dl class="facts">
{% for (term, text) in facts %}<dt>{{ term }}</dt><dd>{{ text }}</dd>
{% endfor %}</dl>
{% if !warnings.is_empty() %}<h3>To be known</h3>
<ul>
{% for warning in warnings %}<li>{{ warning }}</li>
{% endfor %}</ul>
{% endif %}</section>
{% if !windows.is_empty() %}<section aria-labelledby="alarms">
<h2 id="alarms">Alarms</h2>
<table>
<caption>{{ windows_caption }}</caption>
<thead><tr><th scope="col">On</th><th scope="col">Off</th><th scope="col">Window</th>
<th scope="col">Level</th><th scope="col">Shape</th></tr></thead>
<tbody>
{% for row in windows %}<tr>{% for cell in row %}<td>{{ cell }}</td>{% endfor %}</tr>
{% endfor %}</tbody>
</table>
</section>
{% endif %}{% if !changes.is_empty() %}<section aria-labelledby="changes">
<h2 id="changes">Changes of level</h2>
<table>
<caption>{{ changes_caption }}</caption>
<thead><tr><th scope="col">When</th><th scope="col">Reading</th>
<th scope="col">What</th></tr></thead>
<tbody>
{% for (at, reading, what) in changes %}<tr><td>{{ at }}</td><td>{{ reading }}</td>
<td>{{ what }}</td></tr>
{% endfor %}</tbody>
</table>
</section>
{% endif %}</main>
<footer>
<p>Made from the log alone: the same log always gives this same page. A record of measurements, not
a certificate. Written by coilmark {{ version }}.</p>
</footer>
</body>
</html>
"#
)]
struct Page {
    style: &'static str,
    simulated: bool,
    name: String,
    headline: String,
    chart: String,
    facts: Vec<(&'static str, String)>,
    warnings: Vec<String>,
    windows_caption: String,
    windows: Vec<[String; 5]>,
    changes_caption: String,
    changes: Vec<(String, u64, &'static str)>,
    version: &'static str,
}

/// The page of a log called `name`; `class` is the nominal class that its level fits, with its
/// band: nominal, lowest, highest volts.
#[must_use]
pub fn render(
    name: &str,
    finding: &OutputFinding,
    trace: &Trace,
    class: Option<(f64, f64, f64)>,
) -> String {
    let changes = finding.changes.iter().take(CHANGES_MAX).map(|c| {
        let what = match c.change {
            ChangeKind::On => "came on",
            ChangeKind::Off => "went off",
            ChangeKind::Step => "another level while on",
        };
        (words::with_error(c.at_s, c.at_s_u, "s"), c.reading, what)
    });
    let page = Page {
        style: STYLE,
        simulated: finding.simulated,
        name: visible(name),
        headline: words::headline(finding),
        chart: chart::render(finding, trace, class),
        facts: words::facts(finding),
        warnings: words::warnings(finding),
        windows_caption: caption(finding.windows.len(), WINDOWS_MAX),
        windows: finding.windows.iter().take(WINDOWS_MAX).map(words::window_row).collect(),
        changes_caption: caption(finding.changes.len(), CHANGES_MAX),
        changes: changes.collect(),
        version: env!("CARGO_PKG_VERSION"),
    };
    // Writing to memory cannot fail; a template has no other way to.
    page.render().unwrap_or_else(|e| format!("<p>This page could not be written: {e}</p>"))
}

fn caption(all: usize, most: usize) -> String {
    if all > most { format!("The first {most} of {all}") } else { format!("All {all}") }
}
