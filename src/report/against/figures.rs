//! What a job's record says, as figures that can stand beside those of another: what everything is
//! called, how each step stands, and the numbers of each newest finding with their standard
//! uncertainty where one was recorded.

use super::super::job::status;
use super::super::{number, words};
use crate::event::{Event, Finding, IdentifyFinding, OutputFinding, ZoneCheckFinding};
use crate::journal::{Entry, JobState};
use drivers::Unit;

/// One thing that a record says.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Figure {
    pub(super) of: &'static str,
    pub(super) name: String,
    pub(super) worth: Worth,
}

/// What it says.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Worth {
    Text(String),
    Number { value: f64, u: Option<f64>, unit: &'static str },
}

impl Figure {
    pub(super) fn in_words(&self) -> String {
        match &self.worth {
            Worth::Text(text) => text.clone(),
            Worth::Number { value, u, unit: "ohm" } => {
                number::quantity(*value, *u, Unit::Ohm).with_uncertainty()
            }
            Worth::Number { value, u, unit: "V" } => {
                number::quantity(*value, *u, Unit::Volt).with_uncertainty()
            }
            Worth::Number { value, u: Some(u), unit } => {
                format!("{value:.3} \u{b1} {:.3} {unit}", 2.0 * u)
            }
            Worth::Number { value, u: None, unit } => format!("{value:.3} {unit}"),
        }
    }
}

/// Everything that a journal says, in the order of the work.
pub(super) fn figures(entries: &[Entry]) -> Vec<Figure> {
    let state = JobState::of(entries);
    let mut list = List::default();
    for (label, text) in &state.labels {
        list.text("site", label.title(), words::text(text));
    }
    for finding in newest(entries) {
        list.finding(finding);
    }
    if state.is_led {
        for step in &state.steps {
            let (word, why) = status(&step.status);
            list.text("steps", step.step.name(), format!("{word} {why}").trim_end().into());
        }
    }
    list.0
}

/// The newest finding of each kind, in the order of the work.
fn newest(entries: &[Entry]) -> Vec<&Finding> {
    let mut found: Vec<&Finding> = Vec::new();
    for entry in entries {
        if let Event::ResultReached(finding) = &entry.event {
            found.retain(|other| std::mem::discriminant(*other) != std::mem::discriminant(finding));
            found.push(finding);
        }
    }
    found.sort_by_key(|finding| match finding {
        Finding::Output(_) => 0,
        Finding::Identify(_) => 1,
        Finding::PickUp(_) => 2,
        Finding::Fit(_) => 3,
        Finding::ZoneDesign(_) => 4,
        Finding::Board(_) => 5,
        Finding::ZoneCheck(_) => 6,
    });
    found
}

#[derive(Default)]
struct List(Vec<Figure>);

impl List {
    fn text(&mut self, of: &'static str, name: impl Into<String>, text: String) {
        self.0.push(Figure { of, name: name.into(), worth: Worth::Text(text) });
    }

    fn number(
        &mut self,
        of: &'static str,
        name: impl Into<String>,
        (value, u): (Option<f64>, Option<f64>),
        unit: &'static str,
    ) {
        if let Some(value) = value {
            let worth = Worth::Number { value, u, unit };
            self.0.push(Figure { of, name: name.into(), worth });
        }
    }

    fn finding(&mut self, finding: &Finding) {
        match finding {
            Finding::Output(f) => self.output(f),
            Finding::Identify(f) => self.relay(f),
            Finding::PickUp(f) => {
                self.text("relay", "pick-up and drop-out", f.result.to_string());
                for (name, found) in [("pick-up", f.pick_up), ("drop-out", f.drop_out)] {
                    let of = (found.map(|t| t.volts_20), found.map(|t| t.volts_u));
                    self.number("relay", format!("{name} at 20 degrees"), of, "V");
                }
            }
            Finding::Fit(f) => {
                self.text("fit", "verdict", f.result.to_string());
                for check in &f.checks {
                    self.text("fit", words::text(&check.text), check.verdict.to_string());
                }
            }
            Finding::ZoneDesign(f) => {
                self.text("loop", "verdict", f.result.to_string());
                self.text("loop", "panel input", words::text(&f.panel));
                for resistor in &f.resistors {
                    let name = format!("{} resistor", words::text(&resistor.role));
                    self.number("loop", name, (Some(resistor.ohms), None), "ohm");
                }
            }
            Finding::Board(f) => {
                self.text("board", words::text(&f.serial), f.result.to_string());
            }
            Finding::ZoneCheck(f) => self.zone(f),
        }
    }

    fn output(&mut self, f: &OutputFinding) {
        self.text("output", "shape", format!("{:?}", f.shape).to_lowercase());
        let noise = f.noise_volts;
        self.number("output", "volts at rest", (f.rest_volts, f.rest_noise_volts), "V");
        self.number("output", "volts in alarm", (f.alarm_volts, noise), "V");
        self.number("output", "lowest in alarm", (f.alarm_volts_min, noise), "V");
        self.number("output", "window", (f.window_s, f.window_s_u), "s");
        let sag = (f.sag_volts_per_min, f.sag_volts_per_min_u);
        self.number("output", "sag while on", sag, "V/min");
        self.number("output", "period", (f.period_s, None), "s");
    }

    fn relay(&mut self, f: &IdentifyFinding) {
        self.text("relay", "contacts", words::text(&f.family));
        let marks: Vec<String> =
            f.marks.iter().map(|(pin, mark)| format!("{pin} is {mark}")).collect();
        self.text("relay", "pins", words::text(&marks.join(", ")));
        for (place, coil) in f.coils.iter().enumerate() {
            let name = format!("coil {}", place + 1);
            self.number("relay", name, (coil.ohms, coil.ohms_u), "ohm");
        }
        let faults: Vec<&str> = f.faults.iter().map(|fault| words::fault(fault.code)).collect();
        let faults = if faults.is_empty() { "none".into() } else { faults.join(", ") };
        self.text("relay", "faults", faults);
    }

    fn zone(&mut self, f: &ZoneCheckFinding) {
        self.text("zone", "verdict", f.result.to_string());
        for state in &f.states {
            let reads = state.reads.map_or("nothing", crate::event::ZoneState::name);
            self.text("zone", format!("{}, read as", state.when), reads.into());
            let volts = (state.volts, state.volts_u);
            self.number("zone", format!("{}, volts", state.when), volts, "V");
        }
    }
}
