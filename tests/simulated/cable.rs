//! A link in simulated time from a port to an instrument of the bench. A read lets time pass until
//! the instrument speaks, so nothing waits. What the plan has for the wire strikes here, by its own
//! dice: a loss, garbage, an answer that is late, an instrument that is stuck or has fallen back to
//! another function. Once cut, nothing passes any more: that is what a killed process leaves.

use super::faults::{Dice, Fault, Plan};
use coilmark::bench::{Bench, Wire};
use drivers::link::Received;
use drivers::{DriverError, Link, Moment, Opener};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// What hangs on one end of the bench, shared by every link that is opened to it.
pub struct Cable {
    bench: Bench,
    wire: Wire,
    plan: Plan,
    dice: Dice,
    /// Whether no link can be opened, and until when.
    away_until: Option<Moment>,
    silent_until: Option<Moment>,
    dead: bool,
    cut: bool,
    /// What strikes was rolled, for the record of a campaign.
    pub strikes: u32,
}

/// A cable that ports and tests hold.
pub type Shared = Arc<Mutex<Cable>>;

impl Cable {
    pub fn new(bench: &Bench, wire: Wire, plan: Plan, concern: u64) -> Shared {
        let dice = Dice::of(plan.seed, concern);
        Arc::new(Mutex::new(Self {
            bench: bench.clone(),
            wire,
            plan,
            dice,
            away_until: None,
            silent_until: None,
            dead: false,
            cut: false,
            strikes: 0,
        }))
    }

    /// Nothing passes any more.
    pub fn cut(&mut self) {
        self.cut = true;
    }

    /// A new part of the run: a new process, a new battery, the plug is in.
    pub fn mend(&mut self, plan: Plan) {
        (self.cut, self.dead, self.away_until) = (false, false, None);
        self.silent_until = None;
        self.wire.silence(false);
        self.plan = plan;
    }

    fn lost(&self, step: &str) -> DriverError {
        DriverError::LinkLost { port: "meter".into(), step: step.into(), source: None }
    }

    fn is_away(&mut self) -> bool {
        let now = self.bench.now();
        if self.away_until.is_some_and(|until| until <= now) {
            self.away_until = None;
        }
        if self.silent_until.is_some_and(|until| until <= now) {
            self.silent_until = None;
            self.wire.silence(false);
        }
        self.cut || self.dead || self.away_until.is_some()
    }

    /// What may strike while a command goes out.
    fn strike(&mut self) {
        let now = self.bench.now();
        let rates = [
            (Fault::LinkLost, 1.0 / 400.0),
            (Fault::Garbage, 1.0 / 60.0),
            (Fault::SlowMeter, 1.0 / 40.0),
            (Fault::StuckMeter, 1.0 / 500.0),
            (Fault::WrongUnit, 1.0 / 200.0),
            (Fault::DyingBattery, 1.0 / 1500.0),
        ];
        for (fault, share) in rates {
            if !self.dice.strikes(share) || !self.plan.has(fault) {
                continue;
            }
            self.strikes += 1;
            match fault {
                Fault::LinkLost => {
                    let long = self.dice.strikes(0.1);
                    let gap = self.dice.millis(50, if long { 90_000 } else { 8000 });
                    self.away_until = Some(now + gap);
                }
                Fault::Garbage => {
                    let bytes = self.dice.bytes(40);
                    if self.dice.strikes(0.5) {
                        self.wire.replace_answer(&bytes);
                    } else {
                        self.wire.interject(&bytes);
                    }
                }
                Fault::SlowMeter => self.wire.delay_answer(self.dice.millis(20, 6000)),
                Fault::StuckMeter => {
                    self.silent_until = Some(now + self.dice.millis(100, 12_000));
                    self.wire.silence(true);
                }
                Fault::WrongUnit => self.wire.power_cycle(),
                _ => self.dead = true,
            }
        }
    }
}

/// An opener of links to this cable.
pub fn opener(cable: &Shared) -> Opener {
    let cable = Arc::clone(cable);
    Box::new(move || {
        if cable.lock().unwrap().is_away() {
            return Err(DriverError::Missing { port: "meter".into(), source: None });
        }
        Ok(Box::new(End::of(&cable)))
    })
}

/// One link.
pub struct End {
    cable: Shared,
    unread: Vec<u8>,
}

impl End {
    pub fn of(cable: &Shared) -> Self {
        Self { cable: Arc::clone(cable), unread: Vec::new() }
    }
}

impl Link for End {
    fn write(&mut self, bytes: &[u8], _within: Duration) -> Result<(), DriverError> {
        let mut cable = self.cable.lock().unwrap();
        if cable.is_away() {
            return Err(cable.lost("sending"));
        }
        cable.strike();
        if cable.is_away() {
            return Err(cable.lost("sending"));
        }
        cable.wire.write(bytes);
        Ok(())
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        let mut cable = self.cable.lock().unwrap();
        if cable.is_away() {
            return Err(cable.lost("reading"));
        }
        if self.unread.is_empty() {
            self.unread = cable.wire.hear(wait);
        }
        let count = self.unread.len().min(into.len());
        for (place, byte) in into.iter_mut().zip(self.unread.drain(..count)) {
            *place = byte;
        }
        Ok(if count == 0 { Received::Nothing } else { Received::Bytes(count) })
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        self.unread.clear();
        Ok(())
    }

    fn name(&self) -> &str {
        "meter"
    }
}
