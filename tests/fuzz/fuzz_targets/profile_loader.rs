//! Whatever may stand in a profile file: it loads, or is refused with a message that names what is
//! wrong and that a terminal can show. What loads must be usable: it gives a session that can be
//! opened, and its uncertainties are numbers.

#![no_main]

use drivers::clock::Moment;
use drivers::{Function, Input, Profile, Value};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match Profile::parse("fuzz.toml", text) {
        Ok(profile) => {
            let mut session = profile.session("fuzz");
            let _ = session.handle(Input::LinkOpened, Moment::START);
            while session.next_output().is_some() {}
            for function in Function::ALL {
                let u = profile.standard_uncertainty(function, Value::Number(330.0));
                assert!(u.is_none_or(|u| u >= 0.0), "{function}: {u:?}");
            }
        }
        Err(error) => {
            let message = error.to_string();
            assert!(message.contains("fuzz.toml"), "{message:?}");
            let harmful = |c: char| c.is_control() && c != '\n';
            assert!(!message.contains(harmful), "{message:?}");
        }
    }
});
