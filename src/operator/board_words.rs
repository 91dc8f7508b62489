//! A board's test in words for a plain terminal: what was begun, the ask for the next board, and
//! the verdict with what did not pass, each value with its limits and expanded uncertainty. Text
//! comes as lines; showing them, and making what is from outside visible, is the caller's.

use crate::event::{BoardFinding, BoardStart, CheckFound, CheckSoFar, Verdict};

/// What a run of board tests says of itself at its beginning.
pub(super) fn started(start: &BoardStart) -> String {
    let plan = &start.plan;
    format!("plan {} (edition {}), {} steps", plan.name, plan.revision, plan.step.len())
}

/// The ask for the next board.
pub(super) fn next_board(seq: u64, last: Option<&str>) -> Vec<String> {
    let last = last.map(|last| format!("    last: {last}"));
    let ask = format!("[{seq}] NEXT BOARD: scan or type its serial number");
    let how = "    Enter alone where there is none (q stops)".to_owned();
    std::iter::once(ask).chain(last).chain([how]).collect()
}

/// A check as it stands, and how far the board is.
pub(super) fn so_far(news: &CheckSoFar) -> String {
    let CheckSoFar { check, verdict, done, of } = news;
    format!("      {verdict}: {check} ({done} of {of})")
}

/// The verdict.
pub(super) fn finding(finding: &BoardFinding) -> Vec<String> {
    let word = match finding.result {
        Verdict::Pass => "PASS",
        Verdict::Fail => "FAIL",
        Verdict::Undecided => "UNDECIDED",
    };
    let mut lines = vec![format!("{word}: board {}", finding.serial)];
    let counted = |verdict| finding.checks.iter().filter(|c| c.verdict == verdict).count();
    lines.push(format!(
        "  {} of {} checks passed, {} failed, {} undecided",
        counted(Verdict::Pass),
        finding.checks.len(),
        counted(Verdict::Fail),
        counted(Verdict::Undecided)
    ));
    let bad = finding.checks.iter().filter(|check| check.verdict != Verdict::Pass);
    lines.extend(bad.map(|check| format!("  {}: {} {}", check.verdict, check.check, value(check))));
    lines.extend(finding.remarks.iter().map(|remark| format!("  look: {remark}")));
    lines.push(format!(
        "  {} placements, {} lead moves, {} drive changes",
        finding.placements, finding.lead_moves, finding.drive_changes
    ));
    lines
}

fn value(check: &CheckFound) -> String {
    let limits = match (check.lower, check.upper) {
        (Some(low), Some(high)) => format!("{low} to {high} {}", check.unit),
        (Some(low), None) => format!("at least {low} {}", check.unit),
        (None, Some(high)) => format!("at most {high} {}", check.unit),
        (None, None) => "no limits".into(),
    };
    let found = match (check.value, check.expanded) {
        (Some(value), Some(u)) => format!("{value:.4} {} (U {u:.2})", check.unit),
        (Some(value), None) => format!("{value:.4} {}", check.unit),
        _ if check.open => "open".into(),
        _ => "not measured".into(),
    };
    let note = check.note.as_deref().map(|note| format!("; {note}")).unwrap_or_default();
    format!("{found}; wanted {limits}{note}")
}
