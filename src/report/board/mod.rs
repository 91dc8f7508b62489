//! The chapter of relay boards: every board that a task tested, the newest finding of each serial
//! number first in line, how the values of each check lie to their limits, and for each board a
//! page of its own with its budgets. The same findings give `labels.txt`. All from the journal's
//! results alone; nothing is judged again here.

mod histogram;
mod label;
mod page;

pub(super) use label::render as labels;

use super::chapter::{Chapter, Check, Standing};
use crate::event::{BoardFinding, CheckFound, Event, Finding, Verdict};
use crate::journal::{LocalTime, Task};

/// One finding of a board.
struct Tested<'a> {
    at: LocalTime,
    finding: &'a BoardFinding,
    /// Whether this serial number was tested again after it.
    superseded: bool,
}

/// What a task of board tests amounts to.
pub(super) fn chapter(task: &Task<'_>) -> Chapter {
    let mut tested: Vec<Tested<'_>> = Vec::new();
    for entry in task.entries.iter().copied() {
        if let Event::ResultReached(Finding::Board(finding)) = &entry.event {
            for earlier in tested.iter_mut().filter(|t| t.finding.serial == finding.serial) {
                earlier.superseded = true;
            }
            tested.push(Tested { at: entry.at, finding, superseded: false });
        }
    }
    let newest = || tested.iter().filter(|t| !t.superseded).map(|t| t.finding);
    let all = newest().count();
    let passed = newest().filter(|f| f.result == Verdict::Pass).count();
    let result = Verdict::of_all(newest().map(|f| f.result));
    let value = serde_json::json!({
        "boards": all,
        "passed": passed,
        "findings": tested.iter().map(|t| t.finding).collect::<Vec<_>>(),
        "superseded": tested.iter().map(|t| t.superseded).collect::<Vec<_>>(),
        "tested_at": tested.iter().map(|t| String::from(t.at)).collect::<Vec<_>>(),
    });
    Chapter {
        command: "board",
        title: "Relay boards against their plan".into(),
        standing: if all == 0 { Standing::Unfinished } else { result.into() },
        headline: headline(&newest().collect::<Vec<_>>()),
        markup: page::render(task, &tested),
        value,
        checks: newest().flat_map(checks).collect(),
    }
}

fn headline(newest: &[&BoardFinding]) -> String {
    let counted = |verdict| newest.iter().filter(|f| f.result == verdict).count();
    match newest {
        [] => "No board was tested to its end.".into(),
        // The reason begins with the verdict.
        [only] => format!("Board {} {}.", only.serial, only.reason.as_deref().unwrap_or("passed")),
        all => {
            let words = [(Verdict::Fail, "failed"), (Verdict::Undecided, "undecided")];
            let others = words.map(|(verdict, word)| (counted(verdict), word));
            let others = others.iter().filter(|(count, _)| *count > 0);
            let others: String = others.map(|(count, word)| format!(", {count} {word}")).collect();
            format!("{} of {} boards passed{others}.", counted(Verdict::Pass), all.len())
        }
    }
}

fn checks(finding: &BoardFinding) -> impl Iterator<Item = Check> {
    finding.checks.iter().map(|check| Check {
        name: format!("{}: {}", finding.serial, check.check),
        standing: check.verdict.into(),
        text: format!("{}; {}", page::measured(check), page::limits(check)),
    })
}

/// The check of this name in a finding.
fn check<'a>(finding: &'a BoardFinding, name: &str) -> Option<&'a CheckFound> {
    finding.checks.iter().find(|check| check.check == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(serial: &str, result: Verdict, reason: Option<&str>) -> BoardFinding {
        BoardFinding {
            result,
            reason: reason.map(Into::into),
            simulated: true,
            serial: serial.into(),
            repeats: 0,
            plan: "p".into(),
            revision: "1".into(),
            rule: "r".into(),
            coverage: 0.95,
            checks: vec![],
            remarks: vec![],
            placements: 1,
            lead_moves: 2,
            drive_changes: 0,
        }
    }

    #[test]
    fn a_headline_says_every_verdict_once() {
        let pass = found("A1", Verdict::Pass, None);
        let fail = found("A2", Verdict::Fail, Some("failed: rest COM-NC"));
        let open = found("A3", Verdict::Undecided, Some("undecided: contact ohms COM-NC"));
        assert_eq!(headline(&[]), "No board was tested to its end.");
        assert_eq!(headline(&[&pass]), "Board A1 passed.");
        assert_eq!(headline(&[&fail]), "Board A2 failed: rest COM-NC.");
        assert_eq!(headline(&[&pass, &pass]), "2 of 2 boards passed.");
        let all = headline(&[&pass, &fail, &open, &open]);
        assert_eq!(all, "1 of 4 boards passed, 1 failed, 2 undecided.");
    }
}
