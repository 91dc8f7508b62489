//! What every zone command is given, made into a checked design: the panel file, which contact,
//! where the resistors sit, the cable. And `zone design`: the design worked out, to standard output
//! and into a job's record if there is one. Nothing is asked and nothing measured.

use super::failure::{Exit, Failure};
use super::flag::within;
use super::worked_out::{WorkedOut, result_line, tell};
use crate::cable::{Build, Cable, Celsius, Conductor, Metres, Ohms};
use crate::event::{
    CoilDriven, Finding, LoopKind, ResistorPlace, RunTerms, Verdict, ZoneContact, ZoneDesignStart,
    ZoneWiring, visible,
};
use crate::fit::spread::Spread;
use crate::report::render_zone_summary;
use crate::zone::{BUILT_IN, Design, Panel, Parts};
use std::path::{Path, PathBuf};

/// The loop that a zone command is about.
#[derive(Clone, Debug)]
pub struct LoopTerms {
    /// The panel file.
    pub panel: PathBuf,
    /// The contact; left out, the one that the kind of loop is made for.
    pub contact: Option<ZoneContact>,
    /// Where the resistors sit.
    pub place: ResistorPlace,
    /// When the coil is driven.
    pub drive: CoilDriven,
    /// Whether a tamper contact is in the loop.
    pub tamper: bool,
    /// Ohms of the closed contact, at the most.
    pub contact_ohms_max: f64,
    /// Length of the cable one way, in metres.
    pub cable_length_m: Option<f64>,
    /// Cross-section of a conductor, in square millimetres.
    pub cable_mm2: Option<f64>,
    /// Or its gauge.
    pub cable_awg: Option<u8>,
    /// Or both conductors as measured, in ohms.
    pub cable_ohms: Option<f64>,
    /// Highest temperature of the cable, in degrees Celsius; the lowest is -10.
    pub cable_celsius: f64,
    /// Random draws.
    pub draws: u32,
    /// Their seed.
    pub seed: u64,
}

/// What `zone design` is given.
#[derive(Clone, Debug)]
pub struct ZoneDesignTerms {
    /// The loop.
    pub wired: LoopTerms,
    /// A job's folder, old or new.
    pub job: Option<PathBuf>,
    /// Print one JSON object.
    pub json: bool,
}

/// Works out a zone loop.
///
/// # Errors
/// [`Failure`] with exit 2 for a word or a file that cannot be used, 5 where the record cannot be
/// written.
pub fn run_zone_design(terms: &ZoneDesignTerms) -> Result<Exit, Failure> {
    let (design, panel) = terms.wired.design()?;
    let found = design.finding();
    let exit = if found.result == Verdict::Pass { Exit::Done } else { Exit::NotPassed };
    let reason = found.reason.clone();
    let text = render_zone_summary(&found);
    let finding = Finding::ZoneDesign(Box::new(found));
    let mut text = if terms.json { result_line(&finding) } else { text };
    if let Some(job) = &terms.job {
        let start = RunTerms::ZoneDesign(ZoneDesignStart { panel });
        let worked_out = WorkedOut { terms: start, finding, simulated: false, exit, reason };
        let page = worked_out.record(job)?;
        if !terms.json {
            text += &format!("report: {}\n", page.display());
        }
    }
    tell(&text)?;
    Ok(exit)
}

/// Reads a panel file; gives its text too.
pub(super) fn load_panel(path: &Path) -> Result<(Panel, String), Failure> {
    let built_in = BUILT_IN.iter().find(|(name, _)| path.to_str() == Some(name));
    let text = match built_in {
        Some((_, text)) if !path.exists() => (*text).to_owned(),
        _ => {
            let names: Vec<&str> = BUILT_IN.iter().map(|(name, _)| *name).collect();
            read(path, &format!("name a panel file, or one that ships: {}", names.join(", ")))?
        }
    };
    let panel = Panel::parse(&text, &visible(&path.display().to_string()))?;
    Ok((panel, text))
}

/// Reads a text file of no more than a mebibyte.
pub(super) fn read(path: &Path, hint: &str) -> Result<String, Failure> {
    let shown = visible(&path.display().to_string());
    let bad = |problem: String| Failure::bad_input(format!("{shown}: {problem}"), hint);
    drivers::read_text(path, drivers::WORDS_AT_MOST).map_err(|e| bad(e.to_string()))
}

impl LoopTerms {
    /// The design, and the panel file's text.
    pub(super) fn design(&self) -> Result<(Design, String), Failure> {
        let (panel, text) = load_panel(&self.panel)?;
        let most = within("--contact-ohms-max", self.contact_ohms_max, 0.0, 1000.0)?;
        within("--draws", f64::from(self.draws), 100.0, 1e6)?;
        let parts = Parts {
            cable_ohms: self.cable()?,
            contact_ohms: Spread::between(0.0, most.min(0.1), most),
        };
        let wiring = self.wiring(panel.kind);
        Ok((Design::new(panel, wiring, parts, self.draws, self.seed), text))
    }

    fn wiring(&self, kind: LoopKind) -> ZoneWiring {
        let closes = kind == LoopKind::Parallel;
        let held = self.drive == CoilDriven::AtRest;
        let usual = match closes == held {
            true => ZoneContact::NormallyClosed,
            false => ZoneContact::NormallyOpen,
        };
        ZoneWiring {
            kind,
            contact: self.contact.unwrap_or(usual),
            place: self.place,
            drive: self.drive,
            tamper: self.tamper,
        }
    }

    /// Ohms there and back: at 20 degrees, from -10 to the highest temperature.
    fn cable(&self) -> Result<Spread, Failure> {
        let bad = |problem: String| Failure::bad_input(problem, "see coilmark zone design --help");
        let at_20 = Celsius::REFERENCE;
        let cable = match (self.cable_ohms, self.cable_length_m) {
            (Some(ohms), None) => {
                let ohms = Ohms::new(ohms).map_err(|e| bad(format!("--cable-ohms: {e}")))?;
                Cable::measured(ohms, at_20)
            }
            (None, Some(length)) => {
                let length = Metres::new(length).map_err(|e| bad(e.to_string()))?;
                let conductor = match (self.cable_mm2, self.cable_awg) {
                    (_, Some(awg)) => Conductor::gauge(awg),
                    (mm2, None) => Conductor::square(mm2.unwrap_or(0.22), Build::default()),
                };
                Cable::new(conductor.map_err(|e| bad(e.to_string()))?, length)
            }
            (None, None) => Cable::none(),
            (Some(_), Some(_)) => {
                return Err(bad("--cable-ohms and --cable-length-m: one of the two".into()));
            }
        };
        let warm = Celsius::new(self.cable_celsius).map_err(|e| bad(e.to_string()))?;
        let cold = Celsius::new(self.cable_celsius.min(-10.0)).map_err(|e| bad(e.to_string()))?;
        let ohms = |at| cable.ohms(at).value();
        let (low, high) = (ohms(cold), ohms(warm));
        Ok(Spread::between(low, ohms(at_20).clamp(low, high), high))
    }
}
