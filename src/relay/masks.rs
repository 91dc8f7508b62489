//! Sets of pins as bit masks, listed by how many pins they hold, with the place of each set in
//! its list. Sums over sets are kept in these lists, so that nothing is stored for the many sets
//! that a sum cannot reach.

use super::pair::{PINS_MAX, Pair};

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

    /// For each set of `size` pins: the index of each pair in it, in the order of [`Pair::all`].
    pub fn pairs(&self, size: usize) -> Vec<u8> {
        let of = |&mask: &u16| {
            let pins = members(mask).0.map(usize::from);
            Pair::all(size)
                .map(move |pair| Pair::ordered(pins[pair.lo()], pins[pair.hi()]).index() as u8)
        };
        self.lists[size].iter().flat_map(of).collect()
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

/// All subsets of `mask` with `size` pins, from the highest down.
pub(super) fn subsets(mask: u16, size: usize) -> impl Iterator<Item = u16> {
    let next = move |&subset: &u16| subset.checked_sub(1).map(|less| less & mask);
    let all = std::iter::successors(Some(mask), next);
    all.filter(move |subset| subset.count_ones() as usize == size)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_of_four_pins_stand_in_order_by_size() {
        let masks = Masks::new(4);
        let lists: [&[u16]; 5] =
            [&[0], &[1, 2, 4, 8], &[3, 5, 6, 9, 10, 12], &[7, 11, 13, 14], &[15]];
        assert_eq!(masks.lists, lists);
        for list in lists {
            for (rank, &mask) in list.iter().enumerate() {
                assert_eq!(masks.rank(mask), rank, "{mask:b}");
                assert_eq!(masks.complement(mask), 15 - mask, "{mask:b}");
            }
        }
        // Pairs 01, 02, 12, 03, 13, 23 are numbers 0 to 5; the pin left out is 3, 2, 1, 0.
        let threes = [[0, 1, 2], [0, 3, 4], [1, 3, 5], [2, 4, 5]];
        assert_eq!(masks.pairs(3), threes.concat());
        assert_eq!(masks.pairs(2), [0, 1, 2, 3, 4, 5]);
    }

    #[test]
    fn sixteen_pins_fill_a_mask() {
        let masks = Masks::new(PINS_MAX);
        assert_eq!(masks.complement(0), u16::MAX);
        assert_eq!(masks.complement(u16::MAX), 0);
        assert_eq!(masks.complement(0x00FF), 0xFF00);
        assert_eq!(masks.rank.len(), 1 << PINS_MAX);
        // C(16, 8).
        assert_eq!(masks.lists[8].len(), 12_870);
    }

    #[test]
    fn members_and_subsets_are_those_of_the_set() {
        let (pins, count) = members(0b1000_0000_0010_0110);
        assert_eq!(&pins[..count], &[1, 2, 5, 15]);
        assert_eq!(members(0).1, 0);
        assert_eq!(subsets(0b1011, 2).collect::<Vec<_>>(), [0b1010, 0b1001, 0b0011]);
        assert_eq!(subsets(0b1011, 0).collect::<Vec<_>>(), [0]);
        assert_eq!(subsets(0b1011, 3).collect::<Vec<_>>(), [0b1011]);
        assert_eq!(subsets(0b1011, 4).count(), 0);
    }
}
