//! Whatever may stand in a board's plan or in a person's settings: it loads, or is refused with a
//! message that a terminal can show as it is. The same text is given to both, since a person may
//! name the wrong file.

#![no_main]

use coilmark::board::Plan;
use coilmark::event::BoardPlan;
use coilmark::settings;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    if let Ok(written) = toml::from_str::<BoardPlan>(text)
        && let Err(error) = Plan::new(written)
    {
        can_be_shown(&error.to_string());
    }
    if let Err(error) = settings::parse(text) {
        can_be_shown(&error.to_string());
    }
});

fn can_be_shown(message: &str) {
    assert!(!message.contains(|c: char| c.is_control() && c != '\n'), "{message:?}");
}
