//! The chapters that are not an identification: a list at the top that says how each task of the
//! job stands, and the chapters themselves, whose markup comes escaped from their own modules.
//! A job that is one identification and nothing else has neither.

use super::super::chapter::{Chapter, Standing};
use super::super::{Report, words};
use super::written;
use askama::Template;

/// Under the verdict of a job without an identification.
pub(super) const STANDINGS: &str = "What was measured, and how, is below.";

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"<nav aria-label="The tasks of this job">
<table class="glance">
<thead><tr><th scope="col">Task</th><th scope="col">Verdict</th><th scope="col">Finding</th></tr>
</thead>
<tbody>
{% for row in rows %}<tr><th scope="row">{% if row.anchor.is_empty() %}{{ row.title }}{% else -%}
<a href="#{{ row.anchor }}">{{ row.title }}</a>{% endif %}</th>
<td>{{ row.standing }}</td><td>{{ row.headline }}</td></tr>
{% endfor %}</tbody>
</table>
</nav>
"##
)]
struct Glance {
    rows: Vec<Row>,
}

struct Row {
    anchor: String,
    title: String,
    standing: &'static str,
    headline: String,
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"{% for (anchor, chapter) in chapters %}<section class="chapter"
aria-labelledby="{{ anchor }}">
<h2 id="{{ anchor }}">{{ chapter.title }}</h2>
<p>{{ chapter.headline }}</p>
{{ chapter.markup|safe }}</section>
{% endfor %}"#
)]
struct Chapters<'a> {
    chapters: Vec<(String, &'a Chapter)>,
}

/// The word for how a task stands.
pub(super) const fn word(standing: Standing) -> &'static str {
    match standing {
        Standing::Passed => "passed",
        Standing::Failed => "FAILED",
        Standing::Undecided => "undecided",
        Standing::Unfinished => "not finished",
    }
}

/// The style of the verdict at the top.
pub(super) const fn class(standing: Standing) -> &'static str {
    match standing {
        Standing::Passed => "identified",
        Standing::Failed | Standing::Undecided => "undecided",
        Standing::Unfinished => "unfinished",
    }
}

pub(super) fn anchors(report: &Report) -> impl Iterator<Item = (String, &Chapter)> {
    let numbered = (1..).zip(&report.chapters);
    numbered.map(|(n, chapter)| (format!("{}-{n}", chapter.command), chapter))
}

/// How each task stands; nothing where the job is one identification alone.
pub(super) fn glance(report: &Report) -> String {
    let identified = usize::from(!report.runs.is_empty());
    if report.chapters.len() + identified < 2 {
        return String::new();
    }
    let identification = (identified == 1).then(|| Row {
        anchor: String::new(),
        title: "Relay identification, pin by pin".into(),
        standing: match report.finding().map(|finding| finding.result) {
            Some(crate::event::Outcome::Identified) => "passed",
            Some(crate::event::Outcome::Undecided) => "undecided",
            None => "not finished",
        },
        headline: words::verdict(report),
    });
    let others = anchors(report).map(|(anchor, chapter)| Row {
        anchor,
        title: chapter.title.clone(),
        standing: word(chapter.standing),
        headline: words::text(&chapter.headline),
    });
    written(&Glance { rows: identification.into_iter().chain(others).collect() })
}

/// The chapters.
pub(super) fn render(report: &Report) -> String {
    written(&Chapters { chapters: anchors(report).collect() })
}
