//! A zone check's finding in lines for a terminal: the verdict, each state with its margin, when
//! the alarm came and went, and what such a check cannot show. One line a string, unwrapped; the
//! operator wraps and prints them.

use crate::event::{ZoneCheckFinding, ZoneState};

/// The lines.
pub(super) fn finding(finding: &ZoneCheckFinding) -> Vec<String> {
    let mut lines =
        vec![format!("{}: {}", finding.result.to_string().to_uppercase(), finding.reason)];
    for state in &finding.states {
        let volts = state.volts.map_or("not measured".into(), |v| format!("{v:.3} V"));
        let reads = state.reads.map_or("-", ZoneState::name);
        let margin = state.margin_volts.map_or(String::new(), |m| format!(", margin {m:+.2} V"));
        let verdict = state.verdict;
        lines.push(format!("  {}: {volts}, read as {reads}: {verdict}{margin}", state.when));
    }
    if let Some(at) = finding.violated_at_s {
        let back = finding.restored_at_s.map_or("never".into(), |s| format!("after {s:.1} s"));
        lines.push(format!("  violated after {at:.1} s, ready again {back}"));
    }
    let untold = finding.explanations.iter().filter(|e| !finding.reason.contains(&e.text));
    lines.extend(untold.map(|explanation| format!("  looks like: {}", explanation.text)));
    lines.extend(finding.remarks.iter().map(|remark| format!("  {remark}")));
    lines
}
