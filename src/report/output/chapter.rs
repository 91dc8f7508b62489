//! The chapter of an output in a job's report: from the entries of its task alone, the same chart,
//! figures and table of alarms as on the page of an analysed log, what was measured at rest, and
//! by what the readings' file can be known again. A task without a result says how far it came.
//! The log itself is never read here: the record holds a picture of it.

use super::{chart, words};
use crate::event::{
    Capture, Event, Finding, LinkNews, LogNews, LogPicture, OutputFinding, OutputStart, RunTerms,
    Shape, visible,
};
use crate::journal::Task;
use crate::report::html::written;
use crate::report::{Chapter, Standing};
use askama::Template;
use serde::Serialize;
use serde_json::{Value, json};

const WINDOWS_MAX: usize = 50;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"{% if !chart.is_empty() %}<figure>
{{ chart|safe }}<figcaption>Solid: lowest to highest reading of each column, no peak left out.
Grey bar with a dotted line: lowest, median and highest while on. Dashed: edges; the bar above
them: the window. Light band between dotted lines: the nominal class (common practice, no source).
</figcaption>
</figure>
{% endif %}<dl class="facts">
{% for (term, text) in facts %}<dt>{{ term }}</dt><dd>{{ text }}</dd>
{% endfor %}</dl>
{% if !warnings.is_empty() %}<h3>To be known</h3>
<ul>
{% for warning in warnings %}<li>{{ warning }}</li>
{% endfor %}</ul>
{% endif %}{% if !windows.is_empty() %}<h3>Alarms</h3>
<table>
<thead><tr><th scope="col">On</th><th scope="col">Off</th><th scope="col">Window</th>
<th scope="col">Level</th><th scope="col">Shape</th></tr></thead>
<tbody>
{% for row in windows %}<tr>{% for cell in row %}<td>{{ cell }}</td>{% endfor %}</tr>
{% endfor %}</tbody>
</table>
{% endif %}{% if !cautions.is_empty() %}<h3>Cautions acknowledged</h3>
<ul>
{% for caution in cautions %}<li>{{ caution }}</li>
{% endfor %}</ul>
{% endif %}"#
)]
struct Body {
    chart: String,
    facts: Vec<(&'static str, String)>,
    warnings: Vec<String>,
    windows: Vec<[String; 5]>,
    cautions: Vec<String>,
}

/// What the entries say, gathered.
#[derive(Default)]
struct Told<'a> {
    start: Option<OutputStart>,
    meters: Vec<String>,
    rest: Option<&'a Capture>,
    logs: Vec<LogFacts<'a>>,
    picture: Option<&'a LogPicture>,
    finding: Option<&'a OutputFinding>,
    breaks: Vec<String>,
    complaints: usize,
    cautions: Vec<String>,
    ended: Option<String>,
}

/// A log's file, as it was left.
#[derive(Serialize)]
struct LogFacts<'a> {
    file: &'a str,
    rows: Option<u64>,
    sha256: Option<&'a str>,
}

/// The chapter.
#[must_use]
pub fn chapter(task: &Task<'_>) -> Chapter {
    let told = told(task);
    let (standing, headline) = match told.finding {
        // Nobody is to read `passed` beside an output that did nothing.
        Some(finding) if finding.shape == Shape::None => {
            (Standing::Undecided, words::headline(finding))
        }
        Some(finding) => (Standing::Passed, words::headline(finding)),
        None => {
            let how = told.ended.as_deref().unwrap_or("it broke off");
            (Standing::Unfinished, format!("No result: {how}"))
        }
    };
    let body = Body {
        chart: drawn(&told),
        facts: facts(&told),
        warnings: told.finding.map(words::warnings).unwrap_or_default(),
        windows: told
            .finding
            .map(|f| f.windows.iter().take(WINDOWS_MAX).map(words::window_row).collect())
            .unwrap_or_default(),
        cautions: told.cautions.clone(),
    };
    Chapter {
        command: "output",
        title: "What the output does".into(),
        standing,
        headline,
        checks: Vec::new(),
        markup: written(&body),
        value: value(&told),
    }
}

