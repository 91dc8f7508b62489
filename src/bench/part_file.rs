//! The text of a relay file (TOML) -> a checked [`Part`]. Numbers carry their unit in the key.
//! Every pin must have a place, every fault must hit something, and the `[truth]` table must
//! agree with the tables above it: a fixture cannot contradict itself. Examples of the format
//! are `fixtures/relays/*.toml`. What a part does is the circuit's matter.

use super::part::{
    Coil, CoilTask, Contact, Part, Suppression, Throw, ThrowState, TrueCoil, TruePole, Truth,
};
use super::part_raw::{RawContact, RawFault, RawPart, RawPins, RawSuppression};
use super::toml_text::{line_of, toml_problem};
use crate::event::{FaultCode, Latching, Pin, Pins};

/// Why a relay file is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}{}: {problem}", .line.map(|l| format!(":{l}")).unwrap_or_default())]
pub struct BadPart {
    /// The file, as it was named.
    pub file: String,
    /// The line, counted from 1, where there is one.
    pub line: Option<usize>,
    /// What is wrong, naming the key.
    pub problem: String,
    /// What to do about it.
    pub hint: String,
}

impl BadPart {
    pub(crate) fn unreadable(file: String, source: &std::io::Error) -> Self {
        Self {
            file,
            line: None,
            problem: format!("cannot be read: {source}"),
            hint: "name a relay file, such as fixtures/relays/changeover_1_pole.toml".into(),
        }
    }
}

/// The schema of the file, for `coilmark schema relay`.
pub(crate) fn schema() -> schemars::Schema {
    schemars::schema_for!(RawPart)
}

/// See [`Part::parse`].
pub(crate) fn parse(text: &str, file: &str) -> Result<Part, BadPart> {
    let raw: RawPart = toml::from_str(text).map_err(|error| {
        let found = toml_problem(text, &error);
        BadPart { file: file.into(), line: found.line, problem: found.problem, hint: found.hint }
    })?;
    Checker { text, file, raw: &raw, pins: pins_of(&raw, text, file)? }.part()
}

fn pins_of(raw: &RawPart, text: &str, file: &str) -> Result<Pins, BadPart> {
    let pins = match &raw.pins {
        RawPins::Count(count) => Pins::numbered(*count),
        RawPins::Labels(labels) => Pins::try_from(labels.clone()),
    };
    pins.map_err(|problem| BadPart {
        file: file.into(),
        line: line_of(text, "", 0, "pins"),
        problem: format!("`pins`: {problem}"),
        hint: "write `pins = 8`, or a list of labels".into(),
    })
}

/// Where in the file something stands: the table, which one of its name, the key.
type Place = (&'static str, usize, &'static str);

struct Checker<'a> {
    text: &'a str,
    file: &'a str,
    raw: &'a RawPart,
    pins: Pins,
}

