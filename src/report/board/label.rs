//! `labels.txt`: for each board the few lines that fit on a label stuck to it, boards apart by an
//! empty line: serial number, verdict, plan, date, and that nothing here is a certificate. Boards
//! that were tested again have the newest only. Plain text; any label printer takes it.

use crate::event::visible;
use serde_json::Value;

/// The labels of a chapter of boards; `None` where it has none.
pub(in crate::report) fn render(chapter: &Value) -> Option<String> {
    let list = |key: &str| chapter[key].as_array().map_or(&[] as &[Value], Vec::as_slice);
    let rows = list("findings").iter().zip(list("superseded")).zip(list("tested_at"));
    let labels: Vec<String> = rows
        .filter(|((_, superseded), _)| **superseded == false)
        .map(|((finding, _), at)| label(finding, at.as_str().unwrap_or_default()))
        .collect();
    (!labels.is_empty()).then(|| labels.join("\n"))
}

fn label(finding: &Value, at: &str) -> String {
    let text = |key: &str| visible(finding[key].as_str().unwrap_or("?"));
    let simulated = if finding["simulated"] == true { "SIMULATED\n" } else { "" };
    let checks = finding["checks"].as_array().map_or(0, Vec::len);
    let date = at.split('T').next().unwrap_or_default();
    format!(
        "{simulated}{}\n{}  {date}\n{}, edition {}\n{checks} checks; a record, no certificate\n",
        text("serial"),
        text("result").to_uppercase(),
        text("plan"),
        text("revision"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_board_tested_again_has_one_label() {
        let finding = |result: &str| {
            serde_json::json!({ "serial": "A\u{1b}1", "result": result, "plan": "p",
                "revision": "2", "simulated": false, "checks": [{}, {}] })
        };
        let chapter = serde_json::json!({
            "findings": [finding("fail"), finding("pass")], "superseded": [true, false],
            "tested_at": ["2026-01-02T03:04:05+00:00", "2026-01-03T03:04:05+00:00"],
        });
        let labels = render(&chapter).unwrap();
        assert!(
            labels.starts_with("A\\u{1b}1\nPASS  2026-01-03\np, edition 2\n2 checks"),
            "{labels}"
        );
        assert!(!labels.contains("FAIL"));
        assert_eq!(render(&serde_json::json!({})), None);
    }
}
