//! The words of the zone commands: the loop (panel file, contact, resistors, cable), and what each
//! command wants beside it. Every number carries its unit in the flag's name. They become the terms
//! of the same names.

use super::meter::{Meter, OperatorWord, duration};
use clap::{Args, Subcommand, ValueEnum};
use coilmark::event::{CoilDriven, ResistorPlace, ZoneContact};
use coilmark::run::{
    LoopTerms, ZoneCheckTerms, ZoneDesignTerms, ZoneDrawTerms, ZoneLearnTerms, ZoneNumberTerms,
};
use std::path::PathBuf;
use std::time::Duration;

#[derive(Subcommand)]
pub(super) enum Zone {
    /// Work out a loop: states, margins, what each fault looks like, what to pick from the drawer
    Design(Design),
    /// Prove a loop at the panel's terminals: at rest, in alarm, restored
    Check(Check),
    /// Draw the wiring as SVG
    Draw(Draw),
    /// Learn a panel's input from two measurements
    Learn(Learn),
    /// Find a zone's number from switches and terminal, or back, or check a site's schedule
    Number(Number),
}

#[derive(Args)]
struct LoopWords {
    /// The panel: a file (`coilmark schema panel` describes it), or one that ships: series-3k3-12v,
    /// parallel-10k-12v, bare-12v, double-4k7-5v, triple-1k-5v
    #[arg(long, value_name = "FILE")]
    panel: PathBuf,
    /// The contact of the relay [default: the one that the panel's kind of loop is made for]
    #[arg(long, value_enum)]
    contact: Option<Contact>,
    /// Where the resistors sit
    #[arg(long, value_enum, default_value_t = Place::FarEnd)]
    resistors: Place,
    /// The output holds the coil at rest and lets it go in alarm
    #[arg(long)]
    coil_held_at_rest: bool,
    /// A tamper contact is in the loop
    #[arg(long)]
    tamper: bool,
    /// Ohms of the closed contact, at the most
    #[arg(long, value_name = "OHMS", default_value_t = 1.0)]
    contact_ohms_max: f64,
    /// Length of the cable, one way
    #[arg(long, value_name = "METRES")]
    cable_length_m: Option<f64>,
    /// Cross-section of a conductor [default: 0.22]
    #[arg(long, value_name = "MM2", conflicts_with = "cable_awg")]
    cable_mm2: Option<f64>,
    /// Wire gauge of a conductor, 0 to 40
    #[arg(long, value_name = "AWG")]
    cable_awg: Option<u8>,
    /// Both conductors as measured, joined at the far end, instead of a size
    #[arg(long, value_name = "OHMS")]
    cable_ohms: Option<f64>,
    /// Highest temperature of the cable
    #[arg(long, value_name = "CELSIUS", default_value_t = 40.0, allow_negative_numbers = true)]
    cable_celsius: f64,
    /// Random draws over everything that is not exactly known
    #[arg(long, value_name = "N", default_value_t = 20_000)]
    draws: u32,
    /// Their seed
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

#[derive(Clone, Copy, ValueEnum)]
enum Contact {
    /// Normally closed
    Nc,
    /// Normally open
    No,
}

#[derive(Clone, Copy, ValueEnum)]
enum Place {
    /// At the relay
    FarEnd,
    /// At the panel
    PanelEnd,
}

#[derive(Args)]
pub(super) struct Design {
    #[command(flatten)]
    wired: LoopWords,
    /// A job's folder, old or new: records this design in it
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Print one JSON object instead of lines
    #[arg(long)]
    json: bool,
}

#[derive(Args)]
pub(super) struct Check {
    #[command(flatten)]
    meter: Meter,
    #[command(flatten)]
    wired: LoopWords,
    /// How long the loop may take to follow the equipment into alarm and out of it
    #[arg(long, value_name = "TIME", default_value = "20s", value_parser = duration)]
    follow_within: Duration,
    /// The folder for the record and the report, old or new [default: zone-DATE-TIME here]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Who is asked
    #[arg(long, value_enum, default_value_t = OperatorWord::Lines)]
    operator: OperatorWord,
}

#[derive(Args)]
pub(super) struct Draw {
    #[command(flatten)]
    wired: LoopWords,
    /// A job whose identified relay is drawn with its pins
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Where to write it [default: standard output]
    #[arg(long, value_name = "FILE.svg")]
    out: Option<PathBuf>,
}

#[derive(Args)]
pub(super) struct Learn {
    /// Volts of the open terminals, the loop taken off
    #[arg(long, value_name = "VOLTS")]
    open_volts: f64,
    /// Ohms of a resistor put across them
    #[arg(long, value_name = "OHMS")]
    known_ohms: f64,
    /// Volts across it
    #[arg(long, value_name = "VOLTS")]
    known_volts: f64,
    /// Tolerance of the resistor, either way
    #[arg(long, value_name = "PERCENT", default_value_t = 1.0)]
    known_percent: f64,
    /// How well the volts are known, either way
    #[arg(long, value_name = "PERCENT", default_value_t = 0.5)]
    volts_percent: f64,
    /// The meter's input resistance
    #[arg(long, value_name = "OHMS", default_value_t = 1e7)]
    meter_ohms: f64,
    /// A panel file to take thresholds and resistors from
    #[arg(long, value_name = "FILE")]
    panel: Option<PathBuf>,
    /// Where to write the panel file
    #[arg(long, value_name = "FILE", requires = "panel")]
    out: Option<PathBuf>,
    /// Print one JSON object instead of lines
    #[arg(long)]
    json: bool,
}

#[derive(Args)]
pub(super) struct Number {
    /// The panel file, with its [numbering]
    #[arg(long, value_name = "FILE")]
    panel: PathBuf,
    /// A zone to find
    #[arg(long, value_name = "N")]
    zone: Option<u32>,
    /// The expander's switches, switch 1 first: 0101
    #[arg(long, value_name = "BITS", conflicts_with = "zone")]
    switches: Option<String>,
    /// The expander's address, instead of its switches
    #[arg(long, value_name = "N", conflicts_with_all = ["zone", "switches"])]
    address: Option<u32>,
    /// The terminal on it
    #[arg(long, value_name = "N", conflicts_with = "zone")]
    terminal: Option<u32>,
    /// A site's schedule to check: zone, terminal, address or switches, name
    #[arg(long, value_name = "FILE.csv")]
    schedule: Option<PathBuf>,
    /// Print one JSON object instead of lines
    #[arg(long)]
    json: bool,
}

impl From<LoopWords> for LoopTerms {
    fn from(w: LoopWords) -> Self {
        Self {
            panel: w.panel,
            contact: w.contact.map(|contact| match contact {
                Contact::Nc => ZoneContact::NormallyClosed,
                Contact::No => ZoneContact::NormallyOpen,
            }),
            place: match w.resistors {
                Place::FarEnd => ResistorPlace::FarEnd,
                Place::PanelEnd => ResistorPlace::PanelEnd,
            },
            drive: match w.coil_held_at_rest {
                true => CoilDriven::AtRest,
                false => CoilDriven::InAlarm,
            },
            tamper: w.tamper,
            contact_ohms_max: w.contact_ohms_max,
            cable_length_m: w.cable_length_m,
            cable_mm2: w.cable_mm2,
            cable_awg: w.cable_awg,
            cable_ohms: w.cable_ohms,
            cable_celsius: w.cable_celsius,
            draws: w.draws,
            seed: w.seed,
        }
    }
}

impl From<Design> for ZoneDesignTerms {
    fn from(w: Design) -> Self {
        Self { wired: w.wired.into(), job: w.job, json: w.json }
    }
}

impl From<Check> for ZoneCheckTerms {
    fn from(w: Check) -> Self {
        let (meter, operator) = (w.meter.into(), w.operator.into());
        let follow_within = w.follow_within;
        Self { wired: w.wired.into(), meter, follow_within, job: w.job, operator }
    }
}

impl From<Draw> for ZoneDrawTerms {
    fn from(w: Draw) -> Self {
        Self { wired: w.wired.into(), job: w.job, out: w.out }
    }
}

impl From<Learn> for ZoneLearnTerms {
    fn from(w: Learn) -> Self {
        Self {
            open_volts: w.open_volts,
            known_ohms: w.known_ohms,
            known_volts: w.known_volts,
            known_percent: w.known_percent,
            volts_percent: w.volts_percent,
            meter_ohms: w.meter_ohms,
            panel: w.panel,
            out: w.out,
            json: w.json,
        }
    }
}

impl From<Number> for ZoneNumberTerms {
    fn from(w: Number) -> Self {
        Self {
            panel: w.panel,
            zone: w.zone,
            switches: w.switches,
            address: w.address,
            terminal: w.terminal,
            schedule: w.schedule,
            json: w.json,
        }
    }
}
