//! `report.html`: a report as one self-contained page. First what a customer and the next
//! technician read at a glance, then every measurement, then how it was decided. No script, no
//! font, nothing fetched: the page forbids it to itself. Each chapter has its own template, which
//! escapes; drawings come escaped from `svg`. Text from outside arrives already made visible.

mod apart;
mod chapters;
mod course;
mod front;
mod job;
mod measured;
mod setup;

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
{% endif %}<p class="kind">{{ kind }}</p>
<div class="verdict {{ class }}">
<h1>{{ verdict }}</h1>
<p>{{ because }}</p>
</div>
{{ glance|safe }}</header>
<main>
{{ front|safe }}{{ apart|safe }}{{ chapters|safe -}}
{{ measured|safe }}{{ others|safe }}{{ course|safe }}{{ setup|safe }}{{ handed|safe }}</main>
<footer>
<p>{{ footer }}</p>
</footer>
</body>
</html>
"#
)]
#[derive(Default)]
struct Page {
    title: String,
    style: &'static str,
    simulated_style: &'static str,
    simulated: bool,
    simulated_words: &'static str,
    kind: String,
    class: &'static str,
    verdict: String,
    because: String,
    glance: String,
    front: String,
    apart: String,
    chapters: String,
    measured: String,
    others: String,
    course: String,
    setup: String,
    handed: String,
    footer: String,
}

/// A page that is no job's report: a head, and one body in the same clothes.
pub(in crate::report) struct Bare {
    pub(in crate::report) kind: &'static str,
    pub(in crate::report) verdict: String,
    pub(in crate::report) class: &'static str,
    pub(in crate::report) simulated: bool,
    /// Markup, with everything from outside escaped in it.
    pub(in crate::report) body: String,
}

/// Such a page, self-contained.
pub(in crate::report) fn bare(page: Bare) -> String {
    let simulated = page.simulated;
    written(&Page {
        title: format!("{}{}", if simulated { "SIMULATED: " } else { "" }, page.verdict),
        style: STYLE,
        simulated_style: if simulated { SIMULATED_STYLE } else { "" },
        simulated,
        simulated_words: words::SIMULATED,
        kind: page.kind.into(),
        class: page.class,
        verdict: page.verdict,
        chapters: page.body,
        footer: format!(
            "Made from the records alone, by coilmark {}. It is no certificate.",
            env!("CARGO_PKG_VERSION")
        ),
        ..Page::default()
    })
}

/// What stands at the top of the page.
struct Head {
    kind: String,
    class: &'static str,
    verdict: String,
    because: String,
}

impl Head {
    /// Of the identification, where the job has one or nothing else; else of its newest chapter.
    fn of(report: &Report) -> Self {
        if let Some(job) = &report.job {
            return job::head(job);
        }
        match report.chapters.last() {
            Some(newest) if report.runs.is_empty() => Self {
                kind: newest.title.clone(),
                class: chapters::class(newest.standing),
                verdict: words::text(&newest.headline),
                because: chapters::STANDINGS.into(),
            },
            _ => Self {
                kind: "Relay identification, pin by pin".into(),
                class: chapters::class(report.standing()),
                verdict: words::verdict(report),
                because: words::because(report),
            },
        }
    }
}

/// The page.
#[must_use]
pub fn render(report: &Report) -> String {
    let simulated = report.simulated;
    let Head { kind, class, verdict, because } = Head::of(report);
    let identified = |chapter: fn(&Report) -> String| match report.runs.is_empty() {
        true if !report.chapters.is_empty() => String::new(),
        _ => chapter(report),
    };
    let page = Page {
        title: format!("{}{verdict}", if simulated { "SIMULATED: " } else { "" }),
        style: STYLE,
        simulated_style: if simulated { SIMULATED_STYLE } else { "" },
        simulated,
        simulated_words: words::SIMULATED,
        kind,
        class,
        verdict,
        because,
        glance: match &report.job {
            Some(job) => job::glance(report, job),
            None => chapters::glance(report),
        },
        front: identified(front::render),
        apart: identified(apart::render),
        chapters: chapters::render(report),
        measured: identified(measured::render),
        others: measured::others(report),
        course: identified(course::render),
        setup: identified(setup::render),
        handed: report.job.as_ref().map(job::hand_over).unwrap_or_default(),
        footer: format!(
            "Made from the {} entries of this job's journal, and from nothing else: the same \
             journal always gives this same page. Written by coilmark {}.",
            report.entries,
            words::text(&report.version)
        ),
    };
    written(&page)
}

/// A template's text. Writing to memory cannot fail; a template has no other way to.
pub(in crate::report) fn written(template: &impl Template) -> String {
    template.render().unwrap_or_else(|e| format!("<p>This part could not be written: {e}</p>"))
}
