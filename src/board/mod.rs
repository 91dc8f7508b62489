//! Relay boards against a plan: the plan as written becomes a checked [`Plan`] with its checks in
//! an order of few lead moves; a capture becomes a [`CheckFound`](crate::event::CheckFound) with
//! its budget; the pattern of results says when leads or wires are elsewhere; and an identified
//! relay becomes a plan of its own. What to ask next is the guide's matter.

mod make;
mod mistake;
mod order;
mod plan;
mod verdict;

pub use make::{BUILT_IN, from_identified};
pub use mistake::{asked_instead, remarks};
pub use plan::{BadPlan, Check, Level, Plan, Wanted, Way};
pub use verdict::{Bench, judge, untested};
