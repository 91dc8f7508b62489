//! The supply's driver against a supply whose interpreter is somebody else's (the `microscpi`
//! crate), on a pseudo-terminal and on TCP: every command that goes out is one that SCPI-99 knows,
//! what was set stands at the output, a short is told, and a plug that is pulled while the output
//! is on is an error that says so and no panic. Links and waits are real, each at most a second.

#![allow(clippy::unwrap_used, reason = "what a test rests on and does not find fails the test")]

mod instrument;

use drivers::{DriverError, LinkSpec, Supply, SupplyLimits, SystemClock};
use instrument::{Instrument, Output, SUPPLY_IDENTITY};
use std::sync::{Arc, Mutex};

const LIMITS: SupplyLimits = SupplyLimits { volts_max: 24.0, watts_max: 3.0 };

type Shared = Arc<Mutex<Output>>;

/// One supply on each kind of link, its output left on by somebody, with this load.
fn both(load_ohms: f64) -> [(Instrument, Shared); 2] {
    let serve = |on: fn(Shared) -> Instrument| {
        let output = Output::feeding(load_ohms);
        output.lock().unwrap().on = true;
        (on(Arc::clone(&output)), output)
    };
    [serve(Instrument::supply_on_pty), serve(Instrument::supply_on_tcp)]
}

fn open(instrument: &Instrument) -> Supply {
    let spec: LinkSpec = instrument.link().parse().unwrap();
    Supply::open(&spec, LIMITS, Arc::new(SystemClock::begin())).unwrap()
}

#[test]
fn a_supply_is_set_measured_and_switched_off() {
    for (instrument, output) in both(400.0) {
        let mut supply = open(&instrument);
        assert_eq!(supply.identity(), SUPPLY_IDENTITY);
        assert!(!output.lock().unwrap().on, "{}: it was left on", instrument.link());
        for volts in [12.0, 4.8, 23.5] {
            let delivered = supply.apply(volts, 0.0625).unwrap();
            assert!((delivered.volts - volts).abs() < 1e-9, "{delivered:?}");
            assert!((delivered.amps - volts / 400.0).abs() < 1e-9, "{delivered:?}");
            let Output { set_volts, set_amps, on, .. } = *output.lock().unwrap();
            assert_eq!((set_volts, set_amps, on), (volts, 0.0625, true));
        }
        supply.off().unwrap();
        assert!(!output.lock().unwrap().on);
        assert_eq!(instrument.errors(), Vec::<String>::new(), "{:?}", instrument.commands());
    }
}

#[test]
fn what_is_above_a_limit_never_reaches_the_instrument() {
    for (instrument, output) in both(400.0) {
        let mut supply = open(&instrument);
        let before = instrument.commands();
        assert!(matches!(supply.apply(24.5, 0.05), Err(DriverError::OverLimit { .. })));
        assert!(matches!(supply.apply(12.0, 0.26), Err(DriverError::OverLimit { .. })));
        assert_eq!(instrument.commands(), before);
        assert!(!output.lock().unwrap().on);
    }
}

#[test]
fn a_short_is_told_and_the_output_is_off_again() {
    for (instrument, output) in both(0.5) {
        let error = open(&instrument).apply(12.0, 0.05).unwrap_err();
        assert!(matches!(error, DriverError::CurrentLimited { .. }), "{error}");
        assert!(!output.lock().unwrap().on);
        assert_eq!(instrument.errors(), Vec::<String>::new());
    }
}

#[test]
fn a_range_that_does_not_reach_is_refused_and_the_output_stays_off() {
    for (instrument, output) in both(4000.0) {
        let limits = SupplyLimits { volts_max: 60.0, watts_max: 3.0 };
        let spec: LinkSpec = instrument.link().parse().unwrap();
        let clock = Arc::new(SystemClock::begin());
        let error = Supply::open(&spec, limits, clock).unwrap().apply(48.0, 0.02).unwrap_err();
        // Its own grammar answers -222 to 48 V, and holds what it had: that is read back.
        assert!(matches!(error, DriverError::SettingLost { .. }), "{error}");
        assert!(instrument.errors()[0].starts_with("-222 "), "{:?}", instrument.errors());
        assert!(!output.lock().unwrap().on);
    }
}

#[test]
fn a_plug_that_is_pulled_while_the_output_is_on_is_told() {
    for (mut instrument, output) in both(400.0) {
        let mut supply = open(&instrument);
        supply.apply(12.0, 0.0375).unwrap();
        instrument.unplug();
        let error = supply.measure().unwrap_err();
        assert!(matches!(error, DriverError::LinkLost { .. }), "{error}");
        assert!(supply.off().is_err() && supply.is_on(), "nobody knows that it is off");
        drop(supply);
        // Nothing reaches an unplugged supply: it stands within the limits that it was set to.
        let Output { set_volts, set_amps, on, .. } = *output.lock().unwrap();
        assert!(on && set_volts <= LIMITS.volts_max && set_volts * set_amps <= LIMITS.watts_max);
    }
}

#[test]
fn a_drop_switches_it_off_over_a_real_link() {
    for (instrument, output) in both(400.0) {
        let mut supply = open(&instrument);
        supply.apply(12.0, 0.0375).unwrap();
        assert!(output.lock().unwrap().on);
        drop(supply);
        // The next who opens it finds it off and in step.
        assert!(!output.lock().unwrap().on, "{}", instrument.link());
        let mut next = open(&instrument);
        assert!(next.apply(6.0, 0.02).is_ok());
    }
}
