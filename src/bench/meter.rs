//! The simulated meter: the circuit between its tips -> the value on its display. It ranges by
//! itself with the test current of each range, adds the leads' resistance, a tip that still
//! scrapes, the errors it keeps for life and its noise, and rounds to its counts. A conversion
//! is begun at one moment and finished at another; what changed in between spoils it. How the
//! value is spelt on the wire is the voices' matter.

use super::chance::{Chance, Stream};
use super::circuit::{Circuit, Probe};
use super::meter_model::{Accuracy, MeterModel};
use drivers::{Function, Moment, Value};
use std::time::Duration;

/// Largest test current, in amps, in ranges up to 2 kilohms. Common practice, no source.
const TEST_AMPS: f64 = 1e-3;
/// How long after a change of drive the contacts move and bounce. Common practice, no source.
const CONTACTS_MOVE: Duration = Duration::from_millis(8);

/// The meter's state.
#[derive(Clone, Debug)]
pub(crate) struct Meter {
    pub(crate) model: MeterModel,
    function: Function,
    errors: [LifeError; 2],
    noise: Chance,
    noise_factor: f64,
    touch: Chance,
    leads_ohms: f64,
    scrape_ohms: f64,
    touched_at: Option<Moment>,
    changed_at: Moment,
}

/// The gain and offset errors that one meter keeps, as parts of what its accuracy allows.
#[derive(Clone, Copy, Debug)]
struct LifeError {
    gain: f64,
    offset: f64,
}

/// A conversion under way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Conversion {
    pub(crate) function: Function,
    pub(crate) begun: Moment,
    pub(crate) due: Moment,
    before: Shown,
}

/// A value on the display, with the resolution of its range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Shown {
    pub(crate) value: Value,
    /// One count of the range, in the function's unit.
    pub(crate) count: f64,
}

impl Meter {
    pub(crate) fn new(model: MeterModel, seed: u64, noise_factor: f64) -> Self {
        let mut life = Chance::of(seed, Stream::MeterError);
        let mut error = || LifeError {
            gain: life.between(-1.0, 1.0) * noise_factor.min(1.0),
            offset: life.between(-1.0, 1.0) * noise_factor.min(1.0),
        };
        let errors = [error(), error()];
        let leads_ohms = life.between(0.1, 0.3);
        Self {
            model,
            function: Function::VoltageDc,
            errors,
            noise: Chance::of(seed, Stream::Noise),
            noise_factor,
            touch: Chance::of(seed, Stream::Touch),
            leads_ohms,
            scrape_ohms: 0.0,
            touched_at: None,
            changed_at: Moment::START,
        }
    }

    pub(crate) fn function(&self) -> Function {
        self.function
    }

    /// Turns the dial, or obeys a command.
    pub(crate) fn set_function(&mut self, function: Function) {
        self.function = function;
    }

    /// One conversion, as the model says.
    pub(crate) fn conversion(&self) -> Duration {
        Duration::from_millis(u64::from(self.model.conversion_ms))
    }

    /// The tips came down, or were lifted.
    pub(crate) fn leads_moved(&mut self, now: Moment) {
        self.scrape_ohms = 40.0 * self.touch.unit().powi(3) * self.noise_factor.min(1.0);
        self.touched_at = Some(now);
        self.changed_at = now;
    }

    /// The drive changed: the contacts take a moment.
    pub(crate) fn drive_changed(&mut self, now: Moment) {
        self.changed_at = now + CONTACTS_MOVE;
    }

    pub(crate) fn begin(&self, circuit: &Circuit, now: Moment) -> Conversion {
        let before = self.ideal(circuit, self.function, now);
        Conversion { function: self.function, begun: now, due: now + self.conversion(), before }
    }

    /// What the display shows when `conversion` ends.
    pub(crate) fn finish(&mut self, circuit: &Circuit, conversion: &Conversion) -> Shown {
        let after = self.ideal(circuit, conversion.function, conversion.due);
        let shown = if self.changed_at > conversion.begun {
            self.spoilt(conversion.before, after)
        } else {
            after
        };
        let Value::Number(true_value) = shown.value else {
            return shown;
        };
        let accuracy = self.accuracy(conversion.function);
        let error = self.errors[usize::from(conversion.function.unit() == drivers::Unit::Volt)];
        let value = true_value * (1.0 + error.gain * accuracy.percent / 100.0)
            + shown.count * error.offset * accuracy.counts
            + shown.count * self.noise_factor * accuracy.noise_counts * self.noise.normal();
        let value =
            if shown.count > 0.0 { (value / shown.count).round() * shown.count } else { value };
        Shown { value: self.limited(conversion.function, value), ..shown }
    }