fn told<'a>(task: &Task<'a>) -> Told<'a> {
    let mut told = Told::default();
    for entry in &task.entries {
        match &entry.event {
            Event::RunStarted(start) => {
                if let RunTerms::Output(terms) = &start.terms {
                    told.start = Some(*terms);
                }
                if start.resumed {
                    told.breaks.push(format!("gone on with at {}", entry.at.date_and_time()));
                }
            }
            Event::MeterIdentified(meter) => told.meters.push(meter.identity.clone()),
            Event::CautionAcknowledged { text, .. } => told.cautions.push(text.clone()),
            Event::ReadingCaptured(capture) => told.rest = Some(capture),
            Event::LinkChanged(LinkNews::Lost { text }) => {
                told.breaks.push(format!("the link was lost: {}", visible(text)));
            }
            Event::LinkChanged(LinkNews::Restored { gap_s }) => {
                told.breaks.push(format!("the meter was back after {gap_s:.1} s"));
            }
            Event::MeterComplained { .. } => told.complaints += 1,
            Event::Logged(news) => log_told(&mut told, news),
            Event::ResultReached(Finding::Output(finding)) => told.finding = Some(finding),
            Event::RunFinished { reason, .. } => told.ended.clone_from(reason),
            _ => {}
        }
    }
    told
}

fn log_told<'a>(told: &mut Told<'a>, news: &'a LogNews) {
    match news {
        LogNews::Opened { file, .. } if told.logs.last().is_none_or(|log| log.file != file) => {
            told.logs.push(LogFacts { file, rows: None, sha256: None });
        }
        LogNews::Closed { file, rows, sha256, .. } => {
            if let Some(log) = told.logs.iter_mut().find(|log| log.file == file) {
                (log.rows, log.sha256) = (Some(*rows), Some(sha256.as_str()));
            }
        }
        LogNews::Drawn(picture) => told.picture = Some(picture),
        _ => {}
    }
}

fn drawn(told: &Told<'_>) -> String {
    let (Some(picture), Some(finding)) = (told.picture, told.finding) else {
        return String::new();
    };
    let class = picture.class_volts.map(|[nominal, low, high]| (nominal, low, high));
    chart::render(finding, &picture.trace(), class)
}

fn facts(told: &Told<'_>) -> Vec<(&'static str, String)> {
    let mut facts = told.finding.map(words::facts).unwrap_or_default();
    if let Some(rest) = told.rest {
        let level = rest.value.map_or("overload".into(), words::volts);
        let u = rest.u.map(|u| format!(", standard uncertainty {}", words::volts(round(u))));
        let text = format!("{level}{} ({} readings)", u.unwrap_or_default(), rest.samples);
        facts.push(("Measured before the alarm", text));
    }
    if let Some(start) = told.start {
        let nominal = start.nominal_volts.map(|v| format!("nominal {v} V; ")).unwrap_or_default();
        let text = format!(
            "{nominal}the log ends {} s after the drop, or {} s after the alarm",
            start.guard_s, start.for_s
        );
        facts.push(("Asked for", text));
    }
    for log in &told.logs {
        let text = match (log.rows, log.sha256) {
            (Some(rows), Some(sha256)) => format!("{}: {rows} rows, SHA-256 {sha256}", log.file),
            _ => format!("{}: not closed", log.file),
        };
        facts.push(("Log", visible(&text)));
    }
    facts.extend(told.breaks.iter().map(|text| ("Break", text.clone())));
    if told.complaints > 0 {
        facts.push(("Complaints", format!("{} faults of meter or link", told.complaints)));
    }
    let meters: Vec<String> = told.meters.iter().map(|name| visible(name)).collect();
    facts.push(("Meter", if meters.is_empty() { "none".into() } else { meters.join("; ") }));
    facts
}

fn value(told: &Told<'_>) -> Value {
    let result = told.finding.map(|finding| {
        let finding = Finding::Output(Box::new(finding.clone()));
        serde_json::to_value(finding).unwrap_or_default()
    });
    json!({
        "asked": told.start,
        "rest": told.rest,
        "logs": told.logs,
        "breaks": told.breaks,
        "complaints": told.complaints,
        "ended": told.ended,
        "result": result,
    })
}

fn round(x: f64) -> f64 {
    (x * 1e4).round() / 1e4
}