impl Checker<'_> {
    fn bad(&self, place: Place, problem: impl std::fmt::Display, hint: &str) -> BadPart {
        let (table, nth, key) = place;
        let name = if table.is_empty() { String::new() } else { format!("{table}.") };
        BadPart {
            file: self.file.into(),
            line: line_of(self.text, table, nth, key),
            problem: format!("`{name}{key}`: {problem}"),
            hint: hint.into(),
        }
    }

    fn position(&self, pin: &Pin, place: Place) -> Result<usize, BadPart> {
        self.pins.position(pin).ok_or_else(|| {
            let known: Vec<&str> = self.pins.iter().map(Pin::label).collect();
            let shown: String = pin.label().escape_debug().take(24).collect();
            let hint = format!("the pins are {}", known.join(", "));
            self.bad(place, format!("no pin `{shown}`"), &hint)
        })
    }

    fn positions(&self, pins: &[Pin], place: Place) -> Result<Vec<usize>, BadPart> {
        pins.iter().map(|pin| self.position(pin, place)).collect()
    }

    fn pair(&self, pins: &[Pin; 2], place: Place) -> Result<(usize, usize), BadPart> {
        let (a, b) = (self.position(&pins[0], place)?, self.position(&pins[1], place)?);
        if a == b {
            return Err(self.bad(place, "one pin twice", "name two different pins"));
        }
        Ok((a, b))
    }

    fn positive(&self, value: f64, place: Place) -> Result<f64, BadPart> {
        if value.is_finite() && value > 0.0 && value <= 1e12 {
            Ok(value)
        } else {
            Err(self.bad(place, format!("{value} is out of range"), "above 0, at most 1e12"))
        }
    }

    fn part(&self) -> Result<Part, BadPart> {
        let mut coils = self.coils()?;
        let mut contacts = self.contacts()?;
        let joined = self
            .raw
            .joined
            .iter()
            .map(|group| self.positions(group, ("", 0, "joined")))
            .collect::<Result<Vec<_>, _>>()?;
        let mut resistors = Vec::new();
        for (n, raw) in self.raw.resistor.iter().enumerate() {
            let (a, b) = self.pair(&raw.pins, ("resistor", n, "pins"))?;
            resistors.push((a, b, self.positive(raw.ohms, ("resistor", n, "ohms"))?));
        }
        let mut armature_stuck = false;
        for (n, fault) in self.raw.fault.iter().enumerate() {
            self.break_it(n, fault, &mut coils, &mut contacts, &mut armature_stuck)?;
        }
        self.every_pin_has_one_place(&coils, &contacts, &joined, &resistors)?;
        let truth = self.truth(&coils, &contacts)?;
        Ok(Part {
            name: self.raw.name.clone(),
            pins: self.pins.clone(),
            footprint: self.raw.footprint.clone(),
            truth,
            coils,
            contacts,
            joined,
            resistors,
            latching: self.raw.latching,
            begins_set: self.raw.begins_set,
            armature_stuck,
            zone: None,
            output: None,
        })
    }

    fn coils(&self) -> Result<Vec<Coil>, BadPart> {
        let tasks: &[CoilTask] = match self.raw.latching {
            Latching::No => &[CoilTask::Hold; Pins::MAX],
            Latching::OneCoil => &[CoilTask::SetAndReset],
            Latching::TwoCoils => &[CoilTask::Set, CoilTask::Reset],
        };
        let fits = match self.raw.latching {
            Latching::No => self.raw.coil.len() <= tasks.len(),
            _ => self.raw.coil.len() == tasks.len(),
        };
        if !fits {
            let found = format!("{} coils do not fit", self.raw.coil.len());
            let hint = "\"one coil\" wants one [[coil]]; \"two coils\" two: set, then reset";
            return Err(self.bad(("", 0, "latching"), found, hint));
        }
        let mut coils = Vec::new();
        for (n, (raw, task)) in self.raw.coil.iter().zip(tasks).enumerate() {
            let (first, second) = self.pair(&raw.pins, ("coil", n, "pins"))?;
            let (suppression, plus) = self.suppression(n, &raw.suppression, (first, second))?;
            self.positive(raw.rated_volts, ("coil", n, "rated_volts"))?;
            let pick_up_volts = self.positive(raw.pick_up_volts, ("coil", n, "pick_up_volts"))?;
            let drop_out_volts =
                self.positive(raw.drop_out_volts, ("coil", n, "drop_out_volts"))?;
            if drop_out_volts >= pick_up_volts {
                let hint = "a relay drops out below its pick-up";
                return Err(self.bad(("coil", n, "drop_out_volts"), "not below pick-up", hint));
            }
            coils.push(Coil {
                plus,
                minus: if plus == first { second } else { first },
                ohms: Some(self.positive(raw.ohms, ("coil", n, "ohms"))?),
                pick_up_volts,
                drop_out_volts,
                suppression,
                task: *task,
            });
        }
        Ok(coils)
    }

    /// What lies across coil `n`, and the pin that takes plus for it.
    fn suppression(
        &self,
        n: usize,
        raw: &RawSuppression,
        (first, second): (usize, usize),
    ) -> Result<(Suppression, usize), BadPart> {
        let place = ("coil", n, "suppression");
        let (found, pin) = match raw {
            RawSuppression::None => return Ok((Suppression::None, first)),
            RawSuppression::Diode { cathode } => (Suppression::Diode, cathode),
            RawSuppression::Lamp { anode, forward_volts, series_ohms } => {
                let forward_volts = self.positive(*forward_volts, place)?;
                let series_ohms = self.positive(*series_ohms, place)?;
                (Suppression::Lamp { forward_volts, series_ohms }, anode)
            }
        };
        let plus = self.position(pin, place)?;
        if plus != first && plus != second {
            return Err(self.bad(
                place,
                format!("pin {pin} is not of this coil"),
                "name a pin of it",
            ));
        }
        Ok((found, plus))
    }

    fn contacts(&self) -> Result<Vec<Contact>, BadPart> {
        self.raw.contact.iter().enumerate().map(|(n, raw)| self.contact(n, raw)).collect()
    }

    fn contact(&self, n: usize, raw: &RawContact) -> Result<Contact, BadPart> {
        let ohms = self.positive(raw.ohms, ("contact", n, "ohms"))?;
        let throw = |pins: &[Pin], key| -> Result<Option<Throw>, BadPart> {
            let pins = self.positions(pins, ("contact", n, key))?;
            Ok((!pins.is_empty()).then_some(Throw { pins, ohms, state: ThrowState::Works }))
        };
        let contact = Contact {
            common: self.positions(&raw.common, ("contact", n, "common"))?,
            nc: throw(&raw.nc, "nc")?,
            no: throw(&raw.no, "no")?,
        };
        if contact.common.is_empty() || (contact.nc.is_none() && contact.no.is_none()) {
            let hint = "give `common`, and `nc` or `no` or both";
            return Err(self.bad(("contact", n, "common"), "not a contact", hint));
        }
        Ok(contact)
    }

    fn break_it(
        &self,
        n: usize,
        fault: &RawFault,
        coils: &mut [Coil],
        contacts: &mut [Contact],
        armature_stuck: &mut bool,
    ) -> Result<(), BadPart> {
        let place = ("fault", n, "code");
        let missing = |what: &str| self.bad(place, format!("hits no {what}"), "counted from 1");
        match fault {
            RawFault::WeldedContact { pole, throw } => {
                let hit = throw.of(*pole, contacts).ok_or_else(|| missing("such contact"))?;
                hit.state = ThrowState::Welded;
            }
            RawFault::StuckOpenContact { pole, throw } => {
                let hit = throw.of(*pole, contacts).ok_or_else(|| missing("such contact"))?;
                hit.state = ThrowState::NeverCloses;
            }
            RawFault::HighContactOhms { pole, throw, ohms } => {
                let hit = throw.of(*pole, contacts).ok_or_else(|| missing("such contact"))?;
                hit.ohms = self.positive(*ohms, ("fault", n, "ohms"))?;
            }
            RawFault::OpenCoil { coil } => {
                coil_of(*coil, coils).ok_or_else(|| missing("such coil"))?.ohms = None;
            }
            RawFault::ShortedTurns { coil, ohms } => {
                let ohms = self.positive(*ohms, ("fault", n, "ohms"))?;
                coil_of(*coil, coils).ok_or_else(|| missing("such coil"))?.ohms = Some(ohms);
            }
            RawFault::NoResponse {} => *armature_stuck = true,
        }
        Ok(())
    }

    fn truth(&self, coils: &[Coil], contacts: &[Contact]) -> Result<Truth, BadPart> {
        let labels = |at: &[usize]| at.iter().map(|&p| self.pins.at(p).clone()).collect();
        let throw = |t: &Option<Throw>| t.as_ref().map(|t| labels(&t.pins)).unwrap_or_default();
        let truth = Truth {
            family: family(contacts),
            coils: coils
                .iter()
                .zip(&self.raw.coil)
                .map(|(coil, raw)| TrueCoil {
                    plus: self.pins.at(coil.plus).clone(),
                    minus: self.pins.at(coil.minus).clone(),
                    polarised: coil.suppression != Suppression::None,
                    ohms: coil.ohms.unwrap_or(f64::INFINITY),
                    rated_volts: raw.rated_volts,
                })
                .collect(),
            poles: contacts
                .iter()
                .map(|c| TruePole {
                    form: c.form(),
                    common: labels(&c.common),
                    nc: throw(&c.nc),
                    no: throw(&c.no),
                })
                .collect(),
            joined: self.raw.joined.clone(),
            spares: self.raw.spares.clone(),
            latching: self.raw.latching,
            faults: self.faults(),
        };
        self.agrees(&truth)?;
        Ok(truth)
    }

    fn faults(&self) -> Vec<FaultCode> {
        let mut faults: Vec<FaultCode> = self.raw.fault.iter().map(RawFault::code).collect();
        if self.raw.coil.is_empty() && self.raw.contact.is_empty() {
            faults.push(FaultCode::NotARelay);
        }
        faults.sort_unstable();
        faults.dedup();
        faults
    }

    /// The `[truth]` table repeats what the file says in the result's words; both must agree.
    fn agrees(&self, truth: &Truth) -> Result<(), BadPart> {
        let said = &self.raw.truth;
        let hint = "the tables above say otherwise; correct one of the two";
        let differs = |key, found: String| {
            Err(self.bad(("truth", 0, key), format!("the model has {found}"), hint))
        };
        let coils: Vec<[Pin; 2]> =
            truth.coils.iter().map(|c| [c.plus.clone(), c.minus.clone()]).collect();
        let mut faults = said.faults.clone();
        faults.sort_unstable();
        if said.family != truth.family {
            differs("family", format!("`{}`", truth.family))
        } else if said.coils != coils {
            differs("coils", format!("{coils:?}"))
        } else if said.latching != truth.latching {
            differs("latching", format!("{:?}", truth.latching))
        } else if faults != truth.faults {
            differs("faults", format!("{:?}", truth.faults))
        } else {
            Ok(())
        }
    }

    fn every_pin_has_one_place(
        &self,
        coils: &[Coil],
        contacts: &[Contact],
        joined: &[Vec<usize>],
        resistors: &[(usize, usize, f64)],
    ) -> Result<(), BadPart> {
        let spares = self.positions(&self.raw.spares, ("", 0, "spares"))?;
        let mut contact_uses = vec![0_u32; self.pins.count()];
        let mut other_uses = contact_uses.clone();
        for contact in contacts {
            let throws = contact.nc.iter().chain(&contact.no).flat_map(|t| &t.pins);
            contact.common.iter().chain(throws).for_each(|&p| contact_uses[p] += 1);
        }
        coils.iter().for_each(|c| [c.plus, c.minus].iter().for_each(|&p| other_uses[p] = 1));
        joined.iter().flatten().for_each(|&p| other_uses[p] = 1);
        resistors.iter().for_each(|r| [r.0, r.1].iter().for_each(|&p| other_uses[p] = 1));
        for (p, pin) in self.pins.iter().enumerate() {
            let used = contact_uses[p] > 0 || other_uses[p] > 0;
            let problem = match (contact_uses[p] > 1, used, spares.contains(&p)) {
                (true, ..) => format!("pin {pin} is in two contacts"),
                (_, true, true) => format!("pin {pin} is a spare and in use"),
                (_, false, false) => format!("pin {pin} has no place"),
                _ => continue,
            };
            let hint = "name each pin in one contact, a coil, `joined`, a resistor, or `spares`";
            return Err(self.bad(("", 0, "pins"), problem, hint));
        }
        Ok(())
    }
}

fn coil_of(counted_from_1: usize, coils: &mut [Coil]) -> Option<&mut Coil> {
    coils.get_mut(counted_from_1.checked_sub(1)?)
}

/// Contact codes in the order A, B, C, joined by `+`.
fn family(contacts: &[Contact]) -> String {
    let mut forms: Vec<_> = contacts.iter().map(Contact::form).collect();
    forms.sort_unstable();
    forms
        .chunk_by(|a, b| a == b)
        .map(|same| format!("{}{:?}", same.len(), same[0]))
        .collect::<Vec<_>>()
        .join("+")
}
