//! Two jobs beside each other, on the terminal and as a page of its own. The page says everything,
//! row by row; the lines say what is not as it was, and how much is. The template escapes, and
//! what came from outside was made visible before.

use super::super::html::{Bare, bare, written};
use super::{Against, Beside, Change};
use askama::Template;
use std::fmt::Write;

const fn word(change: Change) -> &'static str {
    match change {
        Change::Same => "same",
        Change::Changed => "CHANGED",
        Change::Differs => "differs",
        Change::OnlyThen => "only then",
        Change::OnlyNow => "only now",
    }
}

fn difference(row: &Beside) -> String {
    let Some((difference, unit)) = row.difference.zip(row.unit) else { return String::new() };
    match row.expanded_u {
        Some(u) => format!("{difference:+.3} {unit} (\u{b1} {u:.3})"),
        None => format!("{difference:+.3} {unit}"),
    }
}

/// The lines for a terminal: what is not the same.
#[must_use]
pub fn summary(against: &Against) -> String {
    let mut text = String::new();
    let unknown = || "an empty record".to_owned();
    let (then, now) = (&against.then, &against.now);
    let _ = writeln!(text, "then: {}", then.clone().unwrap_or_else(unknown));
    let _ = writeln!(text, "now:  {}", now.clone().unwrap_or_else(unknown));
    if against.simulated {
        let _ = writeln!(text, "SIMULATED: some of it was not measured on anything real.");
    }
    for row in against.changes() {
        let side = |text: &Option<String>| text.clone().unwrap_or_else(|| "nothing".into());
        let how = difference(row);
        let how = if how.is_empty() { how } else { format!("; {how}") };
        let _ = writeln!(
            text,
            "  {:<9} {}, {}: {} -> {}{how}",
            word(row.change),
            row.of,
            row.name,
            side(&row.then),
            side(&row.now)
        );
    }
    let same = against.rows.len() - against.changes().count();
    let _ = writeln!(text, "{same} of {} stand as they did", against.rows.len());
    text
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<table>
<caption>Then: {{ then }}. Now: {{ now }}. A number has changed where the difference is larger than
the expanded uncertainty of both together (k = 2), in brackets.</caption>
<thead><tr><th scope="col">Of</th><th scope="col">What</th><th scope="col">Then</th>
<th scope="col">Now</th><th scope="col">Difference</th><th scope="col">Change</th></tr></thead>
<tbody>
{% for row in rows %}<tr><td>{{ row.of }}</td><th scope="row">{{ row.name }}</th>
<td>{{ row.then.as_deref().unwrap_or("nothing") }}</td>
<td>{{ row.now.as_deref().unwrap_or("nothing") }}</td>
<td>{{ self::difference(row) }}</td><td>{{ self::word(*row.change) }}</td></tr>
{% endfor %}</tbody>
</table>
"#
)]
struct Table<'a> {
    then: &'a str,
    now: &'a str,
    rows: &'a [Beside],
}

/// The page, self-contained.
#[must_use]
pub fn page(against: &Against) -> String {
    let table = Table {
        then: against.then.as_deref().unwrap_or("an empty record"),
        now: against.now.as_deref().unwrap_or("an empty record"),
        rows: &against.rows,
    };
    let changes = against.changes().count();
    bare(Bare {
        kind: "Two jobs beside each other",
        verdict: match changes {
            0 => "Nothing changed".into(),
            1 => "One thing is not as it was".into(),
            n => format!("{n} things are not as they were"),
        },
        class: if changes == 0 { "identified" } else { "undecided" },
        simulated: against.simulated,
        body: written(&table),
    })
}
