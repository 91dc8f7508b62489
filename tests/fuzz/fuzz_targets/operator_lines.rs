//! Whatever may come in the operator's place: a line is an answer, or nothing, or not understood,
//! in JSON and in plain words; what is said of it can be shown on a terminal.

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
