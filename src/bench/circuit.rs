//! The part, the supply and the tips of the leads as one circuit: what a test current or a
//! voltmeter between the two tips meets, and where the armature goes when the drive changes.
//! Solved anew for each question by nodal analysis, so sneak paths through coils and joined
//! pins are there without being thought of. Ohms, volts, amps; the meter's own errors and the
//! leads' resistance are the meter's matter.

use super::BenchOptions;
use super::chance::{Chance, Stream};
use super::network::{Junction, Network, Solution};
use super::output::Equipment;
use super::part::{CoilTask, Part, Suppression};
use super::supply::{Applied, Delivered, Supply};
use drivers::Moment;
use std::cell::RefCell;

/// Between the doubled or joined pins of one terminal, in ohms.
const LINK_OHMS: f64 = 0.002;
/// From a tip to the pin under it; what a scraping tip adds is the meter's matter.
const TIP_OHMS: f64 = 0.001;
/// A voltmeter's input resistance, in ohms. Common practice, no source.
const VOLTMETER_OHMS: f64 = 10e6;
/// Copper's temperature coefficient at 20 degrees Celsius, per kelvin (IEC 60028: 0.00393).
const COPPER_PER_KELVIN: f64 = 0.00393;

/// Which pins each tip touches. Empty: no contact. Two: the tip bridges them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Touch {
    pub(crate) red: Vec<usize>,
    pub(crate) black: Vec<usize>,
    /// Whether metal joins the two tips.
    pub(crate) together: bool,
}

/// The circuit.
#[derive(Clone, Debug)]
pub(crate) struct Circuit {
    part: Part,
    supply: Supply,
    touch: Touch,
    armature_set: bool,
    /// How often the armature stays where it is, and the dice for it.
    sticks: (f64, Chance),
    /// Whether it has stayed since the drive last changed.
    stuck: bool,
    /// Whether the equipment on the other side of a zone is in alarm.
    in_alarm: bool,
    /// Whether the tamper contact of a zone is open.
    tamper_open: bool,
    copper: f64,
    equipment: Option<Equipment>,
    /// Answers since anything last changed: readings come many to a touch.
    answered: RefCell<Vec<(Probe, Option<f64>)>>,
}

/// What the meter puts between its tips.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Probe {
    /// A current out of red, in amps.
    TestAmps(f64),
    /// A voltmeter's input.
    Voltmeter,
}

impl Circuit {
    pub(crate) fn new(part: Part, supply: Supply, options: &BenchOptions) -> Self {
        let BenchOptions { celsius, seed, armature_sticks, .. } = *options;
        let armature_set = part.begins_set;
        let copper = 1.0 + COPPER_PER_KELVIN * (celsius - 20.0);
        let sticks = (armature_sticks, Chance::of(seed, Stream::Armature));
        let (touch, answered) = (Touch::default(), RefCell::default());
        let equipment = part.output.clone().map(|output| Equipment::new(output, seed));
        let (in_alarm, tamper_open) = (false, false);
        Self {
            part,
            supply,
            touch,
            armature_set,
            sticks,
            stuck: false,
            in_alarm,
            tamper_open,
            copper,
            equipment,
            answered,
        }
    }

    pub(crate) fn part(&self) -> &Part {
        &self.part
    }

    pub(crate) fn applied(&self) -> Option<Applied> {
        self.supply.applied
    }

    /// Sets the supply's current limit.
    pub(crate) fn limit_amps(&mut self, amps: f64) {
        self.supply.amps_max = amps;
    }

    /// What the supply delivers as things stand.
    pub(crate) fn delivered(&self) -> Delivered {
        self.supply.solve(&self.network().0).1
    }

    /// Whether the supply can be set to this.
    pub(crate) fn can_apply(&self, volts: f64) -> bool {
        volts.abs() <= self.supply.volts_max
    }

    pub(crate) fn armature_set(&self) -> bool {
        self.armature_set
    }

    /// Puts the tips down.
    pub(crate) fn touch(&mut self, touch: Touch) {
        self.touch = touch;
        self.move_armature();
    }

    /// Switches the supply; says what it delivers once the armature has moved.
    pub(crate) fn apply(&mut self, applied: Option<Applied>) -> Delivered {
        self.supply.applied = applied;
        self.stuck = false;
        self.move_armature()
    }

    /// Volts of red against black with this between the tips; `None` where no path leads from
    /// one to the other, so that a test current cannot flow.
    pub(crate) fn volts(&self, probe: Probe) -> Option<f64> {
        let known = self.answered.borrow().iter().find(|(p, _)| *p == probe).map(|(_, v)| *v);
        known.unwrap_or_else(|| {
            let volts = self.solve_for(probe);
            self.answered.borrow_mut().push((probe, volts));
            volts
        })
    }

    fn solve_for(&self, probe: Probe) -> Option<f64> {
        let (mut network, red, black) = self.network();
        match probe {
            Probe::TestAmps(amps) => network.source(red, black, amps),
            Probe::Voltmeter => network.resistor(red, black, VOLTMETER_OHMS),
        }
        let (solution, _) = self.supply.solve(&network);
        solution.between(red, black)
    }

    /// Whether no path at all leads from tip to tip.
    pub(crate) fn is_open(&self) -> bool {
        self.volts(Probe::TestAmps(0.0)).is_none()
    }

