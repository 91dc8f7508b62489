//! The markup of the chapter of boards: what was tested by which plan and rule, one line for each
//! board, a histogram for each check of a batch, and for each board its checks with limits,
//! expanded uncertainty, margin and probability, and the budget behind each number. Templates
//! escape by themselves; text from outside was made visible before.

use super::{Tested, check, histogram};
use crate::event::{BoardFinding, CheckFound, DriveState, Event, RunStart, RunTerms, Verdict};
use crate::journal::Task;
use crate::report::html::written;
use crate::report::{number, words};
use askama::Template;
use drivers::Unit;

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"<dl class="facts">
{% for (term, text) in facts %}<dt>{{ term }}</dt><dd>{{ text }}</dd>
{% endfor %}</dl>
{% if boards.len() > 1 %}<table>
<caption>The boards, in the order in which they were tested</caption>
<thead><tr><th scope="col">Serial number</th><th scope="col">Verdict</th>
<th scope="col">Why</th><th scope="col">Tested</th></tr></thead>
<tbody>
{% for board in boards %}<tr><th scope="row"><a href="#board-{{ loop.index }}">{{ board.serial }}</a></th>
<td>{{ board.verdict }}{% if board.superseded %}, tested again later{% endif %}</td>
<td>{{ board.why }}</td><td class="time">{{ board.at }}</td></tr>
{% endfor %}</tbody>
</table>
{% endif %}{% for (name, drawing) in histograms %}<figure>{{ drawing|safe }}
<figcaption>{{ name }}</figcaption></figure>
{% endfor %}{% for board in boards %}<section style="break-before: page" 
aria-labelledby="board-{{ loop.index }}">
<h3 id="board-{{ loop.index }}">Board {{ board.serial }}: {{ board.verdict }}</h3>
<p>{{ board.why }}</p>
{% for remark in board.remarks %}<p><strong>Look:</strong> {{ remark }}.</p>
{% endfor %}<div class="scroll"><table>
<thead><tr><th scope="col">Check</th><th scope="col">Drive</th><th scope="col">Found</th>
<th scope="col">Limits</th><th scope="col">Probability that it conforms</th>
<th scope="col">Verdict</th></tr></thead>
<tbody>
{% for row in board.rows %}<tr><th scope="row">{{ row.name }}</th><td>{{ row.drive }}</td>
<td>{{ row.found }}</td><td>{{ row.limits }}</td><td>{{ row.probability }}</td>
<td>{{ row.verdict }}{% if !row.note.is_empty() %} <span class="quiet">({{ row.note }})</span>
{% endif %}</td></tr>
{% endfor %}</tbody>
</table></div>
<details><summary>Budgets of board {{ board.serial }}</summary>
{% for row in board.rows %}{% if !row.budget.is_empty() %}<table>
<caption>{{ row.name }}: {{ row.expanded }}</caption>
<thead><tr><th scope="col">Component</th><th scope="col">Distribution</th>
<th scope="col" class="n">u</th><th scope="col" class="n">Sensitivity</th>
<th scope="col" class="n">Degrees of freedom</th><th scope="col" class="n">Adds</th>
<th scope="col" class="n">Part</th></tr></thead>
<tbody>
{% for line in row.budget %}<tr><th scope="row">{{ line[0] }}</th><td>{{ line[1] }}</td>
<td class="n">{{ line[2] }}</td><td class="n">{{ line[3] }}</td><td class="n">{{ line[4] }}</td>
<td class="n">{{ line[5] }}</td><td class="n">{{ line[6] }}</td></tr>
{% endfor %}</tbody>
</table>
{% endif %}{% endfor %}</details>
</section>
{% endfor %}"##
)]
struct Boards {
    facts: Vec<(&'static str, String)>,
    boards: Vec<BoardPage>,
    histograms: Vec<(String, String)>,
}

struct BoardPage {
    serial: String,
    verdict: &'static str,
    superseded: bool,
    why: String,
    at: String,
    remarks: Vec<String>,
    rows: Vec<Row>,
}

struct Row {
    name: String,
    drive: String,
    found: String,
    limits: String,
    probability: String,
    verdict: &'static str,
    note: String,
    expanded: String,
    budget: Vec<[String; 7]>,
}

/// The chapter's body.
pub(super) fn render(task: &Task<'_>, tested: &[Tested<'_>]) -> String {
    let page = Boards {
        facts: facts(task, tested),
        boards: tested.iter().map(board).collect(),
        histograms: histograms(tested),
    };
    written(&page)
}

fn facts(task: &Task<'_>, tested: &[Tested<'_>]) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    let Some(RunStart { terms: RunTerms::Board(start), meter, profile, .. }) = task.start else {
        return facts;
    };
    let plan = &start.plan;
    let edition = format!("{}, edition {}", words::text(&plan.name), words::text(&plan.revision));
    facts.push(("Plan", edition));
    if let Some(rule) = tested.first().map(|t| t.finding.rule.clone()) {
        facts.push(("Decision rule", words::text(&rule)));
    }
    facts.push(("Coverage of U", format!("{} %", 100.0 * plan.decision.coverage)));
    if let Some(by) = &start.by {
        facts.push(("Tested by", words::text(by)));
    }
    let celsius = start.ambient_celsius.map(|c| format!("{c}\u{a0}\u{b0}C"));
    facts.push(("Board temperature", celsius.unwrap_or_else(|| "not stated".into())));
    facts.push(("Meter", format!("{}; profile {}", words::text(meter), words::text(profile))));
    for entry in &task.entries {
        if let Event::CautionAcknowledged { text, .. } = &entry.event {
            facts.push(("Caution acknowledged", words::text(text)));
        }
    }
    facts
}

