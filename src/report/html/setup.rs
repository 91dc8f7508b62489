//! The chapter of what the job was done with: program, meter, limits, runs with their gaps, and
//! the cautions as they were shown. Everything here is as the journal has it; the gap between two
//! runs is told by the wall clock, since each has a monotonic clock of its own.

use super::super::parts::{RunPart, What};
use super::super::{Report, number, words};
use super::written;
use askama::Template;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<section class="chapter runs-on" aria-labelledby="setup">
<h2 id="setup">What it was done with</h2>
<dl class="facts">
{% for (term, text) in facts %}<dt>{{ term }}</dt><dd>{{ text }}</dd>
{% endfor %}</dl>
{% if !runs.is_empty() %}<table>
<caption>Runs of this job</caption>
<thead><tr><th scope="col">Run</th>
<th scope="col">Begun</th>
<th scope="col">Last entry</th>
<th scope="col">How it ended</th></tr></thead>
<tbody>
{% for run in runs %}<tr><th scope="row">{{ run.number }}</th>
<td>{{ run.began }}</td>
<td>{{ run.last }}</td>
<td>{{ run.end }}</td></tr>
{% endfor %}</tbody>
</table>
{% endif %}{% if !cautions.is_empty() %}<h3>Cautions, as shown and acknowledged</h3>
<ul>
{% for (at, text) in cautions %}<li>{{ text }} <span class="quiet">({{ at }})</span></li>
{% endfor %}</ul>
{% endif %}</section>
"#
)]
struct Setup {
    facts: Vec<(&'static str, String)>,
    runs: Vec<RunRow>,
    cautions: Vec<(String, String)>,
}

struct RunRow {
    number: usize,
    began: String,
    last: String,
    end: String,
}

pub(super) fn render(report: &Report) -> String {
    let cautions = report.steps.iter().filter_map(|step| match &step.what {
        What::Caution { text, .. } => Some((step.at.date_and_time(), words::text(text))),
        _ => None,
    });
    written(&Setup {
        facts: facts(report),
        runs: report.runs.iter().enumerate().map(|(i, run)| run_row(report, i, run)).collect(),
        cautions: cautions.collect(),
    })
}

fn facts(report: &Report) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    let mut meters: Vec<String> = Vec::new();
    for step in &report.steps {
        if let What::Meter(meter) = &step.what {
            let how =
                if meter.commanded { "function set by the program" } else { "dial turned by hand" };
            let line = format!(
                "{}; link {}; profile {}; {how}",
                words::identity(meter),
                words::text(&meter.link),
                words::text(&meter.profile),
            );
            if !meters.contains(&line) {
                meters.push(line);
            }
        }
    }
    facts.extend(meters.into_iter().map(|line| ("Meter", line)));
    let Some(start) = report.start() else { return facts };
    let instruments = if report.simulated { words::SIMULATED } else { "real" };
    facts.push(("Instruments", instruments.into()));
    facts.push(("Pins", start.pins.iter().map(words::pin).collect::<Vec<_>>().join(", ")));
    let footprint = start.footprint.as_deref().map_or("not stated".into(), words::text);
    facts.push(("Footprint", footprint));
    facts.push(("Confidence asked for", number::probability(start.confidence)));
    facts.push((
        "Drive limits",
        format!(
            "{} and {}\u{a0}W in the coil as measured",
            number::volts(start.volts_max),
            start.coil_watts_max
        ),
    ));
    facts.push((
        "Coil temperature",
        start.ambient_celsius.map_or_else(
            || "not stated: resistance as measured".into(),
            |c| format!("{c}\u{a0}\u{b0}C: resistance corrected to 20\u{a0}\u{b0}C"),
        ),
    ));
    let proof = if start.quick { "left out on request (quick)" } else { "each contact" };
    facts.push(("Proof", proof.into()));
    let c = report.counts;
    facts.push((
        "Totals",
        format!(
            "{} placements, {} lead moves, {} drive changes, {} captures, {} taken back, {} \
             skipped, {} meter faults, {} link losses",
            c.placements,
            c.lead_moves,
            c.drive_changes,
            c.captures,
            c.taken_back,
            c.skips,
            c.complaints,
            c.link_losses
        ),
    ));
    facts
}

fn run_row(report: &Report, i: usize, run: &RunPart) -> RunRow {
    let stamp = |t: crate::journal::LocalTime| format!("{} {}", t.date_and_time(), t.offset_name());
    let mut end = match &run.end {
        Some(end) => {
            let why = end.reason.as_deref().map(|r| format!(": {}", words::text(r)));
            format!("exit code {}{}", end.exit, why.unwrap_or_default())
        }
        None => "broke off".into(),
    };
    if let Some(next) = report.runs.get(i + 1) {
        let gap = next.began.instant().duration_since(run.last.instant());
        end = format!("{end}; resumed after {}", number::span(gap.as_secs_f64()));
    }
    RunRow { number: i + 1, began: stamp(run.began), last: stamp(run.last), end }
}
