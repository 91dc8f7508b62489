//! Whatever may come in the operator's place, in JSON and in plain words: each line is an answer, a
//! text, or nothing, or it is not understood, and then what is said of it steers no terminal and
//! breaks no line of JSON.

#![no_main]

use coilmark::operator::{Heard, Json, Lines, Operator};
use libfuzzer_sys::fuzz_target;
use std::cell::RefCell;
use std::io::{self, Write};
use std::rc::Rc;

fuzz_target!(|text: &str| {
    for line in text.lines() {
        let said = answer(|out| Json::new(out), line);
        if !said.is_empty() {
            let note: serde_json::Value = serde_json::from_str(&said).unwrap();
            assert_eq!(note["note"], "error", "{said}");
        }
        let said = answer(|out| Lines::new(out, false), line);
        assert!(!said.trim_end().contains(|c: char| c.is_control()), "{said:?}");
    }
});

/// What is said of a line that is not understood.
fn answer<O: Operator>(operator: impl FnOnce(Out) -> O, line: &str) -> String {
    let out = Out::default();
    let mut operator = operator(out.clone());
    if let Heard::Unclear(problem) = operator.parse(line) {
        operator.object(&problem).unwrap();
    }
    String::from_utf8(out.0.take()).unwrap()
}

/// Bytes that can be looked at afterwards.
#[derive(Clone, Default)]
struct Out(Rc<RefCell<Vec<u8>>>);

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
