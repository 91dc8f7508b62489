//! Both leads on the two pins of a pair, one way round or the other. Pins are positions. A way is
//! what a person can do; a pair is what the belief reasons about; the coil's polarity is the one
//! place where the two differ.

use crate::relay::Pair;

/// Red on the pair's lower pin and black on its higher, or swapped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Way {
    pair: Pair,
    swapped: bool,
}

impl Way {
    /// Red on one position, black on another; `None` if they are the same or out of range.
    #[must_use]
    pub fn of(red: usize, black: usize) -> Option<Self> {
        Some(Self { pair: Pair::new(red, black)?, swapped: red > black })
    }

    /// Both ways round of a pair, red on the lower pin first.
    #[must_use]
    pub const fn both(pair: Pair) -> [Self; 2] {
        [Self { pair, swapped: false }, Self { pair, swapped: true }]
    }

    /// The pair.
    #[must_use]
    pub const fn pair(self) -> Pair {
        self.pair
    }

    /// The position under the red lead.
    #[must_use]
    pub const fn red(self) -> usize {
        if self.swapped { self.pair.hi() } else { self.pair.lo() }
    }

    /// The position under the black lead.
    #[must_use]
    pub const fn black(self) -> usize {
        if self.swapped { self.pair.lo() } else { self.pair.hi() }
    }
}
