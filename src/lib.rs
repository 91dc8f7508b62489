//! Coilmark: one multimeter and a pair of hands tie a switched output into an alarm panel's zone.
//!
//! A pure core that never reads a clock, port, file or terminal ([`relay`], [`mod@output`],
//! [`cable`], [`fit`], [`zone`], [`metrology`], [`mod@board`], [`guide`]); one loop that does
//! ([`run`]); one event vocabulary between them ([`event`]); and the record, the reports and what
//! the operator sees are folds over those events ([`journal`], [`logbook`], [`archive`],
//! [`report`], [`operator`]). [`settings`] are a person's own defaults; [`mod@bench`] simulates
//! instruments, parts and hands. Arrows point one way, and `tests/house.rs` holds them:
//! `drivers <- event <- core`, `event <- outside`, both `<- run`.

/// Checks against outside values, as the tests of tables have them too.
#[cfg(test)]
#[path = "../tests/checked/mod.rs"]
mod checked;

pub mod archive;
pub mod bench;
pub mod board;
pub mod cable;
pub mod event;
pub mod fit;
pub mod guide;
pub mod journal;
pub mod logbook;
pub mod metrology;
pub mod operator;
pub mod output;
pub mod relay;
pub mod report;
pub mod run;
pub mod settings;
pub mod zone;
