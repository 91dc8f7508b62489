//! The bodies of the two chapters: for a design the picture, states, resistors, faults and the
//! ranking; for a check the states as measured and what would explain them. The templates escape;
//! the drawing comes escaped.

use super::words;
use crate::event::{ZoneCheckFinding, ZoneDesignFinding, ZoneState};
use crate::report::html::written;
use crate::report::words::sentence;
use askama::Template;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<figure>
{{ drawing|safe }}<figcaption>Drawn at rest, without drive, by the shapes of IEC 60617. Panel input:
{{ f.panel }} ({{ f.panel_source }}).</figcaption>
</figure>
<table>
<thead><tr><th scope="col">Read as</th><th scope="col">Loop</th><th scope="col">Terminals</th>
<th scope="col">Margin</th><th scope="col">By chance</th><th scope="col">Verdict</th></tr></thead>
<tbody>
{% for s in states %}<tr><th scope="row">{{ s[0] }}</th>{% for c in s[1..] %}<td>{{ c }}</td>
{% endfor %}</tr>
{% endfor %}</tbody>
</table>
{% if !f.resistors.is_empty() %}<h3>From the drawer</h3>
<ul>
{% for r in f.resistors %}<li>{{ r.role }}: {{ r.ohms }} ohm {{ r.percent }} %, {{ r.code }}, 
{{ r.bands.join(" ") }}</li>
{% endfor %}</ul>
{% endif %}<h3>What each fault looks like</h3>
<table>
<thead><tr><th scope="col">Fault</th><th scope="col">At rest</th><th scope="col">In alarm</th>
<th scope="col">Effect</th></tr></thead>
<tbody>
{% for row in faults %}<tr><th scope="row">{{ row[0] }}</th><td>{{ row[1] }}</td><td>{{ row[2] }}
</td><td>{{ row[3] }}</td></tr>
{% endfor %}</tbody>
</table>
<p class="quiet">Silent: the panel shows ready, and an alarm does not come through. Hidden: nothing
changes that can be seen.</p>
<h3>Wirings that this panel reads, best first</h3>
<ol>
{% for line in ranking %}<li>{{ line }}</li>
{% endfor %}</ol>
<h3>Taken for granted</h3>
<ul>
{% for line in f.assumptions %}<li>{{ line }}</li>
{% endfor %}</ul>
<p class="quiet">Worked out, not measured. Local wiring codes, the panel's own manual and a licensed
person come first.</p>
"#
)]
struct Design<'a> {
    f: &'a ZoneDesignFinding,
    drawing: &'a str,
    states: Vec<[String; 6]>,
    faults: Vec<[&'a str; 4]>,
    ranking: Vec<String>,
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<p>Panel input: {{ f.panel }}.</p>
<table>
<thead><tr><th scope="col">When</th><th scope="col">Terminals</th><th scope="col">By design</th>
<th scope="col">Read as</th><th scope="col">Should be</th><th scope="col">Margin</th>
<th scope="col">Verdict</th></tr></thead>
<tbody>
{% for s in states %}<tr><th scope="row">{{ s[0] }}</th>{% for c in s[1..] %}<td>{{ c }}</td>
{% endfor %}</tr>
{% endfor %}</tbody>
</table>
<p>{{ times }}</p>
{% for (file, rows, sha256) in logs %}<p class="quiet">Every reading of it is in {{ file }}: {{ rows }}
rows, SHA-256 <code>{{ sha256 }}</code>.</p>
{% endfor %}{% if !explanations.is_empty() %}<h3>What would explain it</h3>
<ul>
{% for text in explanations %}<li>{{ text }}</li>
{% endfor %}</ul>
{% endif %}{% if !f.remarks.is_empty() %}<h3>Remarks</h3>
<ul>
{% for line in f.remarks %}<li>{{ line }}</li>
{% endfor %}</ul>
{% endif %}"#
)]
struct Check<'a> {
    f: &'a ZoneCheckFinding,
    states: Vec<[String; 7]>,
    times: String,
    logs: Vec<(String, u64, String)>,
    explanations: Vec<String>,
}

/// The body of a design's chapter.
pub(super) fn design(f: &ZoneDesignFinding, drawing: &str) -> String {
    let states = f.states.iter().map(|s| {
        [
            format!("{}, {}", s.state.name(), s.text),
            words::amount(&s.ohms, "ohm"),
            words::amount(&s.volts, "V"),
            words::margins(s),
            format!("{:.2} %", 100.0 * s.probability),
            s.verdict.to_string(),
        ]
    });
    let faults = f.faults.iter().map(|fault| {
        let reads = (fault.at_rest.name(), fault.in_alarm.name());
        [fault.text.as_str(), reads.0, reads.1, words::effect(fault)]
    });
    let ranking = f.ranking.iter().map(|r| {
        let counts = format!("{} silent, {} hidden, {}", r.silent, r.hidden, r.verdict);
        format!("{}: {counts}. {}", r.text, sentence(&r.reason))
    });
    let (states, faults) = (states.collect(), faults.collect());
    let page = Design { f, drawing, states, faults, ranking: ranking.collect() };
    written(&page)
}

/// The body of a check's chapter.
pub(super) fn check(f: &ZoneCheckFinding, logs: Vec<(String, u64, String)>) -> String {
    let states = f.states.iter().map(|s| {
        let u = s.volts_u.map_or(String::new(), |u| format!(" (u {u:.3})"));
        [
            s.when.clone(),
            format!("{}{u}", words::volts(s.volts)),
            format!("{:.3} V", s.design_volts),
            s.reads.map_or("nothing", ZoneState::name).into(),
            s.state.name().into(),
            s.margin_volts.map_or("-".into(), |m| format!("{} V", words::signed(m))),
            s.verdict.to_string(),
        ]
    });
    let times = match (f.violated_at_s, f.restored_at_s) {
        (Some(from), Some(to)) => format!(
            "Violated {from:.1} s after the watch began, ready again after {to:.1} s; {} times in \
             all, in {} readings.",
            f.violations, f.readings
        ),
        (Some(from), None) => {
            format!("Violated {from:.1} s after the watch began, and not ready again since.")
        }
        _ => format!("Never read as violated in {} readings.", f.readings),
    };
    let explanations = f.explanations.iter().map(|e| sentence(&e.text)).collect();
    written(&Check { f, states: states.collect(), times, logs, explanations })
}
