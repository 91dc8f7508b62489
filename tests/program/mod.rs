//! The real program, driven from outside as its users drive it: started as a process, read line
//! by line with a deadline, answered by a person whose bench is simulated in the test's own
//! process, and checked line by line against the contract. Nothing here looks inside the program;
//! nothing here waits without a limit.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]
#![allow(dead_code, unused_imports, reason = "each test program uses its own part of this")]

mod babble;
pub mod broken_off;
#[path = "../../drivers/tests/instrument/mod.rs"]
pub mod instrument;
mod job;
mod ledger;
mod meter;
mod person;
mod process;
mod truth;

pub use babble::Babble;
pub use job::{Job, output, output_file, relay, relay_file};
pub use ledger::{Asked, Ledger, Line, Note};
pub use meter::{bench, on_pty, on_tcp};
pub use person::{Person, Reply};
pub use process::{DEADLINE, Ended, Program};
pub use truth::{assert_contacts_measured, assert_true, finding, names};
