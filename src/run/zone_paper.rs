//! The zone commands that need neither meter nor record: a panel file learnt from two
//! measurements, zone numbers from switches and terminals and back with a site's schedule, and the
//! wiring drawn. Each says its result on standard output.

use super::failure::{Exit, Failure};
use super::worked_out::tell;
use super::zone::{LoopTerms, load_panel, read};
use crate::event::{Event, Finding, IdentifyFinding, visible};
use crate::journal;
use crate::report::render_zone_drawing;
use crate::zone::{Learnt, Measured, RawNumbering, RawPanel, ScheduleLine, check_schedule};
use serde::Serialize;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// What `zone learn` is given.
#[derive(Clone, Debug)]
pub struct ZoneLearnTerms {
    /// Volts of the open terminals.
    pub open_volts: f64,
    /// Ohms of the known resistor.
    pub known_ohms: f64,
    /// Volts across it.
    pub known_volts: f64,
    /// Tolerance of the resistor, in per cent.
    pub known_percent: f64,
    /// How well the volts are known, in per cent of the reading either way.
    pub volts_percent: f64,
    /// The meter's input resistance, in ohms.
    pub meter_ohms: f64,
    /// A panel file to take the rest from.
    pub panel: Option<PathBuf>,
    /// Where to write the panel file.
    pub out: Option<PathBuf>,
    /// Print one JSON object.
    pub json: bool,
}

#[derive(Serialize)]
struct LearntLine {
    v: u32,
    note: &'static str,
    kind: &'static str,
    volts: f64,
    volts_u: f64,
    ohms: f64,
    ohms_u: f64,
}

/// Learns a panel's source from two measurements.
///
/// # Errors
/// [`Failure`] with exit 2 for values of no source, or a file that cannot be read or written.
pub fn run_zone_learn(terms: &ZoneLearnTerms) -> Result<Exit, Failure> {
    // A tolerance either way is a standard uncertainty times the root of three.
    let known =
        |value: f64, percent: f64| Measured { value, u: value * percent / 100.0 / 3.0_f64.sqrt() };
    let learnt = Learnt::from_two(
        known(terms.open_volts, terms.volts_percent),
        known(terms.known_ohms, terms.known_percent),
        known(terms.known_volts, terms.volts_percent),
        terms.meter_ohms,
    )
    .map_err(|bad| Failure::bad_input(bad.to_string(), "measure both with the loop taken off"))?;
    let Learnt { volts, ohms } = learnt;
    if let Some(out) = &terms.out {
        write_panel(terms, &learnt, out)?;
    }
    let text = if terms.json {
        let line = LearntLine {
            v: crate::event::VERSION,
            note: "result",
            kind: "zone_learn",
            volts: volts.value,
            volts_u: volts.u,
            ohms: ohms.value,
            ohms_u: ohms.u,
        };
        serde_json::to_string(&line).unwrap_or_default() + "\n"
    } else {
        let mut text = format!(
            "source: {:.3} V (u {:.3}) behind {:.0} ohm (u {:.0})\n",
            volts.value, volts.u, ohms.value, ohms.u
        );
        if terms.out.is_none() {
            let _ = write!(
                text,
                "\n[supply]\nvolts = {:.4}\nvolts_u = {:.4}\nohms = {:.1}\nohms_u = {:.1}\n",
                volts.value, volts.u, ohms.value, ohms.u
            );
        }
        text
    };
    tell(&text)?;
    Ok(Exit::Done)
}

fn write_panel(terms: &ZoneLearnTerms, learnt: &Learnt, out: &Path) -> Result<(), Failure> {
    let Some(base) = &terms.panel else {
        let hint = "give --panel FILE, whose thresholds and resistors are taken over";
        return Err(Failure::bad_input("--out needs a panel file to start from", hint));
    };
    let (_, text) = load_panel(base)?;
    let mut raw: RawPanel = toml::from_str(&text)
        .map_err(|e| Failure::bad_input(visible(&e.to_string()), "check the panel file"))?;
    raw.source = "supply from two measurements; the rest as in the file it was made from".into();
    raw.supply = crate::zone::RawSupply {
        volts: learnt.volts.value,
        volts_u: Some(learnt.volts.u),
        ohms: Some(learnt.ohms.value),
        ohms_u: Some(learnt.ohms.u),
        ..crate::zone::RawSupply::default()
    };
    let text = toml::to_string(&raw).unwrap_or_default();
    let shown = visible(&out.display().to_string());
    let mut file = std::fs::File::create_new(out).map_err(|e| {
        Failure::bad_input(format!("{shown}: {e}"), "name a file that is not there")
    })?;
    std::io::Write::write_all(&mut file, text.as_bytes())
        .map_err(|e| Failure::bad_input(format!("{shown}: {e}"), "is there room for it?"))
}

/// What `zone number` is given.
#[derive(Clone, Debug)]
pub struct ZoneNumberTerms {
    /// The panel file.
    pub panel: PathBuf,
    /// A zone to find.
    pub zone: Option<u32>,
    /// Switches of an expander, switch 1 first.
    pub switches: Option<String>,
    /// Its address instead.
    pub address: Option<u32>,
    /// The terminal.
    pub terminal: Option<u32>,
    /// A site's schedule to check.
    pub schedule: Option<PathBuf>,
    /// Print one JSON object.
    pub json: bool,
}

