//! Unordered pairs of pins. Pins are positions 0 to 15; a [`Pair`] always holds two different
//! ones, the lower first. Everything that is kept per pair is a list in [`Pair::index`] order,
//! which does not depend on how many pins the part has.

use crate::event::Pins;

/// The most pins a part can have here.
pub const PINS_MAX: usize = Pins::MAX;

/// Two different pins, in no order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pair {
    lo: u8,
    hi: u8,
}

impl Pair {
    /// The pair of these two positions; `None` if they are the same or beyond [`PINS_MAX`].
    #[must_use]
    pub const fn new(a: usize, b: usize) -> Option<Self> {
        if a == b || a >= PINS_MAX || b >= PINS_MAX { None } else { Some(Self::ordered(a, b)) }
    }

    /// The pair of two positions that the caller knows to differ and to be in range.
    pub(super) const fn ordered(a: usize, b: usize) -> Self {
        if a < b { Self { lo: a as u8, hi: b as u8 } } else { Self { lo: b as u8, hi: a as u8 } }
    }

    /// The lower position.
    #[must_use]
    pub const fn lo(self) -> usize {
        self.lo as usize
    }

    /// The higher position.
    #[must_use]
    pub const fn hi(self) -> usize {
        self.hi as usize
    }

    /// Whether `pin` is one of the two.
    #[must_use]
    pub const fn has(self, pin: usize) -> bool {
        self.lo() == pin || self.hi() == pin
    }

    /// The place of this pair in lists kept per pair: 01, 02, 12, 03, 13, 23, ...
    #[must_use]
    pub const fn index(self) -> usize {
        self.hi() * (self.hi() - 1) / 2 + self.lo()
    }

    /// How many pairs `pins` pins have.
    #[must_use]
    pub const fn count(pins: usize) -> usize {
        pins * pins.saturating_sub(1) / 2
    }

    /// The positions of the pair at this index.
    pub(super) const fn at(index: usize) -> (usize, usize) {
        let mut hi = 1;
        while (hi + 1) * hi / 2 <= index {
            hi += 1;
        }
        (index - hi * (hi - 1) / 2, hi)
    }

    /// All pairs of `pins` pins, in index order.
    pub fn all(pins: usize) -> impl Iterator<Item = Self> {
        (1..pins.min(PINS_MAX)).flat_map(|hi| (0..hi).map(move |lo| Self::ordered(lo, hi)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn indices_count_up_without_a_gap() {
        for pins in 0..=PINS_MAX {
            let indices: Vec<usize> = Pair::all(pins).map(Pair::index).collect();
            assert_eq!(indices, (0..Pair::count(pins)).collect::<Vec<_>>());
            assert!(Pair::all(pins).all(|pair| Pair::at(pair.index()) == (pair.lo(), pair.hi())));
        }
    }

    #[test]
    fn a_pair_has_no_order_and_two_different_pins() {
        assert_eq!(Pair::new(5, 2), Pair::new(2, 5));
        assert_eq!(Pair::new(3, 3), None);
        for (a, b) in [(0, 16), (16, 0), (16, 17), (usize::MAX, 3)] {
            assert_eq!(Pair::new(a, b), None, "{a} {b}");
        }
        let last = Pair::new(15, 14).unwrap();
        assert_eq!((last.lo(), last.hi(), last.index()), (14, 15, 119));
        assert_eq!([13, 14, 15, 16].map(|pin| last.has(pin)), [false, true, true, false]);
        assert_eq!([0, 1, 2, 5, 16].map(Pair::count), [0, 0, 1, 10, 120]);
        assert_eq!(Pair::all(40).count(), 120, "no pin lies beyond the sixteenth");
    }
}
