//! Whatever may stand in a relay file, or in one of the other files of the simulated bench (a
//! meter, an output, a panel's input with its loop): it loads, or is refused with a message that
//! names the file and that a terminal can show. A part that loads has a truth that fits its pins.

#![no_main]

use coilmark::bench::{MeterModel, Part};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match Part::parse(text, "fuzz.toml") {
        Ok(part) => {
            let pins = part.pins.count();
            assert!((2..=16).contains(&pins), "{pins} pins");
            let truth = &part.truth;
            assert!(truth.coils.len() <= 2 && truth.poles.len() <= pins, "{truth:?}");
            assert!(truth.coils.iter().all(|coil| coil.ohms > 0.0), "{truth:?}");
        }
        Err(error) => can_be_shown(&error.to_string()),
    }
    if let Err(error) = MeterModel::parse(text, "fuzz.toml") {
        can_be_shown(&error.to_string());
    }
});

fn can_be_shown(message: &str) {
    assert!(message.contains("fuzz.toml"), "{message:?}");
    assert!(!message.contains(|c: char| c.is_control() && c != '\n'), "{message:?}");
}
