//! The contract, line by line: what the program writes on its output and what it is answered go
//! through here, and the first line that breaks a promise fails the test with that line. It keeps
//! its own counts, its own idea of leads and drive, and what it heard; it knows no relay.

use super::process::Program;
use coilmark::event::{Answer, Ask, AskedDrive, DriveState, Pin};
use jsonschema::Validator;
use serde_json::{Value, json};
use std::sync::OnceLock;

/// The caution that belongs to driving a coil.
const COIL_DRIVE: &str = "coil-drive";

/// A line of the program's.
#[derive(Clone, Debug)]
pub enum Line {
    /// It asks.
    Ask(Asked),
    /// It notes.
    Note(Note),
}

/// An ask with its number.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// Its number.
    pub seq: u64,
    /// What is asked.
    pub ask: Ask,
    /// The line as it came.
    pub text: String,
}

/// A note.
#[derive(Clone, Debug)]
pub struct Note {
    /// Its name.
    pub name: String,
    /// All of it.
    pub fields: Value,
}

/// What was heard and answered, over all parts of one job.
#[derive(Debug)]
pub struct Ledger {
    /// Every ask, once.
    pub asks: Vec<Asked>,
    /// Every note but the live readings.
    pub notes: Vec<Note>,
    /// Live readings heard.
    pub readings: usize,
    /// Place asks answered ready.
    pub placements: u64,
    /// Leads moved for them.
    pub lead_moves: u64,
    /// Drive asks answered ready that changed the supply.
    pub drive_changes: u64,
    /// What is applied.
    pub drive: DriveState,
    /// Highest drive that may be asked, in volts.
    pub volts_max: f64,
    /// Whether the caution that belongs to driving a coil was acknowledged.
    cautioned: bool,
    leads: Option<(Pin, Pin)>,
    skipped: Vec<(Pin, Pin)>,
    open: Option<Asked>,
    objected: bool,
    last_seq: u64,
    finished: bool,
    pub(super) unconfirmed: Option<Ask>,
}

impl Ledger {
    /// An empty one.
    pub fn new() -> Self {
        Self {
            asks: Vec::new(),
            notes: Vec::new(),
            readings: 0,
            placements: 0,
            lead_moves: 0,
            drive_changes: 0,
            drive: DriveState::Rest,
            volts_max: 24.0,
            cautioned: false,
            leads: None,
            skipped: Vec::new(),
            open: None,
            objected: false,
            last_seq: 0,
            finished: false,
            unconfirmed: None,
        }
    }

    /// The next part of the job begins: the leads are in the air, and asks count from one again.
    pub fn resume(&mut self) {
        self.leads = None;
        self.open = None;
        self.objected = false;
        self.last_seq = 0;
        self.finished = false;
        self.skipped.clear();
    }

    /// The ask that is open.
    pub fn open(&self) -> Option<&Asked> {
        self.open.as_ref()
    }

    /// Notes of this name.
    pub fn noted(&self, name: &str) -> impl Iterator<Item = &Value> {
        self.notes.iter().filter(move |note| note.name == name).map(|note| &note.fields)
    }

    /// Takes in one line of the program's.
    #[track_caller]
    pub fn hear(&mut self, text: &str) -> Line {
        assert!(!self.finished, "after `finished`: {text}");
        let fields: Value = serde_json::from_str(text).unwrap_or_else(|e| panic!("{e}: {text}"));
        let errors: Vec<String> =
            output_schema().iter_errors(&fields).map(|e| e.to_string()).collect();
        assert!(errors.is_empty(), "not by the schema: {errors:?}: {text}");
        assert_eq!(fields["v"], 1, "{text}");
        if fields.get("note").is_none() {
            let seq = fields["seq"].as_u64().unwrap_or_else(|| panic!("no seq: {text}"));
            let ask = serde_json::from_value(fields).unwrap_or_else(|e| panic!("{e}: {text}"));
            return Line::Ask(self.asked(Asked { seq, ask, text: text.to_owned() }));
        }
        let name = fields["note"].as_str().unwrap_or_else(|| panic!("no note: {text}")).to_owned();
        self.noticed(Note { name, fields }, text)
    }

    fn asked(&mut self, asked: Asked) -> Asked {
        let text = &asked.text;
        if std::mem::take(&mut self.objected) {
            assert_eq!(self.open.as_ref(), Some(&asked), "not the same ask again");
            return asked;
        }
        assert!(self.open.is_none(), "a second ask is open: {text}");
        self.last_seq += 1;
        assert_eq!(asked.seq, self.last_seq, "{text}");
        match &asked.ask {
            Ask::Place { red, black, drive, .. } => {
                assert_ne!(red, black, "{text}");
                assert_eq!(*drive, self.drive.asked(), "the drive is {}: {text}", self.drive);
                let skipped =
                    |(a, b): &(Pin, Pin)| (a, b) == (red, black) || (b, a) == (red, black);
                assert!(!self.skipped.iter().any(skipped), "skipped before: {text}");
                assert_eq!(*drive, AskedDrive::Rest, "leads move only at rest: {text}");
            }
            Ask::Drive(drive @ DriveState::Energised { volts, .. }) => {
                assert!(*volts > 0.0 && *volts <= self.volts_max, "{text}");
                let (red, black) = self.leads.as_ref().expect("driven with the leads in the air");
                assert!(!drive.is_across(red, black), "driven under the leads: {text}");
                assert!(self.cautioned, "no caution before: {text}");
            }
            Ask::Alarm { .. } => assert!(self.leads.is_some(), "the leads are in the air: {text}"),
            Ask::Clip { .. } => panic!("no supply is on this bench: {text}"),
            Ask::Serial { .. } => panic!("no board is on this bench: {text}"),
            Ask::Drive(DriveState::Rest)
            | Ask::Dial { .. }
            | Ask::Acknowledge { .. }
            | Ask::Label { .. }
            | Ask::Step { .. }
            | Ask::Point { .. } => {}
        }
        self.open = Some(asked.clone());
        self.asks.push(asked.clone());
        asked
    }

