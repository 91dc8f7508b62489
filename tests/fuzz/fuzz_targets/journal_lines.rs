//! Whatever may stand in a job's journal. The bytes as they are: whole, torn, or damaged at a line
//! that is there. And the same lines as entries of a journal whose chain somebody made anew: each
//! report and each fold of them comes to an end, and no page carries what a browser would run.

#![no_main]

use coilmark::journal::{self, Entry, JobState};
use coilmark::report::{
    Report, render_csv, render_html, render_json, render_summary, render_verdicts,
};
use libfuzzer_sys::fuzz_target;
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let lines = bytes.split(|byte| *byte == b'\n').count();
    match journal::parse(bytes, Path::new("journal.jsonl")) {
        Ok(past) => assert!(past.entries.len() <= lines),
        Err(error) => {
            let message = error.to_string();
            assert!(!message.contains(|c: char| c.is_control() && c != '\n'), "{message:?}");
        }
    }
    let entries = bytes.split(|byte| *byte == b'\n').filter_map(|line| entry(line));
    let entries: Vec<Entry> = (1..).zip(entries).map(|(seq, e)| Entry { seq, ..e }).collect();
    if entries.is_empty() {
        return;
    }
    let _ = journal::tasks(&entries);
    let _ = JobState::of(&entries);
    let report = Report::from_entries(&entries);
    let page = render_html(&report);
    assert!(!page.contains("<script"), "{page}");
    let _: serde_json::Value = serde_json::from_str(&render_json(&report)).unwrap();
    let _ = (render_csv(&report), render_summary(&report), render_verdicts(&report));
});

fn entry(line: &[u8]) -> Option<Entry> {
    serde_json::from_slice(line).ok()
}
