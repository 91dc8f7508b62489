//! Hostile text in every place where fingers, files and instruments can put some: labels, the
//! meter's identification, complaints, reasons. In HTML it must stay text (every tag is one that
//! the templates write), in CSV no cell may be a formula, on the terminal nothing may steer it.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod report_jobs;

use coilmark::event::{
    Ask, Event, Fault, FaultCode, JobLabel, JobStart, JobStep, LinkNews, RunStart, RunTerms,
};
use coilmark::report::{Report, render_csv, render_html, render_summary, render_verdicts};
use report_jobs::{Job, candidate, changeover, coil, identified, pin, report, start};
use std::collections::BTreeSet;

const SCRIPT: &str = "\"><script>alert('x')</script><img src=x onerror=alert(1)>";
const STEERING: &str = "\u{1b}[2J\u{1b}]0;title\u{7}\r\n\u{202e}drawkcab\u{2066}\u{200b}";

fn hostile() -> Report {
    let nasty = format!("{SCRIPT}{STEERING}");
    let pins = "<b>\"'&,=1+1,@x,\u{202e}ab,</svg>";
    let mut run = start(pins, Some(&nasty));
    for field in [&mut run.meter, &mut run.profile, &mut run.version] {
        field.clone_from(&nasty);
    }
    let mut job = Job::begin(run);
    job.meter(&nasty, false);
    job.event(Event::MeterComplained { text: nasty.clone() });
    job.event(Event::LinkChanged(LinkNews::Lost { text: nasty.clone() }));
    job.event(Event::LinkChanged(LinkNews::OtherMeterAccepted { identity: nasty.clone() }));
    job.event(Event::CautionAcknowledged {
        caution: coilmark::event::Caution::CoilDrive,
        text: nasty.clone(),
    });
    job.touch("<b>\"'&", "=1+1").ohms(Some(91.0)).touch("@x", "\u{202e}ab").ohms(Some(0.1));
    let steps = [(9.0, 0.89, nasty.as_str())];
    let mut ladder = report_jobs::ladder("<b>\"'&", "=1+1", 91.0, &[(9.0, 0.5)], &steps);
    for text in [&mut ladder.order, &mut ladder.end] {
        text.clone_from(&nasty);
    }
    job.event(Event::LadderPlanned(ladder));
    job.drive("<b>\"'&", "=1+1", 9.0).ohms(None);
    let family = nasty.as_str();
    job.believe(&[candidate(0.9, family, ["<b>\"'&", "=1+1"], &["@x,\u{202e}ab,</svg>"])], 0.3);
    let mut found = identified(
        family,
        vec![coil("<b>\"'&", "=1+1", 91.0, Some(true))],
        vec![changeover("@x,\u{202e}ab,</svg>")],
    );
    found.faults = vec![Fault {
        code: FaultCode::WeldedContact,
        pins: vec![pin(&nasty)],
        text: nasty.clone(),
    }];
    found.marks.insert("@x".into(), nasty.clone());
    job.result(found).finish(3, Some(&nasty));
    talk(&mut job, &nasty);
    report(&job)
}

/// A talk of a whole job in which everything that can be typed is hostile.
fn talk(job: &mut Job, nasty: &str) {
    let step = JobStep::Board;
    let words = [(JobStep::Relay, vec![nasty.to_owned()])].into();
    job.event(Event::RunStarted(RunStart {
        terms: RunTerms::Job(JobStart { step, words }),
        ..start("a,b", None)
    }));
    for label in JobLabel::AT_SITE {
        job.event(Event::LabelStated { label, text: nasty.to_owned() });
    }
    job.event(Event::PointLookedAt { text: nasty.to_owned(), as_designed: false });
    job.event(Event::OperatorRemarked { text: nasty.to_owned() });
    job.event(Event::AskSkipped { ask: Ask::Step { step, text: nasty.to_owned() } });
    job.event(Event::OperatorRemarked { text: nasty.to_owned() });
    job.event(Event::RunFinished { exit: 4, reason: Some(nasty.to_owned()), job: "j".into() });
}

fn steers(c: char) -> bool {
    (c.is_control() && c != '\n')
        || matches!(c, '\u{200b}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[test]
fn hostile_text_stays_text_in_html() {
    let html = render_html(&hostile());
    let body = &html[html.find("</style>").unwrap()..];
    let tags: BTreeSet<&str> = body
        .split('<')
        .skip(1)
        .map(|rest| rest.trim_start_matches('/').split([' ', '>', '\n']).next().unwrap())
        .collect();
    let known = [
        "a",
        "body",
        "caption",
        "circle",
        "code",
        "dd",
        "details",
        "div",
        "desc",
        "dl",
        "dt",
        "figcaption",
        "figure",
        "footer",
        "g",
        "h1",
        "h2",
        "h3",
        "head",
        "header",
        "html",
        "li",
        "main",
        "nav",
        "p",
        "path",
        "rect",
        "s",
        "section",
        "span",
        "strong",
        "style",
        "summary",
        "svg",
        "table",
        "tbody",
        "td",
        "text",
        "th",
        "thead",
        "title",
        "tr",
        "ul",
    ];
    let strange: Vec<_> = tags.iter().filter(|tag| !known.contains(tag)).collect();
    assert!(strange.is_empty(), "{strange:?}");
    for tag in html.split('<').skip(1).map(|rest| &rest[..rest.find('>').unwrap_or(rest.len())]) {
        // Outside of quotes, a tag has names and equals signs only.
        let bare: String = tag.split('"').step_by(2).collect();
        assert!(!bare.contains("onerror") && !bare.contains("src"), "{tag}");
    }
    let links: Vec<&str> = body.split("<a ").skip(1).collect();
    let inside = links.iter().filter(|link| link.starts_with("href=\"#"));
    assert_eq!(inside.count(), links.len(), "a link leads nowhere but into the page");
    assert!(!links.is_empty() && !html.contains(steers));
    assert!(html.contains("&#60;script&#62;") || html.contains("&lt;script&gt;"));
    assert!(html.contains("\\u{202e}drawkcab"), "what steers is spelled out");
}

#[test]
fn no_cell_is_a_formula() {
    let csv = render_csv(&hostile());
    assert!(!csv.contains(|c| steers(c) && c != '\r'));
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 3);
    for cell in rows.iter().flatten() {
        let formula = cell.starts_with(['=', '+', '-', '@', '\t']);
        assert!(!formula || cell.parse::<f64>().is_ok(), "{cell}");
    }
    assert!(rows.iter().flatten().any(|cell| cell == "'=1+1"));
}

#[test]
fn nothing_steers_the_terminal() {
    let text = render_summary(&hostile());
    assert!(!text.contains(steers), "{text:?}");
    assert!(text.lines().count() <= 20);
}

#[test]
fn nothing_from_outside_is_markup_in_the_verdicts() {
    let xml = render_verdicts(&hostile());
    let (tags, texts) = (xml.matches('<').count(), xml.matches("&#60;").count());
    assert!(texts > 0, "the hostile text is not there: {xml}");
    assert!(!xml.contains("<script") && !xml.contains(SCRIPT), "{xml}");
    assert!(!xml.contains(|c: char| c.is_control() && c != '\n'), "{xml:?}");
    let plain = render_verdicts(&report(&Job::begin(start("4", None))));
    assert!(tags >= plain.matches('<').count());
    assert_eq!(tags, xml.matches('>').count(), "a tag that does not end: {xml}");
}
