//! Why a placement is asked for, as data: the guide and the screen say it in the operator's own
//! pin names. A reason is read off the posterior at the moment of choosing; it explains, and
//! decides nothing.

use super::evidence::Status;
use super::pair::Pair;
use super::posterior::Posterior;
use std::fmt;

/// What a placement is for. Pins are positions.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Why {
    /// To find the coil.
    FindCoil {
        /// The pair to measure.
        pair: Pair,
    },
    /// To find what a pin belongs to.
    FindContact {
        /// The pair to measure.
        pair: Pair,
        /// Whether both states are looked at.
        toggle: bool,
    },
    /// To tell two things that this pair may be.
    Tell {
        /// The pair to measure.
        pair: Pair,
        /// What it most probably shows.
        either: Status,
        /// What it may show instead.
        or: Status,
    },
    /// To make sure of what is believed already.
    Confirm {
        /// The pair to measure.
        pair: Pair,
        /// What it is believed to show.
        believed: Status,
    },
}

impl Why {
    pub(super) fn of(posterior: &Posterior, pair: Pair, toggle: bool) -> Self {
        let of = posterior.pairs.get(pair.index()).copied().unwrap_or_default();
        let mut likely: Vec<(Status, f64)> = Status::ALL.into_iter().zip(of).collect();
        likely.sort_by(|a, b| b.1.total_cmp(&a.1));
        let coil = posterior.coil().map_or(0.0, |(_, p)| p);
        match likely.as_slice() {
            [(believed, p), ..] if *p > 0.9 => Self::Confirm { pair, believed: *believed },
            _ if coil < 0.5 => Self::FindCoil { pair },
            [(either, p), (or, q), ..] if p + q > 0.9 => {
                Self::Tell { pair, either: *either, or: *or }
            }
            _ => Self::FindContact { pair, toggle },
        }
    }

    /// In a technician's words; `names` gives the label of a position.
    pub fn named<'a, S: AsRef<str>>(&'a self, names: &'a [S]) -> impl fmt::Display + 'a {
        Named { why: self, names }
    }
}

struct Named<'a, S> {
    why: &'a Why,
    names: &'a [S],
}

impl<S: AsRef<str>> fmt::Display for Named<'_, S> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = |pin: usize| self.names.get(pin).map_or("?", AsRef::as_ref);
        let both = |pair: Pair| format!("{} and {}", name(pair.lo()), name(pair.hi()));
        match self.why {
            Why::FindCoil { pair } => write!(f, "to find the coil: {} may be it", both(*pair)),
            Why::FindContact { pair, toggle: true } => {
                write!(f, "to see what {} do when the coil is driven", both(*pair))
            }
            Why::FindContact { pair, toggle: false } => {
                write!(f, "to see whether {} belong together", both(*pair))
            }
            Why::Tell { pair, either, or } => {
                write!(f, "to tell whether {} are {} or {}", both(*pair), said(*either), said(*or))
            }
            Why::Confirm { pair, believed } => {
                write!(f, "to make sure that {} are {}", both(*pair), said(*believed))
            }
        }
    }
}

fn said(status: Status) -> &'static str {
    match status {
        Status::Open => "apart",
        Status::Break => "a break contact",
        Status::Make => "a make contact",
        Status::Joined => "joined",
        Status::Coil => "the coil",
    }
}

#[cfg(test)]
mod tests {
    use super::super::partition::Partition;
    use super::*;

    #[test]
    fn reasons_speak_of_pins_by_the_operators_names() {
        let pair = Pair::ordered(1, 3);
        let why = Why::Tell { pair, either: Status::Break, or: Status::Open };
        let names = ["30", "87", "87a", "85", "86"];
        assert_eq!(
            why.named(&names).to_string(),
            "to tell whether 87 and 85 are a break contact or apart"
        );
        assert_eq!(
            Why::FindCoil { pair }.named(&["A"; 1]).to_string(),
            "to find the coil: ? and ? may be it"
        );
    }

    const PAIR: Pair = Pair::ordered(0, 1);

    /// With the pair's probabilities, in the order open, break, make, joined, coil, and a coil
    /// elsewhere.
    fn why(of: [f64; 5], coil: f64) -> Why {
        let posterior = Posterior {
            pins: 3,
            pairs: vec![of, [1.0 - coil, 0.0, 0.0, 0.0, coil]],
            best: (Partition::default(), 0.0),
            candidates: Vec::new(),
            families: Vec::new(),
            entropy_bits: 9.0,
        };
        Why::of(&posterior, PAIR, true)
    }

    #[test]
    fn what_is_nearly_sure_is_confirmed_before_anything_else() {
        let believed = Status::Break;
        assert_eq!(why([0.05, 0.95, 0., 0., 0.], 0.0), Why::Confirm { pair: PAIR, believed });
        assert_eq!(why([0.1, 0.9, 0., 0., 0.], 0.0), Why::FindCoil { pair: PAIR }, "not nearly");
    }

    #[test]
    fn the_coil_is_looked_for_until_one_is_more_likely_than_not() {
        assert_eq!(why([0.6, 0.4, 0., 0., 0.], 0.49), Why::FindCoil { pair: PAIR });
        let told = Why::Tell { pair: PAIR, either: Status::Open, or: Status::Break };
        assert_eq!(why([0.6, 0.4, 0., 0., 0.], 0.5), told);
    }

    #[test]
    fn two_things_are_told_apart_where_hardly_anything_else_is_left() {
        let told = Why::Tell { pair: PAIR, either: Status::Make, or: Status::Joined };
        assert_eq!(why([0.04, 0., 0.56, 0.4, 0.], 0.9), told);
        let found = Why::FindContact { pair: PAIR, toggle: true };
        // 0.5 and 0.4 are 0.9, and no more.
        assert_eq!(why([0.1, 0., 0.5, 0.4, 0.], 0.9), found);
        assert_eq!(why([0.34, 0.33, 0.33, 0., 0.], 0.9), found);
    }

    #[test]
    fn every_reason_is_said_in_words() {
        let says = |why: Why| why.named(&["1", "2"]).to_string();
        let pair = PAIR;
        assert_eq!(says(Why::FindCoil { pair }), "to find the coil: 1 and 2 may be it");
        assert_eq!(
            [true, false].map(|toggle| says(Why::FindContact { pair, toggle })),
            [
                "to see what 1 and 2 do when the coil is driven",
                "to see whether 1 and 2 belong together"
            ]
        );
        let confirmed = Status::ALL.map(|believed| says(Why::Confirm { pair, believed }));
        let words = ["apart", "a break contact", "a make contact", "joined", "the coil"];
        assert_eq!(confirmed, words.map(|word| format!("to make sure that 1 and 2 are {word}")));
    }
}
