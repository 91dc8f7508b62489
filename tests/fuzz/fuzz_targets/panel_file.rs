//! Whatever may stand in a panel file: it loads, or is refused with a message that names the file
//! and that a terminal can show. What a loop across its terminals means is a matter of tests that
//! know the answer.

#![no_main]

use coilmark::zone::Panel;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    if let Err(error) = Panel::parse(text, "fuzz.toml") {
        let message = error.to_string();
        assert!(message.contains("fuzz.toml"), "{message:?}");
        assert!(!message.contains(|c: char| c.is_control() && c != '\n'), "{message:?}");
    }
});
