//! The chapter of every measurement: all steps of the job in order, captures as rows with their
//! value and expanded uncertainty, everything else as a line between them. What was taken back
//! stays, struck through. The meter's own words are folded away below (and not printed).

use super::super::parts::{Captured, Step, What};
use super::super::{Report, number, words};
use super::written;
use crate::event::{AlarmState, Ask, DriveState, LinkNews};
use askama::Template;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<section class="chapter" aria-labelledby="{{ anchor }}">
<h2 id="{{ anchor }}">Every measurement{{ of }}</h2>
<p class="quiet">In the order of the journal. The uncertainty is expanded, k = 2 (about 95 %), from
the meter's stated accuracy. An open circuit is what the meter shows as overload; n is the number
of settled readings.</p>
<div class="scroll">
<table>
<thead><tr><th scope="col">Time</th>
<th scope="col" class="n">No.</th>
<th scope="col" class="n">Touch</th>
<th scope="col">Red</th>
<th scope="col">Black</th>
<th scope="col">Drive</th>
<th scope="col">Function</th>
<th scope="col" class="n">Reading</th>
<th scope="col" class="n">&#177; (k = 2)</th>
<th scope="col" class="n">n</th></tr></thead>
<tbody>
{% for row in rows %}{% match row %}{% when Row::Note with { time, text } %}
<tr class="note"><td class="time">{{ time }}</td>
<td colspan="9">{{ text }}</td></tr>
{% when Row::Capture(c) %}
<tr{% if c.struck %} class="struck"{% endif %}><td class="time">{{ c.time }}</td>
<td class="n">{{ c.capture }}</td>
<td class="n">{{ c.touch }}</td>
<td>{{ c.red }}</td>
<td>{{ c.black }}</td>
<td>{{ c.drive }}</td>
<td>{{ c.function }}</td>
<td class="n">{% if c.struck %}<s>{{ c.value }}</s> taken
back{% else %}{{ c.value }}{% endif %}</td>
<td class="n">{{ c.expanded }}</td>
<td class="n">{{ c.samples }}</td></tr>
{% endmatch %}{% endfor %}</tbody>
</table>
</div>
{% if !raw.is_empty() %}<details>
<summary>Readings as the meter sent them</summary>
<table>
<thead><tr><th scope="col" class="n">No.</th><th scope="col">As received</th></tr></thead>
<tbody>
{% for (capture, text) in raw %}<tr><td class="n">{{ capture }}</td>
<td><code>{{ text }}</code></td></tr>
{% endfor %}</tbody>
</table>
</details>
{% endif %}</section>
"#
)]
struct Measured {
    anchor: String,
    of: String,
    rows: Vec<Row>,
    raw: Vec<(u32, String)>,
}

enum Row {
    Note { time: String, text: String },
    Capture(CaptureRow),
}

struct CaptureRow {
    time: String,
    capture: u32,
    touch: u32,
    red: String,
    black: String,
    drive: String,
    function: String,
    value: String,
    expanded: String,
    samples: u32,
    struck: bool,
}

/// Of the identification.
pub(super) fn render(report: &Report) -> String {
    section(report, "measured".into(), String::new())
}

/// Of every other task in which something was captured.
pub(super) fn others(report: &Report) -> String {
    let captured = report.others.iter().filter(|other| other.report.counts.captures > 0);
    let numbered = (1..).zip(captured);
    numbered
        .map(|(n, other)| {
            let of = format!(": {}", words::task(other.command));
            section(&other.report, format!("measured-{n}"), of)
        })
        .collect()
}

fn section(report: &Report, anchor: String, of: String) -> String {
    let raw = |c: &Captured| {
        let text = c.capture.raw.iter().map(|r| words::text(r)).collect::<Vec<_>>().join(" | ");
        (c.capture.capture, text)
    };
    written(&Measured {
        anchor,
        of,
        rows: report.steps.iter().filter_map(|step| row(report, step)).collect(),
        raw: report.captures().filter(|c| !c.capture.raw.is_empty()).map(raw).collect(),
    })
}

