//! The history's answers as text: a table with a heading for people, or one JSON object. Tables
//! are columns apart by two spaces; a history without boards says so, and whether there are
//! simulated ones.

use super::capability::Amount;
use super::{HistoryTerms, Question};
use crate::archive::{Archive, ArchiveError, Filter, Listed, Yield};
use crate::event::visible;
use serde_json::json;

/// The answer, with its newline.
pub(super) fn answer(archive: &Archive, terms: &HistoryTerms) -> Result<String, ArchiveError> {
    let filter = &terms.filter;
    let (rows, value) = match &terms.question {
        Question::List(most) => list(&archive.list(filter, *most)?),
        Question::Yields => yields(&archive.yields(filter)?),
        Question::Failures => failures(archive, filter)?,
        Question::Capability => amounts(archive, terms, capability)?,
        Question::Drift => amounts(archive, terms, drift)?,
        Question::Export(_) | Question::Rebuild { .. } => (Vec::new(), json!({})),
    };
    if terms.json {
        return Ok(format!(
            "{}\n",
            json!({ "v": 1, "simulated": filter.simulated, "rows": value })
        ));
    }
    match rows.len() {
        0 | 1 => nothing(archive, filter),
        _ => Ok(table(&rows)),
    }
}

fn nothing(archive: &Archive, filter: &Filter) -> Result<String, ArchiveError> {
    let other = Filter { simulated: !filter.simulated, ..filter.clone() };
    let hint = match archive.list(&other, 1)?.is_empty() {
        true => "",
        false if filter.simulated => "; real ones: without --simulated",
        false => "; simulated ones: with --simulated",
    };
    Ok(format!("no such boards in the history{hint}\n"))
}

type Rows = Vec<Vec<String>>;

fn heading(words: &[&str]) -> Rows {
    vec![words.iter().map(|word| (*word).to_owned()).collect()]
}

fn list(boards: &[Listed]) -> (Rows, serde_json::Value) {
    let mut rows = heading(&["day", "serial", "verdict", "plan", "tested before", "why"]);
    rows.extend(boards.iter().map(|b| {
        vec![
            b.day.clone(),
            b.serial.clone(),
            b.result.clone(),
            format!("{} ({})", b.plan, b.revision),
            b.repeats.to_string(),
            b.reason.clone().unwrap_or_default(),
        ]
    }));
    let value = boards.iter().map(|b| {
        json!({ "day": b.day, "at_s": b.at_s, "serial": b.serial, "result": b.result,
            "plan": b.plan, "revision": b.revision, "repeats": b.repeats, "reason": b.reason,
            "job": b.job })
    });
    (rows, value.collect())
}

fn yields(found: &[Yield]) -> (Rows, serde_json::Value) {
    let mut rows =
        heading(&["day", "plan", "tests", "passed", "failed", "first tests", "first-pass yield"]);
    rows.extend(found.iter().map(|y| {
        let share = 100.0 * y.first_passed as f64 / (y.first as f64).max(1.0);
        vec![
            y.day.clone(),
            y.plan.clone(),
            y.tested.to_string(),
            y.passed.to_string(),
            y.failed.to_string(),
            y.first.to_string(),
            if y.first == 0 { "-".into() } else { format!("{share:.1} %") },
        ]
    }));
    let value = found.iter().map(|y| {
        json!({ "day": y.day, "plan": y.plan, "tests": y.tested, "passed": y.passed,
            "failed": y.failed, "first_tests": y.first, "first_passed": y.first_passed })
    });
    (rows, value.collect())
}

fn failures(archive: &Archive, filter: &Filter) -> Result<(Rows, serde_json::Value), ArchiveError> {
    let found = archive.failures(filter)?;
    let all: u64 = found.iter().map(|f| f.count).sum();
    let mut rows = heading(&["check", "plan", "not passed", "share", "running share"]);
    let mut running = 0;
    for f in &found {
        running += f.count;
        let share = |count: u64| format!("{:.1} %", 100.0 * count as f64 / all as f64);
        let count = f.count.to_string();
        rows.push(vec![f.check.clone(), f.plan.clone(), count, share(f.count), share(running)]);
    }
    let value = found.iter();
    let value = value.map(|f| json!({ "check": f.check, "plan": f.plan, "not_passed": f.count }));
    Ok((rows, value.collect()))
}

fn amounts(
    archive: &Archive,
    terms: &HistoryTerms,
    show: fn(&[Amount]) -> Rows,
) -> Result<(Rows, serde_json::Value), ArchiveError> {
    let measured = archive.measured(&terms.filter)?;
    let amounts: Vec<Amount> = measured.iter().map(|m| Amount::of(m, terms.confidence)).collect();
    let value = serde_json::to_value(&amounts).unwrap_or_default();
    Ok((show(&amounts), value))
}

fn capability(amounts: &[Amount]) -> Rows {
    let mut rows = heading(&["check", "limits", "n", "mean", "s", "Cp", "Cpk", "Cpk between"]);
    rows.extend(amounts.iter().map(|a| {
        let limit = |x: Option<f64>| x.map_or("-".into(), |x| x.to_string());
        let index = |x: Option<[f64; 3]>| x.map_or("-".into(), |[x, ..]| format!("{x:.2}"));
        vec![
            a.check.clone(),
            format!("{} to {} {}", limit(a.lower), limit(a.upper), a.unit),
            a.count.to_string(),
            number(a.mean),
            number(a.deviation),
            index(a.cp),
            index(a.cpk),
            a.cpk.map_or(a.why_none.unwrap_or("-").into(), |[_, low, high]| {
                format!("{low:.2} and {high:.2}")
            }),
        ]
    }));
    rows
}

fn drift(amounts: &[Amount]) -> Rows {
    let mut rows = heading(&["check", "n", "mean", "per 30 days", "between", "it drifts"]);
    rows.extend(amounts.iter().map(|a| {
        let (slope, between, says) = match a.drift_per_30_days {
            None => ("-".into(), "-".into(), a.why_none.unwrap_or("cannot tell")),
            Some([slope, half]) => (
                format!("{slope:+.3e} {}", a.unit),
                format!("{:+.3e} and {:+.3e}", slope - half, slope + half),
                if slope.abs() > half { "yes" } else { "not seen" },
            ),
        };
        vec![a.check.clone(), a.count.to_string(), number(a.mean), slope, between, says.into()]
    }));
    rows
}

fn number(x: Option<f64>) -> String {
    x.map_or("-".into(), |x| if x.abs() < 0.1 { format!("{x:.3e}") } else { format!("{x:.4}") })
}

/// Columns as wide as their widest cell; the last one is not filled up.
fn table(rows: &[Vec<String>]) -> String {
    let columns = rows.first().map_or(0, Vec::len);
    let cell = |row: &Vec<String>, i: usize| row.get(i).map(|c| visible(c)).unwrap_or_default();
    let width = |i: usize| rows.iter().map(|row| cell(row, i).chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let mut text = String::new();
    for row in rows {
        let cells = widths.iter().enumerate().map(|(i, width)| format!("{:<width$}", cell(row, i)));
        text += cells.collect::<Vec<_>>().join("  ").trim_end();
        text.push('\n');
    }
    text
}