    /// The mean over a conversion in which something changed: anything between the two values.
    fn spoilt(&mut self, before: Shown, after: Shown) -> Shown {
        let share = self.touch.unit();
        match (before.value, after.value) {
            (Value::Number(a), Value::Number(b)) => {
                let count = before.count.max(after.count);
                Shown { value: Value::Number(a + (b - a) * share), count }
            }
            _ => Shown { value: Value::Overload, count: after.count },
        }
    }

    fn accuracy(&self, function: Function) -> Accuracy {
        match function.unit() {
            drivers::Unit::Ohm => self.model.resistance,
            drivers::Unit::Volt => self.model.voltage,
        }
    }

    /// The value without the meter's own errors.
    fn ideal(&self, circuit: &Circuit, function: Function, now: Moment) -> Shown {
        match function {
            Function::VoltageDc => {
                let supplied = circuit.volts(Probe::Voltmeter).unwrap_or(0.0);
                self.volts(supplied + circuit.equipment_volts(now))
            }
            Function::VoltageAc => self.volts(0.0),
            Function::Resistance => self.ranging(circuit, self.in_series(now)),
            Function::Resistance4w => self.ranging(circuit, 0.0),
            Function::Continuity => {
                let range = self.range_at_least(self.model.continuity_ohms_max);
                self.ohms(circuit, range, self.in_series(now)).unwrap_or(self.over(range))
            }
            Function::Diode => {
                let volts = circuit.volts(Probe::TestAmps(TEST_AMPS));
                let volts = volts.map(|v| v + TEST_AMPS * self.in_series(now));
                let count = self.range_at_least(2.0) / f64::from(self.model.counts);
                let value = volts.map_or(Value::Overload, |v| self.limited(function, v));
                Shown { value, count }
            }
        }
    }

    /// The leads, and what a tip adds while it still scrapes; in ohms.
    fn in_series(&self, now: Moment) -> f64 {
        let Some(touched) = self.touched_at else {
            return self.leads_ohms;
        };
        let settles = f64::from(self.model.settle_ms) / 1e3;
        let since = now.since(touched).as_secs_f64();
        self.leads_ohms + self.scrape_ohms * (-since / settles).exp()
    }

    fn volts(&self, volts: f64) -> Shown {
        let range = self.range_at_least(volts.abs()).max(self.model.leading() * 0.1);
        Shown { value: Value::Number(volts), count: range / f64::from(self.model.counts) }
    }

    /// Ohms in the lowest range that holds them.
    fn ranging(&self, circuit: &Circuit, in_series: f64) -> Shown {
        let mut range = self.range_at_least(100.0);
        if circuit.is_open() {
            return self.over(self.range_at_least(self.model.ohms_max));
        }
        loop {
            if let Some(shown) = self.ohms(circuit, range, in_series) {
                return shown;
            }
            if range >= self.model.ohms_max {
                return self.over(range);
            }
            range *= 10.0;
        }
    }

    /// Ohms in one range; `None` above its full scale.
    fn ohms(&self, circuit: &Circuit, range: f64, in_series: f64) -> Option<Shown> {
        let decades = (range / 2000.0).log10().ceil().clamp(0.0, 4.0);
        let amps = TEST_AMPS * 10f64.powf(-decades);
        let ohms = circuit.volts(Probe::TestAmps(amps))? / amps + in_series;
        let count = range / f64::from(self.model.counts);
        (ohms.abs() < range).then_some(Shown { value: Value::Number(ohms), count })
    }

    fn over(&self, range: f64) -> Shown {
        Shown { value: Value::Overload, count: range / f64::from(self.model.counts) }
    }

    fn limited(&self, function: Function, value: f64) -> Value {
        let most = match function {
            Function::Resistance | Function::Resistance4w => self.model.ohms_max,
            Function::Continuity => self.model.continuity_ohms_max,
            Function::Diode => self.model.diode_volts_max,
            Function::VoltageDc | Function::VoltageAc => 1000.0,
        };
        if value.abs() <= most { Value::Number(value) } else { Value::Overload }
    }

    /// The lowest range whose full scale is at least `value`.
    fn range_at_least(&self, value: f64) -> f64 {
        let leading = self.model.leading();
        leading * 10f64.powf((value.max(1e-3) / leading).log10().ceil())
    }
}