    /// Volts that the supply, or the equipment, puts between the tips.
    pub(crate) fn live_volts(&self, now: Moment) -> f64 {
        let supplied = match (self.supply.applied, self.part.zone) {
            (None, None) => 0.0,
            _ => self.volts(Probe::Voltmeter).unwrap_or(0.0),
        };
        supplied + self.equipment_volts(now)
    }

    /// Opens the tamper contact of a zone, or closes it again.
    pub(crate) const fn open_tamper(&mut self, open: bool) {
        self.tamper_open = open;
    }

    /// The alarm of the equipment begins, or is taken off; false where there is none.
    pub(crate) fn set_alarm(&mut self, on: bool, now: Moment) -> bool {
        self.in_alarm = on;
        self.answered.borrow_mut().clear();
        let output = self.equipment.as_mut().map(|it| it.set_alarm(on, now));
        output.is_some() || self.part.zone.is_some()
    }

    /// Volts of red against black that the equipment's output puts there: its terminals are the
    /// first two pins.
    pub(crate) fn equipment_volts(&self, now: Moment) -> f64 {
        let Some(equipment) = &self.equipment else { return 0.0 };
        let Touch { red, black, together } = &self.touch;
        let across = |plus: &[usize], minus: &[usize]| plus.contains(&0) && minus.contains(&1);
        match () {
            () if *together => 0.0,
            () if across(red, black) => equipment.volts(now),
            () if across(black, red) => -equipment.volts(now),
            () => 0.0,
        }
    }

    /// Lets the armature follow the coils until it rests; a part that would chatter is left
    /// where a few rounds leave it.
    fn move_armature(&mut self) -> Delivered {
        self.answered.borrow_mut().clear();
        let mut delivered = Delivered::default();
        for _ in 0..4 {
            let (network, ..) = self.network();
            let (solution, now) = self.supply.solve(&network);
            delivered = now;
            let set = self.armature_after(&solution);
            if set == self.armature_set || self.stuck {
                break;
            }
            if self.sticks.1.unit() < self.sticks.0 {
                // Until the drive changes next: no knock frees it meanwhile.
                self.stuck = true;
                break;
            }
            self.armature_set = set;
        }
        delivered
    }

    fn armature_after(&self, solution: &Solution) -> bool {
        let mut set = self.armature_set;
        if self.part.armature_stuck {
            return set;
        }
        let mut held = false;
        let mut let_go = false;
        for coil in self.part.coils.iter().filter(|coil| coil.ohms.is_some()) {
            let volts = solution.between(coil.plus, coil.minus).unwrap_or(0.0);
            let picks_up = volts.abs() >= coil.pick_up_volts * self.copper;
            match coil.task {
                CoilTask::Hold => {
                    held |= volts.abs() > coil.drop_out_volts * self.copper;
                    set |= picks_up;
                    let_go = true;
                }
                CoilTask::SetAndReset if picks_up => set = volts > 0.0,
                CoilTask::Set if picks_up => set = true,
                CoilTask::Reset if picks_up => set = false,
                _ => {}
            }
        }
        set && (held || !let_go)
    }

    /// Everything but the supply and what the meter adds; and the nodes of the two tips.
    fn network(&self) -> (Network, usize, usize) {
        let mut network = Network::new(self.part.pins.count());
        self.add_coils(&mut network);
        for contact in &self.part.contacts {
            let throws = contact.nc.iter().chain(&contact.no).map(|t| &t.pins);
            throws.chain([&contact.common]).for_each(|pins| link(&mut network, pins));
            if let Some(throw) = contact.closed(self.armature_set) {
                network.resistor(contact.common[0], throw.pins[0], throw.ohms);
            }
        }
        self.part.joined.iter().for_each(|pins| link(&mut network, pins));
        for &(a, b, ohms) in &self.part.resistors {
            network.resistor(a, b, ohms);
        }
        if let Some(zone) = &self.part.zone {
            network.resistor(0, 1, zone.source_ohms);
            network.source(0, 1, zone.volts / zone.source_ohms);
            let on_it = if self.in_alarm { zone.alarm_ohms } else { zone.rest_ohms };
            let whole = !(zone.tamper && self.tamper_open);
            on_it.filter(|_| whole).into_iter().for_each(|ohms| network.resistor(0, 1, ohms));
        }
        let (red, black) = (network.node(), network.node());
        for (tip, pins) in [(red, &self.touch.red), (black, &self.touch.black)] {
            pins.iter().for_each(|&pin| network.resistor(tip, pin, TIP_OHMS));
        }
        if self.touch.together {
            network.resistor(red, black, TIP_OHMS);
        }
        (network, red, black)
    }

    fn add_coils(&self, network: &mut Network) {
        for coil in &self.part.coils {
            if let Some(ohms) = coil.ohms {
                network.resistor(coil.plus, coil.minus, ohms * self.copper);
            }
            match coil.suppression {
                Suppression::None => {}
                Suppression::Diode => {
                    network.junction(coil.minus, coil.plus, Junction::SILICON);
                }
                Suppression::Lamp { forward_volts, series_ohms } => {
                    let inside = network.node();
                    network.junction(coil.plus, inside, Junction::lamp(forward_volts));
                    network.resistor(inside, coil.minus, series_ohms);
                }
            }
        }
    }
}

fn link(network: &mut Network, pins: &[usize]) {
    for pair in pins.windows(2) {
        network.resistor(pair[0], pair[1], LINK_OHMS);
    }
}
