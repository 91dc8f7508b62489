//! The one word for how a value stands to its limit. Whoever judges says pass, fail or undecided,
//! and always gives the margin beside it; what to do about it is left to the reader. Undecided is
//! no weaker pass: what is known does not tell.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// How something stands to its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The limit is kept.
    Pass,
    /// The limit is not kept.
    Fail,
    /// What is known cannot tell.
    Undecided,
}

impl Verdict {
    /// The verdict on a margin that lies between these two, negative where the limit is not kept:
    /// pass where even the lowest keeps it, fail where even the highest does not. One that is no
    /// number decides nothing.
    #[must_use]
    pub fn of_margin(low: f64, high: f64) -> Self {
        match () {
            () if low >= 0.0 => Self::Pass,
            () if high < 0.0 => Self::Fail,
            () => Self::Undecided,
        }
    }

    /// The verdict on several things together: fail before undecided before pass.
    #[must_use]
    pub fn of_all(verdicts: impl IntoIterator<Item = Self>) -> Self {
        verdicts.into_iter().fold(Self::Pass, |all, one| match (all, one) {
            (Self::Fail, _) | (_, Self::Fail) => Self::Fail,
            (Self::Undecided, _) | (_, Self::Undecided) => Self::Undecided,
            (Self::Pass, Self::Pass) => Self::Pass,
        })
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Undecided => "undecided",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_failure_outweighs_all() {
        use Verdict::{Fail, Pass, Undecided};
        assert_eq!(Verdict::of_all([]), Pass);
        assert_eq!(Verdict::of_all([Pass, Undecided, Pass]), Undecided);
        assert_eq!(Verdict::of_all([Undecided, Fail, Pass]), Fail);
        assert_eq!(Verdict::of_all([Fail, Undecided]), Fail);
    }
    #[test]
    fn a_margin_that_may_be_either_decides_nothing() {
        use Verdict::{Fail, Pass, Undecided};
        let ranges = [(0.0, 1.0), (-1.0, 0.0), (-2.0, -1.0), (-1.0, 1.0)];
        let verdicts = ranges.map(|(low, high)| Verdict::of_margin(low, high));
        assert_eq!(verdicts, [Pass, Undecided, Fail, Undecided]);
        assert_eq!(Verdict::of_margin(f64::NAN, f64::NAN), Undecided);
        assert_eq!(Verdict::of_margin(f64::INFINITY, f64::INFINITY), Pass);
    }
}
