//! What lies on the bench in a simulated run, and what the program is asked to do with it: an
//! unmarked relay, a relay board, an output, a zone loop, or a whole job of one after another. The
//! files in fixtures/ are the truth; the seed deals which of them, with which meter, and who
//! drives.

use super::World;
use super::faults::{Dice, Fault, Plan};
use coilmark::bench::{Bench, BenchOptions, MeterModel, Part, SlipRates};
use coilmark::event::{
    BoardStart, CoilDriven, IdentifyStart, LoopKind, OutputStart, PickUpStart, Pin, ResistorPlace,
    RunTerms, ZoneCheckStart, ZoneContact, ZoneWiring,
};

const RELAYS: [&str; 12] = [
    "make_1_pole",
    "break_1_pole",
    "changeover_1_pole",
    "changeover_1_pole_joined",
    "changeover_1_pole_labelled",
    "changeover_2_pole",
    "changeover_2_pole_diode",
    "changeover_2_pole_lamp",
    "changeover_2_pole_24_volt",
    "make_2_pole",
    "fault_welded_no",
    "fault_no_response",
];
const BOARDS: [&str; 6] =
    ["good", "high_contact", "late_pick_up", "sticky_drop_out", "swapped_contacts", "welded"];
const OUTPUTS: [&str; 5] = ["steady", "pulsed", "never", "reversed", "hold_up"];
const ZONES: [&str; 5] = [
    "series_as_designed",
    "series_contact_welded",
    "series_resistor_joined",
    "series_wire_cut",
    "series_pair_shorted",
];

/// One command on one bench.
#[derive(Clone)]
pub struct Case {
    /// The fixture's name.
    pub name: &'static str,
    /// The command and its terms.
    pub terms: RunTerms,
    /// What lies there.
    pub part: Part,
    /// The meter's dialect.
    pub profile: &'static str,
    supplied: bool,
}

impl Case {
    /// A world with this on its bench.
    pub fn world(&self, plan: &Plan) -> World {
        let often = |fault, rate| if plan.has(fault) { rate } else { 0.0 };
        let slips = SlipRates {
            no_contact: often(Fault::Slips, SlipRates::USUAL.no_contact),
            bridge: often(Fault::Slips, SlipRates::USUAL.bridge),
            next_pin: often(Fault::WrongPin, 0.002),
            wrong_pin: often(Fault::WrongPin, 0.005),
        };
        let meter = match self.profile {
            "ascii-lines" => MeterModel::free_running(),
            _ => MeterModel::commanded(),
        };
        let options = BenchOptions {
            seed: plan.seed,
            slips,
            meter,
            armature_sticks: often(Fault::RelaySticks, 0.01),
            ..BenchOptions::default()
        };
        let bench = Bench::new(self.part.clone(), options);
        World::new(bench, plan.clone(), self.profile, self.supplied)
    }
}

/// What this seed deals: one command, or a whole job in one folder.
pub fn deal(seed: u64) -> Vec<Case> {
    let mut dice = Dice::of(seed, 5);
    let by_hand = dice.strikes(0.3);
    let profile = if by_hand { "ascii-lines" } else { "scpi" };
    let supplied = !by_hand && dice.strikes(0.4);
    match dice.below(11) {
        10 => vec![pickup(supplied)],
        0..=4 => vec![relay(&mut dice, profile, supplied)],
        5 | 6 => vec![board(&mut dice, profile, supplied)],
        7 => vec![output(&mut dice)],
        8 => vec![zone(&mut dice, profile)],
        _ => vec![
            output(&mut dice),
            relay(&mut dice, profile, supplied),
            board(&mut dice, profile, supplied),
            zone(&mut dice, profile),
        ],
    }
}

fn text(path: &str) -> String {
    std::fs::read_to_string(format!("{}/fixtures/{path}.toml", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

fn part(folder: &str, name: &str) -> Part {
    Part::parse(&text(&format!("{folder}/{name}")), name).unwrap()
}

fn relay(dice: &mut Dice, profile: &'static str, supplied: bool) -> Case {
    let name = RELAYS[dice.below(RELAYS.len())];
    let part = part("relays", name);
    let start = IdentifyStart {
        footprint: part.footprint.clone(),
        ..IdentifyStart::usual(part.pins.clone())
    };
    Case { name, terms: RunTerms::Identify(start), part, profile, supplied }
}

fn pickup(supplied: bool) -> Case {
    let pins = |a, b| [Pin::new(a), Pin::new(b)];
    let start = PickUpStart {
        ramps: 1,
        coil_celsius_max: 85.0,
        rated_volts: Some(12.0),
        ..PickUpStart::usual(pins("2", "5"), pins("1", "3"))
    };
    let (name, terms) = ("changeover_1_pole", RunTerms::PickUp(start));
    Case { name, terms, part: part("relays", name), profile: "scpi", supplied }
}

fn board(dice: &mut Dice, profile: &'static str, supplied: bool) -> Case {
    let name = BOARDS[dice.below(BOARDS.len())];
    let start = BoardStart {
        plan: toml::from_str(&text("boards/changeover-12v")).unwrap(),
        serial: Some("A17".into()),
        batch: false,
        by: None,
        ambient_celsius: Some(20.0),
    };
    let terms = RunTerms::Board(Box::new(start));
    Case { name, terms, part: part("boards/sim", name), profile, supplied }
}

fn output(dice: &mut Dice) -> Case {
    let name = OUTPUTS[dice.below(OUTPUTS.len())];
    let terms =
        RunTerms::Output(OutputStart { nominal_volts: Some(12.0), for_s: 20.0, guard_s: 3.0 });
    Case { name, terms, part: part("outputs", name), profile: "scpi", supplied: false }
}

fn zone(dice: &mut Dice, profile: &'static str) -> Case {
    let name = ZONES[dice.below(ZONES.len())];
    let start = ZoneCheckStart {
        panel: text("panels/series_3k3_12_volt"),
        wiring: ZoneWiring {
            kind: LoopKind::Series,
            contact: ZoneContact::NormallyClosed,
            place: ResistorPlace::FarEnd,
            drive: CoilDriven::InAlarm,
            tamper: false,
        },
        cable_ohms: 9.0,
        contact_ohms_max: 1.0,
        follow_within_s: 20.0,
    };
    let terms = RunTerms::ZoneCheck(Box::new(start));
    Case { name, terms, part: part("zones", name), profile, supplied: false }
}
