//! The chapters that are not an identification: a list at the top that says how each task of the
//! job stands, and the chapters themselves, whose markup comes escaped from their own modules.
//! A job that is one identification and nothing else has neither.

use super::super::chapter::{Chapter, Standing};
use super::super::{Report, words};
use super::written;
use askama::Template;

/// Under the verdict of a job without an identification.
pub(super) const STANDINGS: &str = "What was measured, and how, is below.";

/// A list at the top of the page: what, how it stands, what was found.
#[derive(Template)]
#[template(
    ext = "html",
    source = r##"<nav aria-label="The {{ of }}s of this job">
<table class="steps">
<caption>Every {{ of }} of the job</caption>
<thead><tr><th scope="col">{{ of|capitalize }}</th><th scope="col">How it stands</th>
<th scope="col">What was found</th></tr></thead>
<tbody>
{% for row in rows %}<tr><th scope="row">{% if row.anchor.is_empty() %}{{ row.title }}{% else -%}
<a href="#{{ row.anchor }}">{{ row.title }}</a>{% endif %}</th>
<td>{{ row.standing }}</td><td>{{ row.found }}</td></tr>
{% endfor %}</tbody>
</table>
</nav>
"##
)]
pub(super) struct Glance {
    /// `task` or `step`.
    pub(super) of: &'static str,
    pub(super) rows: Vec<Row>,
}

pub(super) struct Row {
    /// Where it stands on the page; empty: nowhere.
    pub(super) anchor: String,
    pub(super) title: String,
    pub(super) standing: &'static str,
    pub(super) found: String,
}

impl Row {
    pub(super) fn of((anchor, chapter): (String, &Chapter)) -> Self {
        Self {
            anchor,
            title: chapter.title.clone(),
            standing: word(chapter.standing),
            found: words::text(&chapter.headline),
        }
    }
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
const fn word(standing: Standing) -> &'static str {
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
        standing: word(report.standing()),
        found: words::verdict(report),
    });
    let rows = identification.into_iter().chain(anchors(report).map(Row::of));
    written(&Glance { of: "task", rows: rows.collect() })
}

/// The chapters.
pub(super) fn render(report: &Report) -> String {
    written(&Chapters { chapters: anchors(report).collect() })
}
