//! The cover of a whole job: its verdict, every step with how it stands and what it found, what
//! everything is called; and at the end the hand-over with room to sign. What was found comes from
//! the chapters, so that cover and chapter say the same.

use super::super::chapter::Chapter;
use super::super::job::{JobReport, status};
use super::super::{Report, words};
use super::chapters::{self, Glance, Row};
use super::{Head, written};
use crate::event::{Caution, JobLabel, JobStep};
use crate::journal::StepStatus;
use askama::Template;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"{{ steps|safe }}<dl class="facts labels">
{% for (term, text) in labels %}<dt>{{ term }}</dt><dd>{{ text }}</dd>
{% endfor %}</dl>
"#
)]
struct Cover {
    steps: String,
    labels: Vec<(&'static str, String)>,
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<section class="chapter runs-on" aria-labelledby="hand-over">
<h2 id="hand-over">Hand-over</h2>
<p>{{ caution }}</p>
<table class="signatures">
<caption>{{ when }}</caption>
<thead><tr><th scope="col"><span class="quiet">Who</span></th><th scope="col">Name</th>
<th scope="col">Signature</th><th scope="col">Date</th></tr></thead>
<tbody>
<tr><th scope="row">Handed over by</th><td>{{ by }}</td><td></td><td></td></tr>
<tr><th scope="row">Received by</th><td>{{ to }}</td><td></td><td></td></tr>
</tbody>
</table>
</section>
"#
)]
struct HandOver {
    caution: &'static str,
    when: String,
    by: String,
    to: String,
}

/// The verdict of the whole job.
pub(super) fn head(job: &JobReport) -> Head {
    let name = [JobLabel::Site, JobLabel::Equipment];
    let name: Vec<String> = name.into_iter().filter_map(|label| job.label(label)).collect();
    let of = |wanted: fn(&StepStatus) -> bool| -> Vec<&str> {
        let steps = job.state.steps.iter().filter(|step| wanted(&step.status));
        steps.map(|step| step.step.name()).collect()
    };
    use crate::event::Verdict::{Fail, Undecided};
    let failed = of(|status| matches!(status, StepStatus::Done { verdict: Fail }));
    let undecided = of(|status| matches!(status, StepStatus::Done { verdict: Undecided }));
    let open = of(|status| !status.is_settled());
    let left_out = of(|status| matches!(status, StepStatus::Skipped { .. }));
    let lists = [
        ("failed", failed),
        ("undecided", undecided),
        ("open or stale", open),
        ("left out", left_out),
    ];
    let lists = lists.into_iter().filter(|(_, steps)| !steps.is_empty());
    let lists: Vec<String> =
        lists.map(|(word, steps)| format!("{word}: {}", steps.join(", "))).collect();
    let (class, verdict) = match (job.state.stands(), lists.is_empty()) {
        (true, true) => ("identified", "Every step passed".to_owned()),
        (true, false) => ("identified", format!("Every step that was done passed; {}", lists[0])),
        (false, _) => ("undecided", format!("Not everything passed: {}", lists.join("; "))),
    };
    Head {
        kind: "Hand-over record".into(),
        class,
        verdict,
        because: if name.is_empty() { "No site was named.".into() } else { name.join(": ") },
    }
}

/// The steps and the labels.
pub(super) fn glance(report: &Report, job: &JobReport) -> String {
    let rows = job.state.steps.iter().map(|step| {
        let (word, why) = status(&step.status);
        let (anchor, found) = found(report, step.step);
        // What the operator said stays as it was said.
        let said = matches!(step.status, StepStatus::Skipped { .. });
        let why = if said { why } else { words::sentence(&why) };
        let found = [why, found].into_iter().filter(|text| !text.is_empty());
        Row {
            anchor,
            title: words::capitalised(step.step.title()),
            standing: word,
            found: found.collect::<Vec<_>>().join(" "),
        }
    });
    let others = chapters::anchors(report).filter(|(_, chapter)| step_of(chapter).is_none());
    let rows = rows.chain(others.map(Row::of)).collect();
    let stated = JobLabel::AT_SITE.into_iter();
    let mut labels: Vec<(&str, String)> =
        stated.filter_map(|label| Some((label.title(), job.label(label)?))).collect();
    let dates = format!(
        "{} to {} {}",
        job.began.date_and_time(),
        job.last.date_and_time(),
        job.last.offset_name()
    );
    labels.push(("Measured", dates));
    let cautions: Vec<&str> = job.cautions.iter().map(|(name, _)| name.as_str()).collect();
    labels.push(("Cautions read", cautions.join(", ")));
    written(&Cover { steps: written(&Glance { of: "step", rows }), labels })
}

/// The step that a chapter is of.
fn step_of(chapter: &Chapter) -> Option<JobStep> {
    match chapter.command {
        "output" => Some(JobStep::Output),
        "fit" => Some(JobStep::Fit),
        "zone-design" => Some(JobStep::Loop),
        "board" | "wiring" => Some(JobStep::Board),
        "zone-check" => Some(JobStep::Zone),
        _ => None,
    }
}

/// Where the newest result of a step stands on the page, and the result in a sentence.
fn found(report: &Report, step: JobStep) -> (String, String) {
    match step {
        JobStep::Relay if !report.runs.is_empty() => ("measured".into(), words::verdict(report)),
        JobStep::HandOver => ("hand-over".into(), String::new()),
        _ => {
            let of =
                chapters::anchors(report).filter(|(_, chapter)| step_of(chapter) == Some(step));
            of.last()
                .map(|(anchor, chapter)| (anchor, words::text(&chapter.headline)))
                .unwrap_or_default()
        }
    }
}

/// The hand-over, with room to sign.
pub(super) fn hand_over(job: &JobReport) -> String {
    let when = job.handed_over.map_or_else(
        || "Not handed over yet".to_owned(),
        |at| format!("Handed over {} {}", at.date_and_time(), at.offset_name()),
    );
    written(&HandOver {
        caution: Caution::HandOver.text(),
        when,
        by: job.label(JobLabel::By).unwrap_or_default(),
        to: job.label(JobLabel::ReceivedBy).unwrap_or_default(),
    })
}
