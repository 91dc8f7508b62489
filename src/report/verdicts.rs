//! `verdicts.xml`: every verdict of a job as a test case in the widespread JUnit form, for people
//! who collect test results. A limit that failed is a `failure`; what stays undecided is a
//! `failure` too, of type `undecided`, since nobody may take it for a pass; a task without a result
//! is an `error`. Names and texts are escaped here, and controls are made visible before.

use super::chapter::{Check, Standing};
use super::facts::Basis;
use super::{Report, words};
use crate::event::IdentifyFinding;
use askama::Template;

#[derive(Template)]
#[template(
    ext = "xml",
    source = r#"<?xml version="1.0" encoding="UTF-8"?>
<testsuites name="coilmark" tests="{{ tests }}" failures="{{ failures }}" errors="{{ errors }}">
{% for suite in suites -%}
<testsuite name="{{ suite.name }}" tests="{{ suite.cases.len() }}" failures="{{ suite.failures() }}" errors="{{ suite.errors() }}"{% if let Some(began) = suite.began %} timestamp="{{ began }}"{% endif %}>
{% if simulated -%}
<properties><property name="simulated" value="true"/></properties>
{% endif -%}
{% for case in suite.cases -%}
<testcase classname="{{ suite.name }}" name="{{ case.name }}">
{%- match case.standing -%}
{%- when Standing::Passed %}<system-out>{{ case.text }}</system-out>
{%- when Standing::Failed %}<failure type="failed" message="{{ case.text }}"/>
{%- when Standing::Undecided %}<failure type="undecided" message="{{ case.text }}"/>
{%- when Standing::Unfinished %}<error type="unfinished" message="{{ case.text }}"/>
{%- endmatch -%}
</testcase>
{% endfor -%}
</testsuite>
{% endfor -%}
</testsuites>
"#
)]
struct Suites {
    tests: usize,
    failures: usize,
    errors: usize,
    simulated: bool,
    suites: Vec<Suite>,
}

struct Suite {
    name: String,
    began: Option<String>,
    cases: Vec<Check>,
}

impl Suite {
    fn failures(&self) -> usize {
        let bad = |check: &&Check| matches!(check.standing, Standing::Failed | Standing::Undecided);
        self.cases.iter().filter(bad).count()
    }

    fn errors(&self) -> usize {
        self.cases.iter().filter(|check| check.standing == Standing::Unfinished).count()
    }
}

/// The document.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut suites = Vec::new();
    if !report.runs.is_empty() || report.chapters.is_empty() {
        let began = report.runs.first().map(|run| String::from(run.began));
        suites.push(Suite { name: "identify".into(), began, cases: identification(report) });
    }
    for chapter in &report.chapters {
        let whole = Check {
            name: words::text(&chapter.title),
            standing: chapter.standing,
            text: words::text(&chapter.headline),
        };
        let visible = |check: &Check| Check {
            name: words::text(&check.name),
            standing: check.standing,
            text: words::text(&check.text),
        };
        let cases = std::iter::once(whole).chain(chapter.checks.iter().map(visible)).collect();
        suites.push(Suite { name: chapter.command.into(), began: None, cases });
    }
    let document = Suites {
        tests: suites.iter().map(|suite| suite.cases.len()).sum(),
        failures: suites.iter().map(Suite::failures).sum(),
        errors: suites.iter().map(Suite::errors).sum(),
        simulated: report.simulated,
        suites,
    };
    // Writing to memory cannot fail; if it did, no reader would take this for a pass.
    document.render().unwrap_or_else(|_| "<testsuites errors=\"1\"/>\n".into())
}

/// The identification as a whole, then each contact that it claims, then each fault.
fn identification(report: &Report) -> Vec<Check> {
    let finding = report.finding();
    let whole = Check {
        name: "every pin is named".into(),
        standing: report.standing(),
        text: format!("{}. {}", words::verdict(report), words::because(report)),
    };
    let contacts = report.contacts().into_iter().map(|contact| {
        let [a, b] = &contact.pins;
        Check {
            name: format!("contact {} and {}", words::pin(a), words::pin(b)),
            standing: match contact.basis {
                Basis::Measured | Basis::Inferred => Standing::Passed,
                Basis::Unseen => Standing::Undecided,
            },
            text: words::basis(contact.basis).into(),
        }
    });
    let faults = finding.into_iter().flat_map(faults);
    std::iter::once(whole).chain(contacts).chain(faults).collect()
}

fn faults(finding: &IdentifyFinding) -> impl Iterator<Item = Check> {
    finding.faults.iter().map(|fault| Check {
        name: words::fault(fault.code).into(),
        standing: Standing::Failed,
        text: words::clause(&fault.text),
    })
}
