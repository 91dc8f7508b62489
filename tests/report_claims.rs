//! What a report promises, whatever the job: it says all that happened and nothing else, the
//! same way each time; it keeps what was taken back; it says SIMULATED wherever that is so; its
//! JSON fits its schema and carries the contract's result; and no text can end a run of it.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod report_jobs;

use coilmark::event::{
    Ask, Caution, DriveState, Event, Finding, LinkNews, MeterIdentity, Pin, Placement, VERSION,
};
use coilmark::journal::{Entry, LocalTime};
use coilmark::report::{
    Report, render_csv, render_html, render_json, render_summary, render_verdicts, schema,
    write_all,
};
use drivers::Function;
use proptest::prelude::*;
use report_jobs::{Job, candidate, changeover, coil, identified, report, start};
use serde_json::{Value, json};
use std::fs;

fn one_changeover() -> Job {
    let mut job = Job::begin(start("5", Some("2-1-2")));
    job.meter("EXAMPLE,BENCH-6,0042,1.07", true).caution(Caution::DeadCircuit);
    job.touch("1", "2").ohms(Some(91.2));
    job.touch("3", "4").ohms(Some(0.17));
    job.drive("1", "2", 9.0).ohms(None).release().ohms(Some(0.18));
    job.believe(&[candidate(0.99, "1C", ["1", "2"], &["3,4,5"])], 0.1);
    job
}

fn finding() -> coilmark::event::IdentifyFinding {
    identified("1C", vec![coil("1", "2", 91.2, Some(false))], vec![changeover("3,4,5")])
}