/// Zone numbers from switches and terminals, back, or a schedule checked.
///
/// # Errors
/// [`Failure`] with exit 2 where there is no such zone, switch or terminal, or no numbering.
pub fn run_zone_number(terms: &ZoneNumberTerms) -> Result<Exit, Failure> {
    let (panel, _) = load_panel(&terms.panel)?;
    let Some(numbering) = panel.numbering else {
        let shown = visible(&terms.panel.display().to_string());
        let problem = format!("{shown}: has no [numbering]");
        return Err(Failure::bad_input(problem, "`coilmark schema panel` describes it"));
    };
    if let Some(schedule) = &terms.schedule {
        return check(&numbering, schedule, terms.json);
    }
    let bad = |bad: crate::zone::BadSpot| {
        Failure::bad_input(bad.to_string(), "see the panel file's [numbering]")
    };
    let (zone, address, terminal) = match (terms.zone, terms.terminal) {
        (Some(zone), _) => {
            let spot = numbering.spot(zone).map_err(bad)?;
            (zone, spot.address, spot.terminal)
        }
        (None, Some(terminal)) => {
            let address = match (&terms.switches, terms.address) {
                (Some(switches), _) => numbering.address(switches).map_err(bad)?,
                (None, address) => address.ok_or_else(|| {
                    let hint = "say --switches or --address, or --zone";
                    Failure::bad_input("--terminal by itself is no zone", hint)
                })?,
            };
            (numbering.zone(address, terminal).map_err(bad)?, address, terminal)
        }
        (None, None) => {
            let hint = "say --zone N, or --switches 0101 --terminal N, or --schedule FILE.csv";
            return Err(Failure::bad_input("nothing to find", hint));
        }
    };
    let switches = numbering.switches_of(address);
    tell(&if terms.json {
        format!(
            "{{\"v\":1,\"note\":\"result\",\"kind\":\"zone_number\",\"zone\":{zone},\
             \"address\":{address},\"switches\":\"{switches}\",\"terminal\":{terminal}}}\n"
        )
    } else {
        format!(
            "zone {zone}: expander address {address}, switches {switches} (switch 1 first, 1 is \
             on), terminal {terminal}\n"
        )
    })?;
    Ok(Exit::Done)
}

fn check(numbering: &RawNumbering, schedule: &Path, json: bool) -> Result<Exit, Failure> {
    let hint = "a header of zone,terminal,address (or switches), name if you like";
    let text = read(schedule, hint)?;
    let shown = visible(&schedule.display().to_string());
    let lines = check_schedule(numbering, &text)
        .map_err(|problem| Failure::bad_input(format!("{shown}: {problem}"), hint))?;
    let wrong: Vec<&ScheduleLine> = lines.iter().filter(|line| line.problem.is_some()).collect();
    let mut text = String::new();
    for line in &wrong {
        let problem = line.problem.as_deref().unwrap_or_default();
        let _ = writeln!(text, "{shown}:{}: {} {problem}", line.line, line.name);
    }
    let _ = writeln!(text, "{} of {} lines agree", lines.len() - wrong.len(), lines.len());
    if json {
        let problems: Vec<serde_json::Value> = wrong
            .iter()
            .map(|l| serde_json::json!({"line": l.line, "name": l.name, "problem": l.problem}))
            .collect();
        let line = serde_json::json!({"v": 1, "note": "result", "kind": "zone_schedule",
            "lines": lines.len(), "problems": problems});
        text = format!("{line}\n");
    }
    tell(&text)?;
    Ok(if wrong.is_empty() { Exit::Done } else { Exit::NotPassed })
}

/// What `zone draw` is given.
#[derive(Clone, Debug)]
pub struct ZoneDrawTerms {
    /// The loop.
    pub wired: LoopTerms,
    /// A job whose identified relay is drawn with its pins.
    pub job: Option<PathBuf>,
    /// Where to write the SVG; left out, standard output.
    pub out: Option<PathBuf>,
}

/// Draws the wiring.
///
/// # Errors
/// [`Failure`] with exit 2 for a file or job that cannot be used, 5 where the drawing cannot be
/// written.
pub fn run_zone_draw(terms: &ZoneDrawTerms) -> Result<Exit, Failure> {
    let (design, _) = terms.wired.design()?;
    let relay = match &terms.job {
        Some(job) => Some(relay_of(job)?),
        None => None,
    };
    let drawing = render_zone_drawing(&design.finding(), relay.as_ref());
    match &terms.out {
        None => tell(&drawing)?,
        Some(out) => std::fs::write(out, drawing).map_err(|e| {
            let shown = visible(&out.display().to_string());
            Failure::new(Exit::RecordNotWritten, format!("{shown}: {e}"), "name another file")
        })?,
    }
    Ok(Exit::Done)
}

/// The newest identified relay of a job.
fn relay_of(job: &Path) -> Result<IdentifyFinding, Failure> {
    let past = journal::read(job)?;
    let found = past.entries.iter().rev().find_map(|entry| match &entry.event {
        Event::ResultReached(Finding::Identify(finding)) => Some((**finding).clone()),
        _ => None,
    });
    found.ok_or_else(|| {
        let shown = visible(&job.display().to_string());
        let problem = format!("{shown}: no relay was identified in this job");
        Failure::bad_input(problem, "leave --job out, or identify one into it first")
    })
}
