//! What a measurement is worth, and what may be said of it: components of uncertainty become a
//! [`Budget`] (JCGM 100:2008, the GUM), a value with its budget is held against a [`Tolerance`]
//! by a [`DecisionRule`] (JCGM 106:2012, ILAC-G8:09/2019), and many values of one kind become a
//! [`Capability`] or a [`Trend`]. Pure arithmetic: units are the caller's, and nothing here
//! knows a relay, a meter or a limit's name.

mod budget;
mod capability;
mod component;
mod conformity;
mod joint;
mod quantile;
mod risk;
mod trend;

pub use budget::{Budget, Expanded, Share};
pub use capability::{Capability, Interval};
pub use component::{Component, Shape, mean_u_by_range};
pub use conformity::{DecisionRule, Judgement, Tolerance};
pub use joint::Joint;
pub use quantile::{chi_squared, normal_cdf, normal_quantile, student_coverage};
pub use risk::{GlobalRisk, Process};
pub use trend::Trend;
