//! `report.html`: a report as one self-contained page. First what a customer and the next
//! technician read at a glance, then every measurement, then how it was decided. No script, no
//! font, nothing fetched: the page forbids it to itself. Each chapter has its own template, which
//! escapes; drawings come escaped from `svg`. Text from outside arrives already made visible.

mod apart;
mod course;
mod front;
mod measured;
mod setup;

use super::facts::Verdict;
use super::{Report, words};
use askama::Template;

const STYLE: &str = include_str!("style.css");
/// On every printed page, where instruments were simulated.
const SIMULATED_STYLE: &str = "@page { @top-center { \
    content: \"SIMULATED: no real part was measured\"; \
     font: bold 9pt sans-serif; } }\n";

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
<title>{{ title }}</title>
<style>
{{ style|safe }}{{ simulated_style|safe }}</style>
</head>
<body>
<header>
{% if simulated %}<p class="simulated" role="note">{{ simulated_words }}</p>
{% endif %}<p class="kind">Relay identification, pin by pin</p>
<div class="verdict {{ class }}">
<h1>{{ verdict }}</h1>
<p>{{ because }}</p>
</div>
</header>
<main>
{{ front|safe }}{{ apart|safe }}{{ measured|safe }}{{ course|safe }}{{ setup|safe }}</main>
<footer>
<p>Made from the {{ entries }} entries of this job's journal, and from nothing else: the same
journal always gives this same page. Written by coilmark {{ version }}.</p>
</footer>
</body>
</html>
"#
)]
struct Page {
    title: String,
    style: &'static str,
    simulated_style: &'static str,
    simulated: bool,
    simulated_words: &'static str,
    class: &'static str,
    verdict: String,
    because: String,
    front: String,
    apart: String,
    measured: String,
    course: String,
    setup: String,
    entries: u64,
    version: String,
}

/// The page.
#[must_use]
pub fn render(report: &Report) -> String {
    let verdict = words::verdict(report);
    let simulated = report.simulated;
    let page = Page {
        title: format!("{}{verdict}", if simulated { "SIMULATED: " } else { "" }),
        style: STYLE,
        simulated_style: if simulated { SIMULATED_STYLE } else { "" },
        simulated,
        simulated_words: words::SIMULATED,
        class: match report.verdict() {
            Verdict::Identified => "identified",
            Verdict::Undecided => "undecided",
            Verdict::Unfinished => "unfinished",
        },
        verdict,
        because: words::because(report),
        front: front::render(report),
        apart: apart::render(report),
        measured: measured::render(report),
        course: course::render(report),
        setup: setup::render(report),
        entries: report.entries,
        version: report
            .runs
            .last()
            .map_or_else(|| "of an unknown version".into(), |run| words::text(&run.start.version)),
    };
    written(&page)
}

/// A template's text. Writing to memory cannot fail; a template has no other way to.
fn written(template: &impl Template) -> String {
    template.render().unwrap_or_else(|e| format!("<p>This part could not be written: {e}</p>"))
}