/// A page without its line breaks.
fn page(report: &Report) -> String {
    let html = render_html(report);
    html.split([' ', '\n'])
        .filter(|w| !w.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
        .replace("> <", "><")
}

fn finished() -> Job {
    let mut job = one_changeover();
    job.result(finding()).finish(0, None);
    job
}

fn simulated() -> Job {
    let mut run = start("5", None);
    run.simulated = true;
    let mut job = Job::begin(run);
    job.touch("1", "2").ohms(Some(91.2));
    let mut found = finding();
    found.simulated = true;
    job.result(found).finish(0, None);
    job
}

#[test]
fn the_result_in_json_is_the_contract_s_result_note() {
    let json: Value = serde_json::from_str(&render_json(&report(&finished()))).unwrap();
    let mut expected = finding();
    (expected.placements, expected.lead_moves, expected.drive_changes) = (2, 4, 2);
    let mut expected = serde_json::to_value(Finding::Identify(Box::new(expected))).unwrap();
    expected["v"] = json!(VERSION);
    expected["note"] = json!("result");
    assert_eq!(json["result"], expected);
    assert_eq!(json["result"]["kind"], "identify");
    assert_eq!(json["result"]["latching"], false);
    assert_eq!(json["certificate"], false);
}

#[test]
fn the_totals_counted_from_the_journal_are_those_of_the_result() {
    let report = report(&finished());
    let found = &report.found.as_ref().unwrap().finding;
    let counted = (report.counts.placements, report.counts.lead_moves, report.counts.drive_changes);
    assert_eq!(counted, (found.placements, found.lead_moves, found.drive_changes));
    assert_eq!(report.counts.captures, 4);
}

#[test]
fn every_report_fits_its_published_schema() {
    let schema = serde_json::to_value(schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let empty = Report::from_entries(&[]);
    for report in [report(&finished()), report(&one_changeover()), report(&simulated()), empty] {
        let json: Value = serde_json::from_str(&render_json(&report)).unwrap();
        let errors: Vec<_> = validator.iter_errors(&json).map(|e| e.to_string()).collect();
        assert!(errors.is_empty(), "{errors:?}");
        for field in json.as_object().unwrap().keys() {
            let mut without = json.clone();
            without.as_object_mut().unwrap().remove(field);
            assert!(!validator.is_valid(&without), "without `{field}`");
        }
    }
}

#[test]
fn what_was_taken_back_is_kept_struck_through_and_proves_nothing() {
    let mut job = one_changeover();
    job.touch("3", "5").ohms(Some(7.77)).event(Event::CaptureTakenBack { capture: 5 });
    job.result(finding()).finish(0, None);
    let report = report(&job);
    let html = page(&report);
    assert!(html.contains("<s>7.77\u{a0}Ω</s> taken back"));
    assert!(html.contains("Capture 5 taken back by the operator"));
    let contacts =
        &html[html.find("id=\"contacts\"").unwrap()..html.find("id=\"limits\"").unwrap()];
    assert!(!contacts.contains("7.77"), "a capture that was taken back is no proof");
    assert!(contacts.contains("not seen"), "{contacts}");
    let csv = render_csv(&report);
    assert!(csv.contains("7.77") && csv.lines().nth(5).unwrap().contains(",3,1,0,3,"), "{csv}");
}

#[test]
fn a_contact_shows_rest_energised_and_rest_again() {
    let html = page(&report(&finished()));
    let row = "<th scope=\"row\">11-12</th><td>3 and 4</td><td>NC</td>\
               <td class=\"n\">0.17\u{a0}Ω</td><td class=\"n\">open</td>\
               <td class=\"n\">0.18\u{a0}Ω</td><td>measured</td>";
    assert!(html.contains(row));
    let unseen = "<th scope=\"row\">11-14</th><td>3 and 5</td><td>NO</td>\
                  <td class=\"n\">not seen</td><td class=\"n\">not seen</td>\
                  <td class=\"n\">not seen</td><td>claimed, not seen</td>";
    assert!(html.contains(unseen), "the finding's word alone is not a measurement");
}

#[test]
fn simulated_is_said_everywhere_and_only_where_so() {
    let said = |report: &Report| {
        let html = render_html(report);
        [
            html.contains("<title>SIMULATED"),
            html.contains("<p class=\"simulated\""),
            html.contains("@top-center { content: \"SIMULATED"),
            render_json(report).contains("\"simulated\": true"),
            render_csv(report).lines().nth(1).unwrap().contains(",0,1,3,"),
            render_summary(report).starts_with("SIMULATED"),
        ]
    };
    assert_eq!(said(&report(&simulated())), [true; 6]);
    assert_eq!(said(&report(&finished())), [false; 6]);
}

#[test]
fn a_job_that_broke_off_says_so_and_names_nothing() {
    let mut job = one_changeover();
    let html = render_html(&report(&job));
    assert!(html.contains("<h1>Not finished</h1>"));
    assert!(html.contains("the record breaks off"));
    assert!(html.contains("broke off") && html.contains("Last entry"));
    assert!(html.contains("What it could be") && html.contains("common 3, NC 4, NO 5"));
    assert!(!html.contains("id=\"contacts\"") && !html.contains(">11<"));
    job.finish(4, Some("aborted by the operator"));
    let html = render_html(&report(&job));
    assert!(html.contains("Aborted by the operator."));
    assert!(render_summary(&report(&job)).starts_with("Not finished\nAborted by the operator.\n"));
}

#[test]
fn the_page_fetches_nothing_and_runs_nothing() {
    let html = render_html(&report(&finished()));
    let policy = "content=\"default-src 'none'; style-src 'unsafe-inline'\"";
    assert!(html.contains(policy));
    let drawn = html.replace("http://www.w3.org/2000/svg", "");
    for forbidden in [
        "<script", "<img", "<link", "<iframe", "src=", "href=", "url(", "@import", "http:",
        "https:", "style=\"",
    ] {
        assert!(!drawn.contains(forbidden), "{forbidden}");
    }
    assert_eq!(html.matches("not a certificate: it").count(), 1, "said once, plainly");
}

#[test]
fn tables_and_drawings_can_be_read_out() {
    let html = render_html(&report(&finished()));
    for table in html.split("<table>").skip(1) {
        let head = &table[..table.find("</thead>").unwrap()];
        assert_eq!(head.matches("<th ").count(), head.matches("scope=\"col\"").count());
    }
    for svg in html.split("<svg").skip(1) {
        let tag = &svg[..svg.find('>').unwrap()];
        assert!(tag.contains("role=\"img\"") && tag.contains("aria-label=\""), "{tag}");
    }
    for job in [finished(), report_jobs::pickup(), report_jobs::fit()] {
        let html = render_html(&report(&job));
        assert!(html.contains("<svg"));
        for svg in html.split("<svg").skip(1) {
            let inside = svg.split_once('>').unwrap().1.trim_start();
            let (title, rest) = inside.split_once("</title>").unwrap_or_default();
            let said =
                rest.trim_start().strip_prefix("<desc>").and_then(|r| r.split_once("</desc>"));
            assert!(title.strip_prefix("<title>").is_some_and(|title| !title.is_empty()), "{svg}");
            assert!(said.is_some_and(|(said, _)| !said.is_empty()), "{svg}");
        }
    }
    assert!(html.contains("pin 3 is 11, pin 4 is 12"));
    for landmark in ["<header>", "<main>", "<footer>", "lang=\"en\""] {
        assert!(html.contains(landmark), "{landmark}");
    }
}

#[test]
fn the_summary_fits_a_screen_even_for_the_largest_part() {
    let mut job = Job::begin(start("16", Some("8+8")));
    let poles = ["3,4,5", "6,7,8", "9,10,11", "12,13,14"].map(changeover);
    let mut found = identified("4C", vec![coil("1", "2", 91.2, None)], poles.to_vec());
    found.faults = vec![
        coilmark::event::Fault {
            code: coilmark::event::FaultCode::HighContactOhms,
            pins: vec![Pin::new("3")],
            text: "a long story ".repeat(20),
        };
        6
    ];
    job.result(found).finish(1, None);
    let text = render_summary(&report(&job));
    assert_eq!(text.lines().count(), 20);
    assert!(text.lines().all(|line| line.chars().count() <= 100));
    assert!(text.contains("... more in the report\n"));
    assert!(text.ends_with("A record of measurements, not a certificate.\n"));
}

#[test]
fn files_are_replaced_whole_and_links_are_not_followed() {
    let dir = tempfile::tempdir().unwrap();
    let precious = dir.path().join("precious");
    fs::write(&precious, "precious").unwrap();
    std::os::unix::fs::symlink(&precious, dir.path().join("report.html")).unwrap();
    fs::write(dir.path().join("report.json"), "old").unwrap();
    let report = report(&finished());
    let paths = write_all(dir.path(), &report).unwrap();
    let texts =
        [render_html(&report), render_json(&report), render_csv(&report), render_verdicts(&report)];
    for (path, text) in paths.iter().zip(texts) {
        assert_eq!(fs::read_to_string(path).unwrap(), text);
    }
    assert_eq!(fs::read(&precious).unwrap(), b"precious");
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 5, "no temporary file stays");
    let error = write_all(&dir.path().join("nowhere"), &report).unwrap_err();
    assert!(error.to_string().contains("report.html") && !error.hint().is_empty());
}

#[test]
fn csv_has_one_row_per_capture_and_no_mixed_units() {
    let mut job = one_changeover();
    job.touch("2", "1").diode(Some(0.55));
    let csv = render_csv(&report(&job));
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let headers = reader.headers().unwrap().clone();
    let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
    let cell = |row: usize, name: &str| {
        let column = headers.iter().position(|h| h == name).unwrap();
        rows[row].get(column).unwrap().to_owned()
    };
    assert_eq!(rows.len(), 5);
    assert_eq!([cell(0, "value_ohms"), cell(0, "value_volts")], ["91.2", ""]);
    assert_eq!([cell(4, "value_ohms"), cell(4, "value_volts")], ["", "0.55"]);
    assert_eq!([cell(2, "overload"), cell(2, "value_ohms")], ["1", ""]);
    assert_eq!(
        [cell(2, "drive"), cell(2, "drive_plus"), cell(2, "drive_volts")],
        ["energised", "1", "9"]
    );
    assert_eq!(cell(0, "at"), "2026-11-25T09:00:07.920+13:00");
    assert_eq!(csv.matches("\r\n").count(), csv.matches('\n').count());
}

/// Any event, out of order and with any text and number.
fn any_event() -> impl Strategy<Value = Event> {
    let text = "\\PC{0,12}|[<>&\"'\u{1b}\u{202e}=+@-]{1,6}";
    let number = any::<f64>().prop_filter("the journal has none", |x| x.is_finite());
    (0_u8..14, text, 0_u32..9, number).prop_map(|(kind, text, n, x)| {
        let pin = |i: u32| Pin::new(if i.is_multiple_of(2) { text.clone() } else { i.to_string() });
        let drive = DriveState::Energised { plus: pin(n), minus: pin(n + 1), volts: x };
        match kind {
            0 => Event::RunStarted(start("8", Some(&text))),
            1 => Event::MeterIdentified(MeterIdentity {
                identity: text.clone(),
                link: text.clone(),
                profile: text,
                commanded: n > 4,
            }),
            2 => Event::CautionAcknowledged { caution: Caution::CoilDrive, text },
            3 => Event::LeadsPlaced(Placement {
                touch: n,
                red: pin(n),
                black: pin(n + 1),
                lead_moves: u32::MAX - n,
            }),
            4 => Event::DriveChanged(drive),
            5 | 6 => Event::ReadingCaptured(coilmark::event::Capture {
                capture: n,
                touch: n,
                red: pin(n),
                black: pin(n + 1),
                function: Function::ALL[n as usize % 6],
                drive,
                value: (n > 2).then_some(x),
                unit: Function::ALL[n as usize % 6].unit(),
                overload: n == 3,
                u: (n > 3).then_some(x),
                spread: Some(x),
                samples: n,
                raw: vec![text; 2],
            }),
            7 => Event::CaptureTakenBack { capture: n },
            8 => Event::AskSkipped { ask: Ask::Drive(drive) },
            9 => Event::BeliefUpdated(coilmark::event::BeliefSummary {
                candidates: vec![candidate(x, &text, ["1", "2"], &["3,4,5", "9,9,9"])],
                entropy_bits: x,
                placements_left: None,
            }),
            10 => Event::LinkChanged(LinkNews::Restored { gap_s: x }),
            11 => Event::MeterComplained { text },
            12 => {
                let poles = vec![changeover("1,2,3=3"), changeover("3,,1"), changeover("77,1,")];
                let mut found = identified(&text, vec![coil("1", "1", x, None)], poles);
                found.posterior = x;
                found.marks.insert("1".into(), text);
                Event::ResultReached(Finding::Identify(Box::new(found)))
            }
            _ => Event::RunFinished { exit: 3, reason: Some(text.clone()), job: text },
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn no_journal_makes_a_report_panic_or_differ(
        events in prop::collection::vec(any_event(), 0..24),
    ) {
        let at = LocalTime::try_from("2026-11-25T09:00:00.000+13:00".to_owned()).unwrap();
        let entries: Vec<Entry> = (1..)
            .zip(events)
            .map(|(seq, event)| Entry { seq, at, elapsed_s: 0.5, event })
            .collect();
        let report = Report::from_entries(&entries);
        let html = render_html(&report);
        prop_assert_eq!(&html, &render_html(&Report::from_entries(&entries)));
        let controls = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
        prop_assert!(!html.contains(controls));
        let json: Value = serde_json::from_str(&render_json(&report)).unwrap();
        prop_assert_eq!(json["journal_entries"].as_u64(), Some(entries.len() as u64));
        let captures = entries.iter().filter(|e| matches!(e.event, Event::ReadingCaptured(_)));
        let captures = captures.count();
        let others = json["others"].as_array().cloned().unwrap_or_default();
        let every = [&others[..], std::slice::from_ref(&json)].concat();
        let every = every.iter().map(|task| task["captures"].as_array().unwrap().len());
        prop_assert_eq!(every.sum::<usize>(), captures);
        let csv = render_csv(&report);
        prop_assert_eq!(csv::Reader::from_reader(csv.as_bytes()).records().count(), captures);
        let steps = entries.iter().filter(|e| !matches!(e.event, Event::BeliefUpdated(_))).count();
        let told = report.others.iter().map(|other| other.report.steps.len()).sum::<usize>();
        prop_assert_eq!(report.steps.len() + told, steps);
        let summary = render_summary(&report);
        prop_assert!(summary.lines().count() <= 20 && !summary.contains(controls));
    }
}
