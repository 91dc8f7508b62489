//! Sets of pins as bit masks, listed by how many pins they hold, with the place of each set in
//! its list. Sums over sets are kept in these lists, so that nothing is stored for the many sets
//! that a sum cannot reach.

use super::pair::PINS_MAX;

/// All sets of up to 16 pins.
#[derive(Debug)]
pub(super) struct Masks {
    pub pins: usize,
    /// By how many pins, ascending.
    pub lists: Vec<Vec<u16>>,
    /// The place of each set in its list.
    pub rank: Vec<u16>,
}

impl Masks {
    pub fn new(pins: usize) -> Self {
        let mut lists = vec![Vec::new(); pins + 1];
        let place = |mask: u32| {
            let list: &mut Vec<u16> = &mut lists[mask.count_ones() as usize];
            list.push(mask as u16);
            (list.len() - 1) as u16
        };
        let rank = (0..1_u32 << pins).map(place).collect();
        Self { pins, lists, rank }
    }

    /// The place of this set in its list.
    pub fn rank(&self, mask: u16) -> usize {
        usize::from(self.rank[usize::from(mask)])
    }

    /// All pins that are not in this set.
    pub fn complement(&self, mask: u16) -> u16 {
        !mask & ((1_u32 << self.pins) - 1) as u16
    }
}

/// The pins of a set, ascending: an array and how many of it count.
pub(super) fn members(mask: u16) -> ([u8; PINS_MAX], usize) {
    let mut pins = [0; PINS_MAX];
    let mut count = 0;
    let mut left = mask;
    while left != 0 {
        pins[count] = left.trailing_zeros() as u8;
        left &= left - 1;
        count += 1;
    }
    (pins, count)
}

/// All subsets of `mask` with `size` pins.
pub(super) fn subsets(mask: u16, size: usize) -> Vec<u16> {
    let mut found = Vec::new();
    // From the whole set down to the empty one.
    let mut subset = mask;
    loop {
        if subset.count_ones() as usize == size {
            found.push(subset);
        }
        if subset == 0 {
            return found;
        }
        subset = (subset - 1) & mask;
    }
}
