//! `report.html`: a report as one self-contained page. To come: chapters and drawings.

use super::{Report, words};
use askama::Template;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{{ verdict }}</title></head>
<body><h1>{{ verdict }}</h1><p>{{ because }}</p></body></html>
"#
)]
struct Page {
    verdict: String,
    because: String,
}

/// The page.
#[must_use]
pub fn render(report: &Report) -> String {
    let page = Page { verdict: words::verdict(report), because: words::because(report) };
    page.render().unwrap_or_default()
}
