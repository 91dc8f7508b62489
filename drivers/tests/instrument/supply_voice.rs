//! What the supply understands: SCPI-99's SOURce:VOLTage, SOURce:CURRent, OUTPut and MEASure (vol.
//! 2), by way of the `microscpi` interpreter, whose handlers these are. From one line of bytes to
//! the answer's bytes. A resistor hangs at its output; above the current limit the current is held,
//! as a bench supply does.

use super::voice::{Queue, answered};
use microscpi::{Characters, Error, ErrorQueue, StatusRegisters};
use std::sync::{Arc, Mutex, MutexGuard};

/// What `*IDN?` answers.
pub const SUPPLY_IDENTITY: &str = "TEST BENCH,SUPPLY,2,0.6";

/// The most that it can be set to.
const VOLTS_MAX: f64 = 30.0;
const AMPS_MAX: f64 = 3.0;

/// What the supply does at its terminals.
#[derive(Clone, Copy, Debug)]
pub struct Output {
    pub set_volts: f64,
    pub set_amps: f64,
    pub on: bool,
    pub load_ohms: f64,
}

impl Output {
    /// Nothing set, off, with this load.
    pub fn feeding(load_ohms: f64) -> Arc<Mutex<Self>> {
        Arc::new(Mutex::new(Self { set_volts: 0.0, set_amps: 0.1, on: false, load_ohms }))
    }

    /// Volts at the terminals.
    pub fn volts(&self) -> f64 {
        if self.on { self.set_volts.min(self.set_amps * self.load_ohms) } else { 0.0 }
    }
}

/// The interpreter with the supply's state.
pub struct SupplyVoice {
    output: Arc<Mutex<Output>>,
    queue: Queue,
    registers: StatusRegisters,
}

impl SupplyVoice {
    pub fn new(output: Arc<Mutex<Output>>) -> Self {
        Self { output, queue: Queue::default(), registers: StatusRegisters::default() }
    }

    /// The answer to one line, its line feed included; empty where it has none.
    pub fn answer(&mut self, line: &[u8]) -> Vec<u8> {
        answered(self, line)
    }

    /// The errors raised since the last call.
    pub fn take_raised(&mut self) -> Vec<String> {
        std::mem::take(&mut self.queue.raised)
    }

    fn output(&self) -> MutexGuard<'_, Output> {
        self.output.lock().unwrap()
    }
}

#[microscpi::interface(StandardCommands, ErrorCommands, StatusCommands)]
impl SupplyVoice {
    #[scpi(cmd = "*IDN?")]
    fn identify(&mut self) -> Result<Characters<'_>, Error> {
        Ok(Characters(SUPPLY_IDENTITY))
    }

    #[scpi(cmd = "[SOURce]:VOLTage")]
    fn set_volts(&mut self, volts: f64) -> Result<(), Error> {
        if !(0.0..=VOLTS_MAX).contains(&volts) {
            return Err(Error::DataOutOfRange);
        }
        self.output().set_volts = volts;
        Ok(())
    }

    #[scpi(cmd = "[SOURce]:VOLTage?")]
    fn volts_set(&mut self) -> Result<f64, Error> {
        Ok(self.output().set_volts)
    }

    #[scpi(cmd = "[SOURce]:CURRent")]
    fn set_amps(&mut self, amps: f64) -> Result<(), Error> {
        if !(0.0..=AMPS_MAX).contains(&amps) {
            return Err(Error::DataOutOfRange);
        }
        self.output().set_amps = amps;
        Ok(())
    }

    #[scpi(cmd = "[SOURce]:CURRent?")]
    fn amps_set(&mut self) -> Result<f64, Error> {
        Ok(self.output().set_amps)
    }

    #[scpi(cmd = "OUTPut")]
    fn switch(&mut self, on: bool) -> Result<(), Error> {
        self.output().on = on;
        Ok(())
    }

    #[scpi(cmd = "OUTPut?")]
    fn switched(&mut self) -> Result<bool, Error> {
        Ok(self.output().on)
    }

    #[scpi(cmd = "MEASure:VOLTage?")]
    fn measure_volts(&mut self) -> Result<f64, Error> {
        Ok(self.output().volts())
    }

    #[scpi(cmd = "MEASure:CURRent?")]
    fn measure_amps(&mut self) -> Result<f64, Error> {
        let output = *self.output();
        Ok(output.volts() / output.load_ohms)
    }
}

impl microscpi::StandardCommands for SupplyVoice {}

impl microscpi::ErrorCommands for SupplyVoice {
    fn error_queue(&mut self) -> &mut impl ErrorQueue {
        &mut self.queue
    }
}

impl microscpi::StatusCommands for SupplyVoice {
    fn status_registers(&mut self) -> &mut StatusRegisters {
        &mut self.registers
    }
}