fn row(report: &Report, step: &Step) -> Option<Row> {
    let time = step.at.time_of_day();
    let text = match &step.what {
        What::Capture(captured) => return Some(Row::Capture(capture_row(time, captured))),
        What::Touch { captures: 1.., .. } => return None,
        What::Touch { touch, red, black, .. } => format!(
            "Leads placed, touch {touch}: red on {}, black on {}. No capture was made of it.",
            words::text(red),
            words::text(black)
        ),
        What::Began { run, resumed, torn_bytes } => {
            let verb = if *resumed { "resumes the job" } else { "begins" };
            let torn = match torn_bytes {
                0 => String::new(),
                bytes => format!(
                    " The record's last line was torn ({bytes} bytes) and has been set aside."
                ),
            };
            let (when, offset) = (step.at.date_and_time(), step.at.offset_name());
            format!("Run {run} {verb}: {when} {offset}.{torn}")
        }
        What::Meter(meter) => format!("The meter answers: {}.", words::identity(meter)),
        What::Caution { caution, .. } => {
            format!("Caution acknowledged: {}.", words::caution(*caution))
        }
        What::Alarm { state: AlarmState::On } => "The equipment was brought into alarm.".into(),
        What::Alarm { state: AlarmState::Off } => "The equipment was taken out of alarm.".into(),
        What::Dial { function } => format!("Dial turned to {function}."),
        What::Drive { drive: DriveState::Rest } => "Drive taken off.".into(),
        What::Drive { drive } => format!("Drive applied: {}.", words::drive(drive)),
        What::TakenBack { capture } => {
            format!("Capture {capture} taken back by the operator; it is kept here, and not used.")
        }
        What::Skipped { asked } => format!("Skipped by the operator: {}.", skipped(asked)),
        What::Remark { text } => format!("The operator's reason: {}", words::clause(text)),
        What::Link { news } => link(news),
        What::Complaint { text } => {
            format!("No reading was made of this: {}", words::clause(text))
        }
        What::Result if report.found.is_none() => "Result reached: see its chapter.".into(),
        What::Result => format!("Result: {}.", words::verdict(report)),
        What::Ended(end) => {
            let why = end.reason.as_deref().map(|r| format!(" {}", words::sentence(r)));
            format!("The run ends, exit code {}.{}", end.exit, why.unwrap_or_default())
        }
    };
    Some(Row::Note { time, text })
}

fn capture_row(time: String, captured: &Captured) -> CaptureRow {
    let c = &captured.capture;
    let shown = c.value.filter(|_| !c.overload).map(|v| number::quantity(v, c.u, c.unit));
    let expanded = shown.and_then(|s| s.expanded.map(|u| format!("{u}\u{a0}{}", s.unit)));
    CaptureRow {
        time,
        capture: c.capture,
        touch: c.touch,
        red: words::pin(&c.red),
        black: words::pin(&c.black),
        drive: words::short_drive(&c.drive),
        function: c.function.to_string(),
        value: words::value(captured),
        expanded: expanded.unwrap_or_default(),
        samples: c.samples,
        struck: captured.taken_back,
    }
}

fn skipped(ask: &Ask) -> String {
    match ask {
        Ask::Place { red, black, function, .. } => {
            format!("red on {}, black on {}, {function}", words::pin(red), words::pin(black))
        }
        Ask::Drive(DriveState::Rest) => "taking the drive off".into(),
        Ask::Drive(drive) => format!("driving with {}", words::drive(drive)),
        Ask::Clip { plus, minus } => {
            format!("clipping the supply to {} and {}", words::pin(plus), words::pin(minus))
        }
        Ask::Alarm { state: AlarmState::On } => "bringing the equipment into alarm".into(),
        Ask::Alarm { state: AlarmState::Off } => "taking the equipment out of alarm".into(),
        Ask::Dial { function } => format!("turning the dial to {function}"),
        Ask::Serial { .. } => "the next serial number".into(),
        Ask::Label { label, .. } => format!("naming: {}", label.title()),
        Ask::Step { step, .. } => format!("the step: {}", step.title()),
        Ask::Point { text } => words::clause(text),
        Ask::Acknowledge { caution, .. } => format!("caution {}", words::caution(*caution)),
    }
}

fn link(news: &LinkNews) -> String {
    match news {
        LinkNews::Lost { text } => format!("Link to the meter lost: {}", words::clause(text)),
        LinkNews::Restored { gap_s } => format!(
            "Link to the meter back after {}; the same meter answers.",
            number::span(*gap_s)
        ),
        LinkNews::OtherMeterAccepted { identity } => {
            format!("Another meter accepted by the operator: {}", words::clause(identity))
        }
    }
}