fn board(tested: &Tested<'_>) -> BoardPage {
    let finding = tested.finding;
    BoardPage {
        serial: words::text(&finding.serial),
        verdict: verdict(finding.result),
        superseded: tested.superseded,
        why: finding.reason.as_deref().map_or("Every check passed.".into(), words::sentence),
        at: tested.at.date_and_time(),
        remarks: finding.remarks.iter().map(|remark| words::text(remark)).collect(),
        rows: finding.checks.iter().map(row).collect(),
    }
}

const fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail => "FAIL",
        Verdict::Undecided => "undecided",
    }
}

fn row(check: &CheckFound) -> Row {
    let expanded = match (check.expanded, check.coverage_factor, check.freedom) {
        (Some(u), Some(k), freedom) => {
            let freedom = freedom.map_or("unbounded".into(), |f| format!("{f:.1}"));
            format!("U = {u:.3} {} (k = {k:.2}, degrees of freedom {freedom})", check.unit)
        }
        _ => String::new(),
    };
    Row {
        name: words::text(&check.check),
        drive: match &check.drive {
            DriveState::Rest => "at rest".into(),
            DriveState::Energised { volts, .. } => number::volts(*volts),
        },
        found: measured(check),
        limits: limits(check),
        probability: check.probability.map_or("\u{2013}".into(), number::probability),
        verdict: verdict(check.verdict),
        note: check.note.as_deref().map(words::text).unwrap_or_default(),
        expanded,
        budget: check.budget.iter().map(budget_line).collect(),
    }
}

fn budget_line(line: &crate::event::BudgetLine) -> [String; 7] {
    [
        words::text(&line.component),
        words::text(&line.shape),
        format!("{:.3e}", line.u),
        format!("{:.4}", line.sensitivity),
        line.freedom.map_or("unbounded".into(), |f| format!("{f:.0}")),
        format!("{:.3e}", line.contribution),
        format!("{:.1}\u{a0}%", 100.0 * line.part),
    ]
}

/// The value with its expanded uncertainty.
pub(super) fn measured(check: &CheckFound) -> String {
    match (check.value, check.expanded) {
        (Some(value), u) if check.unit == "ohm" => {
            number::quantity(value, u.map(|u| u / 2.0), Unit::Ohm).with_uncertainty()
        }
        (Some(value), Some(u)) => format!("{value:.3} \u{b1} {u:.3} {}", words::text(&check.unit)),
        (Some(value), None) => format!("{value:.3} {}", words::text(&check.unit)),
        _ if check.open => "open beyond the meter's range".into(),
        _ => "not measured".into(),
    }
}

/// The limits in words.
pub(super) fn limits(check: &CheckFound) -> String {
    let limit = |limit: f64| limit_in_words(limit, &words::text(&check.unit));
    match (check.lower, check.upper) {
        (Some(low), Some(high)) => format!("{} to {}", limit(low), limit(high)),
        (Some(low), None) => format!("at least {}", limit(low)),
        (None, Some(high)) => format!("at most {}", limit(high)),
        (None, None) => "none".into(),
    }
}

/// A limit exactly as it was written, with the prefix that keeps it short.
fn limit_in_words(limit: f64, unit: &str) -> String {
    match unit {
        "ohm" if limit >= 1e6 => format!("{} M\u{3a9}", limit / 1e6),
        "ohm" if limit >= 1e4 => format!("{} k\u{3a9}", limit / 1e3),
        "ohm" => format!("{limit} \u{3a9}"),
        unit => format!("{limit} {unit}"),
    }
}

/// One for each check that has limits and enough values.
fn histograms(tested: &[Tested<'_>]) -> Vec<(String, String)> {
    let newest: Vec<&BoardFinding> =
        tested.iter().filter(|t| !t.superseded).map(|t| t.finding).collect();
    let Some(first) = newest.first() else { return Vec::new() };
    let of = |wanted: &CheckFound| {
        let values: Vec<f64> =
            newest.iter().filter_map(|f| check(f, &wanted.check)?.value).collect();
        let unit = words::text(&wanted.unit);
        let unit = if unit == "mA" { "mA" } else { "ohm" };
        let drawing = histogram::render(&values, [wanted.lower, wanted.upper], unit);
        let end = |choose: fn(f64, f64) -> f64| values.iter().copied().reduce(choose);
        let (least, most) = (end(f64::min).unwrap_or(0.0), end(f64::max).unwrap_or(0.0));
        let name = words::text(&wanted.check);
        let count = values.len();
        let from = format!("{count} values, from {least:.3} to {most:.3} {unit}");
        (format!("{name}: {from}, against the limits"), drawing)
    };
    first.checks.iter().map(of).filter(|(_, drawing)| !drawing.is_empty()).collect()
}