    fn noticed(&mut self, note: Note, text: &str) -> Line {
        assert!(!self.objected, "an objection, and then not the ask: {text}");
        match note.name.as_str() {
            "reading" => {
                self.readings += 1;
                return Line::Note(note);
            }
            "error" => self.objected = self.open.is_some(),
            "finished" => self.finished = true,
            "link" => self.leads = None,
            "placement" | "drive" | "caution" | "dial" | "skip" => {
                self.unconfirmed = None;
                self.cautioned |= note.fields["caution"] == COIL_DRIVE;
            }
            "result" if note.fields["kind"] == "identify" => self.compare(&note.fields),
            _ => {}
        }
        self.notes.push(note.clone());
        Line::Note(note)
    }

    /// The result's counts are the ones that were counted here.
    fn compare(&self, result: &Value) {
        let found = [&result["placements"], &result["lead_moves"], &result["drive_changes"]];
        let counted = [self.placements, self.lead_moves, self.drive_changes].map(|n| json!(n));
        assert_eq!(found, [&counted[0], &counted[1], &counted[2]], "counts of {result}");
    }

    /// The person answers the open ask.
    pub fn answered(&mut self, answer: Answer) {
        let asked = self.open.take().expect("an ask is open");
        if !asked.ask.accepts(answer) {
            self.open = Some(asked);
            return;
        }
        self.unconfirmed = Some(asked.ask.clone());
        match (answer, asked.ask) {
            (Answer::Ready, Ask::Place { red, black, .. }) => self.placed(red, black),
            (Answer::Ready, Ask::Drive(drive)) => {
                self.drive_changes += u64::from(drive != self.drive);
                self.drive = drive;
            }
            (Answer::Skip, Ask::Place { red, black, .. }) => self.skipped.push((red, black)),
            _ => {}
        }
    }

    fn placed(&mut self, red: Pin, black: Pin) {
        self.placements += 1;
        self.lead_moves += match &self.leads {
            Some((r, b)) if (r, b) != (&red, &black) => {
                u64::from(*r != red) + u64::from(*b != black)
            }
            _ => 2,
        };
        self.leads = Some((red, black));
    }

    /// After a kill: the counts as the record has them, which may lack the one answer that was
    /// given last. Says whether it lacks it: then it was never done.
    pub fn reconcile(&mut self, record: &[Value]) -> bool {
        let all = |event: &str| record.iter().filter(|e| e["event"] == event).collect::<Vec<_>>();
        let placed = all("placement");
        let moves = placed.iter().filter_map(|e| e["lead_moves"].as_u64()).sum();
        // A drive that is taken off for safety's sake changes nothing where it was off.
        let supply =
            |line: &Value| ["state", "plus", "minus", "volts"].map(|field| line[field].to_string());
        let rest = supply(&json!({ "state": "rest" }));
        let states = std::iter::once(rest).chain(all("drive").into_iter().map(supply));
        let states: Vec<_> = states.collect();
        let drives = states.windows(2).filter(|pair| pair[0] != pair[1]).count() as u64;
        let lacks = (self.placements - placed.len() as u64) + (self.drive_changes - drives);
        assert!(lacks == 0 || (lacks == 1 && self.unconfirmed.is_some()), "{self:#?}");
        (self.placements, self.lead_moves, self.drive_changes) =
            (placed.len() as u64, moves, drives);
        self.unconfirmed = None;
        self.cautioned = all("caution").iter().any(|line| line["caution"] == COIL_DRIVE);
        lacks == 1
    }

    /// Whether the last line was `finished`, and what it says.
    pub fn finished(&self) -> Option<&Value> {
        self.notes.last().filter(|_| self.finished).map(|note| &note.fields)
    }
}

/// An answer as a line, held against the published schema.
pub fn answer_line(seq: u64, answer: Answer) -> String {
    let line = json!({ "seq": seq, "answer": answer });
    assert!(input_schema().is_valid(&line), "not by the schema: {line}");
    line.to_string()
}

/// The side of the published schema that describes the program's output.
fn output_schema() -> &'static Validator {
    static SIDE: OnceLock<Validator> = OnceLock::new();
    SIDE.get_or_init(|| side("output"))
}

fn input_schema() -> &'static Validator {
    static SIDE: OnceLock<Validator> = OnceLock::new();
    SIDE.get_or_init(|| side("input"))
}

fn side(name: &str) -> Validator {
    static SCHEMA: OnceLock<Value> = OnceLock::new();
    let schema = SCHEMA.get_or_init(|| {
        let ended = Program::run(&["schema", "operator"]).exits(0);
        serde_json::from_str(&ended.lines.join("\n")).expect("a schema is JSON")
    });
    let of_side = json!({
        "$schema": schema["$schema"],
        "allOf": [schema["properties"][name]],
        "$defs": schema["$defs"],
    });
    jsonschema::validator_for(&of_side).expect("the schema is a schema")
}
