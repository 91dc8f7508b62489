//! Whatever may come in the operator's place, in JSON and in plain words: each line is an answer, a
//! text, or nothing, or it is not understood, and then what is said of it can be shown on a
//! terminal as it is.

#![no_main]

use coilmark::operator::{Heard, Json, Lines, Operator};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    for line in text.lines() {
        let json = Json::new(Vec::new()).parse(line);
        let plain = Lines::new(Vec::new(), false).parse(line);
        for heard in [json, plain] {
            if let Heard::Unclear(problem) = heard {
                assert!(!problem.contains(|c: char| c.is_control()), "{problem:?}");
            }
        }
    }
});
