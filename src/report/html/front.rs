//! The first page: when and with what, the pin map beside the table of marks, the coil, the
//! contacts as they were seen, and the faults. What a reader needs to use the part, and no more:
//! every number here is one of the finding or of a capture, worded by `words.rs`.

use super::super::facts::Contact;
use super::super::parts::{Captured, What};
use super::super::svg::render_pin_map;
use super::super::{Report, ladder, number, words};
use super::written;
use crate::event::{IdentifyFinding, IdentifyStart, Latching, Outcome, Pin, PoleFound, is_drawn};
use askama::Template;
use drivers::Unit;

#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<dl class="strip">
{% for (term, text) in strip %}<dt>{{ term }}</dt><dd>{{ text }}</dd>
{% endfor %}</dl>
{% if !faults.is_empty() %}<section class="faults" aria-labelledby="faults">
<h2 id="faults">Faults</h2>
<ul>
{% for (name, pins, text) in faults %}<li><strong>{{ name }}</strong>{% if !pins.is_empty() %}
(pins {{ pins }}){% endif %}: {{ text }}</li>
{% endfor %}</ul>
</section>
{% endif %}{% if !map.is_empty() %}<section aria-labelledby="pins">
<h2 id="pins">Which pin is what</h2>
<div class="glance{% if wide %} wide{% endif %}">
<figure>
{{ map|safe }}<figcaption>{{ map_caption }}</figcaption>
</figure>
<table>
<thead><tr><th scope="col">Pin</th>
<th scope="col">Mark</th>
<th scope="col">What it is</th>
<th scope="col">Basis</th></tr></thead>
<tbody>
{% for row in marks %}<tr><th scope="row">{{ row.pin }}</th>
<td class="mark">{{ row.mark }}</td>
<td>{{ row.role }}</td>
<td>{{ row.known }}</td></tr>
{% endfor %}</tbody>
</table>
</div>
</section>
{% endif %}{% if !candidates.is_empty() %}<section aria-labelledby="candidates">
<h2 id="candidates">What it could be</h2>
<table>
<thead><tr><th scope="col" class="n">Probability</th><th scope="col">Candidate</th></tr></thead>
<tbody>
{% for (p, name) in candidates %}<tr><td class="n">{{ p }}</td><td>{{ name }}</td></tr>
{% endfor %}</tbody>
</table>
</section>
{% endif %}{% if !coils.is_empty() || !ladder.is_empty() %}<section aria-labelledby="coil">
<h2 id="coil">Coil</h2>
{% for coil in coils %}<dl class="facts">
{% for (term, text) in coil %}<dt>{{ term }}</dt><dd>{{ text }}</dd>
{% endfor %}</dl>
{% endfor %}{{ ladder|safe }}</section>
{% endif %}{% if !contacts.is_empty() %}<section aria-labelledby="contacts">
<h2 id="contacts">Contacts</h2>
<table>
<thead><tr><th scope="col">Contact</th>
<th scope="col">Pins</th>
<th scope="col">Kind</th>
{% if latching %}
<th scope="col">Seen, in order</th>
{% else %}
<th scope="col" class="n">At rest</th>
<th scope="col" class="n">Energised</th>
<th scope="col" class="n">At rest again</th>
{% endif %}
<th scope="col">Basis</th></tr></thead>
<tbody>
{% for row in contacts %}<tr><th scope="row">{{ row.mark }}</th>
<td>{{ row.pins }}</td>
<td>{{ row.kind }}</td>
{% for cell in row.cells %}
<td{% if !latching %} class="n"{% endif %}>{{ cell }}</td>
{% endfor %}
<td>{{ row.known }}</td></tr>
{% endfor %}</tbody>
</table>
<p class="quiet">{{ contacts_note }}</p>
</section>
{% endif %}<section class="limits" aria-labelledby="limits">
<h2 id="limits">What this does not show</h2>
<p>{{ no_certificate }}{% if !cautions.is_empty() %} Cautions that the operator acknowledged:
{{ cautions }} (in full further on).{% endif %}</p>
</section>
"#
)]
struct Front {
    strip: Vec<(&'static str, String)>,
    faults: Vec<(&'static str, String, String)>,
    map: String,
    map_caption: String,
    wide: bool,
    marks: Vec<MarkRow>,
    candidates: Vec<(String, String)>,
    coils: Vec<Vec<(&'static str, String)>>,
    /// Markup.
    ladder: String,
    latching: bool,
    contacts: Vec<ContactRow>,
    contacts_note: String,
    no_certificate: &'static str,
    cautions: String,
}

struct MarkRow {
    pin: String,
    mark: String,
    role: String,
    known: &'static str,
}

struct ContactRow {
    mark: String,
    pins: String,
    kind: &'static str,
    cells: Vec<String>,
    known: &'static str,
}

pub(super) fn render(report: &Report) -> String {
    let (start, finding) = (report.start(), report.finding());
    let map = start.map(|s| (s, render_pin_map(&s.pins, s.footprint.as_deref(), finding)));
    let faults = finding.map(|f| f.faults.as_slice()).unwrap_or_default();
    let contacts = report.contacts();
    let front = Front {
        strip: strip(report),
        faults: faults
            .iter()
            .map(|f| (words::fault(f.code), words::pins(&f.pins), words::clause(&f.text)))
            .collect(),
        map_caption: map
            .as_ref()
            .map(|(s, m)| map_caption(s, finding, m.inside))
            .unwrap_or_default(),
        map: map.map(|(_, m)| m.svg).unwrap_or_default(),
        wide: start.is_some_and(|s| s.pins.count() > 10),
        marks: marks(report),
        candidates: report
            .open_candidates()
            .iter()
            .take(5)
            .map(|c| (number::probability(c.posterior), words::candidate(c)))
            .collect(),
        coils: finding.map(coils).unwrap_or_default(),
        ladder: ladder::of_report(report),
        latching: contacts.iter().any(|c| c.latching),
        contacts: contacts.iter().map(|c| contact_row(c, finding)).collect(),
        contacts_note: contacts_note(report, &contacts),
        no_certificate: words::NO_CERTIFICATE,
        cautions: cautions(report),
    };
    written(&front)
}

fn strip(report: &Report) -> Vec<(&'static str, String)> {
    let mut strip = Vec::new();
    if let (Some(first), Some(last)) = (report.runs.first(), report.runs.last()) {
        let offset = first.began.offset_name();
        strip.push(("Begun", format!("{} {offset}", first.began.date_and_time())));
        let name = if last.end.is_some() { "Finished" } else { "Last entry" };
        strip.push((name, format!("{} {}", last.last.date_and_time(), last.last.offset_name())));
        let job = last.end.as_ref().map(|end| words::text(&end.job));
        strip.extend(job.filter(|job| !job.is_empty()).map(|job| ("Job", job)));
    }
    let counts = report.counts;
    strip.push((
        "Work",
        format!("{} placements, {} drive changes", counts.placements, counts.drive_changes),
    ));
    strip
}

fn map_caption(start: &IdentifyStart, finding: Option<&IdentifyFinding>, inside: bool) -> String {
    let place = match &start.footprint {
        Some(text) if is_drawn(text) => {
            "Footprint as the operator drew it, seen from the side that was looked at.".into()
        }
        Some(text) => format!(
            "Footprint {}, as stated by the operator, seen from the side that was looked at.",
            words::text(text)
        ),
        None => "No footprint was stated: pins stand in the order they were named in, not as on \
                 the part."
            .into(),
    };
    if !inside {
        return format!("{place} The inside is not drawn: its wires would be hard to tell apart.");
    }
    match finding.map(|f| f.result) {
        Some(Outcome::Identified) if finding.is_some_and(|f| f.latching != Latching::No) => {
            format!("{place} Contacts as after the reset drive.")
        }
        Some(Outcome::Identified) => format!("{place} Contacts at rest."),
        _ => format!("{place} What is not established is not drawn."),
    }
}

fn marks(report: &Report) -> Vec<MarkRow> {
    let finding = report.finding();
    let row = |pin: &Pin| MarkRow {
        pin: words::pin(pin),
        mark: words::mark(finding, pin),
        role: finding.map_or_else(|| "not established".into(), |f| words::role(f, pin)),
        known: finding.map_or("\u{2013}", |f| known(report, f, pin)),
    };
    report.start().into_iter().flat_map(|start| start.pins.iter()).map(row).collect()
}

/// How the claim about a pin is known.
fn known(report: &Report, finding: &IdentifyFinding, pin: &Pin) -> &'static str {
    let measured = |test: &dyn Fn(&Captured) -> bool| {
        if report.captures().any(|c| !c.taken_back && test(c)) { "measured" } else { "inferred" }
    };
    let reads = |c: &Captured, a: &Pin, b: &Pin| {
        let c = &c.capture;
        c.unit == Unit::Ohm
            && !c.overload
            && ((&c.red, &c.black) == (a, b) || (&c.red, &c.black) == (b, a))
    };
    if let Some(coil) = finding.coils.iter().find(|c| c.plus == *pin || c.minus == *pin) {
        return measured(&|c| reads(c, &coil.plus, &coil.minus));
    }
    let contacts = report.contacts();
    if let Some(worst) = contacts.iter().filter(|c| c.pins.contains(pin)).map(|c| c.basis).max() {
        return words::basis(worst);
    }
    let in_pole = |p: &&PoleFound| [&p.common, &p.nc, &p.no].into_iter().any(|s| s.contains(pin));
    if finding.poles.iter().any(|p| in_pole(&p)) {
        return "inferred";
    }
    if let Some(group) = finding.joined.iter().find(|group| group.contains(pin)) {
        return measured(&|c| group.iter().any(|other| reads(c, pin, other)));
    }
    if finding.spares.contains(pin) { "inferred" } else { "\u{2013}" }
}

/// The cautions, each named once.
fn cautions(report: &Report) -> String {
    let mut names: Vec<&str> = Vec::new();
    for step in &report.steps {
        if let What::Caution { caution, .. } = &step.what {
            let name = words::caution(*caution);
            if !names.contains(&name) {
                names.push(name);
            }
        }
    }
    names.join(", ")
}

fn coils(finding: &IdentifyFinding) -> Vec<Vec<(&'static str, String)>> {
    let one = |coil: &crate::event::CoilFound| {
        let ohms = coil.ohms.map_or_else(
            || "not measured".into(),
            |ohms| number::quantity(ohms, coil.ohms_u, Unit::Ohm).with_uncertainty(),
        );
        let latching = match finding.latching {
            Latching::No => None,
            Latching::OneCoil => Some("yes: one coil, set and reset by polarity"),
            Latching::TwoCoils => Some("yes: one coil sets, the other resets"),
        };
        let reset = finding.reset.as_ref().map(|drive| {
            format!("{}; NC and NO are named for the state after it", words::drive(drive))
        });
        let pins =
            format!("{} (plus), {} (minus)", words::pin(&coil.plus), words::pin(&coil.minus));
        let mut facts = vec![
            ("Pins", pins),
            ("Resistance", ohms),
            ("Polarity", words::polarity(finding, coil)),
            ("Rated voltage", words::rated(coil)),
        ];
        facts.extend(latching.map(|text| ("Latching", text.to_owned())));
        facts.extend(reset.map(|text| ("Reset drive", text)));
        facts
    };
    finding.coils.iter().map(one).collect()
}

fn contact_row(contact: &Contact<'_>, finding: Option<&IdentifyFinding>) -> ContactRow {
    let mark = |pin: &Pin| {
        finding
            .and_then(|f| f.marks.get(pin.label()))
            .map_or_else(|| words::pin(pin), |m| words::text(m))
    };
    let [a, b] = &contact.pins;
    let cells = if contact.latching {
        let seen = contact
            .proof
            .iter()
            .map(|c| format!("{}: {}", words::short_drive(&c.capture.drive), words::value(c)));
        vec![seen.collect::<Vec<_>>().join("; ")]
    } else {
        contact
            .three()
            .into_iter()
            .map(|c| c.map_or_else(|| "not seen".into(), words::value))
            .collect()
    };
    ContactRow {
        mark: format!("{}-{}", mark(a), mark(b)),
        pins: format!("{} and {}", words::pin(a), words::pin(b)),
        kind: words::throw(contact.throw),
        cells,
        known: words::basis(contact.basis),
    }
}

fn contacts_note(report: &Report, contacts: &[Contact<'_>]) -> String {
    let quick = report.is_quick();
    let proof = if quick {
        "The proof of each contact was left out on request (quick)."
    } else {
        "\u{201c}Measured\u{201d}: seen across the contact itself, leads held still while the coil \
         was driven and released."
    };
    let two_sided = contacts.iter().any(|c| c.form != crate::event::Form::C);
    let sides = if two_sided {
        " The two sides of a make or break contact cannot be told apart; they stand in pin order."
    } else {
        ""
    };
    format!("{proof}{sides} Ohms include the meter's leads.")
}
